"""Readings as marks: one for each up to 5,000, above that one for each square that holds some, larger for more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.nearest import squares
from floorfit.record import ReadingsRecord
from floorfit.report.plan_view import PlanView

__all__ = ["MOST_SINGLE", "Marks", "reading_marks"]

#: Readings up to which each has a mark of its own.
MOST_SINGLE = 5_000

#: Squares over the part, about, where there are more.
_SQUARES = 2_500


@dataclass(frozen=True)
class Marks:
    """Places of marks.

    Parameters
    ----------
    used : (n, 2) ndarray, mm
        Readings used, or the middle of those of a square.
    counts : (n,) ndarray of int
        How many each stands for; 1 where each reading has its own.
    aside : (k, 2) ndarray, mm
        The same for readings set aside: a mark says that there is at least one.
    """

    used: Array
    counts: Rows
    aside: Array

    @property
    def is_dense(self) -> bool:
        """Whether a mark may stand for several readings."""
        return bool(len(self.counts) and self.counts.max() > 1)

    @property
    def shares(self) -> Array:
        """Area of each mark over that of the largest."""
        return self.counts / max(1, int(self.counts.max(initial=1)))


def reading_marks(readings: ReadingsRecord, plan: PlanView) -> Marks:
    """Return the marks of the readings.

    Parameters
    ----------
    readings : ReadingsRecord
    plan : PlanView
        Its size sets that of a square.
    """
    places = np.array([readings.x_mm, readings.y_mm], dtype=float).reshape(2, -1).T
    is_used = np.array(readings.used, dtype=bool)
    if len(places) <= MOST_SINGLE:
        return Marks(places[is_used], np.ones(int(is_used.sum()), np.intp), places[~is_used])
    x0, y0, x1, y1 = plan.bounds
    side = float(np.sqrt(max((x1 - x0) * (y1 - y0), 1e-12) / _SQUARES))
    used, counts = _binned(places[is_used], side)
    return Marks(used, counts, _binned(places[~is_used], side)[0])


def _binned(places: Array, side: float) -> tuple[Array, Rows]:
    """Return the mean place and the number of those in each square of a grid."""
    if len(places) == 0:
        return places, np.zeros(0, np.intp)
    _, where = squares(places, side)
    counts = np.bincount(where)
    return np.column_stack([np.bincount(where, places[:, axis]) / counts for axis in (0, 1)]), counts
