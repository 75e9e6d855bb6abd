"""How sure the surface is: exact variances anywhere, and joint samples of the whole of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.surface.grid import Band, Grid

__all__ = ["Posterior"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Posterior:
    """Gaussian posterior of the warp, with the smoothing's own uncertainty in the samples.

    Parameters
    ----------
    grid : Grid
    covariance : Band
        Covariances of neighbouring coefficients, mm², noise inflation and spread of λ included.
    deviations : (nl, ns, count) ndarray, mm
        Joint samples of the coefficients, minus the fitted ones.
    """

    grid: Grid
    covariance: Band
    deviations: Array

    @property
    def count(self) -> int:
        """Number of joint samples."""
        return int(self.deviations.shape[2])

    def std_at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Standard uncertainty of the warp at plan positions, mm.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        flat = self.grid.quadratic_at(self.covariance, np.column_stack([xs.ravel(), ys.ravel()]))
        return np.sqrt(np.maximum(flat, 0.0)).reshape(xs.shape)

    def std_on_grid(self, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Standard uncertainty on the rectangle xs × ys, mm, shape (len(xs), len(ys)).

        Parameters
        ----------
        xs, ys : (k,), (l,) array_like, mm
        """
        return self.std_at(np.asarray(xs, float)[:, None], np.asarray(ys, float)[None, :])

    def samples_at(self, points: ArrayLike) -> Array:
        """Joint samples of warp minus fitted warp at points (n, 2) that lie close together, mm, shape (count, n)."""
        (rows, columns), design = self.grid.design(points)
        patch = self.deviations[rows, columns].reshape(-1, self.count)
        return np.ascontiguousarray((design @ patch).T)
