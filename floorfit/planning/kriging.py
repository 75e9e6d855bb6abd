"""What readings leave unknown of a smooth surface: kriging variances, updated reading by reading.

The prior is the one that the smoothing thin-plate spline stands for: generalised covariance τ² r² ln r and a linear
drift about which nothing is known (G. Wahba, Spline Models for Observational Data, 1990, 1.5 and 2.4). Pinned at
three places it becomes an ordinary covariance; the drift gets a variance so large that it does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Posterior", "Prior", "make_prior"]

Array = NDArray[np.float64]

#: Standard deviation of the warp at the three pins, mm: far above any, and well below what float64 can take back.
PIN_SD_MM = 100.0
#: Covariances below this may be kept in single precision, mm²: its rounding is then below 1e-8 mm².
SMALL_MM2 = 0.1


@dataclass(frozen=True)
class Prior:
    """Covariance of the surface before any reading.

    Parameters
    ----------
    pins : (3, 2) ndarray, mm
        Three places not on a line.
    tau2 : float, mm² per mm²
        Factor of r² ln r.
    """

    pins: Array
    tau2: float

    def covariance(self, a: Array, b: Array) -> Array:
        """Covariance between places, (k, 2) and (l, 2) to (k, l), mm².

        Parameters
        ----------
        a, b : (k, 2), (l, 2) ndarray, mm
        """
        pa, pb = self._weights(a), self._weights(b)
        spline = _kernel(a, b) - pa @ _kernel(self.pins, b) - _kernel(a, self.pins) @ pb.T
        spline += pa @ _kernel(self.pins, self.pins) @ pb.T
        return np.asarray(self.tau2 * spline + PIN_SD_MM**2 * (pa @ pb.T))

    def variance(self, a: Array) -> Array:
        """Variance at places, mm²."""
        pa = self._weights(a)
        spline = -2.0 * np.einsum("ij,ij->i", pa, _kernel(a, self.pins))
        spline += np.einsum("ij,jk,ik->i", pa, _kernel(self.pins, self.pins), pa)
        return np.asarray(self.tau2 * spline + PIN_SD_MM**2 * np.einsum("ij,ij->i", pa, pa))

    def _weights(self, points: Array) -> Array:
        """Barycentric coordinates about the pins: planes through them are reproduced."""
        # About the first pin: a part far from the origin would lose its digits.
        legs = (self.pins[1:] - self.pins[0]).T
        two = np.linalg.solve(legs, (points - self.pins[0]).T).T
        return np.column_stack([1.0 - two.sum(axis=1), two])


def make_prior(x_min: float, y_min: float, x_max: float, y_max: float, tau2: float) -> Prior:
    """Pin the prior at three places spread over a rectangle, mm.

    Parameters
    ----------
    x_min, y_min, x_max, y_max : float, mm
        The rectangle.
    tau2 : float, mm² per mm²
        Factor of r² ln r.
    """
    w, h = x_max - x_min, y_max - y_min
    pins = np.array([[x_min + 0.1 * w, y_min + 0.1 * h], [x_max - 0.1 * w, y_min + 0.1 * h], [x_min + w / 2, y_max]])
    return Prior(pins, tau2)


def _kernel(a: Array, b: Array) -> Array:
    """r² ln r, zero at r = 0."""
    square = (a[:, None, 0] - b[None, :, 0]) ** 2 + (a[:, None, 1] - b[None, :, 1]) ** 2
    return np.asarray(0.5 * square * np.log(np.where(square > 0, square, 1.0)))


class Posterior:
    """Variances at places and of sums over places, as readings are added one at a time.

    Kept as the rows of a pivoted Cholesky factor, so that a reading costs one pass over what is kept.

    Parameters
    ----------
    prior : Prior
        Before any reading.
    places : (n, 2) ndarray, mm
        Where a reading can be taken.
    targets : (k, 2) ndarray, mm
        Places that the sums are over.
    sums : (f, k) ndarray
        Weights of each sum.
    capacity : int
        Readings that will be added.
    """

    def __init__(self, prior: Prior, places: Array, targets: Array, sums: Array, capacity: int) -> None:
        """Compute the prior covariances; nothing is read yet."""
        self.prior, self.places = prior, places
        self.variance = prior.variance(places)
        self.sum_variance = np.einsum("fk,kl,fl->f", sums, prior.covariance(targets, targets), sums, optimize=True)
        self.rows = np.empty((capacity, len(places)))
        self.sum_rows = np.empty((capacity, len(sums)))
        self.count = 0
        self._targets, self._sums = targets, sums
        # Covariances of the sums with the places after the first `_settled` readings; single precision serves
        # once the drift is known, and halves the time.
        self._base: NDArray[np.floating] = sums @ prior.covariance(targets, places)
        self._settled = 0

    def settle(self) -> NDArray[np.floating]:
        """Return the covariance of every sum with the surface at every place, (f, n), mm²; a matrix product."""
        new = slice(self._settled, self.count)
        base = self._base - (self.sum_rows[new].T @ self.rows[new]).astype(self._base.dtype)
        if base.dtype == np.float64 and float(np.abs(base).max()) < SMALL_MM2:
            base = base.astype(np.float32)
        self._base, self._settled = base, self.count
        return self._base

    def add(self, index: int, noise2: float, weights: Array) -> Taken:
        """Take a reading at place ``index``.

        Parameters
        ----------
        index : int
            Into ``places``.
        noise2 : float, mm²
            Variance of the reading.
        weights : (f,) ndarray
            Weights of the sums in ``Taken.cross``.

        Returns
        -------
        Taken
        """
        n, new = self.count, slice(self._settled, self.count)
        root = np.sqrt(max(float(self.variance[index]), 0.0) + noise2)
        covariance = self._base[:, index].astype(float) - self.rows[new, index] @ self.sum_rows[new]
        sums = covariance / root
        pull = (weights * sums).astype(self._base.dtype)
        lead = np.zeros((2, n))
        lead[0], lead[1, new] = self.rows[:n, index], self.sum_rows[new] @ pull
        product = lead @ self.rows[:n]
        row = (self.prior.covariance(self.places[index : index + 1], self.places)[0] - product[0]) / root
        self.rows[n], self.sum_rows[n] = row, sums
        self.variance = self.variance - row**2
        self.sum_variance = self.sum_variance - sums**2
        self.count += 1
        return Taken(row, sums, np.asarray(pull @ self._base - product[1], float))

    def add_known(self, points: Array, noise2: Array) -> None:
        """Take readings at other places, all at once, before any `add`: those of a job that was run.

        Parameters
        ----------
        points : (m, 2) ndarray, mm
            Where they were taken.
        noise2 : (m,) ndarray, mm²
            Their variances.
        """
        from scipy.linalg import cholesky, solve_triangular

        if len(points) == 0:
            return
        factor = cholesky(self.prior.covariance(points, points) + np.diag(noise2), lower=True)
        rows = solve_triangular(factor, self.prior.covariance(points, self.places), lower=True)
        sums = solve_triangular(factor, self.prior.covariance(points, self._targets), lower=True) @ self._sums.T
        self.variance = self.variance - (rows**2).sum(axis=0)
        self.sum_variance = self.sum_variance - (sums**2).sum(axis=0)
        self.rows = np.vstack([rows, self.rows])
        self.sum_rows = np.vstack([sums, self.sum_rows])
        self.count = len(points)
        self.settle()


@dataclass(frozen=True)
class Taken:
    """What a reading changed: with row l and sums t, every covariance T of a sum with a place falls by t·l.

    Parameters
    ----------
    row : (n,) ndarray, mm
        l: covariance with each place over the reading's standard deviation.
    sums : (f,) ndarray, mm
        t: the same with each sum.
    cross : (n,) ndarray, mm²
        Weighted sum over the sums of t·T before the reading.
    """

    row: Array
    sums: Array
    cross: Array
