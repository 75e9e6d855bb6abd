"""Covariances of the spline's coefficients and of the amounts of the shapes beside it, as far as places need them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.blocks import outer, outer_sum
from floorfit.surface.border import Border
from floorfit.surface.grid import CHUNK, Band, Grid
from floorfit.surface.local_shapes import LocalShapes, Misfit

__all__ = ["Covariance"]


@dataclass(frozen=True)
class Covariance:
    """Covariances of the spline's neighbouring coefficients, of the shapes' amounts, and between the two.

    Parameters
    ----------
    grid : Grid
    band : Band
        Of the coefficients, mm².
    shapes : LocalShapes or None
    cross : (K, nl, ns) ndarray
        Between amounts and coefficients, mm².
    amounts : (K, K) ndarray, mm²
    misfit : Misfit or None
        What the shapes' forms leave out.
    """

    grid: Grid
    band: Band
    shapes: LocalShapes | None
    cross: Array
    amounts: Array
    misfit: Misfit | None = None

    @classmethod
    def of(
        cls, grid: Grid, inverse: Band, border: Border | None, shapes: LocalShapes | None, amounts: Array
    ) -> Covariance:
        """Covariance at φ = 1 from the spline's own, A⁻¹, and a covariance of the amounts: the spline gives way.

        Parameters
        ----------
        grid : Grid
        inverse : Band
            Of A⁻¹.
        border : Border or None
        shapes : LocalShapes or None
        amounts : (K + J, K + J) ndarray, mm²
            Covariance of amounts and knots.
        """
        if border is None or shapes is None:
            return cls(grid, inverse, None, np.empty((0, *grid.shape)), amounts)
        cross = -np.tensordot(amounts, border.reached, 1)
        band, k = inverse - outer_sum(cross, border.reached), shapes.count
        return cls(grid, band, shapes, cross[:k], amounts[:k, :k])

    def scaled(self, factor: float) -> Covariance:
        """Times a factor."""
        return Covariance(self.grid, factor * self.band, self.shapes, factor * self.cross, factor * self.amounts)

    def spread(self, coefficients: Array, amounts: Array, share: float) -> Covariance:
        """And what a share of other best estimates, so far away from this one, adds.

        Parameters
        ----------
        coefficients : (nl, ns) ndarray, mm
        amounts : (K,) ndarray, mm
            The others less this one.
        share : float
            How likely the others are.
        """
        cross = self.cross + share * amounts[:, None, None] * coefficients
        own = self.amounts + share * np.outer(amounts, amounts)
        return Covariance(self.grid, self.band + share * outer(coefficients), self.shapes, cross, own)

    def at(self, points: Array) -> Array:
        """Variance of the warp at places (n, 2), mm²."""
        variance = self.grid.quadratic_at(self.band, points)
        if self.shapes is None:
            return variance
        for start in range(0, len(points), CHUNK):
            part = slice(start, start + CHUNK)
            variance[part] += self._shaped(points[part])
        return variance

    def _shaped(self, points: Array) -> Array:
        assert self.shapes is not None
        design = self.shapes.design(points)
        extra = _quadratic(design, self.amounts)
        if self.misfit is not None:
            extra += self.misfit.variance_at(points)
        pairs = design.tocoo()
        rows, numbers = pairs.row.astype(np.intp), pairs.col.astype(np.intp)
        crossed = pairs.data * self.grid.each_at(self.cross, numbers, points[rows])
        extra += 2 * np.bincount(rows, crossed, len(points))
        return extra


def _quadratic(design, matrix: Array) -> Array:  # type: ignore[no-untyped-def]
    """``φᵀ C φ`` of each row of a sparse design; a place lies on one shape or on few."""
    counts = np.diff(design.indptr)
    out = np.zeros(design.shape[0])
    single = np.flatnonzero(counts == 1)
    first = design.indptr[single]
    out[single] = design.data[first] ** 2 * np.diag(matrix)[design.indices[first]]
    several = np.flatnonzero(counts > 1)
    for start in range(0, len(several), 5_000):
        rows = several[start : start + 5_000]
        part = design[rows]
        out[rows] = np.asarray((part * (part @ matrix)).sum(axis=1)).ravel()
    return out
