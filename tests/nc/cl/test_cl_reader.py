"""Wordings of cutter-location data, read by two readers that share no code, and by a third in the tests.

The samples are written anew in wordings that public files use: columns of a card with numbers, lower case with
comments, five axes in inches with all seven numbers of CUTTER. What a word means is that of ISO 4343, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from cl_reference import moves

from floorfit.nc.cl import is_cutter_location
from floorfit.nc.cl.cl_reader import read_locations
from floorfit.nc.cl.cl_second import hear
from floorfit.nc.motions import CYCLE, JUMP, LINE, OTHER_ARC, RAPID

CARDS = (
    "PARTNO    SAMPLE IN COLUMNS, INVENTED                                   00000010\n"
    "UNITS/    MM                                                            00000020\n"
    "CUTTER/   20.000000,3.000000                                            00000030\n"
    "FROM  /    0.000000,    0.000000,  100.000000                           00000040\n"
    "RAPID                                                                   00000050\n"
    "GOTO  /   10.000000,   10.000000,    5.000000                           00000060\n"
    "FEDRAT/  500.000000,MMPM                                                00000070\n"
    "GOTO  /   10.000000,   10.000000,    2.000000                           00000080\n"
    "GOTO  /   90.000000,   10.000000,    2.000000                           00000090\n"
    "FINI                                                                    00000100\n"
)
LOWER = """$$ lower case, numbers before the words, lines that go on
10 units/mm
20 cutter/12,6
30 multax
40 rapid
50 goto/10.,20.,+50.,0.,0.,1.
60 fedrat/800,mmpm  $$ feed
70 goto / 10.,20., $ to the floor
80   8.0, $
90   0.,0.,1.
100 goto/1.2e1,20,8,0,.0871557,.9961947
110 godlta/0,0,42.5
120 fini
"""
INCHES = """PARTNO FIVE AXES
UNITS/INCHES
LOADTL/7,ADJUST,7
CUTTER/.75,.125,.25,.125,0,0,2.
SPINDL/RPM,6000,CLW
COOLNT/ON
MULTAX/ON
RAPID
GOTO/1,1,2,0,0,1
FEDRAT/20,IPM
GOTO/1.5,1,.25,.0871557,0,.9961947
GOTO/2.5,1,.25,.0871557,0,.9961947
COOLNT/OFF
END
FINI
GOTO/0,0,-9
"""


def read(text, **options):
    return read_locations(text.splitlines(keepends=True), source="x.cl", **options)


def heard(text):
    return hear(text, unit_mm=None, turn=np.eye(3), way=np.zeros(3))


@pytest.mark.parametrize("text", [CARDS, LOWER, INCHES], ids=["cards", "lower", "inches"])
def test_three_readers_see_the_same_motions(text):
    found = read(text)
    assert not [finding for finding in found.findings if finding.severity == "error"]
    moving = found.kind != JUMP
    plain = moves("\n".join(line[:72].rstrip() for line in text.splitlines()).split("FINI")[0].split("fini")[0])
    assert found.tip[moving] == pytest.approx(np.array([move["to"] for move in plain]), abs=1e-9)
    axes = np.array([move["axis"] for move in plain])
    assert found.axis[moving] == pytest.approx(axes / np.linalg.norm(axes, axis=1)[:, None], abs=1e-9)
    assert (found.kind[moving] == RAPID).tolist() == [move["rapid"] for move in plain]
    other = heard(text)
    assert other.tip == pytest.approx(found.tip, abs=1e-9)
    assert other.axis == pytest.approx(found.axis, abs=1e-9)


def test_the_cutter_has_seven_numbers():
    setting = read(INCHES).settings[0]
    assert setting.cutter == pytest.approx((19.05, 3.175, 6.35, 3.175, 0, 0, 50.8))
    assert setting.tool == "7"


def test_two_numbers_of_a_cutter_give_the_other_five():
    """e = d/2 - r and f = r: the corner's centre of an end mill."""
    assert read(CARDS).settings[0].cutter == pytest.approx((20, 3, 7, 3, 0, 0, 0))


def test_another_tool_without_a_cutter_has_none():
    text = "UNITS/MM\nLOADTL/1\nCUTTER/10\nGOTO/0,0,9\nLOADTL/2\nGOTO/1,0,9\nCUTTER/6\nLOADTL/3\nGOTO/2,0,9\n"
    found = read(text)
    cutters = [found.settings[index].cutter for index in found.setting]
    assert [one and one[0] for one in cutters] == [10, None, 6]


def test_circles_turn_right_handed_about_their_axis():
    text = "UNITS/MM\nGOTO/10,0,0\nCIRCLE/0,0,0,0,0,-1,10\nGOTO/0,10,0\nCIRCLE/0,0,0,0,0,1,10\nGOTO/0,10,0\n"
    from floorfit.nc.cl.locations import arcs_of

    found = read(text)
    assert found.kind.tolist() == [LINE, OTHER_ARC, OTHER_ARC]
    assert np.degrees(arcs_of(found, np.array([1, 2])).sweep) == pytest.approx([270, 360])


def test_points_near_to_each_other_along_a_circle_are_points():
    angles = np.radians(np.arange(0, 91, 3))
    points = "".join(f"GOTO/{10 * np.cos(a):.4f},{10 * np.sin(a):.4f},0\n" for a in angles[1:])
    found = read("UNITS/MM\nGOTO/10,0,0\nCIRCLE/0,0,0,0,0,1,10\n" + points)
    assert set(found.kind.tolist()) == {LINE}


def test_cycles_retracts_and_places_are_no_cuts():
    text = "UNITS/MM\nFROM/0,0,9\nCYCLE/DRILL,5,MMPM,100\nGOTO/1,1,2\nCYCLE/OFF\nRETRCT\nGOTO/2,2,9\n"
    found = read(text)
    assert found.kind.tolist() == [JUMP, CYCLE, JUMP, LINE]
    assert np.isnan(found.tip[2]).all()


def test_frames_are_applied():
    """TRACUT turns by 90 degrees about Z and shifts: x' = -y + 5, y' = x (hand calculation); NOMORE ends it."""
    text = "UNITS/MM\nTRACUT/0,-1,0,5,1,0,0,0,0,0,1,0\nGOTO/1,2,3,1,0,0\nTRACUT/NOMORE\nGOTO/1,2,3\n"
    text += "TRANS/0,0,7\nGOTO/1,2,3\n"
    found = read(text)
    assert found.tip.tolist() == [[3, 1, 3], [1, 2, 3], [1, 2, 10]]
    assert found.axis[0] == pytest.approx([0, 1, 0])
    assert heard(text).tip == pytest.approx(found.tip)


@pytest.mark.parametrize(
    "word", ["SPINDL/6000,CLW", "COOLNT/MIST", "OPSTOP", "AUXFUN/12", "INSERT G64 M8", "DELAY/2", "PREFUN/64"]
)
def test_words_that_move_nothing_are_kept(word):
    assert not read(f"UNITS/MM\nGOTO/0,0,9\n{word}\nGOTO/1,0,9\n").findings


def test_a_word_not_known_is_told_and_the_user_may_say_that_it_moves_nothing():
    assert read("UNITS/MM\nGOTO/0,0,9\nPOLISH/FINE\n").findings[0].severity == "warning"
    assert read("UNITS/MM\nGOTO/0,0,9\nPOLISH/3\n").findings[0].severity == "error"
    assert not read("UNITS/MM\nGOTO/0,0,9\nPOLISH/3\n", keep=["polish"]).findings


def test_a_file_is_told_by_what_is_in_it(tmp_path):
    assert is_cutter_location(b"PARTNO\nGO TO / 1,2,3\n")
    assert not is_cutter_location(b"%\nO1\n(GOTO/1,2,3)\nG1 X1 (1/2)\nN10 GOTO 20\n")
    (tmp_path / "a.CL").write_bytes(b"UNITS/MM\n")
    assert is_cutter_location(tmp_path / "a.CL")
    assert not is_cutter_location(tmp_path / "missing.cl")
