"""Which floor a place lies on: found from the nominal geometry, not from labels."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Rows
from floorfit.part.model import Part

__all__ = ["NO_FLOOR", "assign_floors"]

#: Index of a place that lies on no floor.
NO_FLOOR = -1

#: A place this near outside an edge is on it, mm: far below any machine, far above float arithmetic at 10 m (2e-12).
EDGE_MM = 1e-6


def assign_floors(part: Part, x: ArrayLike, y: ArrayLike) -> Rows:
    """Find the floor that each place lies on.

    Parameters
    ----------
    part : Part
        Floors may touch, but not overlap.
    x, y : (n,) array_like, mm
        Places in the part frame; NaN lies on no floor.

    Returns
    -------
    (n,) ndarray of int
        Index in ``part.pockets``; -1 for none. Islands are not floor; edges are. A place on an edge that two floors
        share belongs to the one that comes first in the part.

    Notes
    -----
    Places are sorted by x once, so that each floor looks only at the places in its own bounding box.
    A million places and 120 pockets take about 1 s.
    """
    import shapely

    xs, ys = (np.asarray(values, float).reshape(-1) for values in (x, y))
    order = np.argsort(xs, kind="stable")
    xs, ys = xs[order], ys[order]
    shapes = shapely.buffer([pocket.polygon for pocket in part.pockets], EDGE_MM, join_style="mitre")
    shapely.prepare(shapes)
    boxes = shapely.bounds(shapes)
    first, last = np.searchsorted(xs, boxes[:, 0], "left"), np.searchsorted(xs, boxes[:, 2], "right")
    floors = np.full(len(xs), NO_FLOOR, dtype=np.intp)
    for index, (shape, box) in enumerate(zip(shapes, boxes, strict=True)):
        part_y = ys[first[index] : last[index]]
        near = first[index] + np.flatnonzero((part_y >= box[1]) & (part_y <= box[3]))
        found = order[near[shapely.intersects_xy(shape, xs[near], ys[near])]]
        floors[found[floors[found] == NO_FLOOR]] = index
    return floors
