"""How much to smooth: restricted maximum likelihood on the grid.

Readings y = w(x) + e, e ~ N(0, φ u²/weight), and w ~ the thin-plate prior with precision λ S / φ. With plane drift
free, twice the negative restricted log likelihood is, up to a constant,

    (n − 3) log φ + log |N + λ S| − (m − 3) log λ + (yᵀWy − rᵀc) / φ        (Wahba 1990, §4.8; Wood 2011)

where W = weight / u², N = BᵀWB, r = BᵀWy and c solves (N + λ S) c = r. For sparse readings it can run to zero
smoothing and a vanishing noise; so φ is never below 1: noise is *estimated* only as an inflation of what is known, and
against a prior that trusts what is stated. Shapes beside the spline enter as a border (`floorfit.surface.border`).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import NumericalError
from floorfit.surface.axis import MARGIN_CELLS
from floorfit.surface.blocks import Factor, factorise
from floorfit.surface.border import TAUS, TYPICAL_MM, Border, Columns, Spectrum, make_columns
from floorfit.surface.grid import Band, Grid
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.spline import plane_coefficients

__all__ = [
    "LIKELY",
    "START",
    "Equations",
    "Prior",
    "Solution",
    "assemble",
    "best_prior",
    "best_smoothing",
    "likely_start",
    "solve",
]

Array = NDArray[np.float64]

#: A weak prior for log λ, so that a handful of readings cannot claim a plate that is exactly flat, or one that is
#: crumpled. Its centre is a plate with curvatures of the order of 1e-5 /mm (released residual stress of 10 to 20 MPa,
#: Treuting & Read 1951) that vary over some 500 mm: λ = 1/τ² ≈ 1e6 mm⁻² per mm² of bending energy; its width, three
#: units of log, is a factor of 20 either way. With more than about 30 readings the likelihood decides.
PRIOR_LOG_MEAN = float(np.log(1e6))
PRIOR_LOG_SD = 3.0
#: Reaches that are tried, mm, and at most `LONGEST_REACH` times the shorter side of the part; a weak prior about
#: `LIKELY_REACH`, a factor of 4.5 either way. Stressed ribbed plates have less fine structure than a thin-plate spline
#: expects: without a reach its intervals are twice too wide and its offsets 1.6 times worse than with the likeliest
#: one, and stopping at 400 mm costs another 9 % (invented plates; tests/accuracy holds the figures).
REACHES = (0.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0)
LONGEST_REACH = 4.0
#: Centre and standard deviation of the log of the weak prior of a reach, mm: the ribs of pocketed parts stand some
#: 100 to 250 mm apart (common practice, no source), and a reach of that order smooths nothing that they show. No reach
#: counts as `NO_REACH`, less than the shortest; a tension that `LONG_TENSION` has halves even that.
LIKELY_REACH, REACH_LOG_SD = 150.0, 1.5
NO_REACH, LONG_TENSION = 25.0, 100.0
#: Tension lengths that are tried, mm, where the ground is rougher than a thin-plate spline: a weak prior that grows
#: with every step. No warped plate asked for one; terrain does, and is predicted 2 % better than without.
TENSIONS = (320.0, 80.0, 20.0, 5.0)

#: Prior of log φ: Student's t about nothing. A stated uncertainty is right within some 10 % (its standard deviation),
#: or it is wrong by as much as it likes (three degrees of freedom); without it the likelihood buys a smoother surface
#: by calling what it does not follow noise.
PHI_SD, PHI_FREEDOM = 0.1, 3.0
#: Log φ that are tried before the parabola.
LOG_PHIS = np.concatenate([np.arange(0.0, 0.5, 0.02), np.arange(0.5, 8.0, 0.1), np.arange(8.0, 30.0, 0.5)])

#: Units of log about a start among which a search begins: five, each within reach of the next.
LADDER = range(-24, 16, 8)

#: Weight that pins the planes where an energy's determinant is taken.
PIN = 1e-2

#: Threads that search, solve and draw side by side, each with its BLAS on one thread.
WORKERS = 2


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
    columns : Columns or None
        What they add up to on the shapes beside the spline.
    """

    grid: Grid
    normal: Band
    right: Array
    square: float
    count: float
    columns: Columns | None = None


@dataclass(frozen=True)
class Prior:
    """What is taken for likely before any reading.

    Parameters
    ----------
    smoothing : float
        λ, in 1/mm² for w in mm with readings weighted by 1/u².
    reach : float, mm
        Length below which the curvature does not change freely, see `Grid.energy`; 0 for the thin-plate spline.
    tension : float, mm
        Length above which a tension resists rather than bending, see `Grid.energy`; 0 for none.
    """

    smoothing: float
    reach: float = 0.0
    tension: float = 0.0

    def energy(self, grid: Grid) -> Band:
        """S on a grid. Planes are free; under a tension they are once `Factor.free` has freed them."""
        return grid.energy(self.reach, self.tension)


#: Where a search for the smoothing begins, and one for smoothing and reach.
START = Prior(float(np.exp(PRIOR_LOG_MEAN)), 100.0)
LIKELY = Prior(float(np.exp(PRIOR_LOG_MEAN)), 400.0)


@dataclass(frozen=True)
class Solution:
    """The fit at one smoothing.

    Parameters
    ----------
    equations : Equations
    prior : Prior
        Smoothing and reach.
    factor : Factor
        Of N + λ S.
    inflation : float
        φ >= 1 (or the value that was set).
    criterion : float
        Twice the negative log of likelihood times prior.
    border : Border or None
        The shapes' part, where there are shapes.
    """

    equations: Equations
    prior: Prior
    factor: Factor
    inflation: float
    criterion: float
    border: Border | None = None

    @cached_property
    def coefficients(self) -> Array:
        """Of the spline, (nl, ns), without the plane."""
        return self._both[0]

    @property
    def amounts(self) -> Array:
        """Of the shapes, (K,), mm; empty without shapes."""
        return self._both[1]

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
        (p, nl, ns), (p, K) ndarray
        """
        gains = self.factor.solve_many(functionals)
        if self.border is None:
            return gains, np.empty((len(functionals), 0))
        left = shaped - np.einsum("kij,pij->pk", self.border.reached, functionals)
        extra = left @ (self.border.gain if amounts is None else amounts)
        gains -= np.tensordot(extra, self.border.reached, 1)
        return gains, extra

    @property
    def likelihood(self) -> float:
        """Unnormalised posterior density of log λ, as a log."""
        return -self.criterion / 2


def assemble(
    grid: Grid, points: Array, values: Array, weights: Array, count: float, shapes: LocalShapes | None = None
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
    """
    return Equations(
        grid,
        grid.normal(points, weights),
        grid.right_side(points, weights * values),
        float(weights @ values**2),
        count,
        None if shapes is None else make_columns(grid, shapes, points, values, weights),
    )


def solve(equations: Equations, prior: Prior, *, weak: bool = True, free: bool = False) -> Solution:
    """Fit at a given smoothing and reach and evaluate the criterion.

    Parameters
    ----------
    equations : Equations
    prior : Prior
    weak : bool
        Whether the weak prior of λ and reach is added.
    free : bool
        Whether φ may fall below 1 (plain profiled REML, for comparison with published values).
    """
    energy = prior.smoothing * prior.energy(equations.grid)
    factor = _factor(equations.grid, equations.normal, energy, prior)
    log_lambda = np.log(prior.smoothing)
    determinant = factor.log_determinant() - (equations.grid.unknowns - 3) * log_lambda
    rho, spectrum, pulled = np.zeros(1), None, 0.0
    if equations.columns is None:
        pulled = float(np.sum(equations.right * factor.solve(equations.right)))
    else:
        rho = TAUS**2
        spectrum, pulled = Spectrum.of(factor, equations.columns, equations.right)
    penalised = np.full(len(rho), equations.square - pulled)
    taus = np.zeros(len(rho))
    if spectrum is not None:
        penalised = penalised - spectrum.explained(rho)
        taus = spectrum.log_determinants(rho) + 2 * np.sqrt(rho) / TYPICAL_MM
        taus = taus + 2 * np.log(np.exp(-np.sqrt(rho) / TYPICAL_MM).sum())
    inflations, fitted = _inflated(np.maximum(penalised, 0.0), max(equations.count - 3, 1e-9), free=free)
    criteria = fitted + determinant + taus
    if weak:
        criteria = criteria + ((log_lambda - np.log(inflations) - PRIOR_LOG_MEAN) / PRIOR_LOG_SD) ** 2
    least = criteria.min()
    likely = np.exp(-(criteria - least) / 2)
    shares = likely / likely.sum()
    border = None
    if spectrum is not None and equations.columns is not None:
        border = Border(factor, equations.columns, spectrum, rho, shares, inflations)
    criterion = float(least - 2 * np.log(likely.sum()))
    return Solution(equations, prior, factor, float(shares @ inflations), criterion, border)


def _inflated(penalised: Array, freedom: float, *, free: bool) -> tuple[Array, Array]:
    """Likeliest φ for each penalised sum of squares, and what it makes of the criterion.

    ``freedom log φ + penalised/φ`` and the prior of log φ; ``free`` profiles φ without a prior or a bound.
    """
    if free:
        phi = penalised / freedom
        return phi, freedom * np.log(phi) + freedom

    def criterion(log_phi: Array) -> Array:
        prior = (PHI_FREEDOM + 1) * np.log1p((log_phi / PHI_SD) ** 2 / PHI_FREEDOM)
        return np.asarray(freedom * log_phi + penalised[:, None] * np.exp(-log_phi) + prior)

    k = np.clip(np.argmin(criterion(LOG_PHIS[None]), axis=1), 1, len(LOG_PHIS) - 2)
    low, middle, high = (LOG_PHIS[k + step] for step in (-1, 0, 1))
    a, b, c = criterion(np.stack([low, middle, high], axis=1)).T
    left, right = (b - a) / (middle - low), (c - b) / (high - middle)
    curved = np.maximum((right - left) / (high - low), 1e-300)
    vertex = np.clip((low + middle) / 2 - left / (2 * curved), low, high)
    return np.exp(vertex), criterion(vertex[:, None])[:, 0]


def best_smoothing(
    equations: Equations, start: Prior, *, step: float = 3.0, weak: bool = True, free: bool = False
) -> tuple[Solution, float]:
    """Find the mode of log λ at one reach and tension, and its spread.

    Parameters
    ----------
    equations : Equations
        On a coarse grid, where one evaluation costs milliseconds.
    start : Prior
        Where to begin; its reach and tension are kept.
    step : float
        First stride in log λ: 1 where the answer is near.
    weak, free : bool
        As in `solve`.

    Returns
    -------
    solution : Solution
        At the mode.
    spread : float
        Standard deviation of log λ there, from the curvature, between 0.1 and 1.5.
    """
    tried: dict[float, Solution] = {}

    def criterion(log_lambda: float) -> float:
        if log_lambda not in tried:
            prior = replace(start, smoothing=float(np.exp(log_lambda)))
            tried[log_lambda] = solve(equations, prior, weak=weak, free=free)
        return tried[log_lambda].criterion

    centre, _ = _vertex(criterion, _bracket(criterion, float(np.log(start.smoothing)), step), step)
    for finer in (0.5, 0.25) if step > 1 else (0.25,):
        centre, curvature = _vertex(criterion, _bracket(criterion, centre, finer), finer)
    criterion(centre)
    spread = np.sqrt(2 / curvature) if curvature > 0 else 1.5
    return tried[centre], float(np.clip(spread, 0.1, 1.5))


def likely_start(equations: Equations, start: Prior) -> Prior:
    """Likeliest of a wide ladder of smoothings, to begin a search with.

    Parameters
    ----------
    equations : Equations
    start : Prior
        Its smoothing is moved by each number of `LADDER`, units of log; its reach and tension are kept.

    Notes
    -----
    On rough ground the likelihood has two maxima: the surface that is there, and a plane with a noise that makes up
    for all of it. A search that begins on the side of the second does not see the first.
    """
    rungs = [replace(start, smoothing=start.smoothing * float(np.exp(k))) for k in LADDER]
    return min(rungs, key=lambda prior: _criterion(equations, prior))


def _criterion(equations: Equations, prior: Prior) -> float:
    try:
        return solve(equations, prior).criterion
    except NumericalError:
        return float("inf")


def best_prior(equations: Equations, start: Prior) -> list[tuple[Solution, float, float]]:
    """Find smoothing and reach or tension together.

    Parameters
    ----------
    equations : Equations
        On a coarse grid.
    start : Prior
        Where the search begins; it goes on to the neighbouring shape, reach or tension, while that is likelier.

    Returns
    -------
    list of (Solution, spread, evidence)
        The best shape first, then those beside it that are not much less likely; ``evidence`` is twice the negative
        log of each, comparable between shapes, with the weak prior of `REACHES` and `TENSIONS`.
    """
    reaches = _reaches(equations.grid)
    tried: dict[Prior, tuple[Solution, float, float]] = {}

    def judge(shapes: list[Prior]) -> Prior:
        new = [shape for shape in shapes if shape not in tried]
        with ThreadPoolExecutor(WORKERS) as pool:
            tried.update(zip(new, pool.map(lambda shape: _evidence(equations, shape), new), strict=True))
        return min(tried, key=lambda shape: tried[shape][2])

    ladder = [replace(start, reach=reach, tension=0.0) for reach in reaches]
    here = min(range(len(ladder)), key=lambda k: abs(reaches[k] - start.reach))
    while (best := ladder.index(judge(ladder[max(here - 1, 0) : here + 2]))) != here:
        here = best
    if here == 0:
        judge([replace(start, reach=0.0, tension=tension) for tension in TENSIONS])
    ranked = sorted(tried.values(), key=lambda one: one[2])
    return ranked[:1] + [one for one in ranked[1:] if one[2] - ranked[0][2] < 6.0]


def _reaches(grid: Grid) -> list[float]:
    """Those of `REACHES` that a part is long enough for."""
    inside = slice(MARGIN_CELLS, -MARGIN_CELLS)
    short = min(float(np.ptp(axis.edges[inside])) for axis in (grid.along, grid.across))
    return [reach for reach in REACHES if reach <= LONGEST_REACH * short]


def _evidence(equations: Equations, start: Prior) -> tuple[Solution, float, float]:
    """Solution at the likeliest smoothing of a shape, spread, and twice the negative log of the evidence.

    A shape whose energy the grid cannot hold in double precision has no evidence, and is passed over.
    """
    try:
        solution, spread = best_smoothing(equations, start, step=1.0)
        determinant = _log_pseudo_determinant(equations.grid, start)
    except NumericalError:
        return solve(equations, replace(start, reach=0.0, tension=0.0)), 1.5, float("inf")
    none = NO_REACH / (1 + (LONG_TENSION / start.tension if start.tension else 0.0))
    length = start.reach + none
    weak = (np.log(length / LIKELY_REACH) / REACH_LOG_SD) ** 2
    return solution, spread, float(solution.criterion - 2 * np.log(spread) - determinant + weak)


def _factor(grid: Grid, normal: Band, energy: Band, prior: Prior) -> Factor:
    factor = factorise(normal + energy)
    if not prior.tension:
        return factor
    tilts = np.array([plane_coefficients(grid, np.eye(3)[k]) for k in (1, 2)])
    return factor.free(normal, energy, tilts)


def _log_pseudo_determinant(grid: Grid, prior: Prior) -> float:
    """Log of the product of the energy's eigenvalues above zero, up to a constant that the grid alone decides.

    Planes cost nothing. Pinned at three corners, |S + P| is the product of the others times a constant of P alone:
    with ``P = Y Yᵀ`` and Q a basis of the planes it is ``|S|₊ |Qᵀ Y|²``, whatever the pins' weight.
    """
    a, b = grid.along.edges, grid.across.edges
    corners = np.array([[a[0], b[0]], [a[0], b[-1]], [a[-1], b[0]]])
    pin = grid.normal(corners[:, ::-1] if grid.swapped else corners, np.full(3, PIN))
    return _factor(grid, pin, prior.energy(grid), prior).log_determinant()


def _bracket(criterion: Callable[[float], float], centre: float, step: float) -> float:
    """Walk in strides until the criterion rises on both sides; at most forty units of log away."""
    here = centre
    while abs(here - centre) < 40:
        ahead = min((here - step, here + step), key=criterion)
        if criterion(ahead) >= criterion(here):
            break
        here = ahead
    return here


def _vertex(criterion: Callable[[float], float], here: float, step: float) -> tuple[float, float]:
    """Vertex and second derivative of the parabola through here and one stride either side."""
    low, middle, high = (criterion(here + k * step) for k in (-1, 0, 1))
    curvature = (low - 2 * middle + high) / step**2
    if curvature <= 0:
        return here, 0.0
    return here - float(np.clip((high - low) / (2 * step * curvature), -step, step)), float(curvature)
