"""The part as a plate: how stiff it is, how released stress bends it, and what that makes likely before any reading."""
