"""Reading, correcting and checking a finishing programme."""
