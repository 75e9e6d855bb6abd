"""Energies by place, against closed forms and the energy that is even."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.blocks import outer, product
from floorfit.surface.grid import make_grid
from floorfit.surface.local_energy import Rough, cell_energies, local_energy
from floorfit.surface.spline import plane_coefficients

BOUNDS = (0.0, 0.0, 600.0, 400.0)
GRID = make_grid(BOUNDS, 50.0)
Array = np.ndarray


def rough(logs: list[list[float]]) -> Rough:
    return Rough(BOUNDS[:2], BOUNDS[2:], np.array(logs))


def quadratic(band: Array, vector: Array) -> float:
    return float(np.vdot(vector, product(band, vector[None])[0]))


@pytest.mark.parametrize("reach", [0.0, 80.0])
def test_factor_of_one_is_the_even_energy(reach: float) -> None:
    got = local_energy(GRID, reach, rough([[0.0, 0.0], [0.0, 0.0]]))
    assert got == pytest.approx(GRID.energy(reach), rel=1e-9, abs=1e-12 * np.abs(GRID.energy(reach)).max())


def test_cells_share_out_the_whole_energy() -> None:
    vector = np.random.default_rng(1).standard_normal(GRID.shape)
    cells = cell_energies(GRID, 80.0, outer(vector))
    assert cells.sum() == pytest.approx(quadratic(GRID.energy(80.0), vector), rel=1e-9)
    assert (cells >= 0).all()
    assert rough([[0.0, 0.0, 0.0]] * 5).tiles(GRID, cells).sum() == pytest.approx(cells.sum(), rel=1e-12)


def test_factor_is_bilinear_in_its_log_and_that_of_a_cell_is_at_its_middle() -> None:
    # Between the middles of two tiles, x = 150 and 450, the log is linear: ∫ e^(a t) dt over 0 to 1 is (e^a − 1)/a.
    field = rough([[0.0], [np.log(4.0)]])
    x = np.linspace(150.0, 450.0, 2001)
    got = field.at(np.column_stack([x, np.full(len(x), 100.0)]))
    assert float(((got[1:] + got[:-1]) / 2).mean()) == pytest.approx(3.0 / np.log(4.0), rel=1e-5)
    middles = (GRID.along.edges[1:] + GRID.along.edges[:-1]) / 2
    expected = field.at(np.column_stack([middles, np.full(len(middles), 100.0)]))
    assert field.on(GRID)[:, 7] == pytest.approx(expected, rel=1e-12)


def test_long_side_along_y_is_the_same_turned() -> None:
    turned = make_grid((0.0, 0.0, 400.0, 600.0), 50.0)
    field = np.random.default_rng(2).normal(0.0, 1.0, (3, 2))
    along = Rough((0.0, 0.0), (600.0, 400.0), field).on(GRID)
    assert Rough((0.0, 0.0), (400.0, 600.0), field.T).on(turned) == pytest.approx(along, rel=1e-12)


def test_planes_cost_nothing_under_any_factor() -> None:
    band = local_energy(GRID, 0.0, rough([[0.0, 2.0], [-3.0, 1.0]]))
    tilt = plane_coefficients(GRID, np.array([0.3, 1e-3, -2e-3]))
    assert quadratic(band, tilt) == pytest.approx(0.0, abs=1e-9)
