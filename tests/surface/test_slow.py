"""Errors that change slowly from reading to reading, beside the surface."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import eval_legendre

from floorfit.noticed import fit_findings
from floorfit.surface import Fit, fit_surface
from floorfit.surface.blocks import product
from floorfit.surface.grid import make_grid
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.reml import Prior, assemble, solve
from floorfit.surface.slow import slow_errors

BOX = (0.0, 0.0, 600.0, 400.0)
PRIOR = Prior(3e5)


def bumps() -> LocalShapes:
    bump = np.outer([0.0, 1.0, 0.0], [0.0, 1.0, 0.0])
    tables = [ShapeTable((x, y), (x + 180.0, y + 180.0), bump) for x in (10.0, 210.0, 410.0) for y in (10.0, 210.0)]
    return LocalShapes(tuple(str(k) for k in range(6)), tuple(tables), np.ones(6), 1.0)


def places(count: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).uniform((5, 5), (595, 395), (count, 2))


def walk(count: int, size: float, length: float, seed: int) -> np.ndarray:
    """Ornstein-Uhlenbeck process, by its recursion."""
    rng, keep = np.random.default_rng(seed), np.exp(-1 / length)
    out = np.empty(count)
    out[0] = rng.normal(0, size)
    for k in range(1, count):
        out[k] = keep * out[k - 1] + rng.normal(0, size * np.sqrt(1 - keep**2))
    return out


def test_border_with_a_slow_error_is_dense_algebra() -> None:
    # Gaussian posterior of everything together (A. Gelman et al., Bayesian Data Analysis 2013, §14.2): dense inverse.
    points, shapes = places(60), bumps()
    values = 1e-4 * points[:, 0] + walk(60, 0.01, 20, 2)
    (slow,) = [one for one in slow_errors(np.arange(60.0)) if (one.size, one.length) == (0.008, 30.0)]
    grid = make_grid(BOX, 60.0)
    weights = np.full(60, 1e4)
    solution = solve(assemble(grid, points, values, weights, 60.0, shapes, None, slow), PRIOR)
    border = solution.border
    # One τ, the likeliest, so that there is one Gaussian.
    k = int(np.argmax(border.shares))
    one = np.zeros(len(border.shares))
    one[k] = 1.0
    border = type(border)(border.factor, border.columns, border.spectrum, border.rho, one, np.ones(len(one)))
    design = np.hstack([grid.matrix(points).toarray(), shapes.design(points).toarray(), slow.design.toarray()])
    m, count = grid.unknowns, design.shape[1]
    precision = np.zeros((count, count))
    eye = np.eye(m).reshape(m, *grid.shape)
    precision[:m, :m] = PRIOR.smoothing * product(PRIOR.energy(grid), eye).reshape(m, m)
    precision[m : m + 6, m : m + 6] = np.linalg.inv(border.rho[k] * shapes.covariance)
    precision[m + 6 :, m + 6 :] = np.linalg.inv(slow.covariance)
    precision += design.T @ (weights[:, None] * design)
    covariance = np.linalg.inv(precision)
    mean = covariance @ (design.T @ (weights * values))
    coefficients, both = border.solve(border.factor.solve(solution.equations.right), border.columns.values)
    assert both == pytest.approx(mean[m:], abs=1e-8)
    assert border.amounts == pytest.approx(mean[m : m + 6], abs=1e-8)
    assert border.slow_error == pytest.approx(mean[m + 6 :], abs=1e-8)
    assert grid.at(coefficients, points) == pytest.approx(design[:, :m] @ mean[:m], abs=1e-7)
    # 1e-6 of the largest: the spline's energy has eigenvalues over ten decades.
    assert border.gain == pytest.approx(covariance[m:, m:], abs=1e-6 * covariance[m:, m:].max())
    # Samples: 40,000 of them know a variance to 0.7 %.
    drawn, _ = border.draw(40_000, np.random.default_rng(3))
    assert drawn.var(axis=1) == pytest.approx(np.diag(covariance)[m:], rel=0.04)


def test_likelihood_ratio_of_a_slow_error_is_dense() -> None:
    # Marginal likelihoods differ by what the covariance of the readings has more; planes are free in both (REML).
    points, shapes = places(60), LocalShapes(["A"], bumps().tables[:1], np.full(1, 1e-8), 0.0)
    values = 2e-5 * points[:, 1] + walk(60, 0.012, 20, 5) + np.random.default_rng(6).normal(0, 0.01, 60)
    grid, weights = make_grid(BOX, 60.0), np.full(60, 1e4)
    slow = next(one for one in slow_errors(np.arange(60.0)) if (one.size, one.length) == (0.008, 30.0))
    stiff = Prior(1e9)  # all but a plane, so that φ, which is profiled, stays put only where nothing is left over
    plain, with_it = (
        solve(assemble(grid, points, values, weights, 60.0, shapes, None, one), stiff, weak=False)
        for one in (None, slow)
    )
    assert with_it.criterion < plain.criterion
    assert with_it.dispersion < plain.dispersion


def test_how_far_a_gauge_drifts_has_nothing_to_do_with_the_scatter() -> None:
    """A fit that finds that readings scatter √φ times as much as stated makes of a drift what one makes that was told.

    Gaussian posterior (Gelman et al. 2013, §14.2): it depends on the noise, not on how that became known.
    """
    points, shapes = places(60), LocalShapes(["A"], bumps().tables[:1], np.full(1, 1e-8), 0.0)
    rng, grid, order = np.random.default_rng(8), make_grid(BOX, 60.0), np.arange(60.0)
    values = 2e-5 * points[:, 1] + 0.05 * order / 60 + rng.normal(0, 0.04, 60)

    def drift(weight: float, smoothing: float, dispersion: float) -> tuple[float, float]:
        slow = slow_errors(order, dispersion)[0]
        weights = np.full(60, weight)
        found = solve(assemble(grid, points, values, weights, 60.0, shapes, None, slow), Prior(smoothing))
        return float(found.border.slow_error[0]), found.dispersion

    alone = solve(assemble(grid, points, values, np.full(60, 1e4), 60.0, shapes), Prior(3e5))
    phi = alone.dispersion
    assert phi > 4
    found, _ = drift(1e4, 3e5, phi)
    told, left = drift(1e4 / phi, 3e5 / phi, 1.0)
    assert found == pytest.approx(told, rel=1e-6) and left < 1.2


def test_walk_is_found_and_the_error_falls() -> None:
    points, shapes = places(300, 4), bumps()
    order = np.lexsort((points[:, 0], points[:, 1] // 100))  # rows of the part, one after the other
    truth = 2e-6 * ((points - [300, 200]) ** 2).sum(axis=1)
    noise = np.random.default_rng(7).normal(0, 0.005, 300)
    slow = np.empty(300)
    slow[order] = walk(300, 0.02, 30, 8)
    when = np.empty(300)
    when[order] = np.arange(300)
    blind = fit_surface(points, truth + noise + slow, 0.005, bounds=BOX, shapes=[shapes])
    told = fit_surface(points, truth + noise + slow, 0.005, bounds=BOX, shapes=[shapes], order=when)
    assert told.slow is not None
    errors = [np.sqrt(np.mean((fit.surface.at(*points.T) - truth) ** 2)) for fit in (blind, told)]
    assert errors[1] < errors[0]
    # Share of the variance that each cause has adds up to the whole, in each of its three parts not negative.
    parts = np.array(told.variance_split([points[:1], points[5:9]]))
    assert (parts >= 0).all()
    assert (parts[2] > 0).all()


def test_none_is_found_where_there_is_none() -> None:
    points, shapes = places(300, 9), bumps()
    values = 2e-6 * ((points - [300, 200]) ** 2).sum(axis=1) + np.random.default_rng(10).normal(0, 0.01, 300)
    fit = fit_surface(points, values, 0.01, bounds=BOX, shapes=[shapes], order=np.arange(300))
    assert fit.slow is None
    assert np.array(fit.variance_split([points[:1]]))[2] == pytest.approx(0.0)


def test_a_share_of_many_readings_is_searched_and_all_are_fitted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weights from every third reading, surface and slow error from all: the same to a fraction of the noise."""
    from floorfit.surface import robust

    points, when = places(900, 6), np.arange(900.0)
    values = 2e-6 * ((points - [300, 200]) ** 2).sum(axis=1) + walk(900, 0.02, 30, 9)
    values = values + np.random.default_rng(8).normal(0, 0.005, 900)
    whole = fit_surface(points, values, 0.005, bounds=BOX, shapes=[bumps()], order=when)
    monkeypatch.setattr(robust, "SAMPLE", 300)
    share = fit_surface(points, values, 0.005, bounds=BOX, shapes=[bumps()], order=when)
    assert len(share.weights) == 900 and share.slow is not None
    assert np.sqrt(np.mean((share.surface.at(*points.T) - whole.surface.at(*points.T)) ** 2)) < 0.0025


def test_a_drift_goes_from_the_first_reading_to_the_last() -> None:
    # A straight line over the moments, a whole size from end to end, half of it either way; equal moments count once.
    (drift, *_) = slow_errors(np.array([3.0, 3.0, *np.arange(4.0, 80.0)]))
    share = drift.design.toarray()[:, 0]
    assert (share[0], share[1], share[-1]) == (-0.5, -0.5, 0.5)
    assert np.diff(share[1:]) == pytest.approx(np.full(76, 1 / 76))


def test_a_drift_bows_by_what_is_no_part_of_its_line() -> None:
    # Legendre's polynomials of the second and third degree, up to a factor (DLMF 18.5): no mean, and nothing of each
    # other or of the line, over evenly spread moments.
    (drift, *_) = slow_errors(np.arange(2001.0))
    line, bow, cubic = drift.design.toarray().T
    along = np.linspace(-1, 1, 2001)
    assert bow == pytest.approx(eval_legendre(2, along) / -1.5) and cubic == pytest.approx(eval_legendre(3, along) / 2)
    assert [
        np.mean(one * other) for one, other in ((bow, 1), (bow, line), (cubic, 1), (cubic, line), (cubic, bow))
    ] == (pytest.approx([0] * 5, abs=1e-3))
    assert [np.ptp(bow), np.ptp(cubic)] == pytest.approx([1, 1])


def test_a_gauge_that_warms_up_is_followed() -> None:
    # It nears its end as e^(−t/τ) (Newton's law of cooling), here with τ three tenths of the path, by 0.06 mm.
    points, shapes, when = places(300, 11), bumps(), np.arange(300.0)
    drift = 0.06 * (1 - np.exp(-when / 90)) / (1 - np.exp(-300 / 90))
    noise = np.random.default_rng(12).normal(0, 0.01, 300)
    fit = fit_surface(points, drift + noise, 0.01, bounds=BOX, shapes=[shapes], order=when)
    assert fit.slow is not None and np.isinf(fit.slow.length)
    found = fit.slow.design @ fit.solution.border.slow_error
    # A line leaves 0.0062 mm of it (root mean square), with a parabola 0.0016, with a cubic 0.0003.
    assert np.std(found - drift) < 0.004


def test_a_slow_error_is_an_ornstein_uhlenbeck_process_at_its_ends() -> None:
    # Variance s² and correlation exp(−d/l) (Uhlenbeck and Ornstein 1930), exact where knots stand: at both ends. In
    # between, straight lines over a third of l leave (1 + exp(−1/3))/2 of the variance at the least.
    for one in slow_errors(np.arange(120.0))[1:]:
        covariance = one.design @ one.covariance @ one.design.T
        ends = covariance[[0, 0, -1], [0, -1, -1]] / one.size**2
        assert ends == pytest.approx([1, np.exp(-119 / one.length), 1])
        assert (np.diag(covariance) > (1 + np.exp(-1 / 3)) / 2 * one.size**2 * (1 - 1e-9)).all()


@pytest.mark.parametrize("shapes", [[], [bumps()]])
def test_what_an_unseen_drift_does_is_added_to_the_variance(shapes: list[LocalShapes]) -> None:
    """Law of propagation (JCGM 100:2008, 5.1.2): u² grows by the square of what one standard deviation does.

    And that is, of a linear fit (one without shapes at a given smoothing), the difference of two fits, with the drift
    in the readings and without it. Of a triangular distribution of half width a the standard deviation is a/√6 (4.3.9):
    of up to 0.020 mm.
    """
    points, when = places(120, 13), np.arange(120.0)
    points = points[np.argsort(points[:, 0])]  # along X, as pocket by pocket
    values = 2e-6 * ((points - [300, 200]) ** 2).sum(axis=1) + np.random.default_rng(14).normal(0, 0.01, 120)
    u, drift = np.full(120, 0.01), 0.020 / np.sqrt(6) * (when / 119 - 0.5)

    def fitted(y: np.ndarray) -> Fit:
        return fit_surface(points, y, u, bounds=BOX, shapes=shapes, smoothing=3e5, robust=False)

    plain = fitted(values)
    wide = plain.allowing_for_drift(points, u, when)
    x, y = points.T
    away = wide.posterior.errors[0].surface.at(x, y)
    assert np.array(wide.posterior.std_at(x, y)) ** 2 == pytest.approx(plain.posterior.std_at(x, y) ** 2 + away**2)
    assert wide.surface is plain.surface
    if not shapes:
        assert away == pytest.approx(fitted(values + drift).surface.at(x, y) - plain.surface.at(x, y), abs=1e-8)
    # Read along X a drift is taken for a slope, all but whole; there and back hardly any.
    assert np.ptp(away) == pytest.approx(0.020 / np.sqrt(6), rel=0.05)
    back = np.concatenate([np.arange(0, 120, 2), np.arange(119, 0, -2)]).argsort()
    both = plain.allowing_for_drift(points, u, back)
    assert abs(np.polyfit(x, both.posterior.errors[0].surface.at(x, y), 1)[0]) < 0.1 * np.polyfit(x, away, 1)[0]
    # Samples have that variance too: 400 of them know a deviation to 3.5 %, more than 4 of these are not met.
    samples = wide.posterior.samples_at(points[[0, 119]])
    assert samples.std(axis=0) == pytest.approx(wide.posterior.std_at(x[[0, 119]], y[[0, 119]]), rel=0.15)
    split = np.array(wide.variance_split([points[:1]]))[2]
    assert split == pytest.approx(away[0] ** 2)


def test_where_in_a_slow_change_the_gauge_was_right_no_reading_tells() -> None:
    """Anywhere in its path: half of its extent either way is rectangular, u = d/√12 (JCGM 100:2008, 4.3.7)."""
    points, u, order = places(400, 15), np.full(400, 0.005), np.arange(400.0)
    error = 0.06 * np.abs(2 * order / 399 - 1) + walk(400, 0.004, 40, 3)  # from both ends to the middle
    values = 1e-7 * (points[:, 0] - 200) ** 2 + error - error.min() + np.random.default_rng(16).normal(0, 0.005, 400)
    fit = fit_surface(points, values, u, bounds=BOX, shapes=[bumps()], order=order)
    found = fit.models[0].in_order
    assert found is not None and np.isfinite(found.length)
    wide = fit.allowing_for_drift(points, u, order)
    assert wide.posterior.std_at(*places(1, 3)[0]) > 0.95 * fit.extent_in_order / np.sqrt(12)
    for limit, code in ((0.020, "slow-change-large"), (1.0, "slow-change")):
        assert code in [one.code for one in fit_findings("r.csv", fit, None, limit)]


def test_errors_of_the_level_are_independent_of_each_other() -> None:
    """Variances of independent errors add (JCGM 100:2008, 5.1.2), in the samples as beside them."""
    points = places(120, 13)
    fit = fit_surface(points, 0 * points[:, 0], 0.001, bounds=BOX, shapes=[bumps()])
    wide = fit.with_level_error(0.03, 1).with_level_error(0.04, 1)
    assert wide.posterior.std_at(*points[0]) == pytest.approx(0.05, rel=0.01)
    assert wide.posterior.samples_at(points[:1]).std() == pytest.approx(0.05, rel=0.15)  # 400: four deviations


def test_no_drift_is_allowed_for_where_there_is_no_order() -> None:
    points, u = places(120, 15), np.full(120, 0.005)
    values = np.random.default_rng(16).normal(0, 0.005, 120)
    fit = fit_surface(points, values, u, bounds=BOX, shapes=[bumps()], order=np.zeros(120))
    assert fit.models[0].in_order is None and fit.allowing_for_drift(points, u, np.zeros(120)) is fit


@pytest.mark.parametrize(
    "kind, right", [("drift", 0.0), ("drift", 1.0), ("dying drift", 0.0), ("dying drift", 1.0), ("step", 0.4)]
)
def test_when_in_a_drift_or_step_the_gauge_was_right_no_reading_tells(kind: str, right: float) -> None:
    """Half of it either way of the middle is rectangular: u = d/√12 (JCGM 100:2008, 4.3.7), the same everywhere."""
    points, u, order = places(200, 15), np.full(200, 0.005), np.arange(200.0)
    share = {"drift": order / 199, "dying drift": 1 - np.exp(-order / 60), "step": 1.0 * (order >= 141)}[kind]
    error = 0.06 * (share / share.max() - right)
    values = 1e-7 * (points[:, 0] - 200) ** 2 + error + np.random.default_rng(16).normal(0, 0.005, 200)
    fit = fit_surface(points, values, u, bounds=BOX, shapes=[bumps()], order=order)
    found = fit.models[0].in_order
    assert found is not None and found.step == (141.0 if kind == "step" else None)
    wide = fit.allowing_for_drift(points, u, order)
    x, y = places(50, 3).T
    away = wide.surface.at(x, y) - 1e-7 * (x - 200) ** 2
    level = np.sqrt(wide.posterior.std_at(x, y) ** 2 - fit.posterior.std_at(x, y) ** 2)
    assert level == pytest.approx(0.06 / np.sqrt(12), rel=0.1)
    # 0.5 d is 1.73 u of such a distribution: k = 2 holds the gauge right at the start, and at the end.
    assert away.mean() == pytest.approx(0.06 * (0.5 - right), abs=0.004)
    assert (np.abs(away) <= 2 * wide.posterior.std_at(x, y)).all()
