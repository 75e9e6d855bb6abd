"""Programmes that would be corrected without a fault, and cut the wrong part: their own motion gives them away.

The programmes are invented; what is expected of each is plane geometry and arithmetic, beside the case.
"""

from dataclasses import replace
from itertools import groupby
from types import SimpleNamespace

import numpy as np
import pytest
from nc_cases import pocket, shift

from floorfit.nc.cutter import Cutter
from floorfit.nc.part_fit import _vote
from floorfit.nc.programme import apply_offsets
from floorfit.nc.summary import _STOP, heights_of_tips
from floorfit.nc.tools import Tools
from floorfit.part.model import Part

#: Eight pockets of 140 x 110 mm, ribs of 10 mm, finished with a radius of 8 mm.
PLACES = [(10.0 + 150 * i, 10.0 + 120 * j) for j in range(2) for i in range(4)]
OUTLINE = ((0.0, 0.0), (610.0, 0.0), (610.0, 250.0), (0.0, 250.0))
KNOWN, UNKNOWN = Tools(every=Cutter(8.0)), Tools()
HEAD, END = "G21 G90 G17 G40 G94 G54\nT1 M6\nG43 H1 Z60.\n", "M30\n"
DRILL = "M1\nT{0} M6\nG43 H{1} Z60.\nG0 X-30. Y-30.\nG98 G81 X-30. Y-30. Z1. R52. F100\nG80\nG0 Z60.\n"


def plate(*, z=(2.0,) * 8, slope=(0.0, 0.0)):
    floors = [pocket(f"P{k + 1}", x, y, x + 140, y + 110, z[k], slope=slope) for k, (x, y) in enumerate(PLACES)]
    return Part("eight", OUTLINE, tuple(floors))


def raster(k, z=2.0, *, dx=0.0, step=94 / 8):
    """Rows from wall to wall of pocket k, so that the cutter's rim meets both walls."""
    x, y = PLACES[k][0] + 8 + dx, PLACES[k][1] + 8
    out = f"G0 X{x + 2:.3f} Y{y:.3f}\nG0 Z10.\nG1 Z{z:.3f} F500\n"
    for row, at in enumerate(np.arange(y, y + 94.001, step)):
        out += f"G1 Y{at:.3f}\nX{x if row % 2 else x + 124:.3f}\n"
    return out + "G0 Z60.\n"


def applied(text, part=None, tools=UNKNOWN, dz=0.08):
    part = part or plate()
    given = {one.id: shift(one.id, dz, part) for one in part.pockets}
    return apply_offsets(part, given, text.encode(), tools=tools)


def told(done):
    """Codes of what is said of the whole programme, in order, and whether anything is left open."""
    return [code for code, _ in groupby(one.code for one in done.findings)], done.is_complete


def every(**how):
    return "".join(raster(k, **how) for k in range(8))


@pytest.mark.parametrize("tools", [KNOWN, UNKNOWN])
def test_an_honest_programme_raises_nothing(tools):
    assert told(applied(HEAD + every() + END, tools=tools)) == ([], True)
    # Rows that do not divide the floor end short of one wall: room is left there, and not both ways.
    assert "aside" not in told(applied(HEAD + every(step=13.0) + END, tools=tools))[0]


@pytest.mark.parametrize("off", [0.06, -0.04, 0.19])
def test_a_cutter_of_any_size_stands_with_its_tip_on_a_level_floor(off):
    """The web comes out as much thicker as Z is higher than the drawing's: arithmetic."""
    done = applied(HEAD + every(z=2.0 + off) + END)
    assert told(done) == (["floor-off"], False)
    way = "above" if off > 0 else "below"
    assert [f"{abs(off):.3f} mm {way}" in one.text for one in done.findings] == [True] * 8


def test_a_pass_before_the_last_is_no_other_height():
    text = HEAD + "".join(raster(k, 2.15) + raster(k, step=47.0) for k in range(8)) + END
    assert told(applied(text)) == ([], True)


def test_on_a_slope_the_tip_of_a_flat_end_stands_higher():
    """A flat end of radius R stands R times the slope over the floor, so that its tip says nothing: geometry."""
    part = plate(slope=(0.01, 0.0))
    rows = [f"G0 X{x + 10} Y{y + 20}\nG1 Z{1.4 + 0.08:.3f}\nY{y + 90}\nG0 Z60.\n" for x, y in PLACES]
    assert "floor-off" not in told(applied(HEAD + "".join(rows) + END, part, dz=0.0))[0]


@pytest.mark.parametrize("tools", [KNOWN, UNKNOWN])
@pytest.mark.parametrize(("dx", "where"), [(0.3, range(8)), (0.8, range(8)), (3.0, [2])])
def test_passes_that_fill_their_floors_stand_in_the_middle_of_them(tools, dx, where):
    """The room at both walls is the cutter's: the one gets as much more as the other gets less."""
    text = HEAD + "".join(raster(k, dx=dx if k in where else 0.0) for k in range(8)) + END
    done = applied(text, tools=tools)
    said = next(one.text for one in done.findings if one.code == "aside")
    assert f"moved by X {-dx:.3f} and Y 0.000" in said
    assert not done.is_complete


def test_a_mirrored_programme_runs_over_the_walls_of_floors_that_are_not_alike_both_ways():
    """Each floor lacks the corner at its upper right; mirrored, rows run over that corner for 40 mm each."""
    ring = [(0, 0), (140, 0), (140, 80), (100, 80), (100, 110), (0, 110)]
    floors = tuple(
        replace(plate().pockets[k], boundary=tuple((x + a, y + b) for a, b in ring)) for k, (x, y) in enumerate(PLACES)
    )
    part = Part("corners", OUTLINE, floors)

    def rows(k, mirrored):
        x, y = PLACES[k]
        out, left, right = "", x + 8, [x + 132] * 3 + [x + 92]
        for at, end in zip((8, 40, 72, 102), right, strict=True):
            a, b = (610 - left, 610 - end) if mirrored else (left, end)
            out += f"G0 X{a} Y{y + at}\nG1 Z2. F500\nX{b}\nG0 Z60.\n"
        return out

    assert told(applied(HEAD + "".join(rows(k, False) for k in range(8)) + END, part)) == ([], True)
    assert told(applied(HEAD + "".join(rows(k, True) for k in range(8)) + END, part)) == (["over-walls"], False)


@pytest.mark.parametrize("stop", ["M0", "N500 M01 (TURN OVER)", "m 00", "M60"])
def test_a_tool_that_cuts_floors_alike_before_and_after_a_stop(stop):
    """M0, M1 and M60 stop a programme (NISTIR 6556, 3.6.1); what a person does then no programme says."""
    text = HEAD + every() + stop + "\n" + every() + END
    done = applied(text)
    assert told(done) == (["cut-again"], False)
    assert done.findings[0].place == f"line {text[: text.index(stop)].count(chr(10)) + 1}"


@pytest.mark.parametrize("between", ["", "(M0)\n", "M10\n", "M1\nT2 M6\nG43 H2 Z60.\n"])
def test_a_second_pass_without_a_stop_or_with_another_tool_is_none(between):
    assert told(applied(HEAD + every() + between + every() + END)) == ([], True)


def test_a_stop_between_floors_or_before_a_few_corners_is_none():
    some = f"M0\n{raster(0, step=94.0)}"
    halves = "".join(raster(k) for k in range(4)) + "M0\n" + "".join(raster(k) for k in range(4, 8))
    assert told(applied(HEAD + halves + some + END)) == ([], True)


@pytest.mark.parametrize(
    ("length", "drills", "is_told"),
    [
        (1, [(2, 2), (3, 3)], False),
        (2, [(2, 2), (3, 3)], True),  # H2 cannot be the length of T1 and of T2
        (7, [(2, 2), (3, 3)], True),  # every other tool has the number of its own
        (7, [(2, 2)], False),  # one other tool is no custom
        (21, [(2, 22), (3, 23)], False),
    ],
)
def test_a_length_offset_that_the_other_tools_give_away(length, drills, is_told):
    """A length offset is one tool's (NISTIR 6556, 3.5.6: H is an index into the tool table)."""
    text = HEAD.replace("H1", f"H{length}") + every() + "".join(DRILL.format(*one) for one in drills) + END
    assert told(applied(text)) == ((["length-shared"], False) if is_told else ([], True))


def test_the_vote_is_the_one_that_counting_everything_gives():
    """Of all ways the one with most boxes within 1 mm in X and Y, the shortest of equals: by definition, over all."""
    rng = np.random.default_rng(5)
    for _ in range(60):
        count = int(rng.integers(1, 40))
        ways = rng.integers(-3, 4, (count, 2)) * rng.choice([0.5, 1.0, 7.0]) + rng.normal(0.0, 0.2, (count, 2))
        box = rng.integers(0, 12, count)
        best, votes = np.zeros(2), 0
        for way in ways[np.argsort(np.hypot(*ways.T))]:
            agree = (np.abs(ways - way) <= 1.0).all(axis=1)
            if len(set(box[agree].tolist())) > votes:
                best, votes = np.median(ways[agree], axis=0), len(set(box[agree].tolist()))
        found, number = _vote(box, ways)
        assert number == votes
        np.testing.assert_array_equal(found, best)


def heights(*rows, shaped=False, cuts=True, axis=(0.0, 0.0, 1.0), stock=0.5):
    """What `heights_of_tips` says of motions along one pocket: length, and Z at start and end of each."""
    way, start, end = np.array(rows, float).T
    at = np.column_stack([np.full(len(way), 60.0), np.full(len(way), 60.0)])
    path = SimpleNamespace(
        radius=np.zeros(len(way)), is_usable=np.ones(len(way), bool), length=way,
        start=np.column_stack([at, start]), end=np.column_stack([at, end]), axis=np.tile(axis, (len(way), 1)),
    )  # fmt: skip
    floor = SimpleNamespace(is_shaped=shaped, pocket=replace(plate().pockets[0], finish_stock=stock))
    return [round(off, 6) for _, off in heights_of_tips(path, np.arange(len(way) if cuts else 0), [floor])]


def test_only_an_upright_cutter_on_level_ways_over_level_floors_says_a_height():
    """The tip of a leaning cutter stands over its lowest place; one that goes down is not on its floor: geometry."""
    assert heights((100, 2.1, 2.1)) == [0.1]
    assert heights((100, 2.1, 2.1), axis=(0.6, 0.0, 0.8)) == heights((100, 2.1, 2.1), shaped=True) == []
    assert heights((100, 2.4, 2.1)) == heights((100, 2.1, 2.1), cuts=False) == []


def test_the_finish_of_a_floor_is_a_tenth_of_its_ways_at_least():
    """A place where a cutter dips is no finish; of a floor with little stock a pass 0.08 mm above is no roughing."""
    assert heights((96, 2.0, 2.0), (4, 1.9, 1.9)) == [] and heights((80, 2.0, 2.0), (20, 1.9, 1.9)) == [-0.1]
    assert heights((100, 2.08, 2.08), stock=0.1) == [0.08] and heights((100, 2.3, 2.3)) == []


def test_a_second_cut_of_nine_tenths_of_the_way_is_alike_and_one_of_two_thirds_is_not():
    """Ten rows of 124 mm and 94 mm across against nine (0.91) and six (0.61): by hand."""
    for step, codes in ((94 / 7, ["cut-again"]), (94 / 4, [])):
        text = HEAD + every() + "M0\n" + every(step=step) + END
        assert [one for one in told(applied(text))[0] if one == "cut-again"] == codes


def test_roughing_before_a_stop_and_finishing_behind_it_is_no_second_cut():
    assert "cut-again" not in told(applied(HEAD + every(z=2.3) + "M0\n" + every() + END))[0]


def test_of_several_stops_the_last_one_before_the_second_cut_is_named():
    text = HEAD + every() + "M1\nM0\n" + every() + END
    (found,) = [one for one in applied(text).findings if one.code == "cut-again"]
    assert found.place == f"line {text[: text.index('M0')].count(chr(10)) + 1}"


@pytest.mark.parametrize(("block", "stops"), [("N10 M00", True), ("G4M1", True), ("SYM1=2", False), ("M100", False)])
def test_words_that_stop(block: str, stops: bool):
    """A word begins with its own letter (NISTIR 6556, 3.3.2); M100 is none of M0, M1 and M60."""
    assert bool(_STOP.search(block)) is stops
