"""Floors that lost too many of their readings (common practice, no source: two that agree are no accident)."""

from __future__ import annotations

import numpy as np

from floorfit.readings.outliers import lost_floors

FLOOR = np.repeat([0, 1, 2], 7)
U = np.full(21, 0.01)
#: Seven in a row on each floor, 20 mm apart, but for the last two, which are 5 mm apart.
POINTS = np.column_stack([np.tile([0, 20, 40, 60, 80, 100, 105], 3), FLOOR * 100.0]).astype(float)


def lost(bad: dict[int, float]) -> dict[int, str]:
    is_bad, residual = np.zeros(21, bool), np.zeros(21)
    for row, value in bad.items():
        is_bad[row], residual[row] = True, value
    return lost_floors(FLOOR, POINTS, is_bad, residual, U)


def test_one_or_two_of_seven_are_accidents() -> None:
    assert lost({}) == {}
    assert lost({0: 0.2, 8: -0.3}) == {}
    assert lost({0: 0.2, 1: 0.35}) == {}
    assert lost({0: 0.2, 1: -0.2}) == {}


def test_three_of_seven_hold_the_floor() -> None:
    found = lost({7: 0.2, 8: -0.3, 9: 0.5, 0: 0.1})
    assert list(found) == [1]
    assert "3 of 7" in found[1]


def test_two_neighbours_that_agree_hold_the_floor() -> None:
    # 0.03 apart, 0.014 the standard deviation of a difference.
    found = lost({19: 0.12, 20: 0.15})
    assert list(found) == [2]
    assert "agree" in found[2]
    # With good readings between them they do not.
    assert lost({14: 0.12, 19: 0.15}) == {}
    assert lost({19: 0.12, 20: 0.25}) == {}


def test_one_of_three_is_a_third_and_eight_of_twelve_are_enough() -> None:
    def floor_of(total: int, bad: int) -> dict[int, str]:
        is_bad = np.arange(total) < bad
        points = np.column_stack([20.0 * np.arange(total), np.zeros(total)])
        residual = np.where(is_bad, 0.2 + 0.2 * np.arange(total), 0.0)
        return lost_floors(np.zeros(total, int), points, is_bad, residual, np.full(total, 0.01))

    assert list(floor_of(3, 1)) == [0]
    assert floor_of(12, 4) == {}
    assert list(floor_of(7, 3)) == [0]
