"""Shapes beside the spline, as a border of the banded system.

With B the splines and Φ the shapes at the readings, W = weight/u², N = BᵀWB, A = N + λS, G = BᵀWΦ, the normal
equations are

    [ A   G            ] [c]   [BᵀWy]
    [ Gᵀ  ΦᵀWΦ + P⁻¹/ρ ] [a] = [ΦᵀWy]

With the spline integrated out the readings say of the amounts ``M = ΦᵀWΦ − GᵀA⁻¹G`` and ``b = ΦᵀWy − GᵀA⁻¹BᵀWy``
(Schur complement). In the basis where M is diagonal against P, one factor ρ = τ²/φ costs a sum of K terms, so that the
likelihood of a whole ladder of τ comes with one solve, and τ is integrated out instead of being chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.surface.blocks import Factor
from floorfit.surface.grid import CHUNK, Grid
from floorfit.surface.local_shapes import LocalShapes

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Border", "Columns", "Spectrum", "make_columns"]

Array = NDArray[np.float64]

#: Ladder of τ, mm, over which it is integrated: from what no reading of 0.010 mm shows to more than any web of a
#: finished part is let go; each 1.28 times the one before. The weak prior is even in log τ and falls as e^(−τ/0.03 mm):
#: webs of some 100 mm stand out by 0.02 to 0.1 mm where they dish at all (common practice, no source).
TAUS = np.geomspace(0.001, 0.3, 24)
TYPICAL_MM = 0.03


@dataclass(frozen=True)
class Columns:
    """What the readings add up to on the shapes.

    Parameters
    ----------
    right : (K, nl, ns) ndarray
        G, one array for each shape.
    gram : (K, K) ndarray
        ΦᵀWΦ.
    values : (K,) ndarray
        ΦᵀWy.
    root : (K, K) ndarray
        U with U Uᵀ = P, the covariance of the amounts for τ = 1.
    """

    right: Array
    gram: Array
    values: Array
    root: Array


def make_columns(
    grid: Grid, shapes: LocalShapes, points: Array, values: Array, weights: Array, design: csr_array | None = None
) -> Columns:
    """Add up the readings on the shapes.

    Parameters
    ----------
    grid : Grid
    shapes : LocalShapes
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    design : (n, K) sparse, optional
        Of the shapes at the points, where it is known.
    """
    count = shapes.count
    right, gram, own = np.zeros((count, *grid.shape)), np.zeros((count, count)), np.zeros(count)
    for start in range(0, len(values), CHUNK):
        part = slice(start, start + CHUNK)
        one = shapes.design(points[part]) if design is None else design[part]
        weighed = (one * weights[part, None]).tocoo()
        right += grid.right_sides(
            points[part], weighed.row.astype(np.intp), weighed.col.astype(np.intp), weighed.data, count
        )
        gram += (one.T @ weighed).toarray()
        own += weighed.T @ values[part]
    return Columns(right, gram, own, np.asarray(np.linalg.cholesky(shapes.covariance), float))


@dataclass(frozen=True)
class Spectrum:
    """What the readings say of the amounts at one smoothing, in the basis where that is diagonal.

    Parameters
    ----------
    basis : (K, K) ndarray
        Amounts are this times standard normals times τ, before any reading.
    information : (K,) ndarray
        Λ >= 0.
    score : (K,) ndarray
        b in that basis.
    """

    basis: Array
    information: Array
    score: Array

    @classmethod
    def of(cls, factor: Factor, columns: Columns, right: Array) -> tuple[Spectrum, float]:
        """Reduce the border at one smoothing; ``right`` is r = BᵀWy, and the second number rᵀA⁻¹r."""
        pulled, own, square = factor.inner(columns.right, right)
        root = columns.root
        information, turn = np.linalg.eigh(root.T @ (columns.gram - pulled) @ root)
        basis = root @ turn
        return cls(basis, np.maximum(information, 0.0), basis.T @ (columns.values - own)), square

    def log_determinants(self, rho: Array) -> Array:
        """Log |I + ρ M P| for each ρ."""
        return np.asarray(np.log1p(rho[:, None] * self.information).sum(axis=1))

    def explained(self, rho: Array) -> Array:
        """By how much the shapes lower the penalised sum of squares, for each ρ."""
        return np.asarray((rho[:, None] * self.score**2 / (1 + rho[:, None] * self.information)).sum(axis=1))


@dataclass(frozen=True)
class Border:
    """Solution for the amounts, τ integrated out.

    Parameters
    ----------
    factor : Factor
        Of A.
    columns : Columns
    spectrum : Spectrum
    rho : (r,) ndarray, mm²
        τ²/φ on the ladder.
    shares : (r,) ndarray
        How likely each is; they add up to 1.
    inflations : (r,) ndarray
        φ at each.
    """

    factor: Factor
    columns: Columns
    spectrum: Spectrum
    rho: Array
    shares: Array
    inflations: Array

    @cached_property
    def reached(self) -> Array:
        """V = A⁻¹G, (K, nl, ns): how the spline gives way to each shape."""
        return self.factor.solve_many(self.columns.right)

    @property
    def tau(self) -> float:
        """Root mean square of τ, mm."""
        return float(np.sqrt(self.shares @ (self.rho * self.inflations)))

    @property
    def gain(self) -> Array:
        """C: what a score b makes of the amounts, ρ/(1 + ρΛ) averaged over the ladder, (K, K)."""
        s = self.spectrum
        return np.asarray((s.basis * (self.shares @ self._shrunk)) @ s.basis.T)

    @property
    def amounts(self) -> Array:
        """Expected amounts, mm."""
        s = self.spectrum
        return np.asarray(s.basis @ ((self.shares @ self._shrunk) * s.score))

    @property
    def covariance(self) -> Array:
        """Covariance of the amounts over φ: that at each τ, and what their means differ by."""
        s, mean = self.spectrum, self.shares @ self._shrunk
        spread = (self._shrunk - mean) * s.score * np.sqrt(self.shares[:, None] / self.inflations[:, None])
        within = (s.basis * mean) @ s.basis.T
        between = s.basis @ (spread.T @ spread) @ s.basis.T
        return np.asarray(within + between)

    def draw(self, count: int, generator: np.random.Generator) -> tuple[Array, Array]:
        """Joint samples of the amounts less the expected ones (K, count), mm, and φ of each sample (count,)."""
        rungs = generator.choice(len(self.rho), count, p=self.shares)
        shrunk, phi = self._shrunk[rungs], self.inflations[rungs]
        noise = np.sqrt(phi[:, None] * shrunk) * generator.standard_normal(shrunk.shape)
        s = self.spectrum
        return s.basis @ (shrunk * s.score + noise).T - self.amounts[:, None], phi

    def solve(self, alone: Array, values: Array) -> tuple[Array, Array]:
        """Coefficients and amounts for other values of the same places.

        Parameters
        ----------
        alone : (nl, ns) ndarray
            A⁻¹BᵀWy, the spline without shapes.
        values : (K,) ndarray
            ΦᵀWy.
        """
        amounts = self.gain @ (values - np.einsum("kij,ij->k", self.columns.right, alone))
        return alone - np.einsum("k,kij->ij", amounts, self.reached), amounts

    @property
    def _shrunk(self) -> Array:
        return np.asarray(self.rho[:, None] / (1 + self.rho[:, None] * self.spectrum.information))
