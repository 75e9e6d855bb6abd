"""Steps between floors that share a thin rib, or that touch: what the offsets do to the drawing's heights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array
from floorfit.decision.decision import Correction
from floorfit.decision.written_form import WRITTEN
from floorfit.part.model import Part, Pocket

__all__ = ["NeighbourStep", "neighbour_steps"]

Polygons = NDArray[np.object_]

#: Spacing of the places compared along a shared rib, mm; an offset field changes by micrometres over this.
_SPACING = 5.0


@dataclass(frozen=True)
class NeighbourStep:
    """Two floors side by side, and how much their difference in height departs from the drawing.

    Parameters
    ----------
    a, b : str
        Ids, in the part's order.
    rib_mm : float
        Least thickness of the rib between them; 0 where the floors touch.
    at_mm : (float, float)
        Middle of the rib where they differ most.
    step_mm : float
        Offset of the second less offset of the first there; positive: the second lies higher against the first than
        drawn.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = WRITTEN

    a: str
    b: str
    rib_mm: float
    at_mm: tuple[float, float]
    step_mm: float


def neighbour_steps(
    part: Part, corrections: Mapping[str, Correction], *, rib_max_mm: float
) -> tuple[NeighbourStep, ...]:
    """Compare the offsets of all floors that lie side by side.

    Parameters
    ----------
    part : Part
    corrections : mapping of str to Correction
        By pocket id. A floor that is missing here or held is not compared: its final height is not known.
    rib_max_mm : float
        Floors further apart than this are not neighbours; ≥ 0.

    Returns
    -------
    tuple of NeighbourStep
        Greatest step first; equal steps in the part's order.

    Raises
    ------
    ValueError
        If ``rib_max_mm`` is negative or not a number.
    """
    from shapely import STRtree

    if not rib_max_mm >= 0:
        raise ValueError(f"rib_max_mm is {rib_max_mm}: give a rib thickness of zero or more, in mm.")
    cut = [p for p in part.pockets if p.id in corrections and corrections[p.id].action != "hold"]
    floors = [pocket.polygon for pocket in cut]
    reach = rib_max_mm + 1e-6
    near = STRtree(floors).query(floors, "dwithin", reach) if floors else np.empty((2, 0), np.intp)
    pairs = sorted((i, j) for i, j in near.T.tolist() if i < j)
    if not pairs:
        return ()
    first, second = np.array([(floors[i], floors[j]) for i, j in pairs], object).T
    lines = _facing(first, second, reach)
    steps = [_step(cut[i], cut[j], corrections, line) for (i, j), line in zip(pairs, lines, strict=True)]
    return tuple(sorted(steps, key=lambda s: -abs(s.step_mm)))


def _step(first: Pocket, second: Pocket, corrections: Mapping[str, Correction], lines: Array) -> NeighbourStep:
    """Greatest difference of the two offset fields across the rib."""
    difference = corrections[second.id].at(*lines[:, 1].T) - corrections[first.id].at(*lines[:, 0].T)
    worst = int(np.argmax(abs(difference)))
    middle, gap = lines[worst].mean(axis=0), float(np.hypot(*(lines[0, 1] - lines[0, 0])))
    return NeighbourStep(first.id, second.id, gap, (float(middle[0]), float(middle[1])), float(difference[worst]))


def _facing(first: Polygons, second: Polygons, reach: float) -> list[Array]:
    """Lines across the rib of each pair: from places along the first floor's edge that face the second, to the nearest
    place on it, (k, 2 ends, 2); the shortest comes first.
    """
    from shapely import boundary, bounds, get_coordinates, points, segmentize, shortest_line

    edge, pair = get_coordinates(segmentize(boundary(first), _SPACING), return_index=True)
    box = bounds(second)[pair]
    near = ((edge >= box[:, :2] - reach) & (edge <= box[:, 2:] + reach)).all(axis=1)
    closest, edge, pair = shortest_line(first, second), edge[near], pair[near]
    lines = get_coordinates(np.append(closest, shortest_line(points(edge), second[pair]))).reshape(-1, 2, 2)
    pair = np.append(np.arange(len(first)), pair)
    near = np.hypot(*(lines[:, 1] - lines[:, 0]).T) <= reach
    near[: len(first)] = True
    lines, pair = lines[near], pair[near]
    order = np.argsort(pair, kind="stable")
    return np.split(lines[order], np.cumsum(np.bincount(pair, minlength=len(first)))[:-1])
