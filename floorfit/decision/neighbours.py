"""Steps between floors that share a thin rib, or that touch: what the offsets do to the drawing's heights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict

from floorfit.decision.decision import WRITTEN, Correction
from floorfit.part.model import Part, Pocket

__all__ = ["NeighbourStep", "neighbour_steps"]

Array = NDArray[np.float64]

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

    __pydantic_config__: ClassVar[ConfigDict] = WRITTEN

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
    if len(floors) < 2:
        return ()
    pairs = STRtree(floors).query(floors, predicate="dwithin", distance=rib_max_mm + 1e-6)
    ordered = sorted((int(i), int(j)) for i, j in pairs.T if i < j)
    steps = [_step(cut[i], cut[j], corrections, rib_max_mm) for i, j in ordered]
    return tuple(sorted(steps, key=lambda s: -abs(s.step_mm)))


def _step(first: Pocket, second: Pocket, corrections: Mapping[str, Correction], rib_max: float) -> NeighbourStep:
    """Greatest difference of the two offset fields across the rib."""
    here, there = _facing(first, second, rib_max)
    difference = corrections[second.id].at(*there.T) - corrections[first.id].at(*here.T)
    worst = int(np.argmax(abs(difference)))
    middle = (here[worst] + there[worst]) / 2
    step, gap = float(difference[worst]), float(first.polygon.distance(second.polygon))
    return NeighbourStep(first.id, second.id, gap, (float(middle[0]), float(middle[1])), step)


def _facing(first: Pocket, second: Pocket, rib_max: float) -> tuple[Array, Array]:
    """Places along the first floor's edge that face the second, and the nearest places on the second, (k, 2)."""
    from shapely import get_coordinates, points, segmentize, shortest_line

    edge = get_coordinates(segmentize(first.polygon.boundary, _SPACING))
    closest = get_coordinates(shortest_line(first.polygon, second.polygon))[:1]
    lines = shortest_line(points(np.vstack([closest, edge])), second.polygon)
    ends = get_coordinates(lines).reshape(-1, 2, 2)
    near = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) <= rib_max + 1e-6
    near[0] = True
    return ends[near, 0], ends[near, 1]
