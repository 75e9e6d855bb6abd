"""Where each reading stands: on which floor, how far from the walls, in a corner, and what its label says."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part, Pocket
from floorfit.readings.observations import UNKNOWN, UNLABELLED, Readings

__all__ = ["find_sites", "lies_in_corner", "rows_by_floor"]


def find_sites(part: Part, readings: Readings, floor: Rows | None = None) -> tuple[Rows, Rows, Array, Flags]:
    """Find floor, label, distance to the wall and corner of every reading, as `Observations` has them.

    Parameters
    ----------
    part : Part
    readings : Readings
        Cost is linear in them.
    floor : (n,) ndarray of int, optional
        Of each reading, where that is known already.

    Returns
    -------
    floor, label, wall, is_corner : (n,) ndarray
    """
    import shapely

    floor = assign_floors(part, readings.x, readings.y) if floor is None else floor
    wall = np.full(len(readings), np.nan)
    corner = np.zeros(len(readings), bool)
    for pocket, rows in rows_by_floor(part, floor):
        at = readings.x[rows], readings.y[rows]
        wall[rows] = shapely.distance(pocket.polygon.boundary, shapely.points(*at))
        corner[rows] = _in_left_corner(pocket, *at)
    return floor, _labels(part, readings.pocket), wall, corner


def rows_by_floor(part: Part, floor: Rows) -> Iterator[tuple[Pocket, Rows]]:
    """Yield each floor that has readings, with its rows in their order.

    Parameters
    ----------
    part : Part
    floor : (n,) ndarray of int
        Index of the floor of each reading; -1 for none.
    """
    order = np.argsort(floor, kind="stable")
    starts = np.searchsorted(floor[order], np.arange(len(part.pockets) + 1))
    for index, pocket in enumerate(part.pockets):
        rows = order[starts[index] : starts[index + 1]]
        if len(rows):
            yield pocket, rows


def lies_in_corner(part: Part, x: Array, y: Array) -> Flags:
    """Whether places lie in the metal between floors drawn with round corners and their sharp corners.

    Parameters
    ----------
    part : Part
        Nominal part.
    x, y : (n,) ndarray, mm
        Places on no floor.
    """
    import shapely

    out = np.zeros(len(x), bool)
    for pocket in part.pockets:
        r = pocket.corner_radius
        x0, y0, x1, y1 = pocket.polygon.bounds
        near = np.flatnonzero((x > x0 - r) & (x < x1 + r) & (y > y0 - r) & (y < y1 + r) & ~out)
        if r > 0 and len(near):
            sharp = pocket.polygon.buffer(-r).buffer(r, join_style="mitre").difference(pocket.polygon)
            out[near] = shapely.contains_xy(sharp, x[near], y[near])
    return out


def _in_left_corner(pocket: Pocket, x: Array, y: Array) -> Flags:
    """Whether places lie in a corner that is drawn sharp and that the cutter leaves round."""
    import shapely

    if pocket.corner_radius <= 0:
        return np.zeros(len(x), bool)
    # 0.02 mm: a rounded corner drawn as chords must not count as metal left.
    swept = pocket.polygon.buffer(-pocket.corner_radius).buffer(pocket.corner_radius + 0.02, quad_segs=32)
    return np.asarray(~shapely.contains_xy(swept, x, y)) if not swept.is_empty else np.zeros(len(x), bool)


def _labels(part: Part, labels: NDArray[np.str_]) -> Rows:
    known = {pocket.id.strip(): index for index, pocket in enumerate(part.pockets)}
    names, inverse = np.unique(labels, return_inverse=True)
    stripped = [str(name).strip() for name in names]
    codes = [known.get(name, UNKNOWN) if name else UNLABELLED for name in stripped]
    return np.asarray(np.array(codes, np.intp)[inverse.reshape(-1)])
