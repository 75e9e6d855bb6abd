"""Five axes: what the cutter leaves on the floor, by a sweep that shares nothing with floorfit."""

from __future__ import annotations

import numpy as np
import pytest
from cl_cases import DEEP_MM, correct, left_over, places, whole, zigzag
from cl_reference import moves
from nc_cases import corrections, follow, shift, tilt

ENDS = {"flat": (16.0, 0.0), "bull": (16.0, 3.0), "ball": (12.0, 6.0)}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize(("lean", "heading"), [(0, 0), (3, 0), (5, 1.2), (15, -2.5)])
@pytest.mark.parametrize("dz", [0.3, -0.3])
def test_a_shift_moves_the_swept_floor_by_the_shift(end, lean, heading, dz):
    """A motion along Z moves what is swept by as much, whatever cutter and axis (rigid motion)."""
    before = whole(zigzag("A", *ENDS[end], lean=lean, heading=heading))
    given = corrections(A=dz)
    deep, high, cut = left_over("A", before, correct(before, given), given, places("A", 60, inset=9))
    assert cut.any()
    assert deep.min() >= -DEEP_MM
    assert np.abs(high[cut]).max() <= 0.0011


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("lean", [0, 4])
def test_a_tilt_is_cut_nowhere_too_deep_and_nowhere_higher_than_the_end_must(end, lean):
    """A flat end on a slope t is raised by R t at most (closed form: its rim on the plane)."""
    given = corrections(A=tilt("A", 0.05, 0.002, -0.001))
    before = whole(zigzag("A", *ENDS[end], lean=lean, heading=0.4, step=3.0))
    deep, high, cut = left_over("A", before, correct(before, given), given, places("A", 60, inset=9))
    radius = ENDS[end][0] / 2
    assert deep[cut].min() >= -DEEP_MM
    assert high[cut].max() <= 2 * radius * np.hypot(0.002, 0.001) + DEEP_MM


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("lean", [0, 4])
def test_a_surface_is_followed(end, lean):
    """A dome of 0.2 mm over 100 x 60 mm: its slope is at most pi 0.2 / 60; a flat end stays above by R times that."""
    given = corrections(A=follow("A", 0.2))
    before = whole(zigzag("A", *ENDS[end], lean=lean, heading=0.4, step=3.0))
    after = correct(before, given)
    deep, high, cut = left_over("A", before, after, given, places("A", 60, inset=9))
    steep = np.pi * 0.2 * np.hypot(1 / 60, 1 / 100)
    assert deep[cut].min() >= -DEEP_MM
    assert high[cut].max() <= 2 * ENDS[end][0] / 2 * steep + DEEP_MM
    assert len(moves(after)) > len(moves(before))


def test_the_axis_is_never_changed_and_goes_evenly_between():
    """The axis of every old point is as it was; inside, it lies between its neighbours."""
    before = whole(
        ["CUTTER/16,3", "RAPID", "GOTO/20,30,30,0,0,1", "GOTO/20,30,2.447,0.087156,0,0.996195"],
        ["GOTO/80,30,2.447,0,0.087156,0.996195", "RAPID", "GOTO/80,30,30,0,0,1"],
    )
    after = correct(before, corrections(A=follow("A", 0.2)))
    old, new = moves(before), moves(after)
    assert {move["axis"] for move in old} <= {move["axis"] for move in new}
    inner = [move for move in new if 20 < move["to"][0] < 80]
    assert len(inner) > 3
    for move in inner:
        share = (move["to"][0] - 20) / 60
        wanted = np.array([0.087156 * (1 - share), 0.087156 * share, 0.996195])
        assert move["axis"] == pytest.approx(wanted / np.linalg.norm(wanted), abs=2e-4)


@pytest.mark.parametrize("lean", [0, 5])
def test_at_the_seam_of_two_floors_nothing_is_too_deep(lean):
    """A pass on B whose disc reaches over the gap of 2 mm onto A, which is raised: A is not cut below its wish."""
    given = corrections(A=0.4, B=-0.2)
    line = [f"GOTO/{x},30,{2.0 + 8 * np.sin(np.radians(lean)):.4f},{_lean(lean)}" for x in (104, 150)]
    before = whole(["CUTTER/16,0", "RAPID", f"GOTO/104,30,30,{_lean(lean)}", *line], ["RAPID", "GOTO/150,30,30,0,0,1"])
    after = correct(before, given)
    for name in "AB":
        deep, _, _ = left_over(name, before, after, given, places(name, 300, inset=0.2))
        assert deep.min() >= -DEEP_MM


def _lean(degrees: float) -> str:
    return f"0,{np.sin(np.radians(degrees)):.6f},{np.cos(np.radians(degrees)):.6f}"


def test_a_sloped_floor_with_a_leaning_ball():
    given = corrections(D=shift("D", 0.25))
    before = whole(zigzag("D", 12.0, 6.0, lean=10, heading=0.7))
    deep, high, cut = left_over("D", before, correct(before, given), given, places("D", 60, inset=9))
    assert cut.any()
    assert deep.min() >= -DEEP_MM
    assert np.abs(high[cut]).max() <= 0.0011
