"""The three ways to place a floor, and how likely each makes the whole floor conform.

Deviation of the web from its local nominal: `floorfit.web`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.floor_warp import FloorWarp
from floorfit.decision.settings import DecisionSettings
from floorfit.errors import NumericalError
from floorfit.part.model import Tolerance
from floorfit.web import left_after

__all__ = ["Chances", "Proposal", "best_candidate", "chances", "minimax_plane", "minimax_shift", "target"]

Array = NDArray[np.float64]


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


def minimax_plane(points: Array, values: Array) -> tuple[Array, float]:
    """The plane with the least greatest vertical distance to the values (Chebyshev), by linear programme.

    Parameters
    ----------
    points : (k, 2) ndarray, mm
    values : (k,) ndarray, mm

    Returns
    -------
    plane : (3,) ndarray
        ``plane[0] + plane[1] x + plane[2] y``.
    half_band : float, mm
        The greatest distance.
    """
    from scipy.optimize import linprog

    centre, reach = points.mean(axis=0), max(float(np.ptp(points, axis=0).max()), 1e-12)
    middle, size = values.mean(), max(float(np.ptp(values)), 1e-12)
    design = np.column_stack([np.ones(len(points)), (points - centre) / reach])
    heights = (values - middle) / size
    band = np.ones((len(points), 1))
    limits = np.vstack([np.hstack([design, -band]), np.hstack([-design, -band])])
    found = linprog(
        [0, 0, 0, 1], A_ub=limits, b_ub=np.concatenate([heights, -heights]), bounds=[(None, None)] * 3 + [(0, None)]
    )
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


def chances(deviation: Array, tolerance: Tolerance) -> Chances:
    """Probabilities from sampled web deviations.

    Parameters
    ----------
    deviation : (count, k) ndarray, mm
        Web less local nominal at every point, a row a sample.
    tolerance : Tolerance
    """
    return _chances(deviation.min(axis=1), deviation.max(axis=1), tolerance)


def _chances(low: Array, high: Array, tolerance: Tolerance) -> Chances:
    """The same from least and greatest deviation of each sample."""
    none = np.zeros(len(low), bool)
    thin = none if tolerance.lower is None else low < tolerance.lower
    thick = none if tolerance.upper is None else high > tolerance.upper
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
    return _placed("shift", floor, np.zeros(len(floor.points)), (0.0, 0.0), minimax_shift(floor.mean), settings)


def _tilt(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    plane, _ = minimax_plane(floor.points, floor.mean)
    centroid = np.array(floor.pocket.centroid)
    base = (floor.points - centroid) @ plane[1:]
    level = minimax_shift(floor.mean - base)
    return _placed("tilt", floor, base, (float(plane[1]), float(plane[2])), level, settings)


def _follow(floor: FloorWarp, settings: DecisionSettings) -> Proposal:
    return _placed("follow", floor, floor.mean, (0.0, 0.0), 0.0, settings)


def _placed(
    action: Literal["shift", "tilt", "follow"],
    floor: FloorWarp,
    base: Array,
    slopes: tuple[float, float],
    level: float,
    settings: DecisionSettings,
) -> Proposal:
    """Put a base shape at the height with the greatest chance, the aim's height if that conforms already."""
    tolerance = floor.pocket.tolerance
    height = level + target(tolerance, settings.aim)
    first = _candidate(action, floor, base, slopes, height)
    if first.chances.conform >= settings.level:
        return first
    better = _best_height(floor, base, height, settings)
    return _candidate(action, floor, base, slopes, better)


def _candidate(
    action: Literal["shift", "tilt", "follow"],
    floor: FloorWarp,
    base: Array,
    slopes: tuple[float, float],
    height: float,
) -> Proposal:
    offset = base + height
    deviation = left_after(offset, floor.samples, floor.left_samples)
    low, high = deviation.min(axis=1), deviation.max(axis=1)
    chance = _chances(low, high, floor.pocket.tolerance)
    return Proposal(action, offset, (float(height), *slopes), chance, low, high)


def _best_height(floor: FloorWarp, base: Array, start: float, settings: DecisionSettings) -> float:
    """Height with the least weighted risk: thin counts `thin_cost` times as much as thick.

    A sample is thin below ``lower + max(w − base)`` and thick above ``upper + min(w − base)``; the risk is a staircase
    in the height, and the middle of its lowest step nearest to the aim is taken.
    """
    gap = floor.samples - base
    tolerance = floor.pocket.tolerance
    thin_below = np.sort(gap.max(axis=1) + tolerance.lower) if tolerance.lower is not None else np.array([-np.inf])
    thick_above = np.sort(gap.min(axis=1) + tolerance.upper) if tolerance.upper is not None else np.array([np.inf])
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
