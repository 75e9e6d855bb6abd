"""The kinds of arrays that every room hands on: one name for each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Flags", "Rows"]

#: Numbers: places, heights, lengths in mm, weights.
Array = NDArray[np.float64]
#: Row numbers in a table, floors by their place in the part file.
Rows = NDArray[np.intp]
#: Which rows.
Flags = NDArray[np.bool_]
