"""Steps across ribs: every expected number is a hand calculation on the offsets given."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.decision.decision import Correction, FollowGrid
from floorfit.decision.neighbours import neighbour_steps
from floorfit.part.model import Part, Pocket, Tolerance


def _pocket(name: str, x0: float, x1: float, *, y1: float = 100.0, radius: float = 8.0) -> Pocket:
    ring = ((x0, 0.0), (x1, 0.0), (x1, y1), (x0, y1))
    return Pocket(name, ring, (), 2.0, 2.0, Tolerance(-0.1, 0.1), corner_radius=radius)


def _part(*pockets: Pocket) -> Part:
    return Part("row", ((-10.0, -10.0), (500.0, -10.0), (500.0, 110.0), (-10.0, 110.0)), pockets)


A, B, C = _pocket("A", 0, 100), _pocket("B", 105, 200), _pocket("C", 230, 300)


def _shift(pocket: Pocket, offset: float) -> Correction:
    return Correction("shift", pocket.centroid, offset)


def test_two_shifts_differ_by_their_offsets() -> None:
    (step,) = neighbour_steps(_part(A, B), {"A": _shift(A, 0.05), "B": _shift(B, -0.07)}, rib_max_mm=10)
    assert (step.a, step.b) == ("A", "B")
    assert step.step_mm == pytest.approx(-0.12, abs=1e-12)
    assert step.rib_mm == pytest.approx(5.0)
    assert step.at_mm[0] == pytest.approx(102.5)


def test_only_floors_within_the_rib_limit_are_neighbours() -> None:
    part = _part(A, B, C)
    shifts = {p.id: _shift(p, 0.1 * k) for k, p in enumerate(part.pockets)}
    assert [(s.a, s.b) for s in neighbour_steps(part, shifts, rib_max_mm=10)] == [("A", "B")]
    # B to C is 30 mm, A to C is 130 mm.
    pairs = [(s.a, s.b) for s in neighbour_steps(part, shifts, rib_max_mm=30)]
    assert pairs == [("A", "B"), ("B", "C")]


def test_greatest_step_comes_first() -> None:
    part = _part(A, B, C)
    shifts = {"A": _shift(A, 0.0), "B": _shift(B, 0.01), "C": _shift(C, 0.2)}
    assert [s.b for s in neighbour_steps(part, shifts, rib_max_mm=30)] == ["C", "B"]


def test_tilt_is_compared_at_the_rib_not_at_the_centroid() -> None:
    # A rises by 0.001 a mm in Y about its centroid (50, 50): +0.05 mm at its upper end. B does not move.
    tilt = Correction("tilt", A.centroid, 0.02, (0.0, 0.001))
    (step,) = neighbour_steps(_part(A, B), {"A": tilt, "B": _shift(B, 0.0)}, rib_max_mm=10)
    assert step.step_mm == pytest.approx(-0.07, abs=1e-12)
    assert step.at_mm[1] == pytest.approx(100.0)


def test_follow_grid_is_compared_at_the_rib() -> None:
    grid = FollowGrid(np.array([0.0, 100.0]), np.array([0.0, 100.0]), np.array([[0.0, 0.0], [0.03, 0.09]]))
    follow = Correction("follow", A.centroid, 0.03, grid=grid)
    (step,) = neighbour_steps(_part(A, B), {"A": follow, "B": _shift(B, 0.0)}, rib_max_mm=10)
    assert step.step_mm == pytest.approx(-0.09, abs=1e-12)


def test_floors_that_touch_are_a_step_on_the_drawing() -> None:
    touching = _pocket("B", 100, 200)
    (step,) = neighbour_steps(_part(A, touching), {"A": _shift(A, 0.0), "B": _shift(touching, 0.04)}, rib_max_mm=0)
    assert step.rib_mm == 0.0


@pytest.mark.parametrize("kind", ["held", "missing"])
def test_floor_without_a_final_height_is_left_out(kind: str) -> None:
    held = Correction("hold", B.centroid, float("nan"))
    corrections = {"A": _shift(A, 0.1)} | ({"B": held} if kind == "held" else {})
    assert neighbour_steps(_part(A, B), corrections, rib_max_mm=10) == ()


def test_no_pockets_no_steps() -> None:
    assert neighbour_steps(_part(), {}, rib_max_mm=10) == ()


@pytest.mark.parametrize("limit", [-1.0, float("nan")])
def test_impossible_limit_is_refused(limit: float) -> None:
    with pytest.raises(ValueError, match="give a rib thickness of zero or more"):
        neighbour_steps(_part(A, B), {}, rib_max_mm=limit)
