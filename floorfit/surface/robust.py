"""Which readings to believe: weights between 0 and 1 that the fit itself finds.

A start that bad readings cannot bend (each reading against a plane of least absolute deviations through its
neighbours), then a redescending weight on the *leave-one-out* residual, scaled by its own posterior deviation and by
a robust scale of all of them. A reading that was put out comes back when the fit without it agrees with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.surface.along_axes import LEAST_SHARE, Model, models_of
from floorfit.surface.border import Slow
from floorfit.surface.first_weights import first_weights, is_worst_nearby, neighbours
from floorfit.surface.grid import Grid
from floorfit.surface.left_out import LooResiduals, leave_one_out
from floorfit.surface.local_shapes import LocalShapes, Misfit
from floorfit.surface.mode_search import likely_priors
from floorfit.surface.modes import Modes
from floorfit.surface.on_grid import LEAST_SHOWN_MM, SAMPLE, OnGrid
from floorfit.surface.reml import Prior, Solution, solve
from floorfit.surface.rough import rougher
from floorfit.surface.search import LIKELY, START, best_smoothing, likely_starts
from floorfit.units import MAD_TO_SD

__all__ = ["Robust", "robust_weights", "taper", "weighed_anew"]

_Priors = tuple[tuple[Prior, float, float], ...]

#: Scaled leave-one-out residual up to which a reading counts in full, and from which it does not count. Of good
#: Gaussian readings 0.27 % lie beyond the first and 7 in a million beyond the second (normal distribution).
FULL, NONE = 3.0, 4.5
#: Twice the negative log of a bad reading's density, per mm: one in twenty is bad, evenly over a millimetre.
BAD_COST = float(-2 * np.log(0.05 / 1.0))
#: Weights that move by no more leave the smoothing as it is; steps in log λ that weights do not feel.
SETTLED = 0.5
#: Twice the log of how much likelier a family of shapes must be for another to be left out.
MUCH_LESS = float(-2 * np.log(LEAST_SHARE))
#: Rounds of reweighting; it stops earlier when no weight moves by more than 0.02.
ROUNDS = 8
#: Times that local factors of the energy are found anew, and the factor below which ground counts as rough.
ROUGH_ROUNDS, ROUGH_FACTOR = 3, 0.7


@dataclass(frozen=True)
class Robust:
    """Result of the reweighting.

    Parameters
    ----------
    weights : (n,) ndarray
        0 to 1.
    models : tuple of Model
        The surface alone, and with what may stand beside it; the one to go by first.
    scale : float
        Robust scale of the scaled leave-one-out residuals, >= 1: by how much the noise exceeds what is known.
    parameters : float
        Effective number of parameters of the spline on the grid of the search.
    shapes : LocalShapes or None
        What is fitted beside the spline.
    others : tuple of LocalShapes
        Families of shapes that are not much less likely.
    """

    weights: Array
    models: tuple[Model, ...]
    scale: float
    parameters: float
    shapes: LocalShapes | None = None
    others: tuple[LocalShapes, ...] = ()

    @property
    def priors(self) -> _Priors:
        """Of the first model."""
        return self.models[0].priors


def taper(scaled: Array) -> Array:
    """Weight of a scaled residual: 1 up to `FULL`, 0 from `NONE`, a cosine between."""
    share = np.clip((np.abs(scaled) - FULL) / (NONE - FULL), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * share))


def robust_weights(
    grid: Grid,
    points: Array,
    values: Array,
    u: Array,
    *,
    prior: Prior | None = None,
    robust: bool = True,
    before: Robust | None = None,
    shapes: Sequence[LocalShapes] = (),
    order: Array | None = None,
    is_z_measured: bool = False,
    modes: Modes | None = None,
    known: Modes | None = None,
) -> Robust:
    """Find weights, smoothing and smoothness length on a coarse grid.

    Parameters
    ----------
    grid : Grid
        Coarse: one round costs tens of milliseconds.
    points : (n, 2) ndarray, mm
    values, u : (n,) ndarray, mm
        Values without their plane; standard uncertainties.
    prior : Prior, optional
        Kept instead of being searched.
    robust : bool
        False for weights of one.
    before : Robust, optional
        Result on a coarser grid, to begin with.
    shapes : sequence of LocalShapes
        What is fitted beside the spline: the likeliest of them.
    order : (n,) ndarray, optional
        Time or number of each reading, to look for an error that changes slowly.
    is_z_measured : bool
        Whether errors of a measured Z may be in the values.
    modes : Modes, optional
        Shapes of the whole plate that may be likely beside the spline.
    known : Modes, optional
        Such shapes whose size is known beforehand.

    Returns
    -------
    Robust

    Notes
    -----
    With more than `SAMPLE` readings the weights are searched on an evenly strided share of them; the rest are weighed
    by their residual from that fit, which they have no leverage on. Smoothing and smoothness length then come from all
    of them: more readings show finer structure.
    """
    stride = max(1, -(-len(values) // SAMPLE))
    part = slice(0, None, stride)
    begun = START if known is None else replace(START, known=known.placed_on(grid))
    data = OnGrid(grid, points[part], values[part], u[part], shapes[0] if shapes else None, start=begun)
    weights, start = _begun(data, prior, robust) if before is None else _gone_on(data, before, part, robust)
    priors, solution = _priors(data, weights, start, prior)
    data, solution, others = _likeliest(data, shapes, weights, solution)
    if prior is None:
        if all(one.is_loose for one in others) and data.asks_for_forms(solution):
            data, weights, priors, solution = _reformed(data, weights, priors, solution, robust)
            others = () if data.shapes is None or data.shapes.forms else others
        weights, priors, solution = _roughened(data, weights, priors, solution, robust)
    if modes is not None and prior is None:
        data = replace(data, modes=modes)
        priors, solution = _priors(data, weights, priors[0][0])
    best, loo = priors[0][0], data.loo(weights, solution)
    in_shapes = 0.0 if solution.border is None else solution.border.parameters
    parameters, scale = float(loo.leverage.sum()) - in_shapes, 1.0
    if robust:
        weights, scale, solution = _reweighed(data, solution, weights, loo)
        weights, solution = _taken_back(data, solution, weights)
    if stride > 1:
        weights = _rest(data, weights, best, scale, points, values, u) if robust else np.ones(len(values))
        data = replace(data, points=points, values=values, u=u)
        priors, solution = _priors(data, weights, best, prior)
    models: tuple[Model, ...] = (Model(priors),)
    if prior is None and data.shapes is not None:
        models = _models(data, weights, priors, solution, order, is_z_measured)
    return Robust(weights, models, scale, parameters, data.shapes, others)


def weighed_anew(data: OnGrid, weights: Array, found: Solution, slow: Slow | None) -> tuple[Array, Solution]:
    """Weights and smoothing of other values at places that were fitted before; all else is kept.

    Parameters
    ----------
    data : OnGrid
        The other values, on the grid of the solution.
    weights : (n,) ndarray
    found : Solution
        What there was before, to begin with.
    slow : Slow or None
        What stands beside its shapes.
    """
    weights, prior = _later_rounds(data, weights, found.prior)
    return weights, data.beside(solve(data.equations(weights), prior), weights, slow)


def _begun(data: OnGrid, prior: Prior | None, robust: bool) -> tuple[Array, Prior]:
    """First weights, and where the search for the smoothness length begins."""
    ones = np.ones(len(data.values))
    weights, start = _rounds(data, prior) if robust else (ones, prior or _likeliest_start(data, ones))
    return weights, replace(start, smooth_length=LIKELY.smooth_length)


def _gone_on(data: OnGrid, before: Robust, part: slice, robust: bool) -> tuple[Array, Prior]:
    """The same from the result on a coarser grid."""
    weights, start = before.weights[part], replace(before.priors[0][0], known=data.start.known)
    return _later_rounds(data, weights, start) if robust else (weights, start)


def _models(
    data: OnGrid, weights: Array, priors: _Priors, alone: Solution, order: Array | None, is_z_measured: bool
) -> tuple[Model, ...]:
    """The surface alone, and with what may stand beside it."""
    assert data.shapes is not None
    return models_of(
        data.points,
        data.shapes,
        priors,
        order,
        lambda slow: data.beside(alone, weights, slow),
        lambda solution: np.where(weights >= 0.5, data.left(solution), np.nan),
        lambda slow, start: _evident(data, weights, start, slow)[:2],
        is_z_measured=is_z_measured,
    )


def _taken_back(data: OnGrid, solution: Solution, weights: Array) -> tuple[Array, Solution]:
    """Let readings back in that a shape explains: where several of one shape were set aside together.

    Bad readings are even over a millimetre and one in twenty beforehand; what is set aside costs that, what counts
    costs its Gaussian. The whole, with the shapes' τ integrated out, decides.
    """
    for rows in _set_aside_together(data, solution, weights):
        tried = weights.copy()
        tried[rows] = 1.0
        counted = float((1 - weights[rows]) @ (np.log(2 * np.pi * data.u[rows] ** 2) - BAD_COST))
        new = solve(data.equations(tried), solution.prior)
        if new.criterion + counted < solution.criterion:
            weights, solution = tried, new
    return weights, solution


def _set_aside_together(data: OnGrid, solution: Solution, weights: Array) -> list[Rows]:
    """Rows set aside under each shape that lost two readings to one side, or a third of them."""
    if data.shapes is None or (weights >= 0.5).all():
        return []
    design = (data.shapes.design(data.points) if data.design is None else data.design).tocsc()
    side = np.sign(data.left(solution))
    out = []
    for k in range(data.shapes.count - data.shapes.forms):
        rows = design.indices[design.indptr[k] : design.indptr[k + 1]].astype(np.intp)
        aside = rows[weights[rows] < 0.5]
        same = max(int((side[aside] > 0).sum()), int((side[aside] < 0).sum()))
        if same >= 2 or 0 < len(rows) <= 3 * len(aside):
            out.append(aside)
    return out


def _likeliest(
    data: OnGrid, shapes: Sequence[LocalShapes], weights: Array, first: Solution
) -> tuple[OnGrid, Solution, tuple[LocalShapes, ...]]:
    """With the likeliest of several families of shapes, at one smoothing; and those that are not much less likely."""
    found = [(data, first), *(_reshaped(data, one, weights, first) for one in shapes[1:])]
    best = min(found, key=lambda one: one[1].criterion)
    most = best[1].criterion + (MUCH_LESS if best[1].border and best[1].border.tau > LEAST_SHOWN_MM else 0.0)
    near = [one.shapes for one, solution in found if one.shapes is not None and solution.criterion < most]
    return *best, tuple(one for one in near if one is not best[0].shapes)


def _reshaped(data: OnGrid, shapes: LocalShapes, weights: Array, first: Solution) -> tuple[OnGrid, Solution]:
    one = replace(data, shapes=shapes)
    return one, one.reshaped(first, weights)


def _likeliest_start(data: OnGrid, weights: Array) -> Prior:
    tried = likely_starts(data.equations(weights), data.start)
    return min(tried.values(), key=lambda one: one.criterion).prior


def _rounds(data: OnGrid, fixed: Prior | None) -> tuple[Array, Prior]:
    near = neighbours(data.points)
    weights = first_weights(data.points, data.values, data.u, near)
    prior, step, moved = fixed or data.start, 3.0, 1.0
    for round_number in range(ROUNDS):
        equations = data.equations(weights)
        if fixed is None and (round_number < 2 or moved > SETTLED):
            known = likely_starts(equations, prior) if round_number == 0 else None
            solution, _ = best_smoothing(equations, prior, step=step, settled=SETTLED, known=known)
            prior, step = solution.prior, 0.7
        else:
            solution = solve(equations, prior)
        loo = data.loo(weights, solution)
        new, _ = _tapered(loo, weights)
        if round_number < 2:
            is_worst = is_worst_nearby(loo.residual / loo.deviation, near)
            new = np.where(is_worst, new, np.maximum(new, weights))
        moved = float(np.abs(new - weights).max())
        weights = new
        if moved < 0.02:
            break
    return weights, prior


def _reformed(
    data: OnGrid, weights: Array, priors: _Priors, solution: Solution, robust: bool
) -> tuple[OnGrid, Array, _Priors, Solution]:
    """Weights and priors anew with further forms: what bends with its neighbours may have been called bad.

    All as it is where the same readings are much likelier without the forms.
    """
    assert data.shapes is not None
    with_forms = replace(data, shapes=data.shapes.with_forms())
    anew, start = _begun(with_forms, None, robust)
    formed, evidence, found = _evident(with_forms, anew, start)
    if _evident(data, anew, formed[0][0])[1] > evidence - MUCH_LESS:
        return with_forms, anew, formed, found
    return data, weights, priors, solution


def _roughened(
    data: OnGrid, weights: Array, priors: _Priors, solution: Solution, robust: bool
) -> tuple[Array, _Priors, Solution]:
    """Local factors of the energy where the readings ask for them.

    Readings where the ground is found rough are all believed once more: several that lie together may be metal.
    """
    prior = solution.prior
    for _ in range(ROUGH_ROUNDS):
        found = rougher(solution, data.shapes)
        if found is None or found.rough is None:
            break
        prior = found
        if robust:
            weights = np.where(found.rough.at(data.points) < ROUGH_FACTOR, 1.0, weights)
            weights, prior = _later_rounds(data, weights, prior)
        solution = solve(data.equations(weights), prior)
    if prior.rough is None:
        return weights, priors, solution
    return weights, *_priors(data, weights, prior)


def _later_rounds(data: OnGrid, weights: Array, prior: Prior) -> tuple[Array, Prior]:
    """Rounds on a finer grid; what the coarser one could not follow, and took for bad, comes back."""
    for _ in range(ROUNDS // 2):
        solution, _ = best_smoothing(data.equations(weights), prior, step=0.7)
        prior = solution.prior
        new, _ = _tapered(data.loo(weights, solution), weights)
        moved = float(np.abs(new - weights).max())
        weights = new
        if moved < 0.02:
            break
    return weights, prior


def _tapered(loo: LooResiduals, weights: Array) -> tuple[Array, float]:
    """Weights from leave-one-out residuals, and their scale."""
    scaled = loo.residual / loo.deviation
    scale = _scale(scaled, weights)
    return taper(scaled / scale), scale


def _priors(data: OnGrid, weights: Array, start: Prior, fixed: Prior | None = None) -> tuple[_Priors, Solution]:
    """Priors that are likely, or the one that is given, and the solution at the best."""
    if fixed is not None:
        return ((fixed, 0.0, 1.0),), solve(data.equations(weights), fixed)
    priors, _, solution = _evident(data, weights, start)
    return priors, solution


def _evident(data: OnGrid, weights: Array, start: Prior, slow: Slow | None = None) -> tuple[_Priors, float, Solution]:
    """Priors, twice the negative log of the evidence of the best, and the solution there."""
    return likely_priors(data.equations(weights, slow), start, data.modes)


def _reweighed(data: OnGrid, solution: Solution, weights: Array, loo: LooResiduals) -> tuple[Array, float, Solution]:
    """Two more rounds after the smoothness length has been chosen; the first has its residuals already."""
    for round_number in range(2):
        new, scale = _tapered(loo, weights)
        if np.array_equal(new, weights):
            break
        weights, solution = new, solve(data.equations(new), solution.prior)
        loo = data.loo(weights, solution) if round_number == 0 else loo
    return weights, scale, solution


def _rest(data: OnGrid, weights: Array, prior: Prior, scale: float, points: Array, values: Array, u: Array) -> Array:
    """Weights of all readings, from a fit to a share of them."""
    solution = solve(data.equations(weights), prior)
    inverse = solution.factor.inverse_band
    missed = 0.0 if data.shapes is None else Misfit.of(data.shapes, solution.amounts).variance_at(points)
    loo = leave_one_out(solution, inverse, data.shapes, points, values, u, np.zeros(len(values)), missed)
    return taper(loo.residual / (loo.deviation * scale))


def _scale(scaled: Array, weights: Array) -> float:
    """Median absolute deviation of the readings that count, as a standard deviation, not below 1."""
    counted = np.abs(scaled[weights > 0.5])
    return max(1.0, MAD_TO_SD * float(np.median(counted))) if len(counted) else 1.0
