"""What is written: points moved, everything else byte for byte; increments, circles, frames, rapids, cards."""

from __future__ import annotations

import numpy as np
import pytest
from cl_cases import DEEP_MM, correct, left_over, places, whole, zigzag
from cl_reference import moves
from nc_cases import corrections, follow, hold, tilt

from floorfit.errors import InputError
from floorfit.nc.cl import apply_to_locations, frame_of

HEAD = "UNITS/MM\nLOADTL/1\nCUTTER/16,0\nRAPID\n"


def test_only_the_third_number_changes_and_every_other_byte_stays():
    text = "\ufeff".encode() + (
        b"PARTNO  \xe9tag\xe8re 5\r\nunits / mm\r\nCUTTER/16 $$ flat\r\n  Rapid\r\nGOTO/50,30,60 $$ up\r\n"
        b"POLISH/FINE\r\ngoto / 50. , +30, $ down\r\n  2.  $$ now\r\nGOTO/60,30,2\r\nRAPID\r\n"
        b"GOTO/60,30,60\r\nFINI\r\n\x1a"
    )
    done = apply_to_locations(_part(), corrections(A=0.1234), text)
    lines = [line for line in done.data.splitlines(keepends=True) if b"FLOORFIT:" not in line]
    wanted = text.replace(b"  2.  $$", b"  2.123  $$").replace(b"GOTO/60,30,2\r", b"GOTO/60,30,2.123\r")
    assert b"".join(lines) == wanted


def _part():
    from nc_cases import PART

    return PART


def test_no_offsets_and_no_floor_near_give_the_same_bytes():
    text = whole(zigzag("A", 16.0))
    assert correct(text, corrections()) == text
    with pytest.raises(InputError, match="no cutting motion lies on any floor"):
        correct(whole(zigzag("A", 16.0, over=20.0)), corrections(A=0.1))


def test_inches_get_four_decimals():
    inch = HEAD.replace("MM", "INCHES").replace("16,0", ".63,0")
    text = inch + "GOTO/2,1,3\nGOTO/2,1,.0787\nGOTO/2.5,1,.0787\nRAPID\nGOTO/2.5,1,3\n"
    after = correct(text, corrections(A=0.254))
    assert ".0887" in after
    assert [b["to"][2] - a["to"][2] for a, b in zip(moves(text), moves(after), strict=True)] == pytest.approx(
        [0, 0.254, 0.254, 0], abs=0.0013
    )


def test_increments_become_points_where_the_offset_changes_and_stay_where_it_does_not():
    text = HEAD + "GOTO/50,30,60\nGODLTA/0,0,-58\nGODLTA/5,0,0\nGODLTA/5,0,0\nGODLTA/40\nGODLTA/1,0,0\n"
    after = correct(text, corrections(A=0.3))
    assert after.count("GODLTA/5,0,0") == 2
    new, old = moves(after), moves(text.replace("GODLTA/40", "GODLTA/0,0,40"))
    added = [b["to"][2] - a["to"][2] for a, b in zip(old, new, strict=True)]
    assert added == pytest.approx([0, 0.3, 0.3, 0.3, 0, 0], abs=1e-9)


def test_a_circle_is_shifted_whole():
    text = HEAD + "GOTO/40,30,60\nGOTO/40,30,2\nCIRCLE/50,30,2,0,0,1,10\nGOTO/60,30,2\nRAPID\nGOTO/60,30,60\n"
    after = correct(text, corrections(A=-0.25))
    assert "CIRCLE/50,30,1.750,0,0,1,10\nGOTO/60,30,1.750\n" in after


def test_a_circle_on_a_surface_becomes_points_within_two_micrometres_of_it():
    text = HEAD + "GOTO/15,30,60\nGOTO/15,30,2\nCIRCLE/25,30,2,0,0,1,10\nGOTO/35,30,2\nRAPID\nGOTO/35,30,60\n"
    given = corrections(A=follow("A", 0.2))
    after = correct(text, given)
    assert "CIRCLE" not in after
    inner = [move for move in moves(after) if move["to"][2] < 5][1:]
    away = [abs(np.hypot(m["to"][0] - 25, m["to"][1] - 30) - 10) for m in inner]
    middle = [np.hypot(*(0.5 * (np.array(m["to"]) + m["from"])[:2] - [25, 30])) for m in inner]
    assert max(away) < 0.0008
    assert max(10 - m for m in middle) < 0.0031
    assert min(m["to"][1] for m in inner[:-1]) < 21


def test_a_roll_in_a_vertical_circle_is_cut_nowhere_too_deep():
    text = (
        HEAD
        + "GOTO/40,30,60\nGOTO/40,30,7\nCIRCLE/45,30,7,0,-1,0,5\nGOTO/45,30,2\nGOTO/80,30,2\nRAPID\nGOTO/80,30,60\n"
    )
    given = corrections(A=0.3)
    before = text.replace("CIRCLE/45,30,7,0,-1,0,5\n", _chords())
    after = correct(text, given)
    deep, _, _ = left_over("A", before, after, given, places("A", 80))
    assert deep.min() >= -DEEP_MM
    assert [move["to"] for move in moves(after)][-3:] == [(45, 30, 2.3), (80, 30, 2.3), (80, 30, 60)]


def _chords() -> str:
    angles = np.radians(np.arange(183, 270, 3))
    return "".join(f"GOTO/{45 + 5 * np.cos(a):.4f},30,{7 + 5 * np.sin(a):.4f}\n" for a in angles)


def test_a_frame_turned_against_the_part_gets_its_offset_along_z_of_the_part():
    """The file's X is the part's Z: part = (y, z, x) of the file; only the first number changes."""
    text = HEAD + "GOTO/60,50,30,1,0,0\nGOTO/2,50,30,1,0,0\nGOTO/2,60,30,1,0,0\nRAPID\nGOTO/60,60,30,1,0,0\n"
    frame = frame_of("0,1,0,0, 0,0,1,0, 1,0,0,0", 1.0)
    after = correct("MULTAX\n" + text, corrections(A=0.3), frame=frame)
    assert "GOTO/2.300,50,30,1,0,0\nGOTO/2.300,60,30,1,0,0\n" in after
    slanted = frame_of("1,0,0,0, 0,0.8,-0.6,0, 0,0.6,0.8,0", 1.0)
    lines = [
        f"GOTO/{x},{0.8 * 30 + 0.6 * z:.4f},{-0.6 * 30 + 0.8 * z:.4f},0,.6,.8\n"
        for x, z in ((50, 60), (50, 2), (60, 2))
    ]
    after = correct(HEAD + "".join(lines), corrections(A=0.3), frame=slanted)
    assert [m["to"][1] for m in moves(after)][1] == pytest.approx(0.8 * 30 + 0.6 * 2.3, abs=0.001)
    assert [m["to"][2] for m in moves(after)][1] == pytest.approx(-0.6 * 30 + 0.8 * 2.3, abs=0.001)


@pytest.mark.parametrize("text", ["1,2,3", "2,0,0,0,0,2,0,0,0,0,2,0", "-1,0,0,0,0,1,0,0,0,0,1,0", "a,b"])
def test_a_frame_that_is_none_is_refused(text):
    with pytest.raises(InputError, match="--frame"):
        frame_of(text, 1.0)


def test_a_rapid_low_over_a_raised_floor_is_lifted():
    """A link 0.5 above the floor, the floor raised by 0.6: the link must not cut (issue: a rapid into the web)."""
    given = corrections(A=0.6)
    text = HEAD + "GOTO/20,20,60\nGOTO/20,20,2\nGOTO/40,20,2\nGOTO/40,20,2.5\nRAPID\nGOTO/70,40,2.5\nGOTO/70,40,2\n"
    after = correct(text + "GOTO/80,40,2\nRAPID\nGOTO/80,40,60\n", given)
    link = next(move for move in moves(after) if move["to"][:2] == (70, 40) and move["rapid"])
    assert min(link["from"][2], link["to"][2]) >= 2.6 + 0.2


@pytest.mark.parametrize("feed", [9000, 400])
def test_a_fast_feed_over_the_stock_of_a_raised_floor_is_lifted(feed):
    """Metal at 2.5 rises to 3.1 with the plate (README, Signs); the link at 2.8 cleared it by 0.3.

    A feed faster than the passes stands in for a rapid (common practice, no source).
    """
    text = HEAD + "FEDRAT/400,MMPM\nGOTO/20,20,60\nGOTO/20,20,2\nGOTO/40,20,2\n"
    text += f"FEDRAT/{feed},MMPM\nGOTO/40,20,2.8\nGOTO/70,40,2.8\nFEDRAT/400,MMPM\nGOTO/70,40,2\n"
    after = correct(text + "GOTO/80,40,2\nRAPID\nGOTO/80,40,60\n", corrections(A=0.6))
    link = next(move for move in moves(after) if move["to"][:2] == (70, 40))
    assert (min(link["from"][2], link["to"][2]) >= 3.4 - 1e-3) is (feed > 400)


def test_a_held_floor_is_refused_or_left_alone():
    text = whole(zigzag("A", 16.0))
    with pytest.raises(InputError, match="is held, and this cuts it"):
        correct(text, corrections(A=hold("A"), B=0.1))
    assert correct(text, corrections(A=hold("A"), B=0.1), held="cut") == text


@pytest.mark.parametrize(
    ("cutter", "told"),
    [("", "no cutter is stated"), ("CUTTER/16,0,8,0,5,0,20\n", "no cutter"), ("CUTTER/16,0,8,0,0,3,20\n", "no cutter")],
)
def test_a_cutter_that_is_not_known_is_refused_where_it_matters(cutter, told):
    text = HEAD.replace("CUTTER/16,0\n", cutter) + "GOTO/50,30,60\nGOTO/50,30,2\nGOTO/60,30,2\n"
    with pytest.raises(InputError, match=told):
        correct(text, corrections(A=0.3))


def test_optional_motion_on_a_floor_is_refused():
    text = HEAD + "GOTO/50,30,60\nGOTO/50,30,2\nOPSKIP/ON\nGOTO/60,30,2\nOPSKIP/OFF\nRAPID\nGOTO/60,30,60\n"
    with pytest.raises(InputError, match=r"line 8.*OPSKIP"):
        correct(text, corrections(A=0.3))


def test_compensated_motion_is_shifted_and_never_divided():
    text = HEAD + "GOTO/20,30,60\nGOTO/20,30,2\nCUTCOM/LEFT\nGOTO/80,30,2\nCUTCOM/OFF\nRAPID\nGOTO/80,30,60\n"
    assert "CUTCOM/LEFT\nGOTO/80,30,2.300\n" in correct(text, corrections(A=0.3))
    with pytest.raises(InputError, match=r"line 8.*CUTCOM"):
        correct(text, corrections(A=follow("A", 0.3)))


def test_the_number_of_a_card_stays_in_its_columns():
    text = "".join(
        f"{line:<72}{index:08d}\n"
        for index, line in enumerate(
            ["UNITS/MM", "CUTTER/16", "RAPID", "GOTO/50,30,60", "GOTO/50,30,2", "GOTO/60,30,2", "FINI"]
        )
    )
    after = correct(text, corrections(A=0.3))
    assert [line[72:] for line in after.splitlines()] == [line[72:] for line in text.splitlines()]
    assert "GOTO/60,30,2.300 " in after


def test_long_points_go_on_with_a_dollar_where_the_file_keeps_to_cards():
    point = "GOTO/{:.9f},30.000000000,2.000000000,0.087155743,0.0,0.996194698"
    up = 8 * 0.0871557427
    block = ["CUTTER/16,0", "RAPID", "GOTO/20,30,60,0,0,1"]
    block += [f"GOTO/{x},30.00000,{2 + up:.7f},0.08715574,0.0000000,0.99619470" for x in (20, 80)]
    del point
    after = correct(whole(block), corrections(A=follow("A", 0.2)))
    assert max(map(len, after.splitlines())) <= 72
    assert len(moves(after)) >= 8


def test_a_rapid_straight_up_from_an_increment_is_no_way_over_the_floor():
    """90.007 - 32.937 = 57.07 in decimals, and 57.06999999999999 in binary (IEEE 754): the rapid stands upright."""
    steps = ["RAPID", "GOTO/90.007,29.234,30", "GOTO/90.007,29.234,2", "GODLTA/-32.937,0,0"]
    away = ["RAPID", "GOTO/57.070,29.234,2.6", "RAPID", "GOTO/57.070,29.234,30"]
    text = whole(["CUTTER/10,0", *steps, *away])
    lifted = moves(correct(text, corrections(A=tilt("A", 0.1, 0.002, 0.0))))[-1]
    assert lifted["to"] == pytest.approx((57.07, 29.234, 30.0))
