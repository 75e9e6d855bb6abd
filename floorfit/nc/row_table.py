"""Rows of numbers while a file is read: one compact array, a column for each name."""

from __future__ import annotations

from array import array

import numpy as np

from floorfit.arrays import Array

__all__ = ["RowTable"]


class RowTable:
    """A growing table of float64; every number put into it is exact there (whole numbers below 2**53).

    Parameters
    ----------
    names : str
        Names of the columns, with blanks between.
    """

    __slots__ = ("_values", "names")

    def __init__(self, names: str) -> None:
        """Start without rows."""
        self.names = tuple(names.split())
        self._values = array("d")

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self._values) // len(self.names)

    def add(self, *row: float) -> None:
        """Add one row, a number for each column."""
        self._values.extend(row)

    def set_last(self, name: str, value: float) -> None:
        """Change a number of the last row."""
        self._values[self.names.index(name) - len(self.names)] = value

    def columns(self) -> dict[str, Array]:
        """Return a copy of the columns, (n,) each."""
        table = np.frombuffer(self._values, float).reshape(-1, len(self.names))
        return {name: table[:, index].copy() for index, name in enumerate(self.names)}
