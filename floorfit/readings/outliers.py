"""After the fit: what it made of each reading, and a name for those that the surface does not believe."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.observations import UNLABELLED, Observations, Readings
from floorfit.readings.ratios import name_thickness
from floorfit.readings.repeats import Sites
from floorfit.readings.warp import nominal_levels, slope_factors

__all__ = ["judged", "name_outliers"]

#: A reading this near to a wall may stand on the fillet between wall and floor: probe foot and tool radius.
FILLET_REACH_MM = 6.0


def judged(
    part: Part,
    seen: Observations,
    sites: Sites,
    weight: Array,
    loo: Array,
    warp_at: Callable[[Array, Array], Array],
    scale_mm: float,
) -> Observations:
    """Add what the robust fit made of each reading, and set aside with a name what it does not believe.

    Parameters
    ----------
    part, seen
        The nominal part, and the readings that the fit looked at.
    sites : Sites
        What it was fitted to, m sites.
    weight : (m,) ndarray
        Of each site in the fit; below one half it is not believed.
    loo : (m,) ndarray, mm
        Warp less the fit without the site.
    warp_at : callable
        The fitted warp at places (x, y), mm.
    scale_mm : float, mm
        Standard deviation of good readings about the fit.

    Returns
    -------
    Observations
    """
    site, nothing = sites.of_row, np.full(len(seen), np.nan)
    held = site >= 0
    with_fit = replace(
        seen,
        weight=np.where(held, weight[site], nothing),
        residual=seen.warp - warp_at(seen.readings.x, seen.readings.y),
        loo=np.where(held, loo[site], nothing),
    )
    rows = np.flatnonzero(held & (with_fit.weight < 0.5))
    reason = seen.reason.copy()
    expected = seen.warp[rows] - with_fit.loo[rows]
    reason[rows] = [words for _, words in name_outliers(part, seen, rows, expected, warp_at, scale_mm)]
    return replace(with_fit, reason=reason)


def name_outliers(
    part: Part,
    seen: Observations,
    rows: Sequence[int] | Rows,
    expected_w: ArrayLike,
    warp_at: Callable[[Array, Array], Array],
    scale_mm: float,
) -> list[tuple[str, str]]:
    """Name readings that the robust fit set aside.

    Parameters
    ----------
    part, seen
        The nominal part and the readings.
    rows : sequence of int
        Rows to name; each lies on a floor.
    expected_w : (k,) array_like, mm
        Warp at each of these rows by the fit without it (leave-one-out).
    warp_at : callable
        The fitted warp at places (x, y), mm: tells whether X and Y exchanged would explain a reading.
    scale_mm : float, mm
        Standard deviation of good readings about the fit.

    Returns
    -------
    list of (str, str)
        Code and reason for each row; ``outlier`` where nothing better fits.
    """
    index = np.asarray(rows, np.intp)
    if len(index) == 0:
        return []
    readings, read = seen.readings, seen.readings.thickness
    right = read[index] + (seen.warp[index] - np.asarray(expected_w, float)) / seen.factor[index]
    scale = max(float(scale_mm), 1e-3)
    names = name_thickness(read[index], right, scale)
    swapped = _swapped(part, readings, index, warp_at, scale)
    for k, row in enumerate(index):
        if names[k][0] in ("", "beyond-web") and seen.label[row] == UNLABELLED and swapped[k] >= 0:
            other = f"pocket {part.pockets[swapped[k]].id}"
            x, y = float(readings.x[row]), float(readings.y[row])
            names[k] = ("swapped", reason_of("swapped", x=x, y=y, other=other))
        elif not names[k][0] and seen.wall[row] < FILLET_REACH_MM and read[row] > right[k]:
            names[k] = ("on-fillet", reason_of("on-fillet"))
        elif not names[k][0]:
            text = reason_of("outlier", thickness=float(read[row]), expected=float(right[k]))
            names[k] = ("outlier", text)
    return names


def _swapped(
    part: Part, readings: Readings, rows: Rows, warp_at: Callable[[Array, Array], Array], scale: float
) -> Rows:
    """Floor on which X and Y exchanged would explain each row's thickness; −1 where they would not."""
    x, y = readings.y[rows], readings.x[rows]
    floor = assign_floors(part, x, y)
    rough, underside = nominal_levels(part, x, y, floor)
    z = np.where(np.isfinite(readings.z[rows]), readings.z[rows], rough)
    w = z - readings.thickness[rows] * slope_factors(part, floor, x, y) - underside
    is_near = np.zeros(len(rows), bool)
    known = np.flatnonzero(floor >= 0)
    is_near[known] = np.abs(w[known] - warp_at(x[known], y[known])) <= 3.0 * scale
    return np.where(is_near, floor, -1)
