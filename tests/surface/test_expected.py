from dataclasses import replace

import numpy as np
import pytest

from floorfit.errors import NumericalError
from floorfit.surface import fit_surface
from floorfit.surface.expected import Expected, agreement
from floorfit.surface.grid import make_grid
from floorfit.surface.modes import Modes
from floorfit.surface.reml import Prior, assemble, solve
from floorfit.surface.spline import Surface

BOUNDS = (0.0, 0.0, 600.0, 300.0)
X, Y = np.linspace(0, 600, 31), np.linspace(0, 300, 16)


def bowl(x, y):
    return 0.2 * ((x - 300) / 300) ** 2 + 0.05 * (y / 300) * (x / 600)


def expected(field=bowl) -> Expected:
    return Expected(X, Y, field(X[:, None], Y[None, :]), 10)


@pytest.mark.parametrize("bounds", [BOUNDS, (0.0, 0.0, 300.0, 600.0)])
def test_the_mean_on_the_grid_is_the_mean(bounds: tuple[float, float, float, float]) -> None:
    upright = bounds[3] > bounds[2]
    field = (lambda x, y: bowl(y, x)) if upright else bowl
    xs, ys = (Y, X) if upright else (X, Y)
    mean = Expected(xs, ys, field(xs[:, None], ys[None, :]), 10)
    grid = make_grid(bounds, 12.0)
    x, y = np.random.default_rng(1).uniform(bounds[:2], bounds[2:], (200, 2)).T
    # a polynomial of second order is in both spline spaces: 1e-9 inside; the straight lines beyond the part bend the
    # spline in the outermost cells only
    surface = Surface(grid, mean.coefficients(grid))
    inner = (x > 40) & (x < bounds[2] - 40) & (y > 40) & (y < bounds[3] - 40)
    assert surface.at(x, y)[inner] == pytest.approx(field(x, y)[inner], abs=1e-6)
    assert np.abs(surface.at(x, y) - field(x, y)).max() < 1e-4  # a tenth of a micrometre at the very edge


def test_beyond_the_nodes_it_goes_straight_on() -> None:
    mean = expected()
    slope = 0.2 * 2 * (600 - 300) / 300**2 + 0.05 * 0.5 / 600
    assert float(mean.at(650.0, 150.0)) == pytest.approx(bowl(600.0, 150.0) + 50 * slope, abs=1e-9)


def readings(field, count: int, seed: int):
    generator = np.random.default_rng(seed)
    points = generator.uniform((0, 0), (600, 300), (count, 2))
    return points, field(*points.T) + generator.normal(0, 0.01, count), np.full(count, 0.01)


def test_agreeing_readings_gain_and_opposite_ones_lose() -> None:
    points, values, u = readings(bowl, 40, 2)
    assert agreement(points, values, u, expected(), BOUNDS).is_used
    points, values, u = readings(lambda x, y: -bowl(x, y), 40, 2)
    found = agreement(points, values, u, expected(), BOUNDS)
    assert not found.is_used and found.gain < 0
    assert "does not agree" in found.words


def twist(x, y):
    return 0.15 * (x / 300 - 1) * (y / 150 - 1) ** 3


def test_a_shape_that_the_readings_show_stands_beside_the_mean() -> None:
    points, values, u = readings(lambda x, y: bowl(x, y) + 1.5 * twist(x, y), 60, 5)
    mean = Expected(X, Y, bowl(X[:, None], Y[None, :]), 10, shapes=(twist(X[:, None], Y[None, :]),))
    used = agreement(points, values, u, mean, BOUNDS).used
    assert used is not None and used.modes is not None
    fit = used.added_to(fit_surface(points, values - used.at(*points.T), u, bounds=BOUNDS, known=used.modes), 1)
    # Far from most readings: the spline alone has to guess how the twist goes on.
    x, y = np.array([570.0, 30.0, 570.0, 30.0]), np.array([20.0, 280.0, 280.0, 20.0])
    truth = bowl(x, y) + 1.5 * twist(x, y)
    alone = fit_surface(points, values, u, bounds=BOUNDS)
    assert np.abs(fit.surface.at(x, y) - truth).max() < 0.6 * np.abs(alone.surface.at(x, y) - truth).max()
    assert (np.abs(fit.surface.at(x, y) - truth) < 3 * fit.posterior.std_at(x, y)).all()


def test_shapes_of_a_known_size_are_modes_of_the_size_one() -> None:
    """The same Gaussian model: equal solutions, whichever way it is said."""
    points, values, u = readings(lambda x, y: bowl(x, y) + twist(x, y), 60, 6)
    grid = make_grid(BOUNDS, 40.0)
    equations = assemble(grid, points, values, 1 / u**2, 60.0)
    modes = Modes(X, Y, np.array([twist(X[:, None], Y[None, :])]))
    said, known = (
        solve(equations, Prior(1e4, 200.0, **how)) for how in ({"modes": modes, "modes_size": 1.0}, {"known": modes})
    )
    assert known.coefficients == pytest.approx(said.coefficients, abs=1e-12)
    assert known.criterion == pytest.approx(said.criterion, rel=1e-12)


def test_the_mean_of_parts_is_no_surer_than_the_parts() -> None:
    """Variances of independent errors add up (JCGM 100:2008, 5.1.2)."""
    points, values, u = readings(bowl, 40, 2)
    fit = fit_surface(points, values - bowl(*points.T), u, bounds=BOUNDS)
    mean = replace(expected(), parts=1, u=np.full((len(X), len(Y)), 0.012))
    sure, told = (one.added_to(fit, 1).posterior for one in (expected(), mean))
    x, y = np.array([40.0, 300.0]), np.array([30.0, 150.0])
    assert told.std_at(x, y) == pytest.approx(np.hypot(sure.std_at(x, y), 0.012))
    drawn, before = (one.samples_at(np.column_stack([x, y])) for one in (told, sure))
    assert (drawn - before).std(axis=0) == pytest.approx([0.012, 0.012], rel=0.15)  # 400 samples: 4 %
    of_ten = replace(mean, parts=10).added_to(fit, 1).posterior.std_at(x, y)
    assert (np.hypot(sure.std_at(x, y), 0.012 / np.sqrt(10)) < of_ten).all() and (of_ten < told.std_at(x, y)).all()
    places = [np.column_stack([x, y])]
    assert mean.added_to(fit, 1).variance_split(places)[1] == pytest.approx(fit.variance_split(places)[1] + 0.012**2)


def test_mean_of_zero_gains_nothing() -> None:
    points, values, u = readings(bowl, 40, 3)
    found = agreement(points, values, u, expected(lambda x, y: 0 * x * y), BOUNDS)
    assert found.gain == pytest.approx(0.0, abs=1e-6) and not found.is_used


def test_few_or_collinear_readings() -> None:
    points, values, u = readings(bowl, 5, 4)
    assert not agreement(points, values, u, expected(), BOUNDS).is_used
    line = np.column_stack([np.linspace(0, 600, 10), np.full(10, 20.0)])
    with pytest.raises(NumericalError, match="one line"):
        agreement(line, np.zeros(10), np.full(10, 0.01), expected(), BOUNDS)
