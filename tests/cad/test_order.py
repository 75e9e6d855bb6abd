"""Reading order: rows from the datum corner."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.cad.order import pocket_ids, reading_order


def grid(columns, rows, jitter=0.0, seed=0):
    rng = np.random.default_rng(seed)
    boxes = []
    for j in range(rows):
        for i in range(columns):
            x, y = 100 * i + rng.uniform(-jitter, jitter), 80 * j + rng.uniform(-jitter, jitter)
            boxes.append((x, y, x + 90, y + 70))
    return boxes


@pytest.mark.parametrize("jitter", [0.0, 1e-4, 5.0])
def test_grid_is_read_row_by_row_from_any_start(jitter):
    boxes = grid(7, 4, jitter)
    shuffled = np.random.default_rng(1).permutation(len(boxes))
    order = reading_order([boxes[i] for i in shuffled], [0.0] * len(boxes))
    assert [int(shuffled[i]) for i in order] == list(range(28))


def test_of_two_floors_in_one_place_the_lower_comes_first():
    assert reading_order([(0, 0, 100, 100), (20, 20, 80, 80)], [10.0, 2.0]) == [1, 0]
    # The middles differ by float noise only.
    assert reading_order([(0, 0, 100, 100), (20 + 1e-5, 20, 80, 80)], [10.0, 2.0]) == [1, 0]


def test_order_survives_noise_at_a_rounding_border():
    boxes = [(0.05, 0.05, 100.05, 50.05), (0.05, 0.05, 50.05, 50.05), (60.05, 0.05, 100.05, 50.05)]
    wanted = reading_order(boxes, [3.0, 1.0, 2.0])
    rng = np.random.default_rng(4)
    for _ in range(50):
        shaken = [tuple(np.array(b) + rng.uniform(-1e-4, 1e-4, 4)) for b in boxes]
        assert reading_order(shaken, [3.0, 1.0, 2.0]) == wanted


def test_ids():
    assert pocket_ids(3) == ["P01", "P02", "P03"]
    assert pocket_ids(120)[-1] == "P120"
    assert pocket_ids(120)[0] == "P001"
    assert pocket_ids(0) == reading_order([], []) == []
