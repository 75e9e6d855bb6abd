"""Shapes beside the spline, as a border of the banded system.

With B the splines and Φ the shapes at the readings, W = weight/u², N = BᵀWB, A = N + λS, G = BᵀWΦ, the normal
equations are

    [ A   G            ] [c]   [BᵀWy]
    [ Gᵀ  ΦᵀWΦ + P⁻¹/ρ ] [a] = [ΦᵀWy]

With the spline integrated out the readings say of the amounts ``M = ΦᵀWΦ − GᵀA⁻¹G`` and ``b = ΦᵀWy − GᵀA⁻¹BᵀWy``
(Schur complement). With M tridiagonal against P one factor ρ = τ²/φ costs some K operations, so that the likelihood of
a whole ladder of τ comes with one solve, and τ is integrated out instead of being chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.axis import Axis
from floorfit.surface.blocks import Factor, Rights
from floorfit.surface.grid import CHUNK, Grid
from floorfit.surface.local_shapes import LocalShapes, Root
from floorfit.surface.spline import greville

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Border", "ShapeColumns", "Slow", "Spectrum", "make_columns", "with_slow"]

#: Ladder of τ, mm, over which it is integrated: from what no reading of 0.010 mm shows to more than any web of a
#: finished part is let go; each 1.28 times the one before. The weak prior is even in τ (A. Gelman, Bayesian Analysis 1,
#: 515, 2006: one even in log τ claims from few webs that none dishes) and falls as e^(−τ/0.03 mm): webs of some 100 mm
#: stand out by 0.02 to 0.1 mm where they dish at all (common practice, no source).
TAUS = np.geomspace(0.001, 0.3, 24)
TYPICAL_MM = 0.03

#: Times that a spline is moved towards the ramp that it stands for.
SHARPENED = 4


@dataclass(frozen=True)
class Slow:
    """An error that changes slowly from reading to reading: linear between J knots.

    Parameters
    ----------
    design : (n, J) sparse
        What each reading has of each knot.
    covariance : (J, J) ndarray, mm²
        Of the knots, in units of φ.
    size : float, mm
        Standard deviation of the error.
    length : float
        Readings over which it is correlated; infinite for a drift (a line, its bow and a cubic) and for a step.
    gain : float
        Twice the log likelihood that the fit gained by it.
    breaks : tuple of (int, float)
        Axis and place, mm, of the last knots where they are no error but angles by which the plate breaks there.
    step : float or None
        Time or number of the first reading after a step, where the error is one.
    """

    design: csr_array
    covariance: Array
    size: float
    length: float
    gain: float = 0.0
    breaks: tuple[tuple[int, float], ...] = ()
    step: float | None = None

    @property
    def errors(self) -> csr_array:
        """The design without what belongs to the plate, (n, J)."""
        from scipy.sparse import csr_array

        kept = np.ones(len(self.covariance))
        kept[len(kept) - len(self.breaks) :] = 0.0
        return csr_array(self.design * kept)

    def lift(self, grid: Grid) -> Array:
        """Coefficients of what belongs to the plate for each knot, (J, nl, ns): ramps from each line on.

        The splines round a break over a cell.
        """
        out = np.zeros((len(self.covariance), *grid.shape))
        for k, (axis, line) in enumerate(self.breaks, len(out) - len(self.breaks)):
            is_along = (axis == 0) != grid.swapped
            ramp = _ramp(grid.along if is_along else grid.across, line)
            out[k] = ramp[:, None] if is_along else ramp
        return out


def _ramp(axis: Axis, line: float) -> Array:
    """Coefficients of a ramp from a line on: its values at the Greville abscissae, and what these leave out near it."""
    places = greville(axis.knots)
    coefficients = wanted = np.maximum(places - line, 0.0)
    design = axis.matrix(places)
    for _ in range(SHARPENED):
        coefficients = coefficients + wanted - design @ coefficients
    return np.asarray(coefficients)


@dataclass(frozen=True)
class ShapeColumns:
    """What the readings add up to on the shapes.

    Parameters
    ----------
    right : (K, nl, ns) ndarray
        G, one array for each shape.
    gram : (K, K) ndarray
        ΦᵀWΦ.
    values : (K,) ndarray
        ΦᵀWy.
    root : Root
        U with U Uᵀ = P, the covariance of the amounts for τ = 1.
    slow : Slow or None
        An error of the readings, in the order they were taken: its J knots come after the K shapes in the others.
    lift : (J, nl, ns) ndarray or None
        Coefficients of what of it belongs to the plate, where any does.
    """

    right: Array
    gram: Array
    values: Array
    root: Root
    slow: Slow | None = None
    lift: Array | None = None

    @property
    def shapes(self) -> int:
        """Number of shapes, K; the rest are knots of the slow error."""
        return len(self.root.sizes)


def make_columns(
    grid: Grid, shapes: LocalShapes, points: Array, values: Array, weights: Array, design: csr_array | None = None
) -> ShapeColumns:
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
    return ShapeColumns(right, gram, own, shapes.root)


def with_slow(
    columns: ShapeColumns, grid: Grid, slow: Slow, points: Array, values: Array, weights: Array, design: csr_array
) -> ShapeColumns:
    """Add a slow error to what readings add up to; ``design`` (n, K) is that of the shapes.

    Parameters
    ----------
    columns : ShapeColumns
    grid : Grid
    slow : Slow
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    design : (n, K) sparse
    """
    from scipy.sparse import csr_array, hstack

    both = csr_array(hstack([design, slow.design]))  # an array in older releases too: * is place by place
    knots = slow.design.tocoo()
    rows, places = knots.row.astype(np.intp), knots.col.astype(np.intp)
    right = grid.right_sides(points, rows, places, knots.data * weights[rows], knots.shape[1])
    gram = (both.T @ (both * weights[:, None])).toarray()
    right = np.concatenate([columns.right, right])
    lift = slow.lift(grid) if slow.breaks else None
    return ShapeColumns(right, gram, both.T @ (weights * values), columns.root, slow, lift)


@dataclass(frozen=True)
class Spectrum:
    """What the readings say of the amounts at one smoothing.

    Parameters
    ----------
    root : Root
        U: amounts are this times standard normals times τ, before any reading.
    matrix : (K, K) ndarray
        ``Uᵀ M U``, semidefinite.
    pull : (K,) ndarray
        ``Uᵀ b``.
    link : (J, K) ndarray
        By how much the knots of a slow error give way to each amount.
    knots : (J, J) ndarray, mm²
        Covariance of the knots where the amounts are known.
    slow_score : (J,) ndarray
        b of the knots.
    slow_log_determinant : float
        Log |I + Σ M| of the knots.
    """

    root: Root
    matrix: Array
    pull: Array
    link: Array
    knots: Array
    slow_score: Array
    slow_log_determinant: float = 0.0

    @classmethod
    def of(cls, factor: Factor, columns: ShapeColumns, rights: Rights) -> tuple[Spectrum, float]:
        """Reduce the border at one smoothing; ``rights`` has r = BᵀWy and G, and the second number is rᵀA⁻¹r.

        Parameters
        ----------
        factor : Factor
            Of A.
        columns : ShapeColumns
        rights : Rights
        """
        pulled, own, square = factor.inner(rights)
        seen, score, k = columns.gram - pulled, columns.values - own, columns.shapes
        knots, link, determinant = np.empty((0, 0)), np.empty((0, k)), 0.0
        if columns.slow is not None:
            prior = columns.slow.covariance
            knots = np.linalg.inv(seen[k:, k:] + np.linalg.inv(prior))
            link = -knots @ seen[k:, :k]
            determinant = float(np.linalg.slogdet(prior)[1] - np.linalg.slogdet(knots)[1])
        own_score, root = score[:k] + link.T @ score[k:], columns.root
        matrix = root.pull(root.pull(seen[:k, :k] + seen[:k, k:] @ link).T)
        square += float(score[k:] @ knots @ score[k:])
        found = cls(root, (matrix + matrix.T) / 2, root.pull(own_score), link, knots, score[k:], determinant)
        return found, square

    def evidence(self, rho: Array) -> tuple[Array, Array]:
        """Log |I + ρ M P| for each ρ, and by how much the shapes lower the penalised sum of squares.

        A similar tridiagonal matrix gives both without its eigenvectors.
        """
        from scipy.linalg.lapack import dormqr, dptsv, dsytrd

        if len(self.pull) == 1:
            pivot = 1 + rho * self.matrix[0, 0]
            return np.log(pivot) + self.slow_log_determinant, rho * self.pull[0] ** 2 / pivot
        room = 64 * len(self.pull)  # for LAPACK to work in blocks: a third less of the time of 1,000 shapes
        turned, diagonal, beside, tau, _ = dsytrd(np.asfortranarray(self.matrix), lower=1, lwork=room, overwrite_a=1)
        rest = dormqr("L", "T", turned[1:, :-1], tau, self.pull[1:, None], room)[0][:, 0]
        pull = np.concatenate([self.pull[:1], rest])
        determinants, explained = np.empty(len(rho)), np.empty(len(rho))
        for k, one in enumerate(rho):
            pivots, _, solved, _ = dptsv(1 + one * diagonal, one * beside, pull)
            determinants[k], explained[k] = np.log(pivots).sum(), one * float(pull @ solved)
        return determinants + self.slow_log_determinant, explained

    @cached_property
    def _turned(self) -> tuple[Array, Array]:
        information, turn = np.linalg.eigh(self.matrix)
        return np.maximum(information, 0.0), turn

    @property
    def turn(self) -> Array:
        """Eigenvectors of the matrix, (K, K)."""
        return self._turned[1]

    @property
    def information(self) -> Array:
        """Λ >= 0, (K,): what is known of the amounts in the basis where that is diagonal."""
        return self._turned[0]

    @cached_property
    def basis(self) -> Array:
        """Amounts are this times standard normals times τ, (K, K)."""
        return self.root.push(self.turn)

    @cached_property
    def score(self) -> Array:
        """b in that basis, (K,)."""
        return np.asarray(self.turn.T @ self.pull)


@dataclass(frozen=True)
class Border:
    """Solution for the amounts, τ integrated out.

    Parameters
    ----------
    factor : Factor
        Of A.
    columns : ShapeColumns
    spectrum : Spectrum
    rho : (r,) ndarray, mm²
        τ²/φ on the ladder.
    shares : (r,) ndarray
        How likely each is; they add up to 1.
    dispersions : (r,) ndarray
        φ at each.
    """

    factor: Factor
    columns: ShapeColumns
    spectrum: Spectrum
    rho: Array
    shares: Array
    dispersions: Array

    @cached_property
    def reached(self) -> Array:
        """V = A⁻¹G, (K + J, nl, ns): how the spline gives way to each, less what belongs to the plate."""
        reached = self.factor.solve_many(self.columns.right)
        if self.columns.lift is not None:
            reached[-len(self.columns.lift) :] -= self.columns.lift
        return reached

    @property
    def tau(self) -> float:
        """Root mean square of τ, mm."""
        return float(np.sqrt(self.shares @ (self.rho * self.dispersions)))

    @property
    def parameters(self) -> float:
        """Effective number of parameters that the shapes take."""
        return float((self.shares @ self._shrunk) @ self.spectrum.information)

    @cached_property
    def gain(self) -> Array:
        """C: what a score b makes of amounts and knots, ρ/(1 + ρΛ) averaged over the ladder, (K + J, K + J)."""
        s = self.spectrum
        return self._with_knots((s.basis * (self.shares @ self._shrunk)) @ s.basis.T)

    def _with_knots(self, amounts: Array) -> Array:
        """Covariance of amounts and knots from that of the amounts."""
        link = self.spectrum.link
        cross = link @ amounts
        return np.block([[amounts, cross.T], [cross, self.spectrum.knots + cross @ link.T]])

    @property
    def amounts(self) -> Array:
        """Expected amounts, mm."""
        s = self.spectrum
        return np.asarray(s.basis @ ((self.shares @ self._shrunk) * s.score))

    @property
    def slow_error(self) -> Array:
        """Expected knots of the slow error, mm; empty without one."""
        return np.asarray(self.spectrum.knots @ self.spectrum.slow_score + self.spectrum.link @ self.amounts)

    @property
    def covariance(self) -> Array:
        """Covariance of amounts and knots over φ: that at each τ, and what their means differ by."""
        s, mean = self.spectrum, self.shares @ self._shrunk
        spread = (self._shrunk - mean) * s.score * np.sqrt(self.shares[:, None] / self.dispersions[:, None])
        within = (s.basis * mean) @ s.basis.T
        between = s.basis @ (spread.T @ spread) @ s.basis.T
        return self._with_knots(within + between)

    def draw(self, count: int, generator: np.random.Generator) -> tuple[Array, Array]:
        """Joint samples of amounts and knots less the expected ones (K + J, count), mm, and φ of each (count,).

        By the symmetric root of the covariance: of eigenvectors that belong together any turn gives the same samples.

        Parameters
        ----------
        count : int
        generator : Generator
        """
        rungs = generator.choice(len(self.rho), count, p=self.shares)
        shrunk, phi, s = self._shrunk[rungs], self.dispersions[rungs], self.spectrum
        noise = np.sqrt(phi[:, None] * shrunk) * (generator.standard_normal(shrunk.shape) @ s.turn)
        amounts = s.basis @ (shrunk * s.score + noise).T - self.amounts[:, None]
        if not len(s.knots):
            return amounts, phi
        free = np.linalg.cholesky(s.knots) @ generator.standard_normal((len(s.knots), count))
        return np.concatenate([amounts, s.link @ amounts + np.sqrt(phi) * free]), phi

    def solve(self, alone: Array, values: Array) -> tuple[Array, Array]:
        """Coefficients and amounts (with knots) for other values of the same places.

        Parameters
        ----------
        alone : (nl, ns) ndarray
            A⁻¹BᵀWy, the spline without shapes.
        values : (K + J,) ndarray
            ΦᵀWy.
        """
        amounts = self.gain @ (values - np.einsum("kij,ij->k", self.columns.right, alone))
        return self.lifted(alone - self.factor.solve(self.pull(amounts[:, None])[0]), amounts), amounts

    def pull(self, amounts: Array) -> Array:
        """What amounts and knots (K + J, count) take off the right-hand side, (count, nl, ns): G a."""
        return np.tensordot(amounts.T, self.columns.right, 1)

    def lifted(self, coefficients: Array, amounts: Array) -> Array:
        """With what belongs to the plate of amounts and knots (K + J, ...): coefficients (nl, ns, ...).

        Parameters
        ----------
        coefficients : (nl, ns, ...) ndarray, mm
        amounts : (K + J, ...) ndarray, mm
        """
        lift = self.columns.lift
        return coefficients if lift is None else coefficients + np.tensordot(lift, amounts[-len(lift) :], (0, 0))

    @property
    def _shrunk(self) -> Array:
        return np.asarray(self.rho[:, None] / (1 + self.rho[:, None] * self.spectrum.information))
