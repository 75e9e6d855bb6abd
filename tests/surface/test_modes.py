"""Modes beside the spline: against dense linear algebra, and in the limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from floorfit.surface.blocks import as_sparse
from floorfit.surface.fit import fit_surface
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.modes import Modes
from floorfit.surface.posterior import joint_posterior, mean_of
from floorfit.surface.reml import Equations, Prior, assemble, solve

BOUNDS, U = (0.0, 0.0, 900.0, 400.0), 0.010
X, Y = np.linspace(0, 900, 19), np.linspace(0, 400, 9)


def _modes() -> Modes:
    """Three smooth tables of the order of one."""
    x, y = np.meshgrid(X / 900, Y / 400, indexing="ij")
    return Modes(X, Y, np.array([np.cos(3 * x + y), np.sin(4 * x) * (y - 0.4), 0.5 * np.cos(5 * x * y)]))


def _data(seed: int = 1, count: int = 40) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    points = rng.uniform(BOUNDS[:2], BOUNDS[2:], (count, 2))
    return points, 0.1 * np.sin(points[:, 0] / 150) + rng.normal(0, U, count)


def _equations(grid: Grid, points: np.ndarray, values: np.ndarray) -> Equations:
    return assemble(grid, points, values, np.full(len(values), U**-2), float(len(values)))


@pytest.fixture(scope="module")
def small() -> tuple[Grid, Equations, np.ndarray, np.ndarray]:
    points, values = _data()
    grid = make_grid(BOUNDS, 150.0)
    return grid, _equations(grid, points, values), points, values


def test_on_a_grid_they_are_the_cubic_spline_through_the_nodes() -> None:
    # scipy.interpolate.RectBivariateSpline with s = 0; cells of the nodes' width hold it but for its knots next to the
    # ends (not a knot), so that the middle is compared.
    from scipy.interpolate import RectBivariateSpline

    modes, grid = _modes(), make_grid(BOUNDS, 10.0)
    xs, ys = np.linspace(100, 800, 31), np.linspace(60, 340, 17)
    for mode, values in zip(modes.on(grid), modes.values, strict=True):
        expected = RectBivariateSpline(X, Y, values)(xs, ys)
        assert np.abs(grid.on_grid(mode, xs, ys) - expected).max() < 1e-5


@pytest.mark.parametrize("bounds", [BOUNDS, (0.0, 0.0, 400.0, 900.0)])
def test_swapping_x_and_y_swaps_the_modes(bounds: tuple[float, float, float, float]) -> None:
    modes, swapped = _modes(), bounds[3] > bounds[2]
    given = replace(modes, x=Y, y=X, values=modes.values.transpose(0, 2, 1)) if swapped else modes
    grid = make_grid(bounds, 50.0)
    place = np.array([[200.0, 300.0]])[:, ::-1] if swapped else np.array([[200.0, 300.0]])[:, [1, 0]] + [100, -50]
    points = place[:, ::-1] if swapped else place
    plain = make_grid(BOUNDS, 50.0)
    there = np.array([[points[0, 0], points[0, 1]]]) if swapped else place
    assert grid.at(given.on(grid)[1], place) == pytest.approx(plain.at(modes.on(plain)[1], there), abs=1e-12)


def test_posterior_is_that_of_dense_bayesian_regression(small) -> None:
    # Bayesian linear regression in the weights of splines and modes, written out with numpy.
    grid, equations, points, values = small
    prior = Prior(1e5, modes=_modes(), modes_size=0.3)
    found = solve(equations, prior)
    b = grid.matrix(points).toarray()
    m = 0.3 * prior.modes.on(grid).reshape(3, -1).T
    both = np.hstack([b, b @ m])
    energy = as_sparse(prior.energy(grid)).toarray()
    precision = both.T @ both / U**2 + np.block(
        [[1e5 * energy, np.zeros((len(energy), 3))], [np.zeros((3, len(energy))), np.eye(3)]]
    )
    weights = np.linalg.solve(precision, both.T @ values / U**2)
    probe = np.random.default_rng(3).uniform(BOUNDS[:2], BOUNDS[2:], (50, 2))
    rows = np.hstack([grid.matrix(probe).toarray(), grid.matrix(probe).toarray() @ m])
    assert np.allclose(grid.at(found.coefficients, probe), rows @ weights, atol=1e-7)
    variance = np.einsum("ij,ji->i", rows, np.linalg.solve(precision, rows.T))
    assert np.allclose(grid.quadratic_at(found.factor.inverse_band, probe), variance, rtol=1e-5)
    draws = found.factor.draw(4000, np.random.default_rng(4))
    seen = np.einsum("pm,mn->pn", grid.matrix(probe).toarray(), draws.reshape(-1, 4000)).var(axis=1)
    assert np.allclose(seen, variance, rtol=6 * np.sqrt(2 / 4000))  # six standard errors of a variance


def test_evidence_is_that_of_the_marginal_gaussian(small) -> None:
    # Restricted likelihood by scipy: contrasts that no plane moves are Gaussian with the prior's covariance and noise.
    from scipy.stats import multivariate_normal

    grid, equations, points, values = small
    b, modes = grid.matrix(points).toarray(), _modes()
    spline = b @ np.linalg.pinv(1e5 * as_sparse(grid.energy()).toarray(), rcond=1e-13) @ b.T
    raised = b @ modes.on(grid).reshape(3, -1).T
    contrasts = np.linalg.qr(np.column_stack([np.ones(len(points)), points]), mode="complete")[0][:, 3:]

    def dense(size: float) -> float:
        covariance = contrasts.T @ (spline + size**2 * raised @ raised.T + U**2 * np.eye(len(points))) @ contrasts
        return float(-2 * multivariate_normal(cov=(covariance + covariance.T) / 2).logpdf(contrasts.T @ values))

    def ours(size: float) -> float:
        prior = Prior(1e5, modes=modes, modes_size=size) if size else Prior(1e5)
        found = solve(equations, prior)
        pulled = float(np.sum(equations.right * found.coefficients))
        return found.factor.log_determinant() + equations.square - pulled

    for size in (0.05, 0.3, 2.0):
        # 1e-3 of twice a log likelihood: the pseudo-inverse of an energy with planes free keeps some ten digits.
        assert ours(size) - ours(0.0) == pytest.approx(dense(size) - dense(0.0), abs=2e-3)


def test_of_no_size_they_leave_the_spline_as_it_is(small) -> None:
    _, equations, _, _ = small
    plain, tiny = solve(equations, Prior(1e5)), solve(equations, Prior(1e5, modes=_modes(), modes_size=1e-9))
    assert np.allclose(plain.coefficients, tiny.coefficients, atol=1e-9)
    assert tiny.criterion == pytest.approx(plain.criterion, abs=1e-6)


def test_of_any_size_and_with_a_stiff_spline_they_are_regression(small) -> None:
    # Least squares on planes and modes (numpy.linalg.lstsq), where the spline may not bend and the modes may go far.
    grid, equations, points, values = small
    prior = Prior(1e13, modes=_modes(), modes_size=1e3)
    found = solve(equations, prior)
    design = np.column_stack([np.ones(len(points)), points / 1000])
    design = np.hstack([design, grid.matrix(points) @ prior.modes.on(grid).reshape(3, -1).T])
    expected = design @ np.linalg.lstsq(design, values, rcond=None)[0]
    assert np.abs(grid.at(found.coefficients, points) - expected).max() < 1e-4


def test_samples_scatter_about_the_mean_of_the_mixture(small) -> None:
    # Laws of total expectation and variance: mean of the means; mean of the variances and variance of the means.
    grid, equations, _, _ = small
    nodes = [(solve(equations, Prior(1e5)), 0.25), (solve(equations, Prior(1e7, modes=_modes(), modes_size=0.3)), 0.75)]
    best, _ = mean_of([(1.0, nodes)])
    probe = np.random.default_rng(5).uniform(BOUNDS[:2], BOUNDS[2:], (20, 2))
    means = np.array([grid.at(one.coefficients, probe) for one, _ in nodes])
    assert np.allclose(grid.at(best, probe), 0.25 * means[0] + 0.75 * means[1])
    draws = joint_posterior(grid, [(1.0, nodes)], nodes[0][0].factor.inverse_band, 4000, 1, None).deviations
    seen = np.tensordot(grid.matrix(probe).toarray(), draws.reshape(-1, 4000), 1)
    within = sum(w * one.dispersion * grid.quadratic_at(one.factor.inverse_band, probe) for one, w in nodes)
    variance = within + 0.25 * 0.75 * (means[0] - means[1]) ** 2
    assert np.abs(seen.mean(axis=1)).max() < 5 * np.sqrt(variance.max() / 4000)  # five standard errors
    assert np.allclose(seen.var(axis=1), variance, rtol=0.15)  # some 2 % of a variance, more where the two lie apart


def test_they_are_used_where_they_are_true_and_left_where_they_are_not() -> None:
    modes = _modes()
    rng = np.random.default_rng(7)
    points = rng.uniform(BOUNDS[:2], BOUNDS[2:], (24, 2))
    grid = make_grid(BOUNDS, 30.0)
    shape = np.tensordot([0.2, -0.5, 0.4], modes.on(grid), 1)
    probe = rng.uniform(BOUNDS[:2], BOUNDS[2:], (400, 2))
    values = grid.at(shape, points) + rng.normal(0, U, 24)
    plain, told = (fit_surface(points, values, U, bounds=BOUNDS, modes=one) for one in (None, modes))
    errors = [np.sqrt(np.mean((one.surface.at(*probe.T) - grid.at(shape, probe)) ** 2)) for one in (plain, told)]
    # Three modes and a plane in 24 readings: about u √(6/24) = 0.5 u; the spline needs more numbers than that.
    assert told.modes_share > 0.9 and errors[1] < 0.75 * errors[0] and errors[1] < 0.8 * U
    other = 0.05 * np.sin(points[:, 0] / 60) * np.sin(points[:, 1] / 50) + rng.normal(0, U, 24)
    assert fit_surface(points, other, U, bounds=BOUNDS, modes=modes).modes_share < 0.5


def test_without_modes_nothing_of_them_shows() -> None:
    points, values = _data()
    fit = fit_surface(points, values, U, bounds=BOUNDS)
    assert fit.modes_share == 0.0 and fit.modes_size == 0.0
