"""After the fit: what it made of each reading, a name for those that the surface does not believe, and floors that lost
so many of theirs that what is left does not speak for them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Flags, Rows
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.observations import UNLABELLED, Observations, Readings
from floorfit.readings.ratios import name_thickness
from floorfit.readings.repeats import Sites
from floorfit.readings.warp import warp_said

__all__ = ["judged", "lost_floors", "name_outliers"]

#: A reading this near to a wall may stand on the fillet between wall and floor: probe foot and tool radius.
FILLET_REACH_MM = 6.0
#: A floor that lost this share of its readings is held where fewer than these are left: of three, the two that are left
#: may be the bad ones; eight of twelve bear each other out.
LARGEST_SHARE, ENOUGH = 1 / 3, 5
#: Two readings agree where they differ by less than this times the standard deviation of their difference.
ALIKE = 3.0


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
            names[k] = ("outlier", reason_of("outlier", thickness=float(read[row]), expected=float(right[k])))
    return names


def _swapped(
    part: Part, readings: Readings, rows: Rows, warp_at: Callable[[Array, Array], Array], scale: float
) -> Rows:
    """Floor on which X and Y exchanged would explain each row's thickness; −1 where they would not."""
    x, y = readings.y[rows], readings.x[rows]
    floor = assign_floors(part, x, y)
    said = warp_said(part, floor, x, y, readings.z[rows], readings.thickness[rows])
    return np.where(np.abs(said - warp_at(x, y)) <= 3.0 * scale, floor, -1)


def lost_floors(floor: Rows, points: Array, is_bad: Flags, residual: Array, u: Array) -> dict[int, str]:
    """Floors to hold for what the fit set aside on them, with words for each.

    Parameters
    ----------
    floor : (n,) ndarray of int
        Of each reading that the fit looked at.
    points : (n, 2) ndarray, mm
        Their places.
    is_bad : (n,) ndarray of bool
        Whether it set the reading aside.
    residual : (n,) ndarray, mm
        Value less the fit without that reading.
    u : (n,) ndarray, mm
        Standard uncertainty of each.

    Returns
    -------
    dict of int to str

    Notes
    -----
    Bad readings are bad each in its own way; two neighbours that were set aside to the same side by the same amount
    show something that is there, and that the surface does not follow.
    """
    out = {}
    for k in np.unique(floor[is_bad]).tolist():
        rows = np.flatnonzero((floor == k) & is_bad)
        good = np.flatnonzero((floor == k) & ~is_bad)
        total = len(rows) + len(good)
        if len(rows) >= LARGEST_SHARE * total and len(good) < ENOUGH:
            out[k] = f"{len(rows)} of {total} readings of this floor were set aside; take three more, spread over it"
        elif _agree(points[rows], points[good], residual[rows], u[rows]):
            out[k] = (
                f"{len(rows)} of {total} readings of this floor were set aside, and two of them agree with each other: "
                "take two more readings there"
            )
    return out


def _agree(points: Array, good: Array, residual: Array, u: Array) -> bool:
    """Whether two say the same that are nearer to each other than either is to a good reading."""
    apart, from_good = (np.linalg.norm(points[:, None] - others, axis=2) for others in (points, good))
    from_good = from_good.min(axis=1, initial=np.inf)
    is_alike = np.abs(residual[:, None] - residual) <= ALIKE * np.hypot(u[:, None], u)
    is_alike &= residual[:, None] * residual > 0
    is_alike &= apart < np.minimum(from_good[:, None], from_good)
    return bool(np.triu(is_alike, 1).any())
