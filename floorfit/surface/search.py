"""Where the likelihood is greatest: smoothing, and smoothness length or tension, from few evaluations.

The criterion is smooth in log λ and, near its least, a parabola: three strides that hold it and two or three vertices.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from floorfit.errors import NumericalError
from floorfit.surface.axis import MARGIN_CELLS
from floorfit.surface.blocks import Factor
from floorfit.surface.grid import Grid
from floorfit.surface.reml import PRIOR_LOG_MEAN, Equations, Prior, Solution, factor_of, solve

__all__ = ["LIKELY", "NOT_UNLIKELY", "START", "best_prior", "best_smoothing", "likely_starts", "pinned"]

#: Smoothness lengths that are tried, mm, and at most `LONGEST_SMOOTH_LENGTH` times the shorter side of the part; a
#: weak prior about `LIKELY_SMOOTH_LENGTH`, a factor of 4.5 either way. Stressed ribbed plates have less fine
#: structure than a thin-plate spline expects: without a smoothness length its intervals are twice too wide and its
#: offsets 1.6 times worse than with the likeliest one, and stopping at 400 mm costs another 9 % (invented plates;
#: tests/accuracy holds the figures).
SMOOTH_LENGTHS = (0.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0)
LONGEST_SMOOTH_LENGTH = 4.0
#: Centre and standard deviation of the log of the weak prior of a smoothness length, mm: the ribs of pocketed parts
#: stand some 100 to 250 mm apart (common practice, no source), and a smoothness length of that order smooths nothing
#: that they show. No smoothness length counts as `NO_SMOOTH_LENGTH`, less than the shortest; a tension that
#: `LONG_TENSION` has halves even that.
LIKELY_SMOOTH_LENGTH, SMOOTH_LENGTH_LOG_SD = 150.0, 1.5
NO_SMOOTH_LENGTH, LONG_TENSION = 25.0, 100.0
#: Tension lengths that are tried, mm, where the ground is rougher than a thin-plate spline: a weak prior that grows
#: with every step. No warped plate asked for one; terrain does, and is predicted 2 % better than without.
TENSIONS = (320.0, 80.0, 20.0, 5.0)

#: Units of log about a start among which a search begins: five, each within reach of the next.
LADDER = range(-24, 16, 8)

#: Weight that pins the planes where an energy's determinant is taken.
PIN = 1e-2

#: Vertices that are tried at most, and a step in log λ after which the next vertex is the last.
STEPS, SETTLED = 6, 0.1
#: Width of three points, in log λ, over which the criterion is a parabola to that.
NEAR = 2.0

#: Shapes are kept that are less likely than the best by no more, twice the log.
NOT_UNLIKELY = 6.0

#: Where a search for the smoothing begins, and one for smoothing and smoothness length.
START = Prior(float(np.exp(PRIOR_LOG_MEAN)), 100.0)
LIKELY = Prior(float(np.exp(PRIOR_LOG_MEAN)), 400.0)


def best_smoothing(
    equations: Equations,
    start: Prior,
    *,
    step: float = 3.0,
    settled: float = SETTLED,
    weak: bool = True,
    free: bool = False,
    known: Mapping[float, Solution] | None = None,
) -> tuple[Solution, float]:
    """Find the mode of log λ at one smoothness length and tension, and its spread.

    Parameters
    ----------
    equations : Equations
        On a coarse grid, where one evaluation costs milliseconds.
    start : Prior
        Where to begin; its smoothness length and tension are kept.
    step : float
        First stride in log λ: 1 where the answer is near.
    settled : float
        Step in log λ after which the next vertex is the last.
    weak, free : bool
        As in `solve`.
    known : mapping of float to Solution, optional
        By log λ: solutions of these equations that are known already, from `likely_starts`; the likeliest is the start.

    Returns
    -------
    solution : Solution
        At the mode.
    spread : float
        Standard deviation of log λ there, from the curvature, between 0.1 and 1.5.
    """
    tried: dict[float, Solution] = dict(known or {})

    def criterion(log_lambda: float) -> float:
        if log_lambda not in tried:
            prior = replace(start, smoothing=float(np.exp(log_lambda)))
            tried[log_lambda] = solve(equations, prior, weak=weak, free=free)
        return tried[log_lambda].criterion

    here = min(tried, key=criterion) if tried else float(np.log(start.smoothing))
    here = _bracket(criterion, here, step, _likelier_side(tried, here))
    curvature = 0.0
    for _ in range(STEPS):
        vertex, curvature, width = _vertex(tried, here)
        if abs(vertex - here) < settled and width <= max(NEAR, 12 * settled):
            criterion(vertex)
            here = vertex
            break
        near = (here - NEAR / 2, here + NEAR / 2) if abs(vertex - here) < settled else (vertex,)
        here = min((here, *near), key=criterion)
    spread = np.sqrt(2 / curvature) if curvature > 0 else 1.5
    return tried[here], float(np.clip(spread, 0.1, 1.5))


def likely_starts(equations: Equations, start: Prior) -> dict[float, Solution]:
    """Solutions on a wide ladder of smoothings, by log λ, to begin a search with.

    Parameters
    ----------
    equations : Equations
    start : Prior
        Its smoothing is moved by each number of `LADDER`, units of log; its smoothness length and tension are kept.

    Notes
    -----
    On rough ground the likelihood has two maxima: the surface that is there, and a plane with a noise that makes up
    for all of it. A search that begins on the side of the second does not see the first. From the top it stops where
    the determinant alone costs more than the likeliest: below it only grows, and nothing else falls below zero.
    """
    found: dict[float, Solution] = {}
    for k in sorted(LADDER, reverse=True):
        rung = float(np.log(start.smoothing)) + k
        try:
            found[rung] = solve(equations, replace(start, smoothing=float(np.exp(rung))))
        except NumericalError:
            continue
        if found[rung].determinant > min(one.criterion for one in found.values()):
            break
    if not found:
        solve(equations, start)  # says why
    return found


def best_prior(equations: Equations, start: Prior) -> list[tuple[Solution, float, float]]:
    """Find smoothing and smoothness length or tension together.

    Parameters
    ----------
    equations : Equations
        On a coarse grid.
    start : Prior
        Where the search begins; it goes on to the neighbouring shape, smoothness length or tension, while that is
        likelier.

    Returns
    -------
    list of (Solution, spread, evidence)
        The best shape first, then those beside it that are not much less likely; ``evidence`` is twice the negative
        log of each, comparable between shapes, with the weak prior of `SMOOTH_LENGTHS` and `TENSIONS`.
    """
    smooth_lengths = _smooth_lengths(equations.grid)
    ladder = [replace(start, smooth_length=smooth_length, tension=0.0) for smooth_length in smooth_lengths]
    tried: dict[Prior, tuple[Solution, float, float]] = {}

    def is_best(shape: Prior, begin: float) -> bool:
        """Whether a shape is the likeliest up to now; a search that is due begins at that smoothing."""
        if shape not in tried:
            tried[shape] = _evidence(equations, replace(shape, smoothing=begin))
        return min(tried, key=lambda one: tried[one][2]) == shape

    def goes_on(here: int, step: int) -> bool:
        """Whether the next smoothness length that way is likelier; its smoothing goes on as it did before."""
        if not 0 <= here + step < len(ladder):
            return False
        last = tried[ladder[here]][0].prior.smoothing
        behind = ladder[here - step] if 0 <= here - step < len(ladder) else None
        grown = last / tried[behind][0].prior.smoothing if behind in tried else 1.0
        return is_best(ladder[here + step], last * grown)

    first = here = min(range(len(ladder)), key=lambda k: abs(smooth_lengths[k] - start.smooth_length))
    is_best(ladder[here], start.smoothing)
    for step in (1, -1):
        while goes_on(here, step):
            here += step
    if here > first and tried[ladder[first]][2] - tried[ladder[here]][2] < NOT_UNLIKELY:
        goes_on(first, -1)
    if here == 0:
        for tension in TENSIONS:
            is_best(replace(start, smooth_length=0.0, tension=tension), start.smoothing)
    ranked = sorted(tried.values(), key=lambda one: one[2])
    return ranked[:1] + [one for one in ranked[1:] if one[2] - ranked[0][2] < NOT_UNLIKELY]


def _smooth_lengths(grid: Grid) -> list[float]:
    """Those of `SMOOTH_LENGTHS` that a part is long enough for."""
    inside = slice(MARGIN_CELLS, -MARGIN_CELLS)
    short = min(float(np.ptp(axis.edges[inside])) for axis in (grid.along, grid.across))
    return [smooth_length for smooth_length in SMOOTH_LENGTHS if smooth_length <= LONGEST_SMOOTH_LENGTH * short]


def _evidence(equations: Equations, start: Prior) -> tuple[Solution, float, float]:
    """Solution at the likeliest smoothing of a shape, spread, and twice the negative log of the evidence.

    A shape whose energy the grid cannot hold in double precision has no evidence, and is passed over.
    """
    try:
        solution, spread = best_smoothing(equations, start, step=1.0)
        determinant = pinned(equations.grid, start).log_determinant()
    except NumericalError:
        return solve(equations, replace(start, smooth_length=0.0, tension=0.0)), 1.5, float("inf")
    none = NO_SMOOTH_LENGTH / (1 + (LONG_TENSION / start.tension if start.tension else 0.0))
    length = start.smooth_length + none
    weak = (np.log(length / LIKELY_SMOOTH_LENGTH) / SMOOTH_LENGTH_LOG_SD) ** 2
    return solution, spread, float(solution.criterion - 2 * np.log(spread) - determinant + weak)


def pinned(grid: Grid, prior: Prior) -> Factor:
    """Factor of the energy S with planes held at three corners.

    Its determinant |S + P| is the product of the energy's eigenvalues above zero times a constant of P alone: with
    ``P = Y Yᵀ`` and Q a basis of the planes it is ``|S|₊ |Qᵀ Y|²``, whatever the pins' weight. Planes cost nothing.

    Parameters
    ----------
    grid : Grid
    prior : Prior
        Smoothness length, tension and factors by place.
    """
    a, b = grid.along.edges, grid.across.edges
    corners = np.array([[a[0], b[0]], [a[0], b[-1]], [a[-1], b[0]]])
    pin = grid.normal(corners[:, ::-1] if grid.swapped else corners, np.full(3, PIN))
    return factor_of(grid, pin, prior.energy(grid), replace(prior, modes=None, known=None))


def _likelier_side(tried: Mapping[float, Solution], here: float) -> int:
    """Which of the neighbours that were tried is the likelier, −1 or 1; below where there are not both.

    The longer the smoothness length, the less a plate is smoothed, and a search begins at a shorter one.
    """
    below, above = [x for x in tried if x < here], [x for x in tried if x > here]
    return 1 if below and above and tried[min(above)].criterion < tried[max(below)].criterion else -1


def _bracket(criterion: Callable[[float], float], centre: float, step: float, side: int) -> float:
    """Walk in strides until the criterion rises on both sides; one side first, at most forty units of log away."""
    here = centre
    for way in (side, -side):
        while abs(here - centre) < 40 and criterion(here + way * step) < criterion(here):
            here += way * step
        if here != centre:
            break
    return here


def _vertex(tried: Mapping[float, Solution], here: float) -> tuple[float, float, float]:
    """Vertex, second derivative and width of the parabola through the least that was tried and its neighbours."""
    order = sorted(tried)
    k = order.index(here)
    if not 0 < k < len(order) - 1:
        return here, 0.0, 0.0
    low, high = order[k - 1], order[k + 1]
    a, b, c = (tried[x].criterion for x in (low, here, high))
    left, right = (b - a) / (here - low), (c - b) / (high - here)
    curvature = 2 * (right - left) / (high - low)
    if curvature <= 0:
        return here, 0.0, 0.0
    return float(np.clip((low + here) / 2 - left / curvature, low, high)), float(curvature), high - low
