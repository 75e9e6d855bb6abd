"""Repeats: several readings of one place, what they say of the gauge, and which of them disagrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.nearest import pairs_within, squares
from floorfit.readings.observations import Observations
from floorfit.units import MAD_TO_SD

__all__ = ["Repeatability", "Sites", "combine", "doubled_rows", "estimate_repeatability", "group_sites"]

#: A reading of a place disagrees with its repeats beyond this many standard deviations of a difference.
DISAGREE = 6.0


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
    """The places of the used readings, repeats combined, one row each: what the surface is fitted to.

    Parameters
    ----------
    rows : (m,) ndarray of int
        The first used row of each place, increasing.
    points : (m, 2) ndarray, mm
    warp, left : (m,) ndarray, mm
        Mean warp, and mean of what roughing left of the web besides nominal and stock.
    u : (m,) ndarray, mm
        Standard uncertainty of the mean warp.
    """

    rows: Rows
    points: Array
    warp: Array
    left: Array
    u: Array

    def of(self, seen: Observations) -> Rows:
        """Return the site of every row, −1 where it has none: (n,) ndarray of int."""
        index = np.full(len(seen), -1, np.intp)
        index[self.rows] = np.arange(len(self.rows))
        return np.asarray(np.where(seen.site >= 0, index[seen.site], -1))


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
    names, inverse, counts = np.unique(np.asarray(place), return_inverse=True, return_counts=True)
    read = np.asarray(values, float)
    dof = len(read) - len(names)
    if dof == 0:
        return Repeatability(float("nan"), 0)
    mean = np.bincount(inverse.reshape(-1), read) / counts
    squares = float(((read - mean[inverse.reshape(-1)]) ** 2).sum())
    return Repeatability(float(np.sqrt(squares / dof)), int(dof))


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


def combine(seen: Observations) -> Sites:
    """Take the mean of the used readings of each place.

    Parameters
    ----------
    seen : Observations

    Returns
    -------
    Sites
        The repeats' own scatter averages out; what all readings share (the gauge's calibration) does not belong
        in ``u``: root mean square of the rows' divided by √k.
    """
    rows = np.flatnonzero(seen.is_used)
    first, inverse, counts = np.unique(seen.site[rows], return_inverse=True, return_counts=True)
    place = inverse.reshape(-1)

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(place, values[rows], len(first)) / counts)

    points = np.column_stack([mean(seen.readings.x), mean(seen.readings.y)])
    left = mean(seen.z - seen.rough_z - seen.warp)
    u = np.sqrt(mean(seen.u**2) / counts)
    return Sites(np.asarray(first, np.intp), points, mean(seen.warp), left, u)
