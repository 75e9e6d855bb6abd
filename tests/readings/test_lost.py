"""Floors that lost too many of their readings (common practice, no source: two that agree are no accident)."""

from __future__ import annotations

import numpy as np

from floorfit.readings.lost import lost_floors

FLOOR = np.repeat([0, 1, 2], 7)
U = np.full(21, 0.01)


def lost(bad: dict[int, float]) -> dict[int, str]:
    is_bad, residual = np.zeros(21, bool), np.zeros(21)
    for row, value in bad.items():
        is_bad[row], residual[row] = True, value
    return lost_floors(FLOOR, is_bad, residual, U)


def test_one_or_two_of_seven_are_accidents() -> None:
    assert lost({}) == {}
    assert lost({0: 0.2, 8: -0.3}) == {}
    assert lost({0: 0.2, 1: 0.35}) == {}
    assert lost({0: 0.2, 1: -0.2}) == {}


def test_three_of_seven_hold_the_floor() -> None:
    found = lost({7: 0.2, 8: -0.3, 9: 0.5, 0: 0.1})
    assert list(found) == [1]
    assert "3 of 7" in found[1]


def test_two_that_agree_hold_the_floor() -> None:
    # 0.03 apart, 0.014 the standard deviation of a difference.
    found = lost({14: 0.12, 15: 0.15})
    assert list(found) == [2]
    assert "agree" in found[2]


def test_one_of_three_is_a_third() -> None:
    floor, bad = np.zeros(3, int), np.array([True, False, False])
    assert list(lost_floors(floor, bad, np.array([0.2, 0, 0]), U[:3])) == [0]
