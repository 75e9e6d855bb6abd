"""Shapes beside the spline, against dense linear algebra (A. Gelman et al., Bayesian Data Analysis 2013, §14.2)."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface import Fit, fit_surface
from floorfit.surface.grid import make_grid
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.reml import Equations, Prior, assemble, solve

BOUNDS = (0.0, 0.0, 600.0, 400.0)
RNG = np.random.default_rng(8)
Array = np.ndarray


def bump(x0: float, y0: float) -> ShapeTable:
    """(1 − s²)² (1 − t²)² over 160 × 120 mm: a clamped web's first shape."""
    s, t = (np.linspace(-1, 1, n) for n in (25, 19))
    return ShapeTable((x0, y0), (x0 + 160, y0 + 120), np.outer((1 - s**2) ** 2, (1 - t**2) ** 2))


CORNERS = [(x, y) for x in (20.0, 220.0, 420.0) for y in (30.0, 230.0)]
SHAPES = LocalShapes(tuple(str(c) for c in CORNERS), tuple(bump(*c) for c in CORNERS), np.ones(6), 2.0)


def readings(amounts: Array, seed: int = 1, per_web: int = 9) -> tuple[Array, Array]:
    """Noise of 0.010 mm on a bow of 0.2 mm with webs that dish."""
    rng = np.random.default_rng(seed)
    points = np.concatenate([rng.uniform((x + 8, y + 8), (x + 152, y + 112), (per_web, 2)) for x, y in CORNERS])
    return points, bow(points) + SHAPES.total_at(amounts, points) + rng.normal(0, 0.010, len(points))


def bow(points: Array) -> Array:
    return 0.2 * ((points[:, 0] - 300) / 300) ** 2


def equations(points: Array, values: Array, shapes: LocalShapes | None = SHAPES) -> Equations:
    return assemble(make_grid(BOUNDS, 100.0), points, values, np.full(len(values), 1e4), len(values), shapes)


PRIOR = Prior(1e5)


def dense(points: Array, values: Array, rho: float) -> tuple[Array, Array, Array]:
    """Bordered normal matrix, its solution and the design, with everything written out."""
    grid = make_grid(BOUNDS, 100.0)
    m = grid.unknowns
    splines = np.stack([grid.at(np.eye(m)[k].reshape(grid.shape), points) for k in range(m)], axis=1)
    design = np.hstack([splines, SHAPES.design(points).toarray()])
    energy = grid.energy(0.0, 0.0)
    penalty = np.zeros((m + 6, m + 6))
    for k in range(m):
        from floorfit.surface.blocks import product

        penalty[:m, k] = 1e5 * product(energy, np.eye(m)[k].reshape(1, *grid.shape)).ravel()
    penalty[m:, m:] = np.linalg.inv(rho * SHAPES.covariance)
    matrix = 1e4 * design.T @ design + penalty
    return matrix, np.linalg.solve(matrix, 1e4 * design.T @ values), design


def test_ladder_of_sizes_is_that_of_dense_solutions() -> None:
    points, values = readings(np.array([0.04, -0.02, 0.05, 0.0, 0.03, -0.06]))
    values = values - values.mean()
    border = solve(equations(points, values), PRIOR).border
    assert border is not None
    s, alone = border.spectrum, solve(equations(points, values, None), PRIOR)
    for rho in (1e-5, 1e-3, 1e-2):
        matrix, solution, design = dense(points, values, rho)
        amounts = s.basis @ (rho / (1 + rho * s.information) * s.score)
        assert amounts == pytest.approx(solution[-6:], rel=1e-6, abs=1e-9)
        # yᵀWy − yᵀW D (DᵀWD + P)⁻¹ DᵀWy, and the determinants' difference (M. A. Woodbury 1950).
        pulled = 1e4 * float(values @ design @ solution)
        plain = float(np.sum(alone.equations.right * alone.coefficients))
        determinants, explained = s.evidence(np.array([rho]))
        assert plain + explained[0] == pytest.approx(pulled, rel=1e-9)
        own = np.linalg.slogdet(matrix)[1] + np.linalg.slogdet(rho * SHAPES.covariance)[1]
        expected = own - alone.factor.log_determinant()
        assert determinants[0] == pytest.approx(expected, rel=1e-6)


@pytest.fixture(scope="module")
def dished() -> tuple[Array, Array, Fit]:
    amounts = np.array([0.05, 0.02, 0.06, 0.03, 0.04, 0.08])
    points, values = readings(amounts)
    return points, values, fit_surface(points, values, 0.010, bounds=BOUNDS, shapes=(SHAPES,), samples=2000)


def test_dishes_are_found(dished: tuple[Array, Array, Fit]) -> None:
    _, _, fit = dished
    places = np.concatenate([np.array([[x + 80, y + 60], [x + 40, y + 30]]) for x, y in CORNERS])
    truth = bow(places) + SHAPES.total_at(np.array([0.05, 0.02, 0.06, 0.03, 0.04, 0.08]), places)
    error, u = fit.surface.at(*places.T) - truth, fit.posterior.std_at(*places.T)
    assert (abs(error) <= 3.5 * u).all()  # 12 places, independent or not: 3.5 σ leaves one in 180
    assert 0.02 < fit.shape_size < 0.15
    assert (fit.weights == 1).all()


def test_samples_spread_as_stated(dished: tuple[Array, Array, Fit]) -> None:
    _, _, fit = dished
    places = np.array([[100.0, 90.0], [300.0, 290.0], [210.0, 200.0]])
    drawn = np.concatenate([fit.posterior.samples_at(place[None]) for place in places], axis=1)
    # 2,000 samples know a deviation to 1/√4000 = 1.6 %; the mixture over shapes is not in the pointwise one in full.
    assert drawn.std(axis=0) == pytest.approx(fit.posterior.std_at(*places.T), rel=0.12)


def test_variance_split_adds_up(dished: tuple[Array, Array, Fit]) -> None:
    _, _, fit = dished
    places = [np.array([[100.0, 90.0]]), np.array([[300.0, 290.0], [210.0, 200.0]])]
    noise, between, _ = fit.variance_split(places)
    assert (noise > 0).all()
    assert (between >= 0).all()
    # Without the spread of λ and of τ it can only be less than the whole.
    assert noise[0] + between[0] <= float(fit.posterior.std_at(100.0, 90.0)) ** 2 * (1 + 1e-9)


def test_reading_left_out_is_predicted_by_the_rest(dished: tuple[Array, Array, Fit]) -> None:
    points, values, _ = dished
    options = {"bounds": BOUNDS, "shapes": (SHAPES,), "robust": False, "smoothing": 1e5, "cell_mm": 50.0}
    whole = fit_surface(points, values, 0.010, **options)  # type: ignore[arg-type]
    for row in (0, 20, 50):
        kept = np.arange(len(values)) != row
        rest = fit_surface(points[kept], values[kept], 0.010, **options)  # type: ignore[arg-type]
        left_out = values[row] - float(rest.surface.at(*points[row]))
        # The same but for τ, which one reading in 54 moves a little.
        assert whole.loo.residual[row] == pytest.approx(left_out, abs=0.003)


def test_smoothing_the_same_values_gives_the_same_surface(dished: tuple[Array, Array, Fit]) -> None:
    points, values, fit = dished
    again = fit.smoother.smoothed(points, values, np.full(len(values), 0.010))
    assert again.at(*points.T) == pytest.approx(fit.surface.at(*points.T), abs=1e-9)


def test_flat_webs_cost_little() -> None:
    points, values = readings(np.zeros(6), seed=3)
    plain = fit_surface(points, values, 0.010, bounds=BOUNDS)
    shaped = fit_surface(points, values, 0.010, bounds=BOUNDS, shapes=(SHAPES,))
    places = np.concatenate([RNG.uniform((x, y), (x + 160, y + 120), (40, 2)) for x, y in CORNERS])
    errors = [np.sqrt(np.mean((fit.surface.at(*places.T) - bow(places)) ** 2)) for fit in (plain, shaped)]
    # A quarter of a reading's noise at most: webs that do not dish have τ where no reading shows it.
    assert errors[1] < errors[0] + 0.0025


def test_dished_web_is_no_outlier_and_a_bad_reading_is() -> None:
    points, values = readings(np.array([0.08, 0.06, 0.09, 0.07, 0.08, 0.10]), seed=4)
    bad = values.copy()
    bad[13] += 0.3  # the gauge read the next echo
    fit = fit_surface(points, bad, 0.010, bounds=BOUNDS, shapes=(SHAPES,))
    assert fit.weights[13] < 0.5
    assert (np.delete(fit.weights, 13) > 0.5).all()
