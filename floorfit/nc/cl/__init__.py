"""Cutter-location data: tool tip and axis in the part's frame, before a post-processor has seen them.

The wording is that of ISO 4343 (post-processor commands) and ISO 3592 (records of cutter-location data), as text.
Neither standard was at hand: words and their meaning are from memory, and what is not in `cl_words` is never taken for
granted.
"""

from floorfit.nc.cl.cl_programme import apply_to_locations, frame_of
from floorfit.nc.cl.cl_reader import is_cutter_location

__all__ = ["apply_to_locations", "frame_of", "is_cutter_location"]
