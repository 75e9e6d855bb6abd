"""The width of the grid's cells: how many there are, by the rule that the module states."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.cell_width import MAX_CELLS, MIN_CELLS, choose_cell

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
