"""What is said of holes in floors that move, and that a way down to a floor may come as many short chords."""

import math

import pytest
from cl_cases import whole, zigzag
from nc_cases import PART, corrections

from floorfit.errors import InputError
from floorfit.nc.cl import apply_to_locations


def apply(lines, given):
    return apply_to_locations(PART, given, whole(*lines).encode())


@pytest.mark.parametrize(
    ("cycle", "is_open"),
    [
        ("DRILL,5,100,MMPM,3", False),
        ("DRILL,1,100,MMPM,3", True),
        ("DRILL,DEPTH,5,FEDTO,100", False),
        ("DEEP,RAPTO,3,DEPTH,1.5", True),
        ("DRILL,RAPTO,5", True),
    ],
)
def test_a_hole_that_may_end_in_a_web_that_moves_is_left_open(cycle, is_open):
    """The floor is at Z 2 and its underside at 0 (nc_cases): a hole of 5 mm goes through, one of 1 or 1.5 does not.

    CYCLE with the depth as its first number or behind DEPTH: from memory, the standard was not at hand.
    """
    drill = ["CUTTER/4,0", f"CYCLE/{cycle}", "GOTO/50,30,2", "CYCLE/OFF", "RAPID", "GOTO/50,30,40"]
    done = apply([[*zigzag("A", 16.0), *drill]], corrections(A=0.1))
    assert ("cycle-left" in {one.code for one in done.findings}) is is_open
    assert "GOTO/50,30,2\n" in done.data.decode()


@pytest.mark.parametrize(
    ("cycle", "drilled_last", "code"),
    [
        ("DRILL,DEPTH,5,FEDTO,100,RAPTO,0.5", False, "cycle-stock"),
        ("DRILL,5,100,MMPM,0.5", False, "cycle-stock"),
        ("DRILL,DEPTH,5,FEDTO,100,RAPTO,0.9", False, ""),
        ("DRILL,DEPTH,5,FEDTO,100,RAPTO,0.5", True, ""),
        ("DRILL,5,100,MMPM,CLEAR,0.3", True, "cycle-low"),
        ("DRILL,DEPTH,5,MMPM,100,RAPTO,0.3", True, "cycle-low"),
        ("DRILL,DEPTH,5,IPM,4,CLEAR,0.5", False, "cycle-stock"),
    ],
)
def test_a_rapid_to_a_hole_ends_over_the_raised_stock(cycle, drilled_last, code):
    """Floor at Z 2, raised by 0.4, and 0.5 of stock on it (nc_cases), so that its top is 0.9 over the floor.

    RAPTO, and the words and places that stand for it: from memory, the standard was not at hand.
    """
    drill = ["CUTTER/4,0", f"CYCLE/{cycle}", "GOTO/50,30,2", "CYCLE/OFF", "RAPID", "GOTO/50,30,40"]
    cut = zigzag("A", 16.0)
    tools = [[*cut, *drill]] if drilled_last else [["RAPID", "GOTO/50,30,40", *drill, *cut]]
    try:
        found = apply(tools, corrections(A=0.4)).findings
    except InputError as refusal:
        found = refusal.findings
    assert {one.code for one in found} & {"cycle-stock", "cycle-low"} == ({code} if code else set())


@pytest.mark.parametrize("dz", [-0.1, 0.1])
def test_a_helix_of_short_chords_is_a_way_down(dz):
    """Three turns of radius 4 mm with a pitch of 0.3 mm: 0.7 degrees, flatter than any single pass may be."""
    turns = [(k / 60, 2 * math.pi * k / 60) for k in range(1, 241)]
    places = [(50 + 4 * math.cos(a), 30 + 4 * math.sin(a), max(2.9 - 0.3 * n, 2.0)) for n, a in turns]
    way = [f"GOTO/{x:.4f},{y:.4f},{z:.4f},0,0,1" for x, y, z in places]
    down = ["CUTTER/16.0,0.0", "RAPID", "GOTO/54,30,30,0,0,1", "GOTO/54,30,2.9,0,0,1", *way, "GOTO/50,30,30,0,0,1"]
    done = apply([down, zigzag("A", 16.0)], corrections(A=dz))
    assert f",{2 + dz:.4f},0,0,1\n" in done.data.decode()
