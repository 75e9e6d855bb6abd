"""Canned cycles over floors whose Z changes: RS274/NGC moves by a rapid to R and feeds to Z (NISTIR 6556, 3.5.16)."""

import pytest
from nc_cases import PART, TOOLS, corrections

from floorfit.errors import InputError
from floorfit.nc.programme import apply_offsets

HEAD = "G21 G90 G17 G40 G94\nT1 M6\nG0 X10 Y10 Z20\n"
#: The web under floor A is 2 mm thick, its underside at Z 0.
PASS = "G1 Z2. F200\nX90\nG0 Z20\n"


def apply(cycle, dz):
    text = HEAD + PASS + f"G0 X50 Y30 Z20\n{cycle} F100\nG80\nG0 Z20\n"
    done = apply_offsets(PART, corrections(A=dz), text.encode(), tools=TOOLS)
    return {finding.code for finding in done.findings}


def test_a_hole_through_the_web_is_told_and_leaves_nothing_open():
    assert "cycle" in apply("G98 G81 X50 Y30 Z-1. R5.", 0.3)


@pytest.mark.parametrize(
    "cycle", ["G98 G82 X50 Y30 Z2. R5. P100", "G98 G81 X50 Y30 Z1. R5.", "G98 G82 X50 Y30 Z#5 R5."]
)
def test_a_hole_that_ends_in_a_raised_web_would_leave_it_thin(cycle):
    """At 2.0 under a floor put to 2.3 the web is 0.3 thinner than decided: arithmetic."""
    with pytest.raises(InputError, match=r"line 8.*pocket A: the cycle ends in the web.*0\.300"):
        apply(cycle, 0.3)


def test_an_r_plane_under_the_raised_floor_is_a_rapid_into_it():
    with pytest.raises(InputError, match="R does not clear the floor"):
        apply("G99 G81 X50 Y30 Z-1. R2.2", 0.3)
    assert "cycle" in apply("G99 G81 X50 Y30 Z-1. R2.4", 0.3)


def test_increments_count_from_where_the_tool_stands():
    """From Z 20, R is 20 - 17.9 = 2.1 and under the floor at 2.3; by -17.6 it is 2.4 and clears it."""
    with pytest.raises(InputError, match="R does not clear the floor"):
        apply("G91 G98 G81 X0 Y0 Z-4. R-17.9", 0.3)
    assert "cycle" in apply("G91 G98 G81 X0 Y0 Z-4. R-17.6", 0.3)


def test_a_repeated_block_drills_on_its_way():
    """Twelve steps of 10 mm from X 50 end at 170, beside the floor; the first five holes are in it."""
    with pytest.raises(InputError, match="the cycle ends in the web"):
        apply("G91 G98 G81 X10 Y0 Z-4. R-15. L12", 0.3)


def test_a_hole_that_may_end_in_a_lowered_web_is_left_open():
    assert "cycle-left" in apply("G98 G81 X50 Y30 Z1. R5.", -0.12)
    # The underside went down with the floor: a drill to 0.05 under the drawing's may not come through.
    assert "cycle-left" in apply("G98 G81 X50 Y30 Z-0.05 R5.", -0.12)
    assert "cycle" in apply("G98 G81 X50 Y30 Z-1. R5.", -0.12)


def test_of_two_floors_the_one_that_is_left_open_is_told():
    """A drill to 0.05 under the drawing's underside comes through A, which went down by 0.02, and not through B."""
    text = HEAD + PASS + "G0 X50 Y30 Z20\nG91 G98 G81 X60 Y0 Z-5.05 R-15. L2 F100\nG90 G80\nG0 Z20\n"
    done = apply_offsets(PART, corrections(A=-0.02, B=-0.12), text.encode(), tools=TOOLS)
    assert "cycle-left" in {finding.code for finding in done.findings}
