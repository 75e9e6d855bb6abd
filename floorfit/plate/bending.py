"""A thin plate on a regular mesh of bicubic B-splines, bent by released curvature: one factor, many loads.

Minimises ``½ ∬ (κ − κ0)ᵀ C (κ − κ0)`` with κ = (w_xx, w_yy, 2 w_xy) and C even over each element: the whole energy of
G. Kirchhoff's plate, with the term ν w_xx w_yy (Timoshenko & Woinowsky-Krieger 1959, §25). Edges are free.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.plate.rigidity import Rigidity

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["PlateMesh"]

#: Gauss points along an element: exact for products of cubics (degree six).
GAUSS = 4


@dataclass(frozen=True)
class PlateMesh:
    """A rectangle of equal elements with the rigidity of each.

    Parameters
    ----------
    bounds : (x_min, y_min, x_max, y_max), mm
    rigidity : Rigidity
        Its shape is that of the mesh.
    """

    bounds: tuple[float, float, float, float]
    rigidity: Rigidity

    @property
    def shape(self) -> tuple[int, int]:
        """Elements along X and Y."""
        k, m = self.rigidity.d11.shape
        return k, m

    @cached_property
    def middles(self) -> tuple[Array, Array]:
        """Middles of the elements along X and Y."""
        x0, y0, x1, y1 = self.bounds
        k, m = self.shape
        return x0 + (np.arange(k) + 0.5) * (x1 - x0) / k, y0 + (np.arange(m) + 0.5) * (y1 - y0) / m

    def at(self, coefficients: Array, x: Array, y: Array) -> Array:
        """Deflections (n, len(x), len(y)) on the rectangle of places x × y.

        Parameters
        ----------
        coefficients : (n, m) ndarray
        x, y : ndarray, mm
        """
        one, two = self._functions(0, x, 0), self._functions(1, y, 0)
        many = coefficients.reshape(len(coefficients), one.shape[1], two.shape[1])
        return np.asarray(one @ many @ two.T)

    def moments(self, kx: Array, ky: Array, kxy: Array) -> Array:
        """Right sides (n, m) of n fields of released curvature: w_xx, w_yy and w_xy of each element cut free, 1/mm.

        Parameters
        ----------
        kx, ky, kxy : (n, k, l) ndarray, 1/mm
        """
        r, (xx, yy, xy) = self.rigidity, self._integrals
        own = ((xx, r.d11 * kx + r.d12 * ky), (yy, r.d12 * kx + r.d22 * ky), (xy, 4 * r.d66 * kxy))
        return np.asarray(sum((matrix @ moment.reshape(len(kx), -1).T).T for matrix, moment in own))

    def forces(self, points: Array, values: Array) -> Array:
        """Right sides (n, m) of n sets of forces over E at places.

        Parameters
        ----------
        points : (places, 2) ndarray, mm
        values : (n, places) ndarray, mm²
        """
        return np.asarray(values @ self._at_points(points))

    def solve(self, right: Array, held: Array, stiff: float | None = None) -> Array:
        """Coefficients (n, m) of the deflections, mm, under n right sides.

        Parameters
        ----------
        right : (n, m) ndarray
        held : (places, 2) ndarray, mm
            Places on springs: three corners for a free plate whose loads balance.
        stiff : float, optional
            Of each spring over E, mm; about that of the plate where left out.
        """
        from scipy.linalg import cho_factor, cho_solve

        x0, y0, x1, y1 = self.bounds
        rows = self._at_points(held)
        spring = float(self.rigidity.d11.mean()) / ((x1 - x0) * (y1 - y0)) if stiff is None else stiff
        whole = self.stiffness.toarray() + spring * rows.T @ rows
        return np.asarray(cho_solve(cho_factor(whole, overwrite_a=True), right.T).T)

    @cached_property
    def stiffness(self) -> csr_array:
        """Stiffness over E of the free plate, (m, m)."""
        r, (xx, yy, xy), weights = self.rigidity, self._designs, self._weights
        d11, d22, d12, d66 = (weights * self._on_gauss(one) for one in (r.d11, r.d22, r.d12, r.d66))
        mixed = xx.T @ (yy * d12[:, None])
        whole: csr_array = (
            xx.T @ (xx * d11[:, None]) + yy.T @ (yy * d22[:, None]) + xy.T @ (xy * (4 * d66)[:, None]) + mixed + mixed.T
        ).tocsr()
        return whole

    def _on_gauss(self, values: Array) -> Array:
        return np.repeat(np.repeat(values, GAUSS, axis=0), GAUSS, axis=1).ravel()

    @cached_property
    def _gauss(self) -> tuple[Array, Array]:
        """Gauss points along X and Y."""
        nodes = np.polynomial.legendre.leggauss(GAUSS)[0]
        halves = [(self.bounds[k + 2] - self.bounds[k]) / self.shape[k] / 2 for k in (0, 1)]
        x, y = (m[:, None] + half * nodes for m, half in zip(self.middles, halves, strict=True))
        return x.ravel(), y.ravel()

    @cached_property
    def _weights(self) -> Array:
        """Area that each Gauss point stands for, X before Y."""
        own = np.polynomial.legendre.leggauss(GAUSS)[1] / 2
        (x0, y0, x1, y1), (k, m) = self.bounds, self.shape
        return np.outer(np.tile(own * (x1 - x0) / k, k), np.tile(own * (y1 - y0) / m, m)).ravel()

    @cached_property
    def _designs(self) -> tuple[csr_array, csr_array, csr_array]:
        """w_xx, w_yy and w_xy of each B-spline at the Gauss points."""
        from scipy.sparse import csr_array, kron

        orders = ((2, 0), (0, 2), (1, 1))
        x, y = self._gauss
        pairs = [(csr_array(self._functions(0, x, a)), csr_array(self._functions(1, y, b))) for a, b in orders]
        xx, yy, xy = (csr_array(kron(one, two)) for one, two in pairs)
        return xx, yy, xy

    @cached_property
    def _integrals(self) -> tuple[csr_array, csr_array, csr_array]:
        """Integral of w_xx, w_yy and w_xy of each B-spline over each element, (m, elements)."""
        from scipy.sparse import csr_array

        k, m = self.shape
        element = self._on_gauss(np.arange(k * m, dtype=float).reshape(k, m)).astype(np.intp)
        places = np.arange(len(element))
        spread = csr_array((self._weights, (places, element)), shape=(len(element), k * m))
        xx, yy, xy = ((one.T @ spread).tocsr() for one in self._designs)
        return xx, yy, xy

    def _at_points(self, points: Array) -> Array:
        """Value of each B-spline at places, (places, m)."""
        one, two = (self._functions(axis, points[:, axis], 0) for axis in (0, 1))
        return np.asarray((one[:, :, None] * two[:, None, :]).reshape(len(points), -1))

    def _functions(self, axis: int, places: Array, order: int) -> Array:
        """Value or derivative of each B-spline along an axis at places, (n, elements + 3)."""
        from scipy.interpolate import BSpline

        low, high = self.bounds[axis], self.bounds[axis + 2]
        count = self.shape[axis]
        knots = low + (high - low) / count * np.arange(-3, count + 4)
        return np.asarray(BSpline(knots, np.eye(count + 3), 3)(places, nu=order))
