"""The offset field of a correction, by hand."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from floorfit.decision.decision import Correction, FollowGrid

GRID = FollowGrid(np.array([0.0, 10.0, 30.0]), np.array([0.0, 20.0]), np.array([[0.0, 2.0], [1.0, 3.0], [5.0, 7.0]]))


def test_nodes_are_kept_and_middles_are_means() -> None:
    assert GRID.at([0, 10, 30], [20, 0, 20]).tolist() == [2.0, 1.0, 7.0]
    assert float(GRID.at(5.0, 10.0)) == pytest.approx((0 + 2 + 1 + 3) / 4)
    assert float(GRID.at(20.0, 5.0)) == pytest.approx(0.75 * (1 + 5) / 2 + 0.25 * (3 + 7) / 2)


def test_edge_value_goes_on_outside() -> None:
    assert GRID.at([-5, 40], [-1, 99]).tolist() == [0.0, 7.0]


def test_shift_and_tilt() -> None:
    shift = Correction("shift", (50.0, 40.0), 0.08)
    assert shift.at([0, 50], [0, 40]).tolist() == [0.08, 0.08]
    tilt = Correction("tilt", (50.0, 40.0), 0.08, (1e-3, -2e-3))
    assert float(tilt.at(50, 40)) == 0.08
    assert float(tilt.at(60, 45)) == pytest.approx(0.08 + 0.010 - 0.010)


def test_hold_is_no_offset_and_has_no_number() -> None:
    hold = Correction("hold", (0.0, 0.0), float("nan"))
    assert hold.at([1, 2], [3, 4]).tolist() == [0.0, 0.0]


def test_follow_is_the_grid() -> None:
    assert float(Correction("follow", (15.0, 10.0), 2.0, grid=GRID).at(5, 10)) == pytest.approx(1.5)


def test_result_is_frozen() -> None:
    with pytest.raises(FrozenInstanceError, match="cannot assign"):
        Correction("shift", (0.0, 0.0), 0.1).offset = 0.2  # type: ignore[misc]
