"""Factors of the energy by place: theorems of restricted likelihood, and plates with and without a mark."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface import fit_surface
from floorfit.surface.blocks import product
from floorfit.surface.grid import make_grid
from floorfit.surface.reml import Prior, assemble, solve
from floorfit.surface.rough import _shares, rougher
from floorfit.surface.search import best_smoothing, pinned

BOUNDS = (0.0, 0.0, 1200.0, 500.0)
NOISE = 0.010
Array = np.ndarray


def bow(points: Array) -> Array:
    return 0.4 * ((points[:, 0] - 600) / 600) ** 2 - 0.2 * (points[:, 0] / 1200) * (points[:, 1] / 500)


def mark(points: Array) -> Array:
    """A clamp's mark of 0.25 mm at (250, 120), of a radius of some 60 mm."""
    return 0.25 * np.exp(-((points[:, 0] - 250) ** 2 + (points[:, 1] - 120) ** 2) / 2 / 45**2)


def taken(*, is_marked: bool, seed: int = 2, count: int = 260) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    points = rng.uniform(BOUNDS[:2], BOUNDS[2:], (count, 2))
    return points, bow(points) + (mark(points) if is_marked else 0.0) + rng.normal(0, NOISE, count)


def equations(points: Array, values: Array, cell: float = 40.0):  # type: ignore[no-untyped-def]
    return assemble(make_grid(BOUNDS, cell), points, values, np.full(len(values), NOISE**-2), float(len(values)))


def test_shares_add_up_to_the_trace_of_the_influence_matrix() -> None:
    points, values = taken(is_marked=True)
    eq = equations(points, values, 100.0)
    solution = solve(eq, Prior(1e5, 100.0))
    eye = np.eye(eq.grid.unknowns).reshape(-1, *eq.grid.shape)
    normal = product(eq.normal, eye).reshape(len(eye), -1)
    whole = normal + product(1e5 * Prior(1e5, 100.0).energy(eq.grid), eye).reshape(len(eye), -1)
    trace = float(np.trace(np.linalg.solve(whole, normal)))
    # tr (N + λS)⁻¹ N counts the three planes, which cost no energy (G. Wahba 1990, §4.9).
    assert _shares(solution, None)[1].sum() + 3 == pytest.approx(trace, rel=1e-6)


def test_a_step_raises_the_restricted_likelihood() -> None:
    points, values = taken(is_marked=True)
    solution, _ = best_smoothing(equations(points, values), Prior(1e5, 100.0))

    def criterion(one) -> float:  # type: ignore[no-untyped-def]
        return one.criterion - pinned(one.equations.grid, one.prior).log_determinant()

    first = rougher(solution, None)
    assert first is not None
    better, _ = best_smoothing(solution.equations, first)
    # S. N. Wood & M. Fasiolo, Biometrics 73, 1071, 2017, theorem 1.
    assert criterion(better) < criterion(solution) - 10.0


def test_ground_is_rough_at_the_mark_alone() -> None:
    points, values = taken(is_marked=True)
    solution, _ = best_smoothing(equations(points, values), Prior(1e5, 100.0))
    found = rougher(solution, None)
    assert found is not None
    assert found.rough is not None
    places = np.array([[250.0, 120.0], [900.0, 350.0], [700.0, 100.0]])
    at, *others = found.rough.at(places)
    assert at < 0.6
    assert min(others) > 1.0


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_even_ground_stays_even(seed: int) -> None:
    points, values = taken(is_marked=False, seed=seed)
    solution, _ = best_smoothing(equations(points, values), Prior(1e5, 400.0))
    assert rougher(solution, None) is None


def test_readings_on_a_mark_are_believed_and_a_bad_one_is_not() -> None:
    points, values = taken(is_marked=True)
    far = int(np.argmin(np.hypot(*(points - (900.0, 350.0)).T)))
    values[far] += 0.3  # the gauge read the next echo
    fit = fit_surface(points, values, NOISE, bounds=BOUNDS)
    assert fit.solution.prior.rough is not None
    near = np.hypot(*(points - (250.0, 120.0)).T) < 100
    assert (fit.weights[near] > 0.5).all()
    assert fit.weights[far] < 0.5
    places = np.array([[250.0, 120.0], [270.0, 140.0], [230.0, 100.0]])
    miss = fit.surface.at(*places.T) - bow(places) - mark(places)
    # Five readings lie within 60 mm of the top; noise alone leaves 0.010 / √5, twice that for the form.
    assert np.sqrt(np.mean(miss**2)) < 2 * NOISE


def test_readings_tell_their_own_variance() -> None:
    points, values = taken(is_marked=False)
    u = np.random.default_rng(5).uniform(0.005, 0.02, len(values))
    eq = assemble(make_grid(BOUNDS, 40.0), points, values, u**-2, float(len(values)))
    assert eq.reading_variance == pytest.approx(1 / np.mean(u**-2), rel=1e-9)  # B-splines are a partition of unity


def test_where_nobody_read_a_marked_plate_may_have_another_mark() -> None:
    """A corner that nobody read: Student's t there too, wider than the normal by √(4/2) for four degrees of freedom."""
    points, values = taken(is_marked=True)
    read = (points < (1000.0, 300.0)).any(axis=1)
    points, values = points[read], values[read]
    fit = fit_surface(points, values, NOISE, bounds=BOUNDS)
    best = fit.solution.prior
    even = fit_surface(
        points, values, NOISE, bounds=BOUNDS, smoothing=best.smoothing, smooth_length_mm=best.smooth_length
    )
    assert best.rough is not None and even.solution.prior.rough is None
    corner, inside = np.array([[1190.0, 490.0]]), np.array([[700.0, 150.0]])
    ratio = [float(fit.posterior.std_at(*at.T)[0] / even.posterior.std_at(*at.T)[0]) for at in (corner, inside)]
    assert ratio[0] > 1.2 * ratio[1]
    drawn = fit.posterior.samples_at(corner)[:, 0]
    # 400 samples of a t of four degrees of freedom know its standard deviation to a tenth or so.
    assert np.std(drawn) == pytest.approx(float(fit.posterior.std_at(*corner.T)[0]), rel=0.25)
