"""Repeats: several readings of one place, what they say of the gauge, and which of them disagrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.nearest import pairs_within, squares
from floorfit.readings.observations import Observations
from floorfit.units import MAD_TO_SD

__all__ = [
    "Repeatability", "Sites", "change_on_return", "combine", "doubled_rows", "estimate_repeatability", "group_means_at",
    "group_sites", "two_levels",
]  # fmt: skip

#: A reading of a place disagrees with its repeats beyond this many standard deviations of a difference.
DISAGREE = 6.0
#: Visits that are told apart: as many as slow errors are looked for in.
MOST_VISITS = 5_000


@dataclass(frozen=True)
class Repeatability:
    """How far repeats of one place scatter, pooled over all places (JCGM 100:2008, 4.2.4).

    Parameters
    ----------
    sd : float, mm
        Pooled standard deviation of one reading; NaN without repeats.
    dof : int
        Degrees of freedom, readings minus places.
    """

    sd: float
    dof: int


@dataclass(frozen=True)
class Sites:
    """The places of the used readings, visit by visit, repeats of a visit combined: what the surface is fitted to.

    Parameters
    ----------
    rows : (m,) ndarray of int
        The first used row of each visit, increasing.
    points : (m, 2) ndarray, mm
    warp, left : (m,) ndarray, mm
        Mean warp, and mean of what roughing left of the web besides nominal and stock.
    u : (m,) ndarray, mm
        Standard uncertainty of the mean warp.
    of_row : (n,) ndarray of int
        Visit of every row, −1 where it has none.
    """

    rows: Rows
    points: Array
    warp: Array
    left: Array
    u: Array
    of_row: Rows


def group_sites(x: ArrayLike, y: ArrayLike, tolerance_mm: float) -> Rows:
    """Return for each row the first row of the same place.

    Parameters
    ----------
    x, y : (n,) array_like, mm
        Places.
    tolerance_mm : float, mm
        Rows nearer than this to each other are one place.

    Returns
    -------
    (n,) ndarray of int

    Notes
    -----
    Rows that share a square of an eighth of the tolerance count as one point first, so that any number of rows at one
    place costs no more than one.
    """
    points = np.column_stack([np.ravel(x), np.ravel(y)])
    if len(points) == 0:
        return np.zeros(0, np.intp)
    square, inverse = squares(points, tolerance_mm / 8)
    pairs = pairs_within(points[square], tolerance_mm)
    names = _joined(pairs, len(square))[inverse]
    first = np.full(len(points), len(points), np.intp)
    np.minimum.at(first, names, np.arange(len(points)))
    return np.asarray(first[names], np.intp)


def _joined(pairs: Rows, count: int) -> Rows:
    """Name of the group that each of ``count`` points belongs to, by the pairs that hang together."""
    if len(pairs) == 0:
        return np.arange(count)
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], np.intp)


def doubled_rows(place: Rows, columns: list[NDArray[np.generic]]) -> Rows:
    """Find rows that repeat an earlier one in every column.

    Where most places were read several times, equal repeats are honest: then only the rows beyond the usual
    number of a place count as doubled.

    Parameters
    ----------
    place : (n,) ndarray of int
        From `group_sites`.
    columns : list of (n,) ndarray
        What must be equal; NaN equals NaN.

    Returns
    -------
    (n,) ndarray of int
        The earlier row, or −1 where the row is not doubled.
    """
    out = np.full(len(place), -1, np.intp)
    counts = np.bincount(place, minlength=len(place)) if len(place) else np.zeros(0, int)
    usual = int(np.median(counts[counts > 0])) if len(place) else 1
    for rows in _crowded(place, counts, usual):
        seen: dict[tuple[bytes, ...], int] = {}
        spare = len(rows) - usual
        for row in rows:
            key = tuple(column[row].tobytes() for column in columns)
            if key in seen and spare > 0:
                out[row] = seen[key]
                spare -= 1
            seen.setdefault(key, int(row))
    return out


def _crowded(place: Rows, counts: NDArray[np.int64], usual: int) -> list[Rows]:
    """Rows of each place that has more of them than usual, in their order."""
    order = np.argsort(place, kind="stable")
    order = order[counts[place[order]] > usual]
    cuts = np.flatnonzero(np.diff(place[order])) + 1
    return list(np.split(order, cuts)) if len(order) else []


def estimate_repeatability(place: ArrayLike, values: ArrayLike) -> Repeatability:
    """Pool the scatter of repeats.

    Parameters
    ----------
    place : (n,) array_like of int
        Place of each used reading.
    values : (n,) array_like, mm
        Thickness or warp, finite.

    Returns
    -------
    Repeatability
    """
    read = np.asarray(values, float).reshape(-1, 1)
    dof = len(read) - len(np.unique(place))
    if dof == 0:
        return Repeatability(float("nan"), 0)
    return Repeatability(float(np.sqrt(((read - group_means_at(place, read)) ** 2).sum() / dof)), dof)


def disagreeing(place: Rows, values: Array, expected: Array, u: Array) -> Array:
    """What a reading that disagrees with the repeats of its place should have been; NaN where it agrees.

    Of three or more repeats the one far from their median is wrong; of two, the one farther from what the
    readings around say, and both where that does not tell.

    Parameters
    ----------
    place : (n,) ndarray of int
        Place of each reading still in use.
    values, expected, u : (n,) ndarray, mm
        Warp as read, warp by the readings around, and standard uncertainty of a reading.
    """
    out = np.full(len(values), np.nan)
    counts = np.bincount(place) if len(place) else np.zeros(0, int)
    groups = _crowded(place, counts, 1)
    spread = [values[rows] - np.median(values[rows]) for rows in groups]
    typical = MAD_TO_SD * float(np.median(np.abs(np.concatenate(spread)))) if groups else 0.0
    for rows, deviation in zip(groups, spread, strict=True):
        limit = DISAGREE * np.sqrt(2.0) * max(float(u[rows].max()), min(2.0 * typical, 3.0 * float(u[rows].max())))
        if np.ptp(values[rows]) > limit:
            bad = _wrong_of_two(values[rows], expected[rows]) if len(rows) == 2 else np.abs(deviation) > limit / 2
            good = rows[~bad]
            out[rows[bad]] = np.median(values[good]) if len(good) else expected[rows[bad]]
    return out


def _wrong_of_two(values: Array, expected: Array) -> Flags:
    far = np.abs(values - expected)
    if min(far) < 0.4 * max(far):
        return np.asarray(far == max(far))
    return np.ones(2, bool)


def combine(seen: Observations, order: ArrayLike | None = None) -> Sites:
    """Take the mean of the used readings of each visit to a place.

    A place that is read again after another one is visited twice: what its readings differ by may be a drift.

    Parameters
    ----------
    seen : Observations
    order : (n,) array_like, optional
        Time or number of each reading; without it all readings of a place are one visit, as where there are more
        than `MOST_VISITS`.

    Returns
    -------
    Sites
        The repeats' own scatter averages out; what all readings share (the gauge's calibration) does not belong
        in ``u``: root mean square of the rows' divided by √k.
    """
    rows = np.flatnonzero(seen.is_used)
    visit = seen.site[rows] if order is None else _visits(rows, seen.site[rows], np.asarray(order)[rows])
    first, inverse, counts = np.unique(visit, return_inverse=True, return_counts=True)
    place = inverse.reshape(-1)

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(place, values[rows], len(first)) / counts)

    of_row = np.full(len(seen), -1, np.intp)
    of_row[rows] = place
    points = np.column_stack([seen.readings.x[rows], seen.readings.y[rows]])
    at = group_means_at(seen.site[rows], points)[np.searchsorted(rows, first)]
    left = mean(seen.z - seen.rough_z - seen.warp)
    u = np.sqrt(mean(seen.u**2) / counts)
    return Sites(np.asarray(first, np.intp), at, mean(seen.warp), left, u, of_row)


def change_on_return(seen: Observations, order: ArrayLike, sd: float) -> tuple[float, float, int]:
    """What places say that were visited again: by how much the warp changed from the first visit to the last.

    Parameters
    ----------
    seen : Observations
        Those that the fit set aside count: where the gauge changed, all that was read again may be.
    order : (n,) array_like
        Time or number of each reading.
    sd : float, mm
        Standard deviation of one reading, as the fit found it.

    Returns
    -------
    change, u : float, mm
        Median over the places, and its standard uncertainty (√(π/2) that of a mean, M. G. Kendall, A. Stuart, The
        Advanced Theory of Statistics 1, 1977, 14.6; from memory).
    count : int
        Places visited again.
    """
    rows = np.flatnonzero(seen.site >= 0)
    rows = rows[np.argsort(np.asarray(order)[rows], kind="stable")]
    place = seen.site[rows]
    _, first, inverse = np.unique(place, return_index=True, return_inverse=True)
    last = len(place) - 1 - np.unique(place[::-1], return_index=True)[1]
    again = np.bincount(inverse.reshape(-1), np.diff(place, prepend=-1) != 0, len(first)) > 1
    changes = (seen.warp[rows[last]] - seen.warp[rows[first]])[again]
    if not len(changes):
        return 0.0, float("inf"), 0
    change = float(np.median(changes))
    spread = max(np.sqrt(2.0) * sd, MAD_TO_SD * float(np.median(np.abs(changes - change))))
    return change, float(np.sqrt(np.pi / 2 / len(changes)) * spread), len(changes)


def group_means_at(group: ArrayLike, values: Array) -> Array:
    """Mean of the rows of each group, at its rows: (n, k).

    Parameters
    ----------
    group : (n,) array_like
        Name or number of the group of each row.
    values : (n, k) ndarray
    """
    names, inverse, counts = np.unique(np.asarray(group), return_inverse=True, return_counts=True)
    place = inverse.reshape(-1)
    sums = np.stack([np.bincount(place, column, len(names)) for column in values.T], axis=1)
    return np.asarray((sums / counts[:, None])[place])


def two_levels(values: ArrayLike) -> tuple[float, float, float]:
    """How far apart the two levels are that values stand on best.

    Parameters
    ----------
    values : (n,) array_like, mm
        Residuals; n of ten or more.

    Returns
    -------
    apart : float, mm
        Difference of the means above and below the cut that leaves the least variance (N. Otsu, IEEE Trans. SMC 9, 62,
        1979), a tenth or more on either side. Gaussian values, cut in the middle, are apart by √(8/π) σ, 2.65 times
        what they scatter about the two, σ √(1 − 2/π).
    share : float
        Of the values on the upper level.
    scatter : float, mm
        About the two levels.
    """
    ordered = np.sort(np.asarray(values, float))
    n, below = len(ordered), np.arange(1, len(ordered))
    sums = np.cumsum(ordered)[:-1]
    apart = (ordered.sum() - sums) / (n - below) - sums / below
    between = np.where(np.minimum(below, n - below) >= n / 10, below * (n - below) / n**2 * apart**2, -1.0)
    cut = int(np.argmax(between))
    scatter = float(np.sqrt(max(0.0, ordered.var() - between[cut])))
    return float(apart[cut]), float((n - below[cut]) / n), scatter


def _visits(rows: Rows, place: Rows, order: Array) -> Rows:
    """First row of the visit of each row, of rows that were read in an order; of its place where they are too many."""
    turn = np.argsort(order, kind="stable")
    begins = np.diff(place[turn], prepend=-1) != 0
    if begins.sum() > MOST_VISITS:
        return place
    visit = np.empty(len(place), np.intp)
    visit[turn] = np.cumsum(begins) - 1
    first = np.unique(visit, return_index=True)[1]
    return rows[first[visit]]
