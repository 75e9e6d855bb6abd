"""The smoothing thin-plate spline: knows numbers and places, nothing of pockets or files."""
