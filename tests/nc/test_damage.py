"""Ten kinds of damage that a rule on the tip in plain blocks lets pass: tests of swept volume, or refusals.

The limit is 0.02 mm: two roundings of 0.0001 in, the tolerance of the offset (0.005 mm) and the places of the sweep.
Cutter: flat, radius 8 mm, unless said otherwise.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from nc_cases import PART, TOOLS, corrections, follow, hold, pocket, tilt
from nc_sweep import motions, swept, too_deep

from floorfit.errors import InputError
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.shifts import Origin
from floorfit.nc.tools import Tools
from floorfit.part.model import Part, Pocket, Tolerance

DEEP_MM = 0.02
FLAT, BULL, BALL = (8.0, 0.0), (8.0, 3.0), (6.0, 6.0)
HEAD = "G21 G90 G17 G40 G94\nT1 M6\n"


def correct(text, given, part=PART, size=FLAT, **options):
    options.setdefault("tools", Tools({1: Cutter(*size)}))
    done = apply_offsets(part, given, text.encode(), **options)
    return "".join(line for line in done.data.decode().splitlines(keepends=True) if "FLOORFIT" not in line), done


def check(text, given, part=PART, size=FLAT, **options):
    """Correct, and find nothing too deep; return the text and the result."""
    after, done = correct(text, given, part, size, **options)
    assert too_deep(text, after, given, part, {1: size, 2: size}) <= DEEP_MM
    return after, done


def refused(text, given, code, part=PART, **options):
    with pytest.raises(InputError) as refusal:
        correct(text, given, part, **options)
    assert code in {finding.code for finding in refusal.value.findings}, str(refusal.value)
    return str(refusal.value)


def zigzag(x0, y0, x1, y1, z, *, radius=8.0, step=12.0, top="G0 Z30\n", over=0.0):
    """Passes over a rectangle with a flat cutter, from above and up again."""
    lines = [f"G0 X{x0 + radius} Y{y0 + radius} Z30\n"]
    rows = int(np.ceil((y1 - y0 - 2 * radius) / step)) + 1
    for count, y in enumerate(np.linspace(y0 + radius, y1 - radius, rows)):
        ends = (x0 + radius, x1 - radius) if count % 2 == 0 else (x1 - radius, x0 + radius)
        lines += [f"G1 X{ends[0]} Y{y:.3f} Z{z + over} F900\n", f"X{ends[1]}\n"]
    return "".join(lines) + top


# -- 1: places that stand in blocks of other words -----------------------------------------------------------------


@pytest.mark.parametrize("word", ["G69", "G15", "G50", "G50.1", "G8"])
def test_1_a_place_beside_a_word_that_turns_nothing_is_not_lost(word):
    """The tool crosses to another floor in such a block: what follows must not take the old place for the new."""
    text = HEAD + "G0 X20 Y20 Z30\nG1 Z2. F200\nX60\nG0 Z10\n" + f"{word} G0 X150 Y40\n" + "G1 Z2.\nX180\nG0 Z30\n"
    given = corrections(A=0.3, B=follow("B", -0.3))
    try:
        after, _ = correct(text, given)
    except InputError as refusal:
        assert {finding.code for finding in refusal.findings} <= {"unknown-position", "unknown-motion"}
        return
    assert too_deep(text, after, given, PART, {1: FLAT}) <= DEEP_MM
    traverse = [(one["to"][2], two["to"][2]) for one, two in zip(motions(text), motions(after), strict=False)]
    assert all(new >= old - 0.31 for old, new in traverse)


# -- 2: rapids ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", ["G90", "G91"])
def test_2_a_rapid_close_above_a_raised_floor_is_lifted(mode):
    """A link at 0.5 over the floor, offset +0.6: left alone it would cut 0.1 deep over the whole link."""
    text = HEAD + "G0 X20 Y20 Z30\nG1 Z2. F200\nX60\nG0 Z2.5\nX20 Y45\nG1 Z2.\nX60\nG0 Z30\n"
    if mode == "G91":
        text = HEAD + "G0 X20 Y20 Z30\nG91\nG1 Z-28. F200\nX40\nG0 Z0.5\nX-40 Y25\nG1 Z-.5\nX40\nG0 Z28\nG90\n"
    given = corrections(A=0.6)
    after, done = check(text, given)
    rapid = [move for move in motions(after) if move["kind"] == 0 and move["to"][1] > 40 and move["to"][2] < 10]
    assert min(move["to"][2] for move in rapid) >= 2.6 + 0.4
    assert 2 in done.plan.status


@pytest.mark.parametrize("over", [0.8, 1.0, 1.4, 9.0])
def test_2_a_rapid_over_the_stock_stays_over_it_where_the_plate_rose(over):
    """Roughing left 0.5 over the floor, and it rose by 0.6 with the plate (README, Signs: w = z - t - underside).

    Metal stands at 1.1 over the nominal floor: a rapid at 0.8 cleared the stock by 0.3 and would go as deep into it.
    """
    link = f"G0 Z{2 + over}\n"
    text = HEAD + "G0 X20 Y20 Z30\n" + link + "G1 Z2. F200\nX60\n" + link + "X20 Y45\nG1 Z2.\nX60\nG0 Z30\n"
    after, _ = check(text, corrections(A=0.6))
    low = min(move["to"][2] for move in motions(after) if move["kind"] == 0)
    assert low >= 2 + 0.5 + 0.6 + min(over - 0.5, 0.5) - 0.001
    assert low <= 2 + over + 0.601


@pytest.mark.parametrize(("feed", "is_link"), [(8000, True), (900, False)])
@pytest.mark.parametrize("way", ["", "G42 D1 ", "G20 "])
def test_2_a_fast_feed_over_the_stock_stands_in_for_a_rapid(feed, is_link, way):
    """Metal rises to 1.1 over the nominal floor with the plate (README, Signs); the link at 0.8 cleared it by 0.3.

    A feed may stand in for a rapid (common practice, no source): it is one where it is faster than the passes. At
    their own feed what it meets is cut as in any pass.
    """
    unit, text = (25.4, HEAD.replace("G21", "G20")) if "20" in way else (1.0, HEAD)
    x, z = (lambda value: f"X{value / unit:.4f}"), (lambda value: f"Z{value / unit:.4f}")
    y = [f"Y{value / unit:.4f}" for value in (20, 45)]
    fast, slow = (f"F{value / unit:.2f}" for value in (feed, 900))
    text += f"G0 {x(20)} {y[0]} {z(30)}\nG1 {z(2.8)} {fast}\n{z(2)} {slow}\n{way if '42' in way else ''}{x(60)}\n"
    text += f"{z(2.8)} {fast}\n{x(20)} {y[1]}\n{z(2)} {slow}\n{x(60)}\nG0 {z(30)}\n"
    after, _ = check(text, corrections(A=0.6))
    link = next(move for move in motions(after) if move["kind"] == 1 and abs(move["to"][1] - 45) < 0.01)
    assert link["to"][2] == pytest.approx(2.8 + 0.6 if is_link else 2.8, abs=0.21 if not is_link else 0.003)


def test_2_a_fast_link_over_two_floors_is_lifted_over_the_raised_one_alone():
    """Over B, which stays, the link runs as it did; over A it is 0.6 higher (README, Signs)."""
    part = Part("seam", ((0.0, 0.0), (120.0, 0.0), (120.0, 60.0), (0.0, 60.0)), STEPPED.pockets[:2])
    text = HEAD + "G0 X20 Y20 Z30\nG1 Z2. F900\nX40\nZ3. F9000\nX90\nZ2. F900\nX100\nG0 Z30\n"
    after, _ = check(text, corrections(L=0.6, part=part), part)
    low = {move["to"][0]: move["to"][2] for move in motions(after) if move["to"][2] < 9}
    assert low[90.0] == 2.0 and 3.0 in [move["to"][2] for move in motions(after)]
    assert max(z for _, z in low.items()) == pytest.approx(3.6, abs=1e-3)


# -- 3: the radius --------------------------------------------------------------------------------------------------

#: Two floors of one level that touch, and a third 1 mm higher beside the first: a seam and an upper step.
STEPPED = Part(
    "seam and step",
    ((0.0, 0.0), (160.0, 0.0), (160.0, 60.0), (0.0, 60.0)),
    (pocket("L", 0, 0, 60, 60), pocket("M", 60, 0, 110, 60), pocket("H", 110, 0, 160, 60, z=3.0)),
)


def stepped_programme(size=FLAT):
    r = size[0]
    return (
        HEAD
        + zigzag(-10, 0, 110, 60, 2.0, radius=r, step=0.9 * r)
        + zigzag(110, 0, 170, 60, 3.0, radius=r, step=0.9 * r)
    )


@pytest.mark.parametrize(
    "given",
    [{"L": 0.3}, {"L": -0.3}, {"M": 0.3}, {"L": 0.3, "M": -0.3}, {"H": 0.3}, {"H": -0.3}, {"M": -0.2, "H": 0.3}],
    ids=str,
)
@pytest.mark.parametrize("size", [FLAT, BULL], ids=["flat", "bull"])
def test_3_at_an_open_edge_a_seam_and_a_step_nothing_is_too_thin(given, size):
    wanted = corrections(part=STEPPED, **given)
    _, done = check(stepped_programme(size), wanted, STEPPED, size)
    if given.get("L", 0.0) != given.get("M", 0.0):
        # What cannot be met at the seam is said, with its height.
        assert max(one.high_mm for one in done.floors) > 0.05
        assert "left-high" in {finding.code for finding in done.findings}


@pytest.mark.parametrize("size", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])
def test_3_on_a_tilted_floor_the_end_of_the_cutter_does_not_dig_in(size):
    """A flat end on a slope t would cut radius x t too deep (closed form): 8 x 0.005 = 0.04 mm."""
    given = corrections(A=tilt("A", 0.1, 0.005, 0.0))
    check(HEAD + zigzag(0, 0, 100, 60, 2.0, radius=size[0], step=size[0]), given, size=size)


def test_3_a_rounded_corner_that_leaves_an_open_edge_cuts_it_no_deeper():
    """Over the edge a corner of radius 1 rises as a circle does, 1 - sqrt(1 - q^2), and the tip may go down by that."""
    text = HEAD + "G0 X50 Y30 Z30\nG1 Z2. F200\nX-12.\nG0 Z30\n"
    after, _ = correct(text, corrections(A=0.3), size=(4.0, 1.0))
    edge = np.column_stack([np.linspace(0.0, 0.4, 41), np.full(41, 30.0)])
    low = swept(after, edge, {1: (4.0, 1.0)}, step=0.01)
    # Two roundings of 0.001, and the tolerance of the offset.
    assert low.min() >= 2.3 - 0.006


# -- 4: tool vectors ------------------------------------------------------------------------------------------------


def test_4_pieces_of_a_divided_move_carry_the_vector_of_their_place():
    text = HEAD + (
        "G43.5 H1 X20 Y30 Z30 I0 J0 K1\nG1 X20 Y30 Z2.697 F500 I0.08716 J0 K0.99619\n"
        "X80 Y30 Z2.697 I0 J0.08716 K0.99619\nG0 Z30 I0 J0 K1\n"
    )
    given = corrections(A=follow("A", 0.3))
    after, _ = check(text, given, tip_control=True)
    inner = [move for move in motions(after) if 21 < move["to"][0] < 79]
    assert inner
    for move in inner:
        share = (move["to"][0] - 20) / 60
        between = np.array([0.08716 * (1 - share), 0.08716 * share, 0.99619])
        assert np.abs(np.array(move["axis"]) - between / np.linalg.norm(between)).max() < 1e-3


def test_4_a_tilted_vector_without_tip_control_is_refused():
    text = HEAD + "G43.5 H1 X20 Y30 Z30 I0 J0 K1\nG1 Z2. F500 I0.1 J0 K1\nX80\nG0 Z30\n"
    refused(text, corrections(A=0.1), "rotary")


# -- 5: wall passes close above the floor ---------------------------------------------------------------------------


@pytest.mark.parametrize("over", [0.02, 0.05, 0.1, 0.15])
@pytest.mark.parametrize("dz", [0.3, -0.3])
@pytest.mark.parametrize("z", [2.0, 10.0])
def test_5_a_wall_pass_close_above_moves_with_its_floor(over, dz, z):
    part = Part(
        "one", ((-10.0, -10.0), (110.0, -10.0), (110.0, 70.0), (-10.0, 70.0)), (pocket("A", 0, 0, 100, 60, z=z),)
    )
    text = HEAD + zigzag(0, 0, 100, 60, z) + f"G0 X8 Y8\nG1 Z{z + over} F500\nX92\nY52\nX8\nY8\nG0 Z30\n"
    after, _ = check(text, corrections(part=part, A=dz), part)
    wall = [move["to"][2] for move in motions(after) if move["kind"] == 1][-5:]
    assert np.allclose(wall, z + over + dz, atol=0.003)


# -- 6: floors met in part ------------------------------------------------------------------------------------------


def test_6_a_flat_pass_on_a_sloped_floor_is_refused_with_its_line():
    text = HEAD + "G0 X110 Y100 Z30\nG1 Z6. F500\nX190\nG0 Z30\n"
    assert "line 5" in refused(text, corrections(D=0.3), "half")


# -- 7: held floors -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("over", [0.0, 0.1, 0.4])
def test_7_a_held_floor_is_not_cut_by_a_pass_above_it(over):
    text = HEAD + zigzag(0, 0, 100, 60, 2.0, over=over) + zigzag(102, 0, 202, 60, 2.0)
    given = corrections(A=hold("A"), B=0.1)
    assert "held" in refused(text, given, "held")
    after, done = correct(text, given, held="skip")
    spots = np.random.default_rng(1).uniform((5, 5), (90, 55), (100, 2))
    assert (swept(after, spots, {1: FLAT}) >= 2.0 + 0.45).all()
    assert not done.is_complete


def test_7_the_way_across_a_held_floor_does_not_meet_its_island():
    """By hand: round an island that begins at Y 25; straight from end to end a radius of 8 mm at Y 20 comes to Y 28."""
    island = ((45.0, 25.0), (55.0, 25.0), (55.0, 35.0), (45.0, 35.0))
    part = replace(PART, pockets=(pocket("A", 0, 0, 100, 60, islands=(island,)), *PART.pockets[1:]))
    round_it = "G0 X36 Y20 Z30\nZ5\nG1 Z2. F500\nX36 Y44\nX64 Y44\nX64 Y20\n"
    text = HEAD + round_it + "G0 Z30\n" + zigzag(102, 0, 202, 60, 2.0)
    given = corrections(A=hold("A"), B=0.1)
    assert "straight way across" in refused(text, given, "held", part, held="skip")
    correct(text.replace("X64 Y44\nX64 Y20", "X36 Y50"), given, part, held="skip")


# -- 8: the wrong programme -----------------------------------------------------------------------------------------

#: Three pockets with 10 mm ribs.
RIBBED = Part(
    "three and ribs",
    ((0.0, 0.0), (340.0, 0.0), (340.0, 100.0), (0.0, 100.0)),
    tuple(pocket(name, x, 10, x + w, 90) for name, x, w in (("A", 10, 100), ("B", 120, 90), ("C", 220, 110))),
)


def ribbed_programme(shift=0.0, offset="G54"):
    passes = [zigzag(p.polygon.bounds[0], 10, p.polygon.bounds[2], 90, 2.0) for p in RIBBED.pockets]
    text = HEAD + f"{offset}\n" + "".join(passes)
    if not shift:
        return text
    return re.sub(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) + shift:.3f}", text)


RAISED = corrections(part=RIBBED, A=0.1, B=0.2, C=0.1)


@pytest.mark.parametrize("shift", [15.0, -15.0, 4.0])
def test_8_a_shifted_programme_is_refused_with_the_shift_it_sees(shift):
    told = refused(ribbed_programme(shift), RAISED, "shifted", RIBBED)
    assert f"X {-shift:.3f}" in told
    assert f"--origin {-shift:.3f},0.000,0" in told
    after, _ = correct(ribbed_programme(shift), RAISED, RIBBED, origin=_origin(-shift))
    assert after.count("Z2.100") and after.count("Z2.200")


def test_8_the_shift_is_told_in_the_unit_that_origin_takes():
    """4 mm are 0.15748 in (25.4 mm an inch, exact: NIST SP 811, B.8); ``--origin`` is in the part file's unit."""
    told = refused(ribbed_programme(4.0), RAISED, "shifted", replace(RIBBED, units="in"))
    assert "--origin -0.15748,0.00000,0" in told


def _origin(x):
    from floorfit.nc.shifts import Origin

    return Origin(x)


def test_8_the_right_programme_fits():
    check(ribbed_programme(), RAISED, RIBBED)


def test_8_a_zero_elsewhere_is_hinted_from_the_floors():
    """The programme's zero stands at X 300, Y 200, Z 50 of the part: nothing lies on any floor as it is."""
    text = re.sub(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) - 300:.3f}", ribbed_programme())
    text = re.sub(r"Y(-?[\d.]+)", lambda m: f"Y{float(m[1]) - 200:.3f}", text)
    text = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) - 50:.3f}", text)
    told = refused(text, RAISED, "other-part", RIBBED)
    assert "--origin 300.000,200.000,50.000" in told


def test_8_a_programme_in_another_work_offset_must_be_stated():
    text = ribbed_programme(offset="G55")
    refused(text, RAISED, "work-offset", RIBBED)
    check(text, RAISED, RIBBED, work_offset="G55")


def test_8_tip_control_under_a_plain_length_offset_is_refused():
    text = HEAD + "G0 G43 H1 X20 Y20 Z30\nG1 A30. Z2. F200\nX50\nG0 Z30\n"
    refused(text, corrections(A=0.1), "tip-control", tip_control=True)


def test_8_the_programme_of_another_plate_is_refused():
    """Passes of a plate with two long pockets run across this plate's ribs."""
    text = HEAD + zigzag(10, 10, 330, 50, 2.0) + zigzag(10, 52, 330, 90, 2.0)
    refused(text, RAISED, "other-part", RIBBED)


# -- 9: parameters that concern no floor ----------------------------------------------------------------------------


@pytest.mark.parametrize("change", [("G17", "G17 S#102"), ("G0 Z30", "G0 Z#100"), ("F900", "F#3")])
def test_9_parameters_away_from_floors_do_no_harm(change):
    text = HEAD + zigzag(0, 0, 100, 60, 2.0, top="G0 Z30\nM30\n")
    given = corrections(A=0.3)
    plain, _ = check(text, given)
    after, _ = correct(text.replace(*change), given)
    assert after.replace(change[1], change[0]) == plain


def test_9_a_tool_number_from_a_parameter():
    text = "G21 G90 G17\nT#1 M6\n" + zigzag(0, 0, 100, 60, 2.0)
    given = corrections(A=0.3)
    after, _ = correct(text, given, tools=Tools(every=Cutter(8.0)))
    assert "Z2.300" in after


# -- 10: templates --------------------------------------------------------------------------------------------------


def test_10_the_help_gives_no_example_that_moves_a_work_offset(capsys):
    from floorfit.cli import main

    with pytest.raises(SystemExit):
        main(["apply", "--help"])
    told = capsys.readouterr().out
    assert "G10 L2 P{{" not in told
    assert "#{{ 500 + number }}" in told


# -- units, modes, arcs, ends ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("arc", ["I", "R"])
@pytest.mark.parametrize("mode", ["G90", "G91"])
def test_a_surface_is_cut_nowhere_too_deep_whatever_the_writing(size, unit, arc, mode):
    text = written(size[0], unit, arc, mode)
    check(text, corrections(A=follow("A", 0.25)), size=size)


def written(radius, unit, arc, mode):
    """Lines and arcs over floor A, in a unit, a form of arcs, a distance mode."""
    scale, places = (1.0, 3) if unit == "mm" else (25.4, 4)
    at = {"X": 20.0, "Y": 20.0, "Z": 30.0}

    def word(letter, mm):
        value = mm - at[letter] if mode == "G91" and letter in at else mm
        return f"{letter}{value / scale:.{places}f}"

    lines = ["G21" if unit == "mm" else "G20", "G90 G17", "T1 M6", f"G0 {_axes(at, scale, places)}", mode]
    path = [("G1", 20, 20, 2.0, 0), ("G1", 80, 20, 2.0, 0), ("G3", 80, 40, 2.0, 10), ("G1", 20, 40, 2.0, 0)]
    path += [("G3", 20, 20, 2.0, -10), ("G1", 50, 30, 2.0, 0), ("G1", 50, 30, 30.0, 0)]
    for code, x, y, z, r in path:
        words = [code, word("X", x), word("Y", y), word("Z", z)]
        if r:
            words.append(f"R{abs(r) / scale:.{places}f}" if arc == "R" else f"I0 J{r / scale:.{places}f}")
        lines.append(" ".join([*words, "F40."]))
        at = {"X": x, "Y": y, "Z": z}
    return "\n".join([*lines, "M30", ""])


def _axes(at, scale, places):
    return " ".join(f"{letter}{mm / scale:.{places}f}" for letter, mm in at.items())


# -- 11: a programme that does not cut the floor where the part file has it -------------------------------------------


@pytest.mark.parametrize(("over", "way"), [(0.1, "0.100 mm above"), (-0.03, "0.030 mm below")])
def test_11_a_floor_cut_at_another_height_is_said(over, way):
    """Passes 0.1 over the floor (corrected before, or semi-finishing) move with it, and leave 0.1 too much."""
    _, done = correct(HEAD + zigzag(0, 0, 100, 60, 2.0, over=over), corrections(A=0.15))
    (said,) = [one for one in done.findings if one.code == "floor-off"]
    assert way in said.text and "pocket A" in said.text
    (floor,) = [one for one in done.floors if one.pocket == "A"]
    # Numbers of the programme and single precision of the sweep: 0.0005.
    assert floor.off_mm == pytest.approx(over, abs=5e-4)
    assert not done.is_complete


@pytest.mark.parametrize("size", [FLAT, BULL])
def test_11_a_floor_cut_where_it_is_raises_no_doubt(size):
    """The round at the walls and the edge of the last pass stand above the floor; they are no other height."""
    _, done = correct(HEAD + zigzag(0, 0, 100, 60, 2.0, step=9.0), corrections(A=0.15), size=size)
    assert not [one for one in done.findings if one.code == "floor-off"]


@pytest.mark.parametrize("dz", [0.15, 1.3])
@pytest.mark.parametrize(("wide", "share"), [(100, 0.0), (60, 0.4)])
def test_11_a_floor_cut_in_part_is_said(wide, share, dz):
    """A flat cutter of radius 8 reaches the whole of a floor but its corners; passes to X 60 leave 40 of 100 mm."""
    _, done = correct(HEAD + zigzag(0, 0, wide, 60, 2.0), corrections(A=dz))
    (floor,) = [one for one in done.floors if one.pocket == "A"]
    # Two places of the sweep's grid, 2 mm apart, along each edge.
    assert floor.uncut_share == pytest.approx(share, abs=0.05)
    assert bool([one for one in done.findings if one.code == "floor-uncut"]) == bool(share)


def test_11_what_a_small_cutter_leaves_is_seen_beside_a_large_one():
    """Passes of radius 2 from Y 0 to 25 and from 29 to 60: a strip of 4 mm (4 of 60: 7 %) keeps its stock.

    Most motion of the file is another floor's, with a cutter of radius 25.
    """
    small = "T2 M6\n" + zigzag(102, 0, 202, 25, 2.0, radius=2.0, step=3.0) + zigzag(
        102, 29, 202, 60, 2.0, radius=2.0, step=3.0
    )  # fmt: skip
    text = HEAD + zigzag(0, 0, 100, 60, 2.0, radius=25.0, step=0.2) + small
    _, done = correct(text, corrections(A=0.04, B=0.04), tools=Tools({1: Cutter(25.0), 2: Cutter(2.0)}))
    (floor,) = [one for one in done.floors if one.pocket == "B"]
    assert floor.uncut_share == pytest.approx(4 / 60, abs=0.02)
    assert [one.text for one in done.findings if one.code == "floor-uncut" and "pocket B" in one.text]


def test_11_what_a_tilt_leaves_at_the_wall_is_told():
    """A flat end on a plane of slope s stands on its upper rim: 2 R s too high under the lower one, at the wall."""
    slope = 0.006
    given = corrections(A=tilt("A", 0.05, 0.0, slope))
    _, done = correct(HEAD + zigzag(0, 0, 100, 60, 2.0, step=4.0), given)
    (floor,) = [one for one in done.floors if one.pocket == "A"]
    assert floor.high_mm == pytest.approx(2 * 8.0 * slope, abs=0.004)


@pytest.mark.parametrize("wall", [39.5, 40.3, 41.1])
@pytest.mark.parametrize("is_island", [False, True])
def test_11_what_a_tilt_leaves_at_a_wall_inside_the_floor_is_told(wall, is_island):
    """As before: 2 R s at the wall under the lower rim. It is a notch's or an island's, and all edges are open."""
    ring, block = ((0, 0), (100, 0), (100, 60), (60, 60), (60, 20), (wall, 20), (wall, 60), (0, 60)), ()
    if is_island:
        ring, block = ((0, 0), (100, 0), (100, 60), (0, 60)), (((wall, 20), (60, 20), (60, 40), (wall, 40)),)
    notched = Pocket("N", ring, block, 2.0, 2.0, Tolerance(-0.1, 0.1), 0.0, 0.5)
    part = Part("notch", ((0, 0), (100, 0), (100, 60), (0, 60)), (notched,))
    text = HEAD + "".join(
        zigzag(x0, y0, x1, y1, 2.0, step=4.0)
        for x0, y0, x1, y1 in (
            (-20, -8, 120, 20),
            (-20, 4, wall, 68),
            (60, 4, 120, 68),
            (-20, 40, 120 if is_island else wall, 68),
        )
    )
    _, done = correct(text, {"N": tilt("N", 0.05, -0.02, 0.0, part)}, part)
    assert done.floors[0].high_mm == pytest.approx(2 * 8.0 * 0.02, abs=0.004)


@pytest.mark.parametrize("step", [4.1, 4.16, 4.3])
def test_11_the_rim_of_a_pass_is_no_height_that_is_left(step):
    """Passes nearer to each other leave no more: what 4.3 mm leaves between them, 0.014, bounds what 4.1 leaves."""
    slope, part = (0.005, -0.03), Part("slope", ((0, 0), (60, 0), (60, 60), (0, 60)), (pocket("S", 0, 0, 60, 60),))
    part = replace(part, pockets=(replace(part.pockets[0], floor_z=4.0, web=4.0, slope=slope),))
    text, up = HEAD, 4.0 * float(np.hypot(*slope))
    for count, y in enumerate(np.arange(4.0, 56.0, step)):
        ends = [(x, float(part.pockets[0].nominal_z(x, y)) + up) for x in ((4, 56), (56, 4))[count % 2]]
        text += f"G0 X{ends[0][0]} Y{y:.3f} Z30\n" if count == 0 else ""
        text += "".join(f"G1 X{x} Y{y:.3f} Z{z:.3f} F800\n" for x, z in ends)
    _, done = correct(text + "G0 Z30\n", {"S": follow("S", -0.05, part)}, part, (4.0, 0.0))
    assert done.floors[0].high_mm <= 0.0145


def test_11_a_cutter_that_only_finishes_the_walls_asks_no_more_of_the_floor():
    """A floor of 20 mm square: a flat end of radius 8 leaves (4 - pi) 64 = 55 mm² in its corners, and reaches no more.

    A cutter of radius 1 that goes round 0.6 mm above it could reach them, and does not cut that floor.
    """
    part = Part("small", ((0, 0), (30, 0), (30, 30), (0, 30)), (pocket("S", 3, 3, 23, 23),))
    walls = "T2 M6\nG0 X4 Y4 Z30\nG1 Z2.6 F500\nX22\nY22\nX4\nY4\nG0 Z30\n"
    along_one = walls.replace("Z2.6", "Z2.").replace("Y22\nX4\nY4\n", "X4\n")
    for second, is_said in ((walls, False), (along_one, True)):
        text = HEAD + zigzag(3, 3, 23, 23, 2.0, step=4.0) + second
        tools = Tools({1: Cutter(8.0), 2: Cutter(1.0)})
        _, done = correct(text, corrections(part=part, S=0.04), part, tools=tools)
        assert bool([one for one in done.findings if one.code == "floor-uncut"]) == is_said


#: Two floors that touch, 0.5 mm apart in height, and a way that rises across their seam: it cuts the higher one.
RISING = Part(
    "rising",
    ((0.0, 0.0), (40.0, 0.0), (40.0, 80.0), (0.0, 80.0)),
    (pocket("L", 0, 0, 40, 37), pocket("H", 0, 37, 40, 80, z=2.5)),
)
RISE = HEAD + "G0 X36 Y-8 Z30\nG1 Z2. F500\nY31.6\nY37.2 Z2.5\nY88\nX20\nY-8\nG0 Z30\n"


@pytest.mark.parametrize(("y", "dz", "radius"), [(31.6, 0.008, 4.0), (32.6, 0.0044, 4.0), (32.6, 0.02, 8.0)])
def test_12_a_way_that_rises_over_a_seam_and_gains_is_no_deeper(y, dz, radius):
    """Every end gains 0 or more, so no place can come out lower: the swept height is monotone in the path's Z."""
    after, _ = check(RISE.replace("31.6", str(y)), corrections(L=dz, part=RISING), RISING, (radius, 0.0))
    assert "Z2.5" in after


def test_12_a_way_that_cuts_the_higher_floor_by_itself_is_refused_and_said():
    """At Y 31.6 the rim (radius 8) stands over H at Z 2.0: the programme itself goes under its 2.5 by up to 0.5."""
    with pytest.raises(InputError, match=r"pocket H would be .* too deep .* the programme itself goes 0\.[3-5]"):
        correct(RISE, corrections(L=-0.086, part=RISING), RISING)


# -- all of them, in both units and distance modes, with three ends (the tenth, templates, has none of these) --------

VECTORS = (
    "G43.5 H1 X20 Y30 Z30 I0 J0 K1\nG1 X20 Y30 Z2.697 F500 I0.08716 J0 K0.99619\n"
    "X80 Y30 Z2.697 I0 J0.08716 K0.99619\nG0 Z30 I0 J0 K1\n"
)
LINK = "G0 X20 Y20 Z30\nG1 Z2. F200\nX60\nG0 Z2.5\nX20 Y45\nG1 Z2.\nX60\nG0 Z30\n"
WALLS = zigzag(0, 0, 100, 60, 2.0) + "G0 X8 Y8\nG1 Z2.1 F500\nX92\nY52\nX8\nY8\nG0 Z30\n"
SEAM = zigzag(-10, 0, 110, 60, 2.0) + zigzag(110, 0, 170, 60, 3.0)
BESIDE = "G0 X20 Y20 Z30\nG1 Z2. F200\nX60\nG0 Z10\nG69 G0 X150 Y40 Z10\nG0 X150 Y40 Z10\nG1 Z2.\nX180\nG0 Z30\n"

#: name: (programme below its head, what is added, part, code of a refusal or "", what is stated)
CASES = {
    "1 a place beside G69": (BESIDE, corrections(A=0.3, B=follow("B", -0.3)), PART, "", {}),
    "2 a rapid close above": (LINK, corrections(A=0.6), PART, "", {}),
    "3 a seam and a step": (SEAM, corrections(part=STEPPED, L=0.3, M=-0.1, H=0.2), STEPPED, "", {}),
    "3 a tilt": (zigzag(0, 0, 100, 60, 2.0), corrections(A=tilt("A", 0.1, 0.005, 0.0)), PART, "", {}),
    "4 vectors": (VECTORS, corrections(A=follow("A", 0.3)), PART, "", {"tip_control": True}),
    "4 vectors without tip control": (VECTORS, corrections(A=0.1), PART, "rotary", {}),
    "5 a wall pass, raised": (WALLS, corrections(A=0.3), PART, "", {}),
    "5 a wall pass, lowered": (WALLS, corrections(A=-0.3), PART, "", {}),
    "6 half on a floor": ("G0 X110 Y100 Z30\nG1 Z6. F500\nX190\nG0 Z30\n", corrections(D=0.3), PART, "half", {}),
    "7 a held floor": (zigzag(0, 0, 100, 60, 2.0, over=0.1), corrections(A=hold("A")), PART, "held", {}),
    "8 a shifted programme": (ribbed_programme(15.0).removeprefix(HEAD), RAISED, RIBBED, "shifted", {}),
    "9 a parameter elsewhere": ("S#102 M3\n" + zigzag(0, 0, 100, 60, 2.0), corrections(A=0.3), PART, "", {}),
}


def rewritten(text, unit, mode):
    """A programme in mm and G90 in another unit and distance mode, by its words; vectors have no unit."""
    scale, places = (1.0, 4) if unit == "mm" else (25.4, 5)
    at = {}

    def word(found):
        letter, mm = found[1], float(found[2])
        before = at.get(letter)
        at[letter] = round(mm / scale, places)
        value = at[letter] - (before if mode == "G91" and before is not None else 0.0)
        return f"{letter}{value:.{places}f}"

    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if "Z" in line)
    out = [re.sub(r"(?<![A-Z])([XYZ])(-?[\d.]+)", word, line) for line in lines]
    return "\n".join([*out[: first + 1], mode, *out[first + 1 :], ""])


ENDS = {"flat": FLAT, "bull": BULL, "ball": BALL}
#: Each pair of a unit, a distance mode and an end; the test of a surface above walks their product.
WRITINGS = [
    *(("mm", "G90", end) for end in ENDS),
    ("mm", "G91", "bull"),
    ("in", "G90", "bull"),
    ("in", "G91", "flat"),
    ("in", "G91", "ball"),
]


@pytest.mark.parametrize(("unit", "mode", "end"), WRITINGS)
@pytest.mark.parametrize("name", CASES)
def test_no_damage_whatever_the_writing(name, unit, mode, end):
    size = ENDS[end]
    text, given, part, code, stated = CASES[name]
    head = HEAD if unit == "mm" else HEAD.replace("G21", "G20")
    text = head + rewritten(text, unit, mode)
    if name.startswith("1") and mode == "G91":
        # Increments from a place that nobody knows name none.
        code = "unknown-position"
    if code:
        refused(text, given, code, part, **stated)
    else:
        check(text, given, part, size, **stated)


#: A pass over floor A, and what stands in front of it.
ZERO_HEAD, ZERO_PASS = HEAD + "G0 X10 Y10 Z20\n", "G1 Z2. F200\nX90\nG0 Z20\n"


@pytest.mark.parametrize("word", ["G52 Z-0.5", "G52 X0.8", "G92 Z20.5", "G10 L2 P1 Z-1", "#5223=-1", "G43.1 Z100.5"])
def test_a_zero_set_before_the_first_cut_leaves_open_where_the_floors_stand(word):
    """G52 and G92 shift what a work offset says (NISTIR 6556, 3.5.18; G52 from memory): by 0.5 mm, and nobody asked."""
    text = f"{ZERO_HEAD}{word}\nG0 X10 Y10 Z20\n{ZERO_PASS}"
    done = apply_offsets(PART, corrections(A=-0.12), text.encode(), tools=TOOLS)
    told = [one for one in done.findings if one.code == "zero-set"]
    assert [one.place for one in told] == ["line 4"]
    # By hand: G92 at Z 20 calls it 20.5.
    at = {"G52 Z-0.5": "X 0, Y 0, Z -0.5 mm", "G52 X0.8": "X 0.8, Y 0, Z 0 mm", "G92 Z20.5": "X 0, Y 0, Z -0.5 mm"}
    assert told[0].text.endswith(f"it is at {at[word]}." if word in at else "where it stands on the part.")
    assert not done.is_complete
    stated = apply_offsets(PART, corrections(A=-0.12), text.encode(), tools=TOOLS, origin=Origin())
    assert "zero-set" not in {one.code for one in stated.findings}


@pytest.mark.parametrize("word", ["G52 X0 Y0 Z0", "G92.1", "G10 L2 P2 Z-5.", "#100=3."])
def test_words_that_set_no_zero_in_force_are_passed(word):
    text = f"{ZERO_HEAD}{word}\nG0 X10 Y10 Z20\n{ZERO_PASS}"
    done = apply_offsets(PART, corrections(A=-0.12), text.encode(), tools=TOOLS)
    assert "zero-set" not in {one.code for one in done.findings}


@pytest.mark.parametrize("word", ["G54.2 P1", "G143 H1", "G234", "G24 X0", "G101 X0", "G7"])
def test_a_word_that_is_not_known_leaves_open_where_the_cutter_goes(word):
    """Fixture offsets, tip control, mirrors and diameters of dialects (from memory)."""
    text = f"{ZERO_HEAD}{word}\nG0 X10 Y10 Z20\n{ZERO_PASS}"
    done = apply_offsets(PART, corrections(A=-0.12), text.encode(), tools=TOOLS)
    assert "unknown-code" in {one.code for one in done.findings} and not done.is_complete
    kept = apply_offsets(PART, corrections(A=-0.12), text.encode(), tools=TOOLS, keep=[word.split()[0]])
    assert "unknown-code" not in {one.code for one in kept.findings}


@pytest.mark.parametrize("word", ["G5.1 Q1", "G05 P10000", "G08 P1", "G187 P3 E0.01", "G97 S900", "G23", "G642"])
def test_smoothing_and_look_ahead_are_known_to_move_nothing(word):
    """High speed, limits and spindle speed (dialects, from memory)."""
    done = apply_offsets(PART, corrections(A=-0.12), f"{ZERO_HEAD}{word}\n{ZERO_PASS}".encode(), tools=TOOLS)
    assert not {one.code for one in done.findings} & {"unknown-code", "zero-set"}


def test_a_spline_is_no_smoothing():
    """G5 with places is a spline (LinuxCNC, from memory), and how deep it goes is not known here."""
    with pytest.raises(InputError, match="G5 is a motion"):
        apply_offsets(
            PART, corrections(A=-0.12), f"{ZERO_HEAD}{ZERO_PASS}G1 Z2.\nG5 X30 Y30 I1 J1\n".encode(), tools=TOOLS
        )
