"""The width of the grid's cells: how many there are, by the rule that the module states."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from floorfit.surface.cell_width import MAX_CELLS, MIN_CELLS, choose_cell, final_cell, keeps_planes
from floorfit.surface.grid import make_grid
from floorfit.surface.reml import Prior, assemble, solve
from floorfit.surface.spline import plane_coefficients

BOX = (-100.0, 50.0, 500.0, 350.0)
AREA = 600.0 * 300.0


@pytest.mark.parametrize("count", [300, 500, 850])
def test_three_cells_across_the_spacing_of_the_readings(count: int) -> None:
    # One reading has A/n to itself, a square of √(A/n); three cells across it are nine to a reading (definition).
    assert AREA / choose_cell(BOX, count) ** 2 == pytest.approx(9 * count)
    assert AREA / choose_cell(BOX, count, fine=True) ** 2 == pytest.approx(36 * count)


@pytest.mark.parametrize("count", [0, 1, 100, 10_000, 1_000_000])
def test_cells_are_never_fewer_nor_more_than_the_bounds(count: int) -> None:
    cells = AREA / choose_cell(BOX, count) ** 2
    assert cells == pytest.approx(np.clip(9 * count, MIN_CELLS, MAX_CELLS))


def test_four_cells_across_the_smallest_floor() -> None:
    # 30 mm: between the widest cell (8.5 mm) and the narrowest (4.7 mm) of this box.
    assert choose_cell(BOX, 100, 30.0) == pytest.approx(7.5)
    assert choose_cell(BOX, 100, 3000.0) == choose_cell(BOX, 100)


def searched(*smooth_lengths: float, parameters: float = 50.0, breaks: bool = False, **prior: object) -> Any:
    """What a search beside shapes found: the likeliest prior of each model, and how many parameters it took."""
    models = [
        SimpleNamespace(priors=[(Prior(1e5, one, **prior), 1.0)], breaks=breaks)  # type: ignore[arg-type]
        for one in smooth_lengths
    ]
    return SimpleNamespace(shapes=True, models=models, parameters=parameters)


@pytest.mark.parametrize(("lengths", "cell"), [([50.0], 12.5), ([400.0, 52.0], 13.0), ([4.0], 0.0), ([400.0], 99.0)])
def test_beside_shapes_cells_are_a_quarter_of_the_shortest_smoothness_length(lengths: list[float], cell: float) -> None:
    # Between 900 and 2,500 cells: 14.1 and 8.5 mm in this box.
    expected = np.clip(cell, np.sqrt(AREA / MIN_CELLS), np.sqrt(AREA / 900))
    assert final_cell(BOX, np.full(300, 0.01), None, None, searched(*lengths)) == pytest.approx(expected)


@pytest.mark.parametrize("rough", [{"breaks": True}, {"tension": 80.0}, {"rough": object()}, {"modes": object()}])
def test_beside_shapes_ground_that_is_rough_or_breaks_or_has_modes_has_the_finest_cells(rough: dict[str, Any]) -> None:
    found = final_cell(BOX, np.full(300, 0.01), None, None, searched(400.0, **rough))
    assert AREA / found**2 == pytest.approx(MIN_CELLS)


def test_five_cells_for_each_effective_parameter() -> None:
    found = final_cell(BOX, np.full(300, 0.01), None, None, searched(400.0, parameters=1000.0))
    assert AREA / found**2 == pytest.approx(5000)


@pytest.mark.parametrize(("lost", "is_kept"), [(0.001, True), (0.02, False)])
def test_planes_that_lose_two_hundredths_in_rounding_are_not_kept(lost: float, is_kept: bool) -> None:
    # A penalty that is nothing for a plane gives it back (Wahba 1990, section 2.4); what rounding takes is put in here.
    rng = np.random.default_rng(3)
    points = rng.uniform(BOX[:2], BOX[2:], (60, 2))
    equations = assemble(make_grid(BOX, 60.0), points, np.zeros(60), np.full(60, 1e4), 60.0)
    solution = solve(equations, Prior(1e5))
    assert keeps_planes(equations, solution, BOX)
    rounded = SimpleNamespace(solve=lambda right: (1 - lost) * solution.factor.solve(right))
    assert keeps_planes(equations, SimpleNamespace(factor=rounded), BOX) is is_kept  # type: ignore[arg-type]


def fine_cells(count: int, smoothing: float) -> float:
    found = final_cell(BOX, np.full(count, 0.01), None, Prior(smoothing), searched(400.0))
    return AREA / found**2


def test_a_smoothing_that_is_set_has_cells_of_six_tenths_of_its_own_length() -> None:
    # λ u² A / n = 5⁴ mm⁴, so that its length is 5 mm, and the cell 3 mm: between a twelfth and a sixth of the spacing.
    assert fine_cells(400, 5.0**4 * 400 / (0.01**2 * AREA)) == pytest.approx(AREA / 3.0**2)
    # All but interpolating: twelve cells to the spacing; of very many readings ten times the most cells.
    assert fine_cells(400, 1e-6) == pytest.approx(144 * 400)
    assert fine_cells(4000, 1e-6) == pytest.approx(10 * MAX_CELLS)
    # All but a plane: six to the spacing.
    assert fine_cells(400, 1e9) == pytest.approx(36 * 400)


def test_no_ground_is_so_rough_that_it_has_more_than_four_times_the_most_cells() -> None:
    found = final_cell(BOX, np.full(300, 0.01), None, None, searched(400.0, parameters=1e6))
    assert (
        AREA / found**2 == pytest.approx(4 * MAX_CELLS) == pytest.approx(AREA / choose_cell(BOX, 10**6, fine=True) ** 2)
    )


def test_a_plane_that_is_lost_at_one_end_is_lost() -> None:
    points = np.random.default_rng(3).uniform(BOX[:2], BOX[2:], (60, 2))
    equations = assemble(make_grid(BOX, 60.0), points, np.zeros(60), np.full(60, 1e4), 60.0)
    solution = solve(equations, Prior(1e5))

    rise = plane_coefficients(equations.grid, np.array([100 / 600, 1 / 600, 0.0]))  # 0 at X −100, 1 at X 500

    def rounded(right: np.ndarray) -> np.ndarray:
        return np.asarray(solution.factor.solve(right) - 0.02 * rise)

    assert not keeps_planes(equations, SimpleNamespace(factor=SimpleNamespace(solve=rounded)), BOX)  # type: ignore[arg-type]
