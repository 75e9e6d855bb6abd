"""What changes along one axis: errors of Z, and plates that break over their ribs."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.stats import norm
from scipy.stats import t as student

from floorfit.noticed import fit_findings
from floorfit.surface import Fit, fit_surface
from floorfit.surface.along_axes import OF_FLOORS, models_of
from floorfit.surface.blocks import product
from floorfit.surface.border import TAUS, TYPICAL_MM, Slow
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.local_energy import Rough
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.posterior import ROUGH_FREEDOM, joint_posterior
from floorfit.surface.reml import Prior, assemble, solve
from floorfit.surface.slow import combined

BOX = (0.0, 0.0, 1800.0, 600.0)
PRIOR = Prior(3e5)
#: Middles of the ribs between six columns of floors.
RIBS = (300.0, 600.0, 900.0, 1200.0, 1500.0)


def floors() -> LocalShapes:
    """Six by three floors of 280 by 180 mm, with ribs of 20 mm between them, whose dishes are tents."""
    tent = np.outer([0.0, 1.0, 0.0], [0.0, 1.0, 0.0])
    corners = [(300.0 * i + 10, 200.0 * j + 10) for i in range(6) for j in range(3)]
    tables = [ShapeTable((x, y), (x + 280, y + 180), tent) for x, y in corners]
    return LocalShapes(tuple(str(k) for k in range(len(tables))), tuple(tables), np.ones(len(tables)), 1.0)


def places(seed: int = 1, each: int = 8) -> np.ndarray:
    """Readings spread over each floor, 20 mm from its walls or more."""
    rng = np.random.default_rng(seed)
    corners = [(300.0 * i + 30, 200.0 * j + 30) for i in range(6) for j in range(3)]
    return np.concatenate([rng.uniform(corner, (corner[0] + 240, corner[1] + 140), (each, 2)) for corner in corners])


def bowl(points: np.ndarray) -> np.ndarray:
    return np.asarray(3e-7 * ((points - [900, 300]) ** 2).sum(axis=1))


def wave(points: np.ndarray) -> np.ndarray:
    return np.asarray(0.012 * np.sin(2 * np.pi * points[:, 0] / 700.0))


def broken(points: np.ndarray) -> np.ndarray:
    angles = (6e-4, -8e-4, 5e-4, 7e-4, -6e-4)
    return sum(angle * np.maximum(points[:, 0] - rib, 0.0) for angle, rib in zip(angles, RIBS, strict=True))  # type: ignore[return-value]


def fitted(points: np.ndarray, values: np.ndarray, *, is_z_measured: bool = True) -> Fit:
    noise = np.random.default_rng(5).normal(0.0, 0.006, len(points))
    return fit_surface(
        points, values + noise, 0.006, bounds=BOX, smallest_mm=180.0, shapes=[floors()], is_z_measured=is_z_measured
    )


def test_errors_side_by_side_add_their_covariances() -> None:
    # Covariance of a sum of independent errors is the sum of theirs.
    rng = np.random.default_rng(1)
    designs = [rng.normal(size=(9, count)) for count in (3, 4)]
    roots = [rng.normal(size=(count, count)) for count in (3, 4)]
    each = [Slow(csr_array(d), r @ r.T, 0.01, 1.0) for d, r in zip(designs, roots, strict=True)]
    both = combined(*each)
    total = sum(one.design @ one.covariance @ one.design.T for one in each)
    assert both.design @ both.covariance @ both.design.T == pytest.approx(total)
    assert combined(None, each[0]) is each[0]


@pytest.mark.parametrize("is_along", [True, False])
def test_a_break_is_a_ramp_but_for_a_cell(is_along: bool) -> None:
    # max(x − 900, 0), in closed form. On the line a cubic spline of cell h cannot follow: it misses by less than h/10.
    grid = make_grid(BOX if is_along else (0.0, 0.0, 600.0, 1800.0), 30.0)
    slow = Slow(csr_array((5, 1)), np.eye(1), 1e-4, np.inf, breaks=((0 if is_along else 1, 900.0),))
    points = places() if is_along else places()[:, ::-1]
    x = points[:, 0 if is_along else 1]
    lift = slow.lift(grid)[0]
    missed = grid.at(lift, points) - np.maximum(x - 900.0, 0.0)
    assert np.abs(missed).max() < 3.0
    assert np.abs(missed[np.abs(x - 900.0) > 250.0]).max() < 1e-3
    assert slow.errors.nnz == 0  # nothing of it is an error of the readings


def test_a_fit_with_breaks_is_dense_algebra() -> None:
    # Gaussian posterior of everything together (A. Gelman et al., Bayesian Data Analysis 2013, §14.2): dense inverse.
    points, shapes = places(each=4), floors()
    values = bowl(points) + broken(points)
    grid, weights = make_grid(BOX, 90.0), np.full(len(points), 1e4)
    ramps = np.maximum(points[:, :1] - RIBS, 0.0)
    slow = Slow(csr_array(ramps), 25e-8 * np.eye(5), 5e-4, np.inf, breaks=tuple((0, rib) for rib in RIBS))
    solution = solve(assemble(grid, points, values, weights, float(len(points)), shapes, None, slow), PRIOR)
    border = solution.border
    assert border is not None
    k = int(np.argmax(border.shares))
    one = (np.arange(len(border.shares)) == k).astype(float)
    solution = replace(solution, border=replace(border, shares=one, dispersions=np.ones(len(one))))
    design = np.hstack([grid.matrix(points).toarray(), shapes.design(points).toarray(), ramps])
    m, count = grid.unknowns, shapes.count
    precision = np.zeros((design.shape[1], design.shape[1]))
    eye = np.eye(m).reshape(m, *grid.shape)
    precision[:m, :m] = PRIOR.smoothing * product(PRIOR.energy(grid), eye).reshape(m, m)
    precision[m : m + count, m : m + count] = np.linalg.inv(border.rho[k] * shapes.covariance)
    precision[m + count :, m + count :] = np.linalg.inv(slow.covariance)
    precision += design.T @ (weights[:, None] * design)
    mean = np.linalg.solve(precision, design.T @ (weights * values))
    assert solution.border is not None
    assert solution.border.slow_error == pytest.approx(mean[m + count :], abs=1e-8)
    # The breaks are in the coefficients: the spline is that of the dense fit with the splines' ramps added.
    lifted = mean[:m].reshape(grid.shape) + np.tensordot(mean[m + count :], slow.lift(grid), 1)
    assert grid.at(solution.coefficients, points) == pytest.approx(grid.at(lifted, points), abs=1e-7)


def test_a_plate_that_breaks_over_its_ribs_is_known_to() -> None:
    points, inside = places(), places(2, 40)
    fit = fitted(points, bowl(points) + broken(points))
    assert fit.models[0].breaks == "X"
    missed = fit.surface.at(*inside.T) - bowl(inside) - broken(inside)
    # 0.006 mm, eight readings on a floor: 0.002 on its mean, and some more for its dish and its slope.
    assert np.sqrt(np.mean(missed**2)) < 0.004
    assert np.mean(np.abs(missed) < 2 * fit.posterior.std_at(*inside.T)) > 0.9


def test_what_may_be_an_error_of_z_is_held_by_the_interval() -> None:
    points, inside = places(), places(2, 40)
    fit = fitted(points, bowl(points) + wave(points))
    share = sum(one.share for one in fit.models if one.errors == "X")
    assert 0.2 < share <= 0.51  # a wave of the plate looks alike: never more than even
    deviation = fit.posterior.std_at(*inside.T)
    for truth in (bowl(inside), bowl(inside) + wave(inside)):  # an error of the readings, or the plate's own
        assert np.mean(np.abs(fit.surface.at(*inside.T) - truth) < 2 * deviation) > 0.9
    codes = {one.code: one.text for one in fit_findings("r.csv", fit, None, 0.020)}
    assert "along X as an error of the measured Z" in codes["z-error"]


def test_what_the_readings_of_a_floor_share_is_held_by_the_interval() -> None:
    """Z measured once a floor: variance between the groups beside that within them (one-way analysis of variance)."""
    points, inside = places(), places(2, 40)
    own = np.random.default_rng(9).normal(0.0, 0.015, 18)
    fit = fitted(points, bowl(points) + np.repeat(own, 8))
    (share,) = [one.share for one in fit.models if one.errors == OF_FLOORS]
    assert 0.2 < share <= 0.51  # webs that bend by themselves look alike
    away = np.abs(fit.surface.at(*inside.T) - bowl(inside)).reshape(18, 40).mean(axis=1)
    deviation = fit.posterior.std_at(*inside.T).reshape(18, 40).mean(axis=1)
    assert np.mean(away < 2 * deviation) > 0.85  # 16 of 18 floors
    codes = {one.code: one.text for one in fit_findings("r.csv", fit, None, 0.020)}
    assert "Z that was measured once a floor" in codes["floor-error"]
    # A bowl alone has no such error.
    assert not [one for one in fitted(points, bowl(points)).models if one.errors == OF_FLOORS]


def test_z_that_was_not_measured_has_no_error_along_an_axis() -> None:
    points = places()
    fit = fitted(points, bowl(points) + wave(points), is_z_measured=False)
    assert not any(one.errors for one in fit.models)


def test_a_plain_plate_is_one_model_and_its_interval_stays() -> None:
    points, inside = places(), places(2, 40)
    fit = fitted(points, bowl(points))
    assert sum(one.share for one in fit.models if one.errors or one.breaks) < 0.15
    assert not [one for one in fit_findings("r.csv", fit, None, 0.020) if one.code == "z-error"]
    # 0.006 mm of eight readings a floor: 0.002; nowhere twice that between them.
    assert float(np.median(fit.posterior.std_at(*inside.T))) < 0.004


def test_size_of_dishes_is_even_beforehand() -> None:
    # Readings that say nothing leave the prior: even in τ (A. Gelman, Bayesian Analysis 1, 515, 2006), on a ladder even
    # in log τ a share of τ e^(−τ/T).
    points, shapes = places(each=4), floors()
    equations = assemble(make_grid(BOX, 90.0), points, 0 * points[:, 0], np.full(72, 1e-6), 72.0, shapes)
    border = solve(equations, Prior(1e-6)).border
    assert border is not None
    wanted = TAUS * np.exp(-TAUS / TYPICAL_MM)
    assert border.shares == pytest.approx(wanted / wanted.sum(), rel=1e-3)


def test_rough_ground_has_students_tails() -> None:
    # How rough ground is, is known from some four parameters: a normal of unknown variance is Student's t of that many
    # degrees of freedom (W. S. Gosset 1908); its quantiles by scipy.
    points = places(each=40)  # so near to each other that the surface is surer than one of them
    grid = make_grid(BOX, 60.0)
    rough = Rough((0.0, 0.0), (1800.0, 600.0), np.array([[-3.0], [0.0]]))
    prior = replace(PRIOR, rough=rough)
    equations = assemble(grid, points, bowl(points), np.full(len(points), 1e4), float(len(points)))
    even, tailed = (_posterior(grid, solve(equations, one), 20_000) for one in (replace(prior, rough=None), prior))
    left, right = np.array([[120.0, 300.0]]), np.array([[1680.0, 300.0]])
    for place, law in ((left, student(ROUGH_FREEDOM)), (right, norm())):
        drawn = tailed.samples_at(place)[:, 0]
        ratio = np.quantile(np.abs(drawn), 0.99) / np.quantile(np.abs(drawn), 0.5)
        # 20,000 samples know the 99 % quantile of t to 3 %.
        assert ratio == pytest.approx(law.ppf(0.995) / law.ppf(0.75), rel=0.08)
    spread = tailed.samples_at(left)[:, 0].std() / float(tailed.std_at(*left[0]))
    assert spread == pytest.approx(1.0, abs=0.1)
    assert float(even.std_at(*right[0])) == pytest.approx(float(tailed.std_at(*right[0])), rel=0.2)


def _posterior(grid: Grid, solution, samples: int):  # type: ignore[no-untyped-def]
    inverse = solution.factor.inverse_band
    return joint_posterior(grid, [(1.0, [(solution, 1.0)])], inverse, samples, 3, None)


def test_an_error_beyond_all_doubt_is_still_believed_by_half() -> None:
    # Evidence of e^2000 to one: nothing is left of the others in double precision, but a plate may wave by itself.
    def beside(slow: Slow | None) -> SimpleNamespace:
        return SimpleNamespace(criterion=-4000.0 if slow is not None and not slow.breaks else 0.0)

    def search(slow: Slow | None, prior: Prior) -> tuple[tuple[tuple[Prior, float, float], ...], float]:
        return ((prior, 0.1, 1.0),), beside(slow).criterion

    found = models_of(
        places(), floors(), ((PRIOR, 0.1, 1.0),), None, beside, lambda _: np.zeros(0), search, is_z_measured=True
    )  # type: ignore[arg-type]
    assert [bool(one.errors) for one in found] == [False, True, True]  # along X, and of floors
    assert found[0].share == pytest.approx(0.5) == sum(one.share for one in found[1:])
