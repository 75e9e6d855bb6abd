"""The three ways to place a floor, and how likely each makes the whole floor conform.

Deviation of the web from its local nominal: `floorfit.web`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.decision.floor_warp import FloorWarp
from floorfit.decision.settings import DecisionSettings
from floorfit.errors import NumericalError
from floorfit.part.model import LocalLimits, Tolerance

__all__ = [
    "Chances",
    "Proposal",
    "best_candidate",
    "best_height",
    "chances",
    "minimax_plane",
    "minimax_shift",
    "target",
]


@dataclass(frozen=True)
class Chances:
    """Probabilities over the whole floor, from the joint samples.

    Parameters
    ----------
    conform, thin, thick : float
        That every place lies within both limits; that some place is under the lower; that some is over the upper.
    """

    conform: float
    thin: float
    thick: float


@dataclass(frozen=True)
class Proposal:
    """One way to place a floor.

    Parameters
    ----------
    action : {"shift", "tilt", "follow"}
    offset : (k,) ndarray, mm
        dz at the floor's points.
    plane : (float, float, float)
        For shift and tilt: dz at the boundary's centroid and slopes. For follow: the constant over the surface, 0, 0.
    chances : Chances
    low, high : (count,) ndarray, mm
        Least and greatest web over the floor less nominal, in each joint sample.
    """

    action: Literal["shift", "tilt", "follow"]
    offset: Array
    plane: tuple[float, float, float]
    chances: Chances
    low: Array
    high: Array


def minimax_shift(values: Array) -> float:
    """The constant with the least greatest distance to the values: the middle of their range.

    Examples
    --------
    >>> import numpy as np
    >>> round(minimax_shift(np.array([0.01, 0.05, 0.02])), 3)
    0.03
    """
    return float((values.max() + values.min()) / 2)


def minimax_plane(points: Array, values: Array, limits: LocalLimits | None = None) -> tuple[Array, float]:
    """The plane with the least greatest vertical distance to the values (Chebyshev), by linear programme.

    Parameters
    ----------
    points : (k, 2) ndarray, mm
    values : (k,) ndarray, mm
    limits : LocalLimits or None
        Where they are given, the plane with the greatest least distance to ``values + lower`` from above and to
        ``values + upper`` from below.

    Returns
    -------
    plane : (3,) ndarray
        ``plane[0] + plane[1] x + plane[2] y``.
    half_band : float, mm
        The greatest distance; with limits, by how much the plane is outside them, negative inside.
    """
    from scipy.optimize import linprog

    centre, reach = points.mean(axis=0), max(float(np.ptp(points, axis=0).max()), 1e-12)
    middle, size = values.mean(), max(float(np.ptp(values)), 1e-12)
    design = np.column_stack([np.ones(len(points)), (points - centre) / reach])
    heights = (values - middle) / size
    low, high = (heights, heights) if limits is None else (heights + limits.lower / size, heights + limits.upper / size)
    band, ends = np.ones((len(points), 1)), np.concatenate([high, -low])
    rows = np.vstack([np.hstack([design, -band]), np.hstack([-design, -band])])
    there = np.isfinite(ends)
    bounds = [(None, None)] * 3 + [(0 if limits is None else None, None)]
    found = linprog([0, 0, 0, 1], A_ub=rows[there], b_ub=ends[there], bounds=bounds)
    if found.x is None and limits is not None:  # limits on one side alone hold no plane
        return minimax_plane(points, values)
    if found.x is None:
        raise NumericalError(f"no minimax plane was found for {len(points)} points: {found.message}")
    plane = found.x[:3] * size
    slopes = plane[1:] / reach
    return np.array([plane[0] + middle - slopes @ centre, *slopes]), float(found.x[3] * size)


def target(tolerance: Tolerance, aim: str) -> float:
    """Where the web should lie, as a deviation from nominal, mm.

    The middle of a two-sided tolerance. With one limit: the nominal web, or the limit where nominal is outside.

    Parameters
    ----------
    tolerance : Tolerance
    aim : {"middle", "nominal"}
        Matters where the tolerance has two limits.

    Examples
    --------
    >>> from floorfit.part import Tolerance
    >>> target(Tolerance(-0.25, 0.75), "middle"), target(Tolerance(-0.1, None), "middle")
    (0.25, 0.0)
    """
    if tolerance.lower is not None and tolerance.upper is not None:
        return (tolerance.lower + tolerance.upper) / 2 if aim == "middle" else 0.0
    if tolerance.lower is not None:
        return max(0.0, tolerance.lower)
    return 0.0 if tolerance.upper is None else min(0.0, tolerance.upper)


def best_height(values: Array, limits: Tolerance | LocalLimits, aim: str) -> float:
    """Height over a base shape with the greatest least distance of the web to its limits, mm.

    Limits by place: the middle between the highest place that the lower ones ask for and the lowest that the upper ones
    allow. With limits on one side, the middle of the values where that is inside.

    Parameters
    ----------
    values : (k,) ndarray, mm
        Warp less base shape.
    limits : Tolerance or LocalLimits
    aim : {"middle", "nominal"}
        As of `target`.

    Examples
    --------
    Half of a level floor may be 0.1 thin or thick, the other half 0.02 thin and 0.3 thick:

    >>> import numpy as np
    >>> limits = LocalLimits(np.array([-0.1, -0.02]), np.array([0.1, 0.3]))
    >>> round(best_height(np.zeros(2), limits, "middle"), 3)
    0.04
    """
    middle = minimax_shift(values)
    if isinstance(limits, Tolerance):
        return middle + target(limits, aim)
    low, high = float((values + limits.lower).max()), float((values + limits.upper).min())
    if np.isfinite(low) and np.isfinite(high):
        return (low + high) / 2 if aim == "middle" else middle
    return min(max(middle, low), high)


def chances(deviation: Array, tolerance: Tolerance | LocalLimits) -> Chances:
    """Probabilities from sampled web deviations.

    Parameters
    ----------
    deviation : (count, k) ndarray, mm
        Web less local nominal at every point, a row a sample.
    tolerance : Tolerance or LocalLimits
    """
    lower, upper = tolerance.limits
    return _counted(np.any(deviation < lower, axis=1), np.any(deviation > upper, axis=1))


def _counted(thin: Flags, thick: Flags) -> Chances:
    return Chances(float((~thin & ~thick).mean()), float(thin.mean()), float(thick.mean()))


def best_candidate(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    """The least of shift, tilt and follow that conforms at the set level; else the one likeliest to.

    Parameters
    ----------
    floor : FloorWarp
    settings : DecisionSettings
    """
    makers: list[Callable[[FloorWarp, DecisionSettings], Proposal]] = [_shift, _tilt, _follow]
    tried = []
    for make in makers[: ("shift", "tilt", "follow").index(settings.most) + 1]:
        tried.append(make(floor, settings))
        if tried[-1].chances.conform >= settings.level:
            return tried[-1]
    likeliest = max(one.chances.conform for one in tried)
    return next(one for one in tried if one.chances.conform >= likeliest - 0.01)


def _shift(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    return _placed("shift", floor, np.zeros(len(floor.points)), (0.0, 0.0), settings)


def _tilt(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    by_place = floor.limits if isinstance(floor.limits, LocalLimits) and settings.aim == "middle" else None
    plane, _ = minimax_plane(floor.points, floor.mean, by_place)
    centroid = np.array(floor.pocket.centroid)
    base = (floor.points - centroid) @ plane[1:]
    return _placed("tilt", floor, base, (float(plane[1]), float(plane[2])), settings)


def _follow(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    return _placed("follow", floor, floor.mean, (0.0, 0.0), settings)


def _placed(
    action: Literal["shift", "tilt", "follow"],
    floor: FloorWarp,
    base: Array,
    slopes: tuple[float, float],
    settings: DecisionSettings,
) -> Proposal:
    """Put a base shape at the height with the greatest chance, the aim's height if that conforms already."""
    height = best_height(floor.mean - base, floor.limits, settings.aim)
    first = _candidate(action, floor, base, slopes, height)
    if first.chances.conform >= settings.level:
        return first
    better = _safest_height(floor, base, height, settings)
    return _candidate(action, floor, base, slopes, better)


def _candidate(
    action: Literal["shift", "tilt", "follow"],
    floor: FloorWarp,
    base: Array,
    slopes: tuple[float, float],
    height: float,
) -> Proposal:
    offset = base + height
    reached = floor.reached(offset)
    low, high = floor.ends(reached)
    if isinstance(floor.limits, Tolerance):
        lower, upper = floor.limits.limits
        chance = _counted(low < lower, high > upper)
    else:
        chance = chances(reached - floor.samples, floor.limits)
    return Proposal(action, offset, (float(height), *slopes), chance, low, high)


def _safest_height(floor: FloorWarp, base: Array, start: float, settings: DecisionSettings) -> float:
    """Height with the least weighted risk: thin counts `thin_cost` times as much as thick.

    A sample is thin below ``lower + max(w − base)`` and thick above ``upper + min(w − base)``; the risk is a staircase
    in the height, and the middle of its lowest step nearest to the aim is taken.
    """
    gap = floor.samples - base
    lower, upper = floor.limits.limits
    thin_below, thick_above = np.sort((gap + lower).max(axis=1)), np.sort((gap + upper).min(axis=1))
    if not np.isfinite(thin_below).all():
        return min(start, float(np.quantile(thick_above, (1 - settings.level) / 4)))
    if not np.isfinite(thick_above).all():
        return max(start, float(np.quantile(thin_below, 1 - (1 - settings.level) / 4)))
    edges = np.unique(np.concatenate([thin_below, thick_above]))
    heights = (edges[:-1] + edges[1:]) / 2 if len(edges) > 1 else edges
    thin = 1 - np.searchsorted(thin_below, heights, side="right") / len(thin_below)
    thick = np.searchsorted(thick_above, heights, side="left") / len(thick_above)
    risk = settings.thin_cost * thin + thick
    lowest = heights[risk <= risk.min() + 1e-12]
    return float(lowest[np.argmin(np.abs(lowest - start))])
