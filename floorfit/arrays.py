"""The kinds of arrays that every room hands on: one name for each."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Flags", "Rows", "counted", "read_only"]

#: Numbers: places, heights, lengths in mm, weights.
Array = NDArray[np.float64]
#: Row numbers in a table, floors by their place in the part file.
Rows = NDArray[np.intp]
#: Which rows.
Flags = NDArray[np.bool_]


def read_only(*arrays: NDArray[Any]) -> None:
    """Let nobody write to arrays that are handed on."""
    for array in arrays:
        array.flags.writeable = False


def counted(count: Rows) -> tuple[Rows, Rows]:
    """Number each of many things, and the pieces of each: counts 3 and 2 give 0 0 0 1 1, and 0 1 2 0 1.

    Parameters
    ----------
    count : (n,) ndarray of int
        Pieces of each thing.
    """
    of = np.repeat(np.arange(len(count)), count)
    return of, np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
