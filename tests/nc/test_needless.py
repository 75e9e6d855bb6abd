"""What a programmer writes and must not be refused: each corrected right, by the reader and the sweep of the tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from nc_cases import PART, apply, check_heights, corrections, follow, pocket, tilt
from nc_reference import run
from nc_sweep import motions, swept, too_deep

from floorfit.errors import InputError
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.shifts import Origin
from floorfit.nc.tools import Tools
from floorfit.part.model import Part

TOOLS = Tools({1: Cutter(8.0)})
SIZES = {1: (8.0, 0.0), -1: (8.0, 0.0)}
HEAD = "G21 G90 G17 G40 G94\nT1 M6\nG0 X20 Y20 Z30\n"
CUT = "G1 Z2. F200\nX80.\nY40.\nX20.\nG0 Z30\n"
GIVEN = corrections(A=0.3)
DEEP_MM = 0.02

#: name: (programme, what it is for the readers of the tests)
CASES = {
    # NISTIR 6556, 3.4 and table 4: one word of each modal group in a block.
    "G words of many groups in a block": ("G0 G17 G40 G49 G80 G90 G21\n", ""),
    # G80 ends a cycle; with another motion word beside it that word counts (common practice, no source).
    "G80 beside a motion": ("G80 G0 Z30.\n", "G0 Z30.\n"),
    "a spindle speed from a parameter": ("S#102 M3\n", ""),
    "a feed from a parameter": ("F#7\n", ""),
    # Dialects with several spindles; common practice, no source.
    "the number of a spindle": ("M3 $0 S9000\n", ""),
    "a retract to a parameter": ("G0 Z#100\nG0 Z30\n", "G0 Z30\n"),
    "comments in comments": ("(FINISH (WEB 2.0) FLOORS)\n", ""),
    "G53 retract": ("G53 G0 Z0\nG0 X20 Y20\nG0 Z30\n", "G53 G0 Z0\nG0 X20 Y20\nG0 Z30\n"),
    "G28 and then feed at speed": (
        "G91 G28 Z0\nG90 G1 X20 Y20 F9000\nG0 Z30\n",
        "G91 G28 Z0\nG90 G1 X20 Y20 F9000\nG0 Z30\n",
    ),
    "a probe that stops": ("G31 Z5. F100\nG0 X20 Y20 Z30\n", ""),
    "a tool setting move": ("G37 Z5.\nG0 X20 Y20 Z30\n", ""),
    "a macro without G21 after it": ("G65 P9001 X1.\nG0 X20 Y20 Z30\n", ""),
    "a subprogramme without G21 after it": ("M98 P1000\nG0 X20 Y20 Z30\n", ""),
    "a tilted frame that ends": ("G68.2 X0 Y0 Z0 I0 J30. K0\nG0 X5. Y5.\nG69\nG0 X20 Y20 Z30\n", ""),
    "a mirror that ends": ("G51.1 X0\nG0 X5.\nG50.1 X0\nG0 X20 Y20 Z30\n", ""),
    # Dialects, from memory: a message to the operator, block delete behind the N word, a sign before a number.
    "a message to the operator": ('N5 MSG("FINISH Z2 G91 FLOORS")\n', ""),
    "block delete behind the number": ("N5 /M8\nN6 / G0 X20.\nG0 X20 Y20\n", "G0 X20 Y20\n"),
    "signs between letters and numbers": ("G0 X=20. Y=20. Z=30\n", "G0 X20. Y20. Z30\n"),
    # NISTIR 6556, 3.3.2.3: the value of a setting is an expression; dialects leave out its brackets.
    "a count from a parameter": ("#1=#1-2\n#2=[#1+3]*2 #3=#2 MOD 4\nF#1\nF200\n", ""),
    "holes beside the floors": ("G99 G81 X-30 Y20 Z-5. R5. F100\nG80\nG0 X20 Y20 Z30\n", "G0 X20 Y20 Z30\n"),
}


@pytest.mark.parametrize("name", CASES)
def test_it_is_corrected_and_every_other_byte_kept(name):
    block, plain = CASES[name]
    text = HEAD + block + "G1 F200\n" + CUT + "M30\n"
    out = apply(text, GIVEN, tools=TOOLS)
    assert block in out
    assert out.replace("Z2.300", "Z2.") == text
    text, out = text.replace(block, plain), out.replace(block, plain)
    assert too_deep(text, out, GIVEN, PART, SIZES) <= DEEP_MM


@pytest.mark.parametrize("word", ["M98 P1000", "G65 P9002"])
def test_a_call_after_the_last_cut(word):
    text = HEAD + CUT + f"{word}\nM30\n"
    assert apply(text, GIVEN, tools=TOOLS).replace("Z2.300", "Z2.") == text


def test_the_call_is_told():
    done = apply_offsets(PART, GIVEN, (HEAD + "M98 P1000\nG0 X20 Y20 Z30\n" + CUT).encode(), tools=TOOLS)
    assert "call" in {finding.code for finding in done.findings}


def test_compensation_with_its_lead_in_at_floor_depth_only_shifts():
    """A change of Z alone leaves the compensated path as it is: G41 on, round the floor, G40 off, all at Z 2."""
    text = HEAD + "G1 Z2. F200\nG41 D1 X30 Y10\nX90\nY50\nX10\nY10\nX30\nG40 X20 Y20\nG0 Z30\n"
    out = apply(text, GIVEN, tools=Tools({1: Cutter(3.0)}))
    assert out.replace("Z2.300", "Z2.") == text


@pytest.mark.parametrize("dz", [0.3, -0.3])
@pytest.mark.parametrize("word", ["G41 D1 G1 X38. Y12.\nZ2.", "Z2.\nG41 D1 G1 X38. Y12."])
def test_a_wall_pass_under_compensation_beside_a_thin_rib_only_shifts(word, dz):
    """All round floor A on its own outline, the cutter inside: at a corner its axis turns where both ways meet.

    By hand: with a radius of 8 mm it stays 8 mm inside, so that it never comes to B, 2 mm beside, nor over the walls;
    the ways of single blocks, 8 mm longer, would do both.
    """
    wall = f"G0 X50 Y36\nG0 Z5.\nG1 F200\n{word}\nG3 X50. Y0 I12. J0\n"
    round_it = "G1 X100.\nY60.\nX0\nY0\nX50.\nG3 X62. Y12. I0 J12.\nG40 G1 X50. Y36.\nG0 Z30\nM30\n"
    text = HEAD.replace("X20 Y20", "X50 Y36") + wall + round_it
    given = corrections(A=dz, B=-dz)
    out = apply(text, given, tools=TOOLS)
    assert out.replace(f"Z{2 + dz:.3f}", "Z2.") == text


def test_the_way_off_a_wall_starts_beside_it():
    """G41 along A's edge beside B, 2 mm away: the axis stays 8 mm inside, and goes off the wall from there.

    By hand: the tip leaves from X 92, and its edge from X 100; B, which is raised, begins at X 102. Taken from the
    programmed X 100 the cutter would go 6 mm into B at A's height.
    """
    text = HEAD.replace("X20 Y20", "X80 Y30") + "G1 Z2. F200\nG41 D1 X100. Y30.\nY40.\nG40 X80.\nG0 Z30\nM30\n"
    done = apply_offsets(PART, corrections(A=-0.3, B=0.3), text.encode(), tools=TOOLS)
    assert b"G1 Z1.700 F200" in done.data
    assert [floor.pocket for floor in done.floors if floor.deep_mm > 0.001 or floor.high_mm > 0.001] == []


def test_the_way_onto_a_wall_is_as_long_as_its_offset_is_straight():
    """On a tilted floor an entry square to the wall ends beside the wall's start, and the pass begins there.

    By hand: along straight ways a plane's offset is straight, so that no block is divided.
    """
    text = HEAD.replace("X20 Y20", "X50 Y30") + "G1 Z2. F200\nG41 D1 X50. Y0\nX90.\nG40 Y30.\nG0 Z30\nM30\n"
    out = apply(text, corrections(("A", tilt("A", 0.1, -0.002, 0.003))), tools=TOOLS)
    assert [line.split("Z")[0].strip() for line in out.splitlines()] == [
        line.split("Z")[0].strip() for line in text.splitlines()
    ]


def test_a_path_of_the_centre_with_wear_in_d_cuts_up_to_the_wall():
    """Round A, the tip 8 mm inside its edges: it comes to the walls with D the wear, 8 mm less far with D a radius.

    By hand: in the second case the rows inside reach to 8 mm from the edges, so that a strip of 8 mm stays all round.
    """
    rows = "Y16\nX84\nY24\nX16\nY32\nX84\nY40\nX16\nY44\nX84\n"
    inner = "G0 X16 Y16\nG0 Z5\nG1 Z2. F200\n" + rows + "G0 Z30\n"
    wall = "G0 X50 Y30\nG0 Z5.\nG1 Z2. F200\nG41 D1 X50. Y8.\nX92.\nY52.\nX8.\nY8.\nX50.\nG40 Y30.\nG0 Z30\nM30\n"
    text = (HEAD + inner + wall).encode()
    told = [apply_offsets(PART, GIVEN, text, tools=TOOLS, wear=wear) for wear in (False, True)]
    uncut = [[one.text for one in done.findings if one.code == "floor-uncut"] for done in told]
    assert "--wear" in uncut[0][0] and uncut[1] == []
    assert told[0].data == told[1].data


def test_a_drilling_cycle_in_a_floor_is_left_and_told():
    text = HEAD + CUT + "G98 G81 X30 Y30 Z-1. R5. F100\nX40\nG80\nM30\n"
    done = apply_offsets(PART, GIVEN, text.encode(), tools=TOOLS)
    assert b"G98 G81 X30 Y30 Z-1. R5. F100" in done.data
    assert [finding.place for finding in done.findings if finding.code == "cycle"] == ["line 9", "line 10"]


@pytest.mark.parametrize("word", [",R2.", ",C2."])
def test_a_rounded_corner_on_a_shifted_floor_stays(word):
    text = HEAD + f"G1 Z2. F200\nX80.{word}\nY40.\nG0 Z30\n"
    assert apply(text, GIVEN, tools=TOOLS).replace("Z2.300", "Z2.") == text


def test_expressions_of_numbers_are_read():
    """3 - 1 = 2 is on the floor: NISTIR 6556, 3.3.2.3."""
    out = apply(HEAD + "G1 Z[3.-1.] F200\nX80\nG0 Z[10*3]\n", GIVEN, tools=TOOLS)
    assert "G1 Z2.300 F200" in out
    assert "G0 Z[10*3]" in out


PARAMETERS = {
    "as such": ("#100=2.\n", "Z#100", "Z[#100+0.300]"),
    "in an expression": ("#100=2.5 (FLOOR)\n", "Z[#100-0.5]", "Z[#100-0.5+0.300]"),
    "with a sign": ("#1=-2.\n", "Z-#1", "Z[-#1+0.300]"),
    "set again": ("#500=7.\n#500=[1+1]\n", "Z#500", "Z[#500+0.300]"),
}


@pytest.mark.parametrize("name", PARAMETERS)
def test_a_depth_in_a_parameter_that_the_programme_sets_keeps_it(name):
    """NISTIR 6556, 3.3.2: #n is a number. The offset stands beside it, for a shop that sets it otherwise next time."""
    sets, word, moved = PARAMETERS[name]
    text = HEAD + sets + CUT.replace("Z2.", word)
    assert apply(text, GIVEN, tools=TOOLS) == text.replace(word, moved)


@pytest.mark.parametrize("block", ["Z#100", "X30. Z#100", "Y25. Z[#100-0.]", "Z[#101+1.5]"])
def test_a_depth_in_a_parameter_of_a_block_that_begins_with_a_place(block):
    """RS274/NGC, 3.3: words stand in any order and G1 stays in force, so that X may be the first of a block."""
    text = HEAD + "#100=2.\n#101=.5\nG1 Z2. F200\n" + block + "\nX80.\nG0 Z[#100+30.]\n"
    moved = block.replace("Z#100", "Z[#100+0.300]").replace("-0.]", "-0.+0.300]").replace("1.5]", "1.5+0.300]")
    assert apply(text, GIVEN, tools=TOOLS) == text.replace("G1 Z2.", "G1 Z2.300").replace(block, moved)


UNSURE = {
    "behind a macro of another file": "#100=2.\nG65 P9001\nG0 X20 Y20 Z30\nG1 F200\n",
    "set behind /": "#100=2.\n/#100=1.\n",
    "set by another": "#100=2.\n#100=#101\n",
    "set through another": "#100=2.\n#[#7]=1.\n",
    "of the control": "#5003=2.\n#100=#5003\n",
    "in a loop": "#100=2.\nN7 #100=#100-1\nIF [#100 GT 0] GOTO 7\nG21 G90 G17 G40 G54\nG0 X20 Y20 Z30\nG1 F200\n",
}  # fmt: skip


@pytest.mark.parametrize("name", UNSURE)
def test_a_depth_in_a_parameter_that_may_be_another_is_refused(name):
    with pytest.raises(InputError, match="Z word is a parameter"):
        apply(HEAD + UNSURE[name] + CUT.replace("Z2.", "Z#100") + "M30\n", GIVEN, tools=TOOLS)


def test_a_macro_has_parameters_of_its_own():
    """G65 gives #1 by A, and the caller keeps its own #1 (dialect, from memory): neither is taken for the other's."""
    macro = "M30\nO7\nG0 X20 Y20 Z30\nG1 Z#1 F200\nX80\nG0 Z30\nM99\n"
    with pytest.raises(InputError, match="Z word is a parameter"):
        apply(HEAD + "#1=2.\nG65 P7 A9.\n" + macro, GIVEN, tools=TOOLS)


def test_a_block_that_a_jump_leads_to_is_not_known_from_the_block_before():
    """Three passes, each 0.5 deeper, the last on the floor: read once, only the first would have been seen."""
    loop = "G0 Z3.5\nN10 G91 G1 Z-0.5 F200\nG90 X80\nX20\nIF [#1 LT 3] GOTO 10\n"
    with pytest.raises(InputError, match="line 5: a jump may lead here"):
        apply(HEAD + loop + "G90 G21 G17 G40 G54\nG0 X20 Y20 Z30\nG1 F200\n" + CUT, GIVEN, tools=TOOLS)


def test_inverse_time_feed_is_shared_by_the_pieces():
    """RS274/NGC, 3.5.21: F is one over the minutes that the block takes, so that the pieces' times add up to 0.5."""
    text = HEAD + "G1 Z2. F200\nG93 G1 X80. F2.\nG94 G0 Z30\n"
    out = apply(text, corrections(A=follow("A", 0.3)), tools=TOOLS)
    pieces = [move for move in run(out) if move.end[2] < 5 and move.start[0] < move.end[0]]
    assert len(pieces) > 2
    assert sum(1 / move.feed for move in pieces) == pytest.approx(0.5, rel=1e-3)
    for move in pieces:
        assert 0.5 * (move.end[0] - move.start[0]) / 60 == pytest.approx(1 / move.feed, rel=2e-3)


def test_the_tip_of_a_leaning_cutter_stands_above_its_floor():
    """With a lead of 3 degrees the tip of a flat end stands R sin 3 = 0.419 mm over the floor that its rim cuts."""
    up = 8.0 * math.sin(math.radians(3.0))
    text = HEAD + f"G0 A3.\nG1 Y20 Z{2 + up:.3f} F200\nX80.\nG0 Z30 A0\n"
    out = apply(text, GIVEN, tools=TOOLS, tip_control=True)
    assert f"Z{2.3 + up:.3f}" in out
    spots = np.random.default_rng(2).uniform((25, 22), (75, 27), (60, 2))
    lift = swept(out, spots, SIZES) - swept(text, spots, SIZES)
    assert np.abs(lift - 0.3).max() < 0.002


@pytest.mark.parametrize("angle", [0.0, 90.0, 30.0])
def test_a_zero_other_than_the_parts(angle):
    """The programme's own numbers, turned back by plane geometry; what comes out is turned forth again and checked."""
    way = (300.0, -40.0, 55.0)
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    path = [(20, 20, 30), (20, 20, 2), (80, 20, 2), (80, 40, 2), (80, 40, 30)]

    def write(points):
        lines = [f"G{0 if z > 20 else 1} X{x:.4f} Y{y:.4f} Z{z:.4f} F500" for x, y, z in points]
        return "G21 G90 G17\nT1 M6\n" + "\n".join(lines) + "\n"

    def back(x, y, z):
        return c * (x - way[0]) + s * (y - way[1]), -s * (x - way[0]) + c * (y - way[1]), z - way[2]

    given = corrections(A=follow("A", 0.3))
    out = apply(write([back(*point) for point in path]), given, tools=TOOLS, origin=Origin(*way, angle))
    moved = [move["to"] for move in motions(out)]
    forth = [(way[0] + c * x - s * y, way[1] + s * x + c * y, z + way[2]) for x, y, z in moved]
    assert len(forth) > len(path)
    assert too_deep(write(path), write(forth), given, PART, SIZES) <= DEEP_MM


def test_a_programme_with_no_floor_to_change_comes_back_byte_for_byte():
    text = HEAD + CUT + "M30\n"
    assert apply(text, corrections(B=0.3), tools=TOOLS) == text


def test_a_short_pass_across_a_thin_rib_is_told_and_not_refused():
    """Found by random programmes (seed 17): 4 of 38 mm at the floors' height cross the 2 mm between A and B."""
    text = HEAD + "G0 X3. Y3.\nG1 Z2. F200.\nZ3.\nX67.\nZ2.\nX105.\nG0 Z30.\nM30\n"
    done = apply_offsets(PART, corrections(), text.encode(), tools=Tools(every=Cutter(1.0)))
    assert "across" in {finding.code for finding in done.findings}


ELSEWHERE = {
    "beside the part": HEAD + "G0 X900 Y20\nG1 Z-40. F100\nX950.\nG0 Z30\nM30\n",
    "high above it": HEAD + "G1 Z25. F200\nX80.\nY40.\nG2 X60. I-10. J0\nG0 Z30\nM30\n",
    "words of controls": "\ufeff%\r\nO77\r\n"
    + HEAD
    + "S900 M3\r\nG0 X500. Y300.\r\nG1 Z2. F200\r\nX540.\r\nM30\r\n%\r\n",
    "a call": HEAD + "M98 P1000\nG0 X900 Y20 Z30\nG1 Z2. F100\nX950.\nM30\n",
}


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_programme_with_no_floor_near_comes_back_byte_for_byte(name):
    """Nothing is to be corrected, so nothing is added either: no header, a word of warning, and not complete."""
    data = ELSEWHERE[name].encode()
    done = apply_offsets(PART, GIVEN, data, tools=TOOLS)
    assert done.data == data
    assert "no-floor" in {finding.code for finding in done.findings}
    assert (done.changed_blocks, done.is_complete) == (0, False)


def test_a_deeper_cut_in_a_raised_floor_is_named_with_its_depth():
    """A hole that the outline does not have: left as it is it would be under the raised floor; lowered, no harm."""
    hole = "G0 X50 Y30\nG1 Z-4. F100\nG0 Z30\nM30\n"
    with pytest.raises(InputError, match=r"line 10: pocket A: cuts up to 6\.000 mm below") as refusal:
        apply(HEAD + CUT + hole, GIVEN, tools=TOOLS)
    assert [finding.code for finding in refusal.value.findings] == ["below"]
    given = corrections(A=-0.05)
    out = apply(HEAD + CUT + hole, given, tools=TOOLS)
    assert too_deep(HEAD + CUT + hole, out, given, PART, SIZES) <= DEEP_MM


@pytest.mark.parametrize("percent", ["", "%\n"])
def test_a_shallow_ramp_from_the_stock_is_a_ramp(percent):
    """From the stock (0.5 over the floor) down over 60 mm: less than a degree, and no pass that fits in part only."""
    text = percent + HEAD + "G1 Z2.5 F200\nX80. Z2.\nX20.\nG0 Z30\n" + percent
    for dz in (0.3, -0.3):
        given = corrections(A=dz)
        out = apply(text, given, tools=TOOLS)
        assert too_deep(text, out, given, PART, SIZES) <= DEEP_MM


def test_walls_round_a_floor_need_no_cutter_for_a_shift():
    """Inside walls a shift moves the tip, whatever the cutter: nothing to ask for."""
    part = Part("walled", ((-9.0, -9.0), (109.0, -9.0), (109.0, 69.0), (-9.0, 69.0)), (pocket("A", 0, 0, 100, 60),))
    text = HEAD + CUT
    out = apply(text, corrections(part=part, A=0.3), part, tools=Tools())
    check_heights(text, out, corrections(part=part, A=0.3), part)


def test_passes_in_a_mirrored_frame_over_the_same_numbers_are_left_and_told():
    """G51.1 X0 mirrors: the same numbers are places beside the part, and the proof does not take them for floors."""
    mirrored = "G51.1 X0\nG0 X10 Y30 Z20\nG1 Z2. F200\nX50\nG0 Z20\nG50.1 X0\nG0 X10 Y10 Z20\n"
    done = apply_offsets(PART, corrections(A=0.3), (HEAD + mirrored + CUT).encode(), tools=TOOLS)
    assert "turned-frame" in {finding.code for finding in done.findings}
    assert b"G50.1 X0\n" in done.data and done.data.count(b"Z2.300") == 1
