"""From readings to a surface: the one function that other rooms call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.errors import NumericalError
from floorfit.one_thread import one_thread
from floorfit.surface.along_axes import Model
from floorfit.surface.blocks import as_sparse
from floorfit.surface.border import Slow
from floorfit.surface.cell_width import cell_of, final_cell, keeps_planes
from floorfit.surface.families import likely_families
from floorfit.surface.given import Box, check_places, checked, enclosing, heights, plane_of
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.left_out import LooResiduals, leave_one_out
from floorfit.surface.local_shapes import LocalShapes, Misfit
from floorfit.surface.modes import Modes
from floorfit.surface.posterior import Nodes, Posterior, joint_posterior, mean_of, mixture
from floorfit.surface.reml import Equations, Prior, Solution, assemble, columns_of
from floorfit.surface.robust import Robust, robust_weights
from floorfit.surface.slow import unseen_drift
from floorfit.surface.smoother import Smoother
from floorfit.surface.spline import Surface, plane_coefficients

__all__ = ["Fit", "fit_surface"]

#: Cells of the coarse grid on which weights and smoothing are searched.
COARSE_CELLS = 400
#: Cells that each effective parameter wants there, and the most that are searched on.
PER_PARAMETER, MOST_SEARCHED = 3.0, 8_000
#: Mean warps whose variance is split at once: few enough for the processor's cache.
AT_ONCE = 64
#: By how much the cells are widened where rounding gets the better of them.
WIDENED = 1.4
#: Joint samples: the sampling error of a probability of 0.95 is then 0.01.
SAMPLES = 400


@dataclass(frozen=True)
class Fit:
    """A fitted surface and how far to trust it.

    Parameters
    ----------
    surface : Surface
        Best estimate of the warp, mm.
    posterior : Posterior
        Its uncertainty.
    weights : (n,) ndarray
        Robust weight of each reading, 0 to 1.
    residuals : (n,) ndarray, mm
        Value minus fitted warp.
    loo : LooResiduals
        The same with each reading left out of its own fit.
    smoothing : float
        λ, in units where readings are weighted by 1/u².
    smoothing_spread : float
        Standard deviation of log λ; 0 where λ was given.
    smooth_length : float, mm
        Length below which the curvature does not change freely; 0 for the plain thin-plate spline.
    tension : float, mm
        Length above which a tension resists rather than bending, as on rough ground; 0 for none.
    dispersion : float
        φ >= 1: variance of the readings over what was stated.
    scale : float
        Robust scale of the leave-one-out residuals, >= 1.
    effective_parameters : float
        Trace of the influence matrix.
    cell : (float, float)
        Cell size along X and Y, mm.
    shape_size : float, mm
        τ, about how far the shapes beside the spline go; 0 without shapes.
    solution : Solution
        At the best smoothing, for further solves.
    models : tuple of Model
        The surface alone, and with what may stand beside it: the one that ``solution`` and what is made by it belong
        to, then those that the surface and its uncertainty are a mixture with, by their shares.
    modes_share : float
        Share of the evidence, 0 to 1, that modes of the whole plate have beside the spline alone.
    """

    surface: Surface
    posterior: Posterior
    weights: Array
    residuals: Array
    loo: LooResiduals
    smoothing: float
    smoothing_spread: float
    smooth_length: float
    tension: float
    dispersion: float
    scale: float
    effective_parameters: float
    cell: tuple[float, float]
    shape_size: float
    solution: Solution
    models: tuple[Model, ...]
    modes_share: float = 0.0

    @property
    def modes_size(self) -> float:
        """About how far the modes go in the best fit, mm; 0 where it is one without."""
        return self.solution.prior.modes_size

    @property
    def slow(self) -> Slow | None:
        """What stands beside the surface in the first model."""
        return self.models[0].slow

    def variance_split(self, places: Sequence[Array]) -> tuple[Array, Array, Array]:
        """Split the variance of mean warps: the readings' noise, the surface between them, a slow error of theirs.

        Parameters
        ----------
        places : sequence of (k, 2) ndarray, mm
            The mean of the warp over each is meant.

        Returns
        -------
        noise, between, slow : (len(places),) ndarray, mm²
            ``φ vᵀ N v`` and ``φ λ vᵀ S v`` with ``v = (N + λ S)⁻¹ a`` for the functional a, N and S bordered by the
            shapes. Their sum is φ aᵀ v, so that only the first is summed; the cost does not grow with the readings.
        """
        from scipy.sparse import csr_array

        grid, shapes, solution = self.surface.grid, self.surface.shapes, self.solution
        normal, (noise, total, slow) = as_sparse(solution.equations.normal), np.zeros((3, len(places)))
        for first in range(0, len(places), AT_ONCE):
            some = places[first : first + AT_ONCE]
            points, counts = np.concatenate(some), np.array([len(where) for where in some])
            columns = np.repeat(np.arange(len(some)), counts)
            share = 1.0 / counts[columns]
            functionals = grid.right_sides(points, np.arange(len(points)), columns, share, len(some))
            means = np.empty((len(some), 0))
            if shapes is not None:
                mean = csr_array((share, (columns, np.arange(len(points)))), shape=(len(some), len(points)))
                means = (mean @ shapes.design(points)).toarray()
            with one_thread():
                gains, extra = solution.gains(functionals, means)
            rows = slice(first, first + AT_ONCE)
            flat = np.ascontiguousarray(gains.reshape(len(gains), -1).T)
            noise[rows] = np.einsum("ip,ip->p", flat, normal @ flat) + self._noise_of_amounts(gains, extra)
            total[rows] = np.einsum("pij,pij->p", functionals, gains)
            total[rows] += (means * extra[:, : means.shape[1]]).sum(axis=1)
            slow[rows] = self._of_slow(extra)
        between = np.maximum(total - noise - slow, 0.0)
        told, unseen = (self._of_errors(places, is_told) for is_told in (True, False))
        return self.dispersion * noise, self.dispersion * between + told, self.dispersion * slow + unseen

    def _of_errors(self, places: Sequence[Array], is_told: bool) -> Array:
        """What errors that the readings can show, or cannot, add to the variance of each mean, mm²."""
        errors = [one.surface for one in self.posterior.errors if one.is_told is is_told]
        return np.array([sum(float(np.mean(one.at(*where.T))) ** 2 for one in errors) for where in places])

    def _of_slow(self, extra: Array) -> Array:
        """What the slow error adds: ``eᵀ Σ⁻¹ e`` of the gains e of its knots."""
        if self.slow is None:
            return np.zeros(len(extra))
        count = len(self.slow.covariance)
        errors = count - len(self.slow.breaks)
        knots, covariance = extra[:, -count:][:, :errors], self.slow.covariance[:errors, :errors]
        return np.asarray((knots * np.linalg.solve(covariance, knots.T).T).sum(axis=1))

    def _noise_of_amounts(self, gains: Array, extra: Array) -> Array:
        """What the readings' noise adds through the amounts of the shapes, for each functional."""
        border = self.solution.border
        if border is None:
            return np.zeros(len(gains))
        right = border.columns.right
        crossed = gains.reshape(len(gains), -1) @ right.reshape(len(right), -1).T
        return np.asarray((extra * (2 * crossed + extra @ border.columns.gram)).sum(axis=1))

    def allowing_for_drift(self, points: Array, u: Array, order: Array, seed: int = 1) -> Fit:
        """With a wider posterior: by what a drift of the gauge that is let go would do to this surface.

        Little is added where readings were taken there and back. Where a drift or a step stands beside the surface, its
        own is in the posterior; but when in it the gauge was right, no reading tells. The surface goes by the middle of
        what was read, and half of the drift or step either way is rectangular (JCGM 100:2008, 4.3.7) and common to all
        floors.

        Parameters
        ----------
        points : (n, 2) ndarray, mm
        u : (n,) ndarray, mm
            Places and standard uncertainties of the readings that were fitted.
        order : (n,) ndarray
            Time or number of each.
        seed : int
            Of the joint samples.
        """
        drift = unseen_drift(order)
        found = self.models[0].in_order
        if drift is None:
            return self
        if found is None:
            error = self.smoother.smoothed(points, drift, u)
            return replace(self, posterior=self.posterior.with_error(error, seed, is_told=False))
        middle, deviation = self._level_of(found)
        surface = self.surface
        surface = replace(surface, coefficients=surface.coefficients + self._level(middle).coefficients)
        return replace(self.with_level_error(deviation, seed), surface=surface, residuals=self.residuals - middle)

    def with_level_error(self, u: float, seed: int) -> Fit:
        """Wider by an error that all floors share.

        Parameters
        ----------
        u : float, mm
            Its standard uncertainty.
        seed : int
            Of the joint samples.
        """
        return replace(self, posterior=self.posterior.with_error(self._level(u), seed, is_told=False))

    def _level_of(self, found: Slow) -> tuple[float, float]:
        """What the surface lies too low by, in the middle of a drift or step, and the standard uncertainty of that.

        A slow change has a level of its own already, drawn towards none: what is missing to that of its path.
        """
        border, path, count = self.solution.border, self._path_of(found), found.design.shape[1]
        assert border is not None
        own = slice(border.columns.shapes, border.columns.shapes + count)
        covariance = self.dispersion * border.covariance[own, own]
        share = sum(one.share for one in self.models if one.in_order is not None)
        if np.isfinite(found.length):
            mean = np.asarray(found.design.mean(axis=0)).ravel()
            missing = max(0.0, np.ptp(path) ** 2 / 12 - float(mean @ covariance @ mean))
            return 0.0, float(np.sqrt(share * missing))
        variance = covariance[0, 0] * float(np.ptp(found.design[:, [0]].toarray())) ** 2
        extent = float(np.sqrt(share * (np.ptp(path) ** 2 + variance)))
        return share * float(path.max() + path.min()) / 2, extent / np.sqrt(12.0)

    def _path_of(self, found: Slow) -> Array:
        """What an error in the order of the readings adds to each."""
        assert self.solution.border is not None
        return np.asarray(found.design @ self.solution.border.slow_error[: found.design.shape[1]])

    @property
    def extent_in_order(self) -> float:
        """Largest difference, mm, that the error in the order of the readings makes between two; 0 without one."""
        found = self.models[0].in_order
        return 0.0 if found is None else float(np.ptp(self._path_of(found)))

    def _level(self, height: float) -> Surface:
        """The same height everywhere, mm."""
        grid = self.surface.grid
        return Surface(grid, plane_coefficients(grid, np.array([height, 0.0, 0.0])))

    @property
    def smoother(self) -> Smoother:
        """What the fit makes of any values of the same places."""
        return Smoother(self.surface.shapes, self.weights, self.solution, self.slow)


@one_thread()
def fit_surface(
    points: ArrayLike,
    values: ArrayLike,
    u: ArrayLike,
    *,
    bounds: Box,
    smallest_mm: float | None = None,
    cell_mm: float | None = None,
    smoothing: float | None = None,
    smooth_length_mm: float = 0.0,
    tension_mm: float = 0.0,
    robust: bool = True,
    samples: int = SAMPLES,
    seed: int = 1,
    shapes: Sequence[LocalShapes] = (),
    order: ArrayLike | None = None,
    is_z_measured: bool = False,
    modes: Modes | None = None,
    known: Modes | None = None,
) -> Fit:
    """Fit the smoothing thin-plate spline.

    Parameters
    ----------
    points : (n, 2) array_like, mm
        Places of the readings.
    values : (n,) array_like, mm
        Warp there.
    u : float or (n,) array_like, mm
        Standard uncertainty of each value, > 0.
    bounds : (x_min, y_min, x_max, y_max), mm
        The part's rectangle.
    smallest_mm : float, optional
        Width of the smallest floor; the grid puts a few cells across it.
    cell_mm : float, optional
        Cell width, instead of the choice that `choose_cell` makes.
    smoothing : float, optional
        λ, instead of the choice by REML.
    smooth_length_mm, tension_mm : float, optional
        Go with ``smoothing``: 0 (default there) is the thin-plate spline of Duchon. Without ``smoothing`` all are
        chosen by the likelihood.
    robust : bool
        Whether readings are reweighted.
    samples : int
        Joint samples to draw.
    seed : int
        Of the samples; the same input and seed give the same numbers.
    shapes : sequence of LocalShapes
        What stands beside the spline: the dish of each web. Its size comes from the readings, and of several families
        the likeliest is taken; the search begins with the first.
    order : (n,) array_like, optional
        Time or number of each reading: an error that changes slowly along them is looked for, where there are shapes.
    is_z_measured : bool
        Whether an error of a measured Z, which changes along an axis, may be in the values.
    modes : Modes, optional
        Shapes of the whole plate that are likely before any reading; used as far as the likelihood of the readings
        speaks for them.
    known : Modes, optional
        Such shapes whose size is known beforehand.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        If the shapes differ, a number is not finite, or an uncertainty is not above zero.
    NumericalError
        If fewer than three places differ, or all lie on one line: no plane, no surface.

    Notes
    -----
    Minimises ``Σ (w_i − w(x_i, y_i))² / u_i² + λ ∬ (w_xx² + 2 w_xy² + w_yy²)`` (Duchon 1977; Wahba 1990) on bicubic
    B-splines. Time grows with the grid and, slowly, with n; memory with the grid.
    """
    xy, w, sigma = checked(points, values, u)
    check_places(xy)
    prior = None if smoothing is None else Prior(smoothing, smooth_length_mm, tension_mm)
    taken = None if order is None else np.asarray(order, float)
    weigh = partial(
        robust_weights, prior=prior, robust=robust, shapes=shapes, order=taken, is_z_measured=is_z_measured,
        modes=modes, known=known,
    )  # fmt: skip
    return _fit(xy, w, sigma, bounds, smallest_mm, cell_mm, prior, samples, seed, weigh)


def _fit(
    xy: Array,
    w: Array,
    u: Array,
    bounds: Box,
    smallest: float | None,
    cell: float | None,
    prior: Prior | None,
    samples: int,
    seed: int,
    weigh: Callable[..., Robust],
) -> Fit:
    box, plane = enclosing(bounds, xy), plane_of(xy, w, u)
    flat = w - heights(plane, xy)
    search = _searched(box, partial(weigh, points=xy, values=flat, u=u), is_fixed=prior is not None)
    shapes = search.shapes
    models = _solved(box, cell or final_cell(box, u, smallest, prior, search), xy, flat, u, search, shapes)
    centre = models[0][1][0][0]
    grid, (coefficients, amounts) = centre.equations.grid, mean_of(models)
    inverse = centre.factor.inverse_band
    others = likely_families(models[0][1], search.others, xy, flat, search.weights / u**2, search.models[0].slow)
    missed = 0.0 if shapes is None else Misfit.of(shapes, centre.amounts).variance_at(xy)
    loo = leave_one_out(centre, inverse, shapes, xy, flat, u, search.weights, missed)
    surface = Surface(grid, coefficients + plane_coefficients(grid, plane), shapes, amounts)
    return Fit(
        surface=surface,
        posterior=joint_posterior(grid, models, inverse, samples, seed, shapes, others),
        weights=search.weights,
        residuals=w - surface.at(*xy.T),
        loo=loo,
        smoothing=centre.prior.smoothing,
        smoothing_spread=search.priors[0][1],
        smooth_length=centre.prior.smooth_length,
        tension=centre.prior.tension,
        dispersion=centre.dispersion,
        scale=search.scale,
        effective_parameters=float(loo.leverage.sum()),
        cell=_cell_size(grid),
        shape_size=0.0 if centre.border is None else centre.border.tau,
        solution=centre,
        models=search.models,
        modes_share=sum(model.share * model.modes_share for model in search.models),
    )


def _solved(
    box: Box, cell: float, xy: Array, flat: Array, u: Array, search: Robust, shapes: LocalShapes | None
) -> list[tuple[float, Nodes]]:
    """Solutions of each model on the cells wanted, or on wider ones where double precision does not carry them.

    A long smoothness length makes a fine grid so stiff that what holds a plane, the readings, is lost in rounding.
    """
    coarsest = cell_of(box, COARSE_CELLS)
    while True:
        grid = make_grid(box, cell)
        equations = assemble(
            grid, xy, flat, search.weights / u**2, float(search.weights.sum()), shapes, slow=search.models[0].slow
        )
        try:
            models = _mixed(equations, search, shapes, xy, flat, u)
            if cell >= coarsest or keeps_planes(equations, models[0][1][0][0], box):
                return models
        except NumericalError:
            if cell >= coarsest:
                raise
        cell = min(WIDENED * cell, coarsest)


def _mixed(
    equations: Equations, search: Robust, shapes: LocalShapes | None, xy: Array, flat: Array, u: Array
) -> list[tuple[float, Nodes]]:
    """Share and solutions of each model."""
    first, *others = search.models
    out = [(first.share, mixture(equations, first.priors))]
    for one in others:
        columns = columns_of(equations.grid, xy, flat, search.weights / u**2, shapes, None, one.slow)
        out.append((one.share, mixture(replace(equations, columns=columns), one.priors)))
    return out


def _searched(box: Box, weigh: Callable[..., Robust], *, is_fixed: bool) -> Robust:
    """Weights, smoothing and smoothness length on a coarse grid, a finer one where the surface bends in its cells.

    A warped plate has some 20 to 100 effective parameters and needs one search.
    """
    cells, search = COARSE_CELLS, None
    while True:
        search = weigh(make_grid(box, cell_of(box, cells)), before=search)
        wanted = PER_PARAMETER * search.parameters
        if is_fixed or wanted <= cells or cells >= MOST_SEARCHED:
            return search
        cells = int(min(max(wanted, 1.4 * cells), MOST_SEARCHED))


def _cell_size(grid: Grid) -> tuple[float, float]:
    along, across = (float(np.min(axis.widths)) for axis in (grid.along, grid.across))
    return (across, along) if grid.swapped else (along, across)
