"""Where to read next, and in what order."""
