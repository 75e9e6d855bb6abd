"""How much to smooth: restricted maximum likelihood on the grid.

Readings y = w(x) + e, e ~ N(0, φ u²/weight), and w ~ the thin-plate prior with precision λ S / φ. With plane drift
free, twice the negative restricted log likelihood is, up to a constant,

    (n − 3) log φ + log |N + λ S| − (m − 3) log λ + (yᵀWy − rᵀc) / φ        (Wahba 1990, §4.8; Wood 2011)

where W = weight / u², N = BᵀWB, r = BᵀWy and c solves (N + λ S) c = r. For sparse readings it can run to zero
smoothing and a vanishing noise; so φ is never below 1: noise is *estimated* only as an dispersion of what is known, and
against a prior that trusts what is stated. Shapes beside the spline enter as a border (`floorfit.surface.border`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.blocks import Factor, Rights, factorise, product
from floorfit.surface.border import TAUS, TYPICAL_MM, Border, ShapeColumns, Slow, Spectrum, make_columns, with_slow
from floorfit.surface.grid import Band, Grid
from floorfit.surface.local_energy import Rough, local_energy
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.modes import Modes
from floorfit.surface.spline import plane_coefficients

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = [
    "Equations",
    "Prior",
    "Solution",
    "assemble",
    "columns_of",
    "factor_of",
    "solve",
]

#: A weak prior for log λ, so that a handful of readings cannot claim a plate that is exactly flat, or one that is
#: crumpled. Its centre is a plate with curvatures of the order of 1e-5 /mm (released residual stress of 10 to 20 MPa,
#: Treuting & Read 1951) that vary over some 500 mm: λ = 1/τ² ≈ 1e6 mm⁻² per mm² of bending energy; its width, three
#: units of log, is a factor of 20 either way. With more than about 30 readings the likelihood decides.
PRIOR_LOG_MEAN = float(np.log(1e6))
PRIOR_LOG_SD = 3.0
#: Prior of log φ: Student's t about nothing. A stated uncertainty is right within some 10 % (its standard deviation),
#: or it is wrong by as much as it likes (three degrees of freedom); without it the likelihood buys a smoother surface
#: by calling what it does not follow noise.
PHI_SD, PHI_FREEDOM = 0.1, 3.0


def _phi_cost(log_phi: Array) -> Array:
    """Twice the negative log of that prior."""
    return np.asarray((PHI_FREEDOM + 1) * np.log1p((log_phi / PHI_SD) ** 2 / PHI_FREEDOM))


#: Log φ that are tried before the parabola, what of a sum of squares is left at each, and what each costs.
LOG_PHIS = np.concatenate([np.arange(0.0, 0.5, 0.02), np.arange(0.5, 8.0, 0.1), np.arange(8.0, 30.0, 0.5)])
LOG_PHI_SHARES, LOG_PHI_COSTS = np.exp(-LOG_PHIS), _phi_cost(LOG_PHIS)


@dataclass(frozen=True)
class Equations:
    """What the readings add up to on one grid.

    Parameters
    ----------
    grid : Grid
    normal : Band
        N = BᵀWB.
    right : (nl, ns) ndarray
        r = BᵀWy, with the plane of least squares taken out of y.
    square : float
        yᵀWy.
    count : float
        Number of readings that count (sum of the robust weights).
    columns : ShapeColumns or None
        What they add up to on the shapes beside the spline.
    """

    grid: Grid
    normal: Band
    right: Array
    square: float
    count: float
    columns: ShapeColumns | None = None

    @cached_property
    def rights(self) -> Rights:
        """r and G, ready for any factor."""
        many = np.empty((0, *self.grid.shape)) if self.columns is None else self.columns.right
        return Rights.of(self.right, many)

    @property
    def reading_variance(self) -> float:
        """u² of the readings, their harmonic mean, mm²: B-splines add up to 1, so that ``1ᵀN1 = Σ 1/u²``."""
        return self.count / float(product(self.normal, np.ones((1, *self.grid.shape))).sum())


@dataclass(frozen=True)
class Prior:
    """What is taken for likely before any reading.

    Parameters
    ----------
    smoothing : float
        λ, in 1/mm² for w in mm with readings weighted by 1/u².
    smooth_length : float, mm
        Length below which the curvature does not change freely, see `Grid.energy`; 0 for the thin-plate spline.
    tension : float, mm
        Length above which a tension resists rather than bending, see `Grid.energy`; 0 for none.
    rough : Rough or None
        Where the ground is rougher than elsewhere, without a tension.
    modes : Modes or None
        Shapes that are likely beside the spline.
    modes_size : float, mm
        s, how far they go.
    known : Modes or None
        Shapes of the whole plate whose size is known beforehand: in all that is compared.
    """

    smoothing: float
    smooth_length: float = 0.0
    tension: float = 0.0
    rough: Rough | None = None
    modes: Modes | None = None
    modes_size: float = 0.0
    known: Modes | None = None

    def energy(self, grid: Grid) -> Band:
        """S on a grid. Planes are free; under a tension they are once `Factor.free` has freed them."""
        if self.rough is not None and not self.tension:
            return local_energy(grid, self.smooth_length, self.rough)
        return grid.energy(self.smooth_length, self.tension)


@dataclass(frozen=True)
class Solution:
    """The fit at one smoothing.

    Parameters
    ----------
    equations : Equations
    prior : Prior
        Smoothing and smoothness length.
    factor : Factor
        Of N + λ S.
    dispersion : float
        φ >= 1 (or the value that was set).
    criterion : float
        Twice the negative log of likelihood times prior.
    border : Border or None
        The shapes' part, where there are shapes.
    """

    equations: Equations
    prior: Prior
    factor: Factor
    dispersion: float
    criterion: float
    border: Border | None = None

    @cached_property
    def coefficients(self) -> Array:
        """Of the spline, (nl, ns), without the plane."""
        return self._both[0]

    @property
    def amounts(self) -> Array:
        """Of the shapes, (K,), mm; empty without shapes."""
        return self._both[1][: 0 if self.border is None else self.border.columns.shapes]

    @cached_property
    def _both(self) -> tuple[Array, Array]:
        alone = self.factor.solve(self.equations.right)
        if self.border is None:
            return alone, np.empty(0)
        return self.border.solve(alone, self.border.columns.values)

    def gains(self, functionals: Array, shaped: Array, amounts: Array | None = None) -> tuple[Array, Array]:
        """Covariances at φ = 1 of functionals of the warp with every coefficient and amount, ``C f``.

        Parameters
        ----------
        functionals : (p, nl, ns) ndarray
            What each takes of the coefficients.
        shaped : (p, K) ndarray
            What it takes of the amounts.
        amounts : (K, K) ndarray, optional
            Covariance of the amounts, instead of the border's gain.

        Returns
        -------
        (p, nl, ns), (p, K + J) ndarray
            With the knots of a slow error last, where there is one.
        """
        gains = self.factor.solve_many(functionals)
        if self.border is None:
            return gains, np.empty((len(functionals), 0))
        left = -functionals.reshape(len(functionals), -1) @ self.border.reached.reshape(len(self.border.reached), -1).T
        left[:, : shaped.shape[1]] += shaped
        extra = left @ (self.border.gain if amounts is None else amounts)
        gains -= np.tensordot(extra, self.border.reached, 1)
        return gains, extra

    def with_columns(self, columns: ShapeColumns | None) -> Solution:
        """Return the solution with other shapes, or slow errors, beside the same spline: one factor serves."""
        return solve(replace(self.equations, columns=columns), self.prior, factor=self.factor)

    @property
    def determinant(self) -> float:
        """What the determinants have of the criterion, the spline's: the less is smoothed, the more."""
        return _determinant(self.equations.grid, self.prior, self.factor)


def assemble(
    grid: Grid,
    points: Array,
    values: Array,
    weights: Array,
    count: float,
    shapes: LocalShapes | None = None,
    design: csr_array | None = None,
    slow: Slow | None = None,
) -> Equations:
    """Add up the readings on a grid.

    Parameters
    ----------
    grid : Grid
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
        Without their plane.
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    count : float
        Sum of the robust weights.
    shapes : LocalShapes, optional
        What is fitted beside the spline.
    design : (n, K) sparse, optional
        Of the shapes at the points, where it is known.
    slow : Slow, optional
        An error of the readings in the order they were taken, where there are shapes.
    """
    return Equations(
        grid,
        grid.normal(points, weights),
        grid.right_side(points, weights * values),
        float(weights @ values**2),
        count,
        columns_of(grid, points, values, weights, shapes, design, slow),
    )


def columns_of(
    grid: Grid,
    points: Array,
    values: Array,
    weights: Array,
    shapes: LocalShapes | None,
    design: csr_array | None = None,
    slow: Slow | None = None,
) -> ShapeColumns | None:
    """What readings add up to on the shapes and a slow error, as in `assemble`; None without shapes.

    Parameters
    ----------
    grid : Grid
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    shapes : LocalShapes or None
    design : (n, K) sparse, optional
        Of the shapes at the points, where it is known.
    slow : Slow, optional
    """
    if shapes is None:
        return None
    design = shapes.design(points) if design is None and slow is not None else design
    columns = make_columns(grid, shapes, points, values, weights, design)
    if slow is None or design is None:
        return columns
    return with_slow(columns, grid, slow, points, values, weights, design)


def solve(
    equations: Equations, prior: Prior, *, weak: bool = True, free: bool = False, factor: Factor | None = None
) -> Solution:
    """Fit at a given smoothing and smoothness length and evaluate the criterion.

    Parameters
    ----------
    equations : Equations
    prior : Prior
    weak : bool
        Whether the weak prior of λ and smoothness length is added.
    free : bool
        Whether φ may fall below 1 (plain profiled REML, for comparison with published values).
    factor : Factor, optional
        Of N + λ S, where it is known: the same readings with other columns beside them.
    """
    if factor is None:
        energy = prior.smoothing * prior.energy(equations.grid)
        factor = factor_of(equations.grid, equations.normal, energy, prior)
    log_lambda = np.log(prior.smoothing)
    determinant = _determinant(equations.grid, prior, factor)
    rho, spectrum, pulled = np.zeros(1), None, 0.0
    if equations.columns is None:
        pulled = float(np.sum(equations.right * factor.solve(equations.right)))
    else:
        rho = TAUS**2
        spectrum, pulled = Spectrum.of(factor, equations.columns, equations.rights)
    penalised = np.full(len(rho), equations.square - pulled)
    taus = np.zeros(len(rho))
    if spectrum is not None:
        beforehand = TAUS * np.exp(-TAUS / TYPICAL_MM)
        taus, explained = spectrum.evidence(rho)
        penalised, taus = penalised - explained, taus - 2 * np.log(beforehand / beforehand.sum())
    dispersions, fitted = _inflated(np.maximum(penalised, 0.0), max(equations.count - 3, 1e-9), free=free)
    criteria = fitted + determinant + taus
    if weak:
        criteria = criteria + ((log_lambda - np.log(dispersions) - PRIOR_LOG_MEAN) / PRIOR_LOG_SD) ** 2
    least = criteria.min()
    likely = np.exp(-(criteria - least) / 2)
    shares = likely / likely.sum()
    border = None
    if spectrum is not None and equations.columns is not None:
        border = Border(factor, equations.columns, spectrum, rho, shares, dispersions)
    criterion = float(least - 2 * np.log(likely.sum()))
    return Solution(equations, prior, factor, float(shares @ dispersions), criterion, border)


def _determinant(grid: Grid, prior: Prior, factor: Factor) -> float:
    return factor.log_determinant() - (grid.unknowns - 3) * float(np.log(prior.smoothing))


def _inflated(penalised: Array, freedom: float, *, free: bool) -> tuple[Array, Array]:
    """Likeliest φ for each penalised sum of squares, and what it makes of the criterion.

    ``freedom log φ + penalised/φ`` and the prior of log φ; ``free`` profiles φ without a prior or a bound.
    """
    if free:
        phi = penalised / freedom
        return phi, freedom * np.log(phi) + freedom

    tried = freedom * LOG_PHIS + penalised[:, None] * LOG_PHI_SHARES + LOG_PHI_COSTS
    k = np.clip(np.argmin(tried, axis=1), 1, len(LOG_PHIS) - 2)
    low, middle, high = (LOG_PHIS[k + step] for step in (-1, 0, 1))
    a, b, c = (np.take_along_axis(tried, (k + step)[:, None], axis=1)[:, 0] for step in (-1, 0, 1))
    left, right = (b - a) / (middle - low), (c - b) / (high - middle)
    curved = np.maximum((right - left) / (high - low), 1e-300)
    vertex = np.clip((low + middle) / 2 - left / (2 * curved), low, high)
    return np.exp(vertex), freedom * vertex + penalised * np.exp(-vertex) + _phi_cost(vertex)


def factor_of(grid: Grid, normal: Band, energy: Band, prior: Prior) -> Factor:
    """Factor of N + S, planes freed where the energy has a tension, loosened along the modes where there are some.

    Parameters
    ----------
    grid : Grid
    normal, energy : Band
        N and S.
    prior : Prior
        Its tension and its modes.
    """
    factor = factorise(normal + energy)
    if prior.tension:
        tilts = np.array([plane_coefficients(grid, np.eye(3)[k]) for k in (1, 2)])
        factor = factor.free(normal, energy, tilts)
    if prior.known is not None:
        factor = factor.loosened(normal, prior.known.on(grid))
    return factor if prior.modes is None else factor.loosened(normal, prior.modes_size * prior.modes.on(grid))
