"""A rough, robust idea of the warp before the fit: enough to name a gross error, not to judge a fine one.

A polynomial that bad readings cannot drag (least absolute deviations, then Tukey's biweight; P. J. Huber and
E. M. Ronchetti, Robust Statistics, 2nd ed. 2009, ch. 7), and over it the median of what the nearest other
readings leave.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.nearest import nearest_of
from floorfit.units import MAD_TO_SD

__all__ = ["RoughWarp", "fit_rough_warp"]

#: Readings that a coefficient needs before a degree is tried.
READINGS_PER_COEFFICIENT = 4
#: Highest degree tried: enough for an S-shaped bow with a twist.
HIGHEST_DEGREE = 5
#: More readings than this are thinned for the polynomial.
ENOUGH = 1500
#: No scale below this, mm: display step and roughness (common practice, no source).
LEAST_SCALE_MM = 0.02
#: Readings around a place whose leftover is taken by the median.
NEIGHBOURS = 8
#: Places that are looked up at once: memory stays small for a million.
AT_ONCE = 50_000


@dataclass(frozen=True)
class RoughWarp:
    """The polynomial, and the readings around which it was left.

    Parameters
    ----------
    centre, half : (2,) ndarray, mm
        Coordinates are scaled to [−1, 1] with these.
    degree : int
        Total degree; 0 where there are too few readings for a plane.
    coefficients : (k,) ndarray, mm
        In the scaled coordinates.
    scale : float, mm
        Robust standard deviation of the readings about the polynomial; inf for fewer than 3 readings.
    places : (m, 2) ndarray, mm
        Readings that support it.
    left : (m,) ndarray, mm
        Warp there minus the polynomial.
    """

    centre: Array
    half: Array
    degree: int
    coefficients: Array
    scale: float
    places: Array
    left: Array

    @cached_property
    def _nearest(self) -> Callable[[Array], tuple[Array, Rows]]:
        return nearest_of(self.places, min(NEIGHBOURS + 1, len(self.places)))

    def trend(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Polynomial at places, mm.

        Parameters
        ----------
        x, y : (n,) array_like, mm
            Places.
        """
        points = np.column_stack([np.ravel(x), np.ravel(y)])
        return _polynomial((points - self.centre) / self.half, self.degree, self.coefficients)

    def local(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Polynomial plus the median leftover of the nearest *other* readings, mm.

        Parameters
        ----------
        x, y : (n,) array_like, mm
            Places.
        """
        points = np.column_stack([np.ravel(x), np.ravel(y)])
        if len(self.places) < 3 or len(points) == 0:
            return self.trend(x, y)
        pieces = [self._left_near(points[k : k + AT_ONCE]) for k in range(0, len(points), AT_ONCE)]
        return np.asarray(self.trend(x, y) + np.concatenate(pieces))

    def _left_near(self, points: Array) -> Array:
        """Median leftover of the nearest other readings."""
        distance, index = self._nearest(points)
        values = np.where(distance > 1e-9, self.left[index], np.nan)
        values[:, -1] = np.where(np.isnan(values).any(axis=1), values[:, -1], np.nan)
        is_known = np.isfinite(values).any(axis=1)
        median = np.zeros(len(points))
        median[is_known] = np.nanmedian(values[is_known], axis=1)
        return median


def fit_rough_warp(x: ArrayLike, y: ArrayLike, w: ArrayLike) -> RoughWarp:
    """Fit the rough warp to readings of which some are grossly wrong.

    Parameters
    ----------
    x, y, w : (n,) array_like, mm
        Places and warp, finite; n may be 0.

    Returns
    -------
    RoughWarp
        Degree by the smallest robust residual; a constant for fewer than 12 readings or where they lie on a line.
    """
    points, values = np.column_stack([x, y]).astype(float), np.asarray(w, float)
    if len(values) == 0:
        return RoughWarp(np.zeros(2), np.ones(2), 0, np.zeros(1), float("inf"), points, values)
    low, high = points.min(axis=0), points.max(axis=0)
    centre, half = (low + high) / 2, np.maximum((high - low) / 2, 1.0)
    thin = np.arange(0, len(values), max(1, len(values) // ENOUGH))
    degree, coefficients, scale = _best((points[thin] - centre) / half, values[thin])
    left = values - _polynomial((points - centre) / half, degree, coefficients)
    kept = _few_a_place(points)
    return RoughWarp(centre, half, degree, coefficients, scale, points[kept], left[kept])


def _few_a_place(points: Array) -> Rows:
    """Rows with at most two neighbourhoods' worth at one place: a search tree cannot split points that are equal."""
    order = np.lexsort(points.T)
    is_new = np.concatenate([[True], (np.diff(points[order], axis=0) != 0).any(axis=1)])
    start = np.maximum.accumulate(np.where(is_new, np.arange(len(points)), 0))
    return np.sort(order[np.arange(len(points)) - start < 2 * NEIGHBOURS])


def _best(points: Array, values: Array) -> tuple[int, Array, float]:
    """Return degree, coefficients and scale of the degree with the smallest scale."""
    found = []
    for degree in range(HIGHEST_DEGREE + 1):
        terms = _terms(points, degree)
        n, k = terms.shape
        if degree > 0 and (n < READINGS_PER_COEFFICIENT * k or np.linalg.matrix_rank(terms) < k):
            break
        coefficients, scale = _robust(terms, values)
        found.append((scale * np.sqrt(n / max(n - k, 1)), degree, coefficients))
    scale, degree, coefficients = min(found, key=lambda item: (item[0], item[1]))
    return degree, coefficients, max(float(scale), LEAST_SCALE_MM) if len(values) >= 3 else float("inf")


def _robust(terms: Array, values: Array) -> tuple[Array, float]:
    """Least absolute deviations by reweighting, then biweight steps; returns coefficients and scale."""
    coefficients: Array = np.zeros(terms.shape[1])
    coefficients[0] = np.median(values)
    for step in range(30):
        residual = values - terms @ coefficients
        scale = max(MAD_TO_SD * float(np.median(np.abs(residual))), 1e-6)
        if step < 20:
            weight = 1.0 / np.maximum(np.abs(residual), 0.05 * scale)
        else:
            weight = np.maximum(1.0 - (residual / (4.685 * scale)) ** 2, 1e-6) ** 2
        weighted = terms * weight[:, None]
        normal = weighted.T @ terms
        # One part in 1e9 of the diagonal keeps it solvable where the weights leave too few readings.
        normal.flat[:: len(normal) + 1] *= 1.0 + 1e-9
        coefficients = np.asarray(np.linalg.solve(normal, weighted.T @ values))
    residual = values - terms @ coefficients
    return coefficients, MAD_TO_SD * float(np.median(np.abs(residual)))


def _polynomial(points: Array, degree: int, coefficients: Array) -> Array:
    """Heights at points (n, 2), some at a time."""
    pieces = [_terms(points[k : k + AT_ONCE], degree) @ coefficients for k in range(0, len(points), AT_ONCE)]
    return np.concatenate([np.empty(0), *pieces])


def _terms(points: Array, degree: int) -> Array:
    s, t = points[:, 0], points[:, 1]
    columns = [s ** (total - j) * t**j for total in range(degree + 1) for j in range(total + 1)]
    return np.stack(columns, axis=1)
