"""Canned cycles over floors whose Z changes: RS274/NGC moves by a rapid to R and feeds to Z (NISTIR 6556, 3.5.16)."""

import pytest
from nc_cases import PART, TOOLS, corrections, hold, tilt

from floorfit.errors import InputError
from floorfit.nc.programme import apply_offsets
from floorfit.nc.shifts import Origin

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
    "cycle",
    [
        "G98 G82 X50 Y30 Z2. R5. P100",
        "G98 G81 X50 Y30 Z1. R5.",
        "G98 G81 X50 Y30 Z0.1 R5.",
        "G98 G82 X50 Y30 Z#5 R5.",
    ],
)
def test_a_hole_that_ends_in_a_raised_web_would_leave_it_thin(cycle):
    """At 2.0 under a floor put to 2.3 the web is 0.3 thinner than decided: arithmetic."""
    with pytest.raises(InputError, match=r"line 8.*pocket A: the cycle ends in the web.*0\.300"):
        apply(cycle, 0.3)


def test_an_r_plane_under_the_raised_floor_is_a_rapid_into_it():
    with pytest.raises(InputError, match="R does not clear the floor"):
        apply("G99 G81 X50 Y30 Z-1. R2.2", 0.3)
    assert "cycle-stock" in apply("G99 G81 X50 Y30 Z-1. R2.4", 0.3)


@pytest.mark.parametrize(("level", "y", "code"), [(2.7, 30, "cycle-stock"), (2.7, 10, "cycle"), (2.9, 30, "cycle")])
def test_an_r_plane_in_the_stock_of_a_raised_floor_is_told(level, y, code):
    """The pass at Y 10 alone is cut; beside it metal stands at 2 + 0.5, and 0.3 more with the plate (README, Signs).

    The way to R is a rapid (NISTIR 6556, 3.5.16): R 2.7 cleared the stock as programmed, and is 0.1 under it now.
    """
    assert apply(f"G99 G81 X50 Y{y} Z-1. R{level}", 0.3) & {"cycle", "cycle-stock"} == {code}


@pytest.mark.parametrize(("z", "is_refused"), [(20, False), (6.2, True)])
def test_the_way_to_a_hole_is_as_high_as_where_it_starts(z, is_refused):
    """From over floor C (Z 6, raised by 0.3) to a hole in A with R 4: X and Y move at the old Z (NISTIR 3.5.16)."""
    text = HEAD + PASS + f"G0 X50 Y100 Z20\nG1 Z6. F200\nX90\nZ{z}\nG99 G81 X90 Y30 Z-1. R4. F100\nG80\nG0 Z20\n"
    given = corrections(A=0.1, C=0.3)
    if is_refused:
        with pytest.raises(InputError, match="R does not clear the floor"):
            codes(text, given)
    else:
        assert codes(text, given) == {"cycle"}


def test_increments_count_from_where_the_tool_stands():
    """From Z 20, R is 20 - 17.9 = 2.1 and under the floor at 2.3; by -17.6 it is 2.4 and clears it."""
    with pytest.raises(InputError, match="R does not clear the floor"):
        apply("G91 G98 G81 X0 Y0 Z-4. R-17.9", 0.3)
    assert "cycle-stock" in apply("G91 G98 G81 X0 Y0 Z-4. R-17.6", 0.3)
    assert "cycle" in apply("G91 G98 G81 X0 Y0 Z-4. R-17.1", 0.3)


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


def codes(text, given, **stated):
    done = apply_offsets(PART, given, text.encode(), tools=TOOLS, **stated)
    return {finding.code for finding in done.findings if finding.code.startswith("cycle")}


@pytest.mark.parametrize(("y", "is_told"), [(60.5, True), (61.5, False), (-0.5, True), (-1.5, False)])
def test_a_hole_beside_the_floor_is_in_it_where_the_drill_reaches_it(y, is_told):
    """Floor A ends at Y 0 and 60, and the drill has a radius of 1 mm: plane geometry."""
    text = HEAD + PASS + f"G0 X50 Y{y} Z20\nG98 G81 X50 Y{y} Z-1. R5. F100\nG80\nG0 Z20\n"
    assert codes(text, corrections(A=0.3)) == ({"cycle"} if is_told else set())


def test_a_cycle_that_stays_above_the_floor_is_none_of_its_holes():
    """From R 25 to Z 15 over a floor at 2.3: it cuts a wall or a boss."""
    text = HEAD + PASS + "G0 X50 Y30 Z30\nG98 G81 X50 Y30 Z15. R25. F100\nG80\nG0 Z30\n"
    assert codes(text, corrections(A=0.3)) == set()


def test_heights_of_a_cycle_are_those_of_the_part():
    """With the zero 55 mm above the part's every number is 55 lower (geometry): R 2.4 is -52.6, R 2.2 is -52.8."""
    head = "G21 G90 G17 G40 G94\nT1 M6\nG0 X10 Y10 Z-35\nG1 Z-53. F200\nX90\nG0 Z-35\nX50 Y30\n"
    given, zero = corrections(A=0.3), Origin(0.0, 0.0, 55.0)
    assert codes(head + "G99 G81 X50 Y30 Z-56. R-52.6 F100\nG80\n", given, origin=zero) == {"cycle-stock"}
    with pytest.raises(InputError, match="R does not clear the floor"):
        codes(head + "G99 G81 X50 Y30 Z-56. R-52.8 F100\nG80\n", given, origin=zero)
    with pytest.raises(InputError, match="the cycle ends in the web"):
        codes(head + "G99 G81 X50 Y30 Z-54. R-50. F100\nG80\n", given, origin=zero)


def test_a_web_that_is_left_thinner_by_five_hundredths_is_refused():
    """At 2.0 under a floor put to 2.05: half of the tolerance of 0.1."""
    with pytest.raises(InputError, match=r"left thinner than decided by 0\.050"):
        apply("G98 G82 X50 Y30 Z2. R5. P100", 0.05)
    with pytest.raises(InputError, match="R does not clear the floor"):
        apply("G99 G81 X50 Y30 Z-1. R2.02", 0.05)


def test_a_hole_in_a_floor_that_is_held_is_told():
    """Its floor's Z is not known, so that nothing is said of R and depth but that they are to be looked at."""
    text = HEAD + PASS + "G0 X150 Y30 Z20\nG98 G81 X150 Y30 Z1. R5. F100\nG80\nG0 Z20\n"
    done = apply_offsets(PART, corrections(A=0.3, B=hold("B")), text.encode(), tools=TOOLS)
    assert [one.code for one in done.findings if one.code.startswith("cycle")] == ["cycle"]


def test_a_hole_whose_place_is_not_known_may_be_in_the_floor_where_it_moves_most():
    """A tilt of 0.004 about 0.1 mm moves the floor by -0.1 mm at X 0 and by 0.3 at X 100, over an R at 2.2."""
    given = corrections(A=tilt("A", 0.1, 0.004, 0.0))
    with pytest.raises(InputError, match=r"R does not clear the floor, which is raised by 0\.300"):
        codes(HEAD + PASS + "G0 X50 Y30 Z20\nG99 G81 X#7 Y30 Z-1. R2.2 F100\nG80\n", given)
