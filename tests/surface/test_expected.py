import numpy as np
import pytest

from floorfit.errors import NumericalError
from floorfit.surface.expected import Expected, agreement
from floorfit.surface.grid import make_grid
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


def test_score_of_a_shape_is_found() -> None:
    def twist(x, y):
        return 0.15 * (x / 300 - 1) * (y / 150 - 1) ** 3

    points, values, u = readings(lambda x, y: bowl(x, y) + 1.5 * twist(x, y), 60, 5)
    mean = Expected(X, Y, bowl(X[:, None], Y[None, :]), 10, shapes=(twist(X[:, None], Y[None, :]),))
    found = agreement(points, values, u, mean, BOUNDS)
    # a shape of rms 0.15/√21 and 60 readings of 0.010: 0.04 if the spline took none of it; ten times that since it may
    assert found.used is not None and found.scores == pytest.approx([1.5], abs=0.4)
    assert found.used.at(550.0, 280.0) == pytest.approx(bowl(550, 280) + found.scores[0] * twist(550, 280), abs=1e-4)
    assert "with 1 of its shapes" in found.words


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
