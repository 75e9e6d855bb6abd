"""Named awkward programmes: each is refused with its reason, or handled as said.

Facts of NISTIR 6556 (The NIST RS274/NGC Interpreter, version 3) are named beside the cases that rest on them.
"""

from __future__ import annotations

import math

import pytest
from nc_cases import PART, TOOLS, apply, check_heights, corrections, follow, hold, shift, tilt
from nc_reference import run

from floorfit.errors import InputError
from floorfit.nc.programme import apply_offsets

HEAD = "G21 G90 G17 G40 G94\nT1 M6\nG0 X10 Y10 Z20\n"
PASS = "G1 Z2. F200\nX50.\nG0 Z20\n"
AGAIN = "G0 X10 Y30 Z20\n" + PASS
LOW = corrections(A=-0.12)
HIGH = corrections(A=0.2)
BOTH = corrections(A=-0.12, B=0.2)

#: name: (programme, offsets, code of the finding)
REFUSED = {
    # NISTIR 6556, 3.3.5: one word of a letter in a block.
    "second Z in a block": (HEAD + "G1 Z2. X20 Z3. F100\n" + PASS, LOW, "unreadable"),
    # NISTIR 6556, 3.4: two words of one modal group in a block.
    "G0 and G1 in one block": (HEAD + "G0 G1 Z2. F100\n" + PASS, LOW, "unreadable"),
    "comment not closed": (HEAD + "G1 Z2. F100 (finish\nX50\nG0 Z20\n", LOW, "unreadable"),
    "letter without a number": (HEAD + "G1 Z F100\nX50\n", LOW, "unreadable"),
    "number with two points": (HEAD + "G1 Z2.0.0 F100\nX50\n", LOW, "unreadable"),
    "equals sign": (HEAD + "G1 Z==2.0 F100\nX50\n", LOW, "unreadable"),
    "parameter as Z": (HEAD + "#5=#6\nG1 Z#5 F100\nX50\nG0 Z20\n", LOW, "unknown-position"),
    "parameter as X on a floor": (HEAD + "G1 Z2. F100\nX#1\nG0 Z20\n", LOW, "unknown-position"),
    "while loop round a floor": (
        HEAD + "O100 while [#1 LT 3]\nG1 Z2. F100\nX50\nG0 Z20\nO100 endwhile\n",
        LOW,
        "unknown-motion",
    ),
    "macro IF GOTO": (HEAD + "IF [#1 EQ 1] GOTO 20\nG1 X20 Z2. F100\nX50\n", LOW, "unknown-motion"),
    "M98 call and no state after": (HEAD + "M98 P1000\nG1 Z2. F100\nX50\n", LOW, "unknown-position"),
    "M98 call on a floor": (HEAD + "G1 Z2. F100\nX50\nM98 P1000\n", LOW, "on-floor"),
    "G65 macro and no state after": (HEAD + "G65 P9001 X1\nG1 Z2. F100\nX50\n", LOW, "unknown-position"),
    # 10 mm through a plate of 2 mm and back.
    "G18 half circle under a dome": (
        HEAD + "X40 Y30\nG1 Z2. F200\nG18 G2 X60 Z2. I10 K0\nG17 G1 X70\nG0 Z20\n",
        corrections(A=follow("A", 0.25)),
        "below",
    ),
    # 0.01 mm is 0.000393700787... in: no increment in inches takes it back.
    "increments in mm, taken back in inches": (
        "G21 G90 G17\nG0 X10 Y10 Z20\nG91 G1 Z-18. F100\nX10\nG20 G0 Z0.7\n",
        corrections(A=-0.01),
        "cannot-write",
    ),
    "spline": (HEAD + "G1 Z2. F200\nG5 X30 Y30 I1 J1 P-1 Q1\n", LOW, "unknown-motion"),
    "unknown G with axis words": (HEAD + "G1 Z2. F200\nG12 I10 F100\nX50\n", LOW, "unknown-motion"),
    "G41 and a crossing": (HEAD + "G41 D1 X12\nG1 Z2. F200\nX150\nG0 Z20\nG40 X0\n", BOTH, "divide-compensation"),
    # In pieces the first motion under G40 would be back on its path after the first of them, 4 mm inside the wall.
    "G40 over a crossing": (
        HEAD + "X88 Y30\nG1 Z2. F200\nG41 D1 Y60.\nX80\nG40 X150 Y45\nG0 Z20\n",
        BOTH,
        "divide-compensation",
    ),
    "wide G64 and a crossing": (HEAD + "G64 P0.1\nG1 Z2. F200\nX150\nG0 Z20\n", BOTH, "divide-path"),
    "rapid down to a lowered floor": (HEAD + "G0 Z2.\nG1 X50 F200\nG0 Z20\n", LOW, "rapid"),
    "rapid across a lowered floor": (HEAD + "G1 Z2. F200\nG0 X50\nZ20\n", LOW, "rapid"),
    "rotary word over a floor": (HEAD + "G1 A3. Z2. F200\nX50\nG0 Z20\n", LOW, "rotary"),
    "rotated frame": (HEAD + "G68 X0 Y0 R30\n" + PASS, LOW, "other-part"),
    "scaled frame": (HEAD + "G51 X0 Y0 Z0 P2\n" + PASS, LOW, "other-part"),
    "polar coordinates": (HEAD + "G16\n" + PASS, LOW, "other-part"),
    "W axis moved": (HEAD + "G1 W-5. F100\n" + PASS, LOW, "other-part"),
    # NISTIR 6556, 3.5.18: G92 names the current point, and later Z numbers mean another surface; which, is not known
    # where that point is not, nor (G52, from memory) what an increment is counted from.
    "G92 at a place not known": (
        HEAD + PASS + "G28 Z0\nG92 Z0\nG0 X20 Y10 Z20\nG1 Z2. F200\nX60\nG0 Z20\n",
        LOW,
        "zero-moved",
    ),
    "G10 L2 between two cuts": (
        HEAD + PASS + "G10 L2 P1 Z5\nG0 X20 Y10 Z20\nG1 Z2. F200\nX60\nG0 Z20\n",
        LOW,
        "zero-moved",
    ),
    "G52 in increments": (
        HEAD + PASS + "G91 G52 Z1\nG90 G0 X20 Y10 Z20\nG1 Z2. F200\nX60\nG0 Z20\n",
        LOW,
        "zero-moved",
    ),
    "floors under G54 and G55": (
        HEAD + "G54\nG0 X10 Y10 Z20\n" + PASS + "G55\nG0 X10 Y10 Z20\n" + PASS,
        LOW,
        "work-offset",
    ),
    # Dialects (from memory): further work offsets, and parameters that hold their zeros; RS274/NGC has 5221 to 5390
    # (NISTIR 6556, table 2).
    **{
        f"floors under G54 and {word}": (HEAD + "G54\n" + AGAIN + f"{word}\n" + AGAIN, LOW, "work-offset")
        for word in ("G54 P2", "G54.1 P2", "G154 P3", "G110", "G129", "G505", "G15 H2")
    },
    **{
        f"a zero set by {word} between two cuts": (HEAD + PASS + f"{word}\n" + AGAIN, LOW, "zero-moved")
        for word in ("#5223=1.", "#[5220+3]=1.", "#2601=0.5", "##7=1.")
    },
    "another programme behind the end": (
        "%\nO1\n" + HEAD + PASS + "M30\nO2\n" + HEAD + PASS + "M30\n%\n",
        LOW,
        "second-programme",
    ),
    "exponents": (HEAD + "G1 Z2. F200\nX5.E1\nG0 Z20\n", LOW, "unreadable"),
    "the zero in force set between two cuts": (
        HEAD + "G54\n" + AGAIN + "G10 L2 P1 Z5\n" + AGAIN,
        LOW,
        "zero-moved",
    ),
    "a frame turned on a floor": (HEAD + "G1 Z2. F200\nX20\nG68 X0 Y0 R30\nX50\nG69\nG0 Z20\n", LOW, "on-floor"),
    "polar interpolation": (HEAD + "G12.1\n" + PASS + "G13.1\n", LOW, "other-part"),
    "no units stated": ("G90 G17\nG0 X10 Y10 Z20\n" + PASS, LOW, "unknown-motion"),
    "no distance mode stated": ("G21 G17\nG0 X10 Y10 Z20\n" + PASS, LOW, "unknown-motion"),
    "axis word without a motion": ("G21 G90\nX10 Y10\nG0 Z20\n" + PASS, LOW, "unknown-motion"),
    "Z set in an optional block": (HEAD + "G1 Z5. F100\n/Z2.\nX50\nG0 Z20\n", LOW, "unknown-position"),
    "units set in an optional block": (HEAD + "/G20\n" + PASS, LOW, "unknown-motion"),
    # NISTIR 6556, 3.5.3.2: the radii at start and end must agree.
    "arc with two radii": (HEAD + "G1 Z2. F200\nG2 X30 Y10 I5 J0\nG0 Z20\n", LOW, "unknown-motion"),
    # NISTIR 6556, 3.5.3.1: in radius format the end must not be the start.
    "full circle in radius format": (HEAD + "G1 Z2. F200\nG2 X10 Y10 R5\nG0 Z20\n", LOW, "unknown-motion"),
    "incremental from an unknown place": (HEAD + "G28 Z0\nG91 G1 Z-5. F100\n", LOW, "unknown-position"),
    "corrected before": ("(FLOORFIT: job x)\n" + HEAD + PASS, LOW, "corrected-before"),
    "empty file": ("", LOW, "other-part"),
    "not text": (HEAD + "\x00\x01\x02\n" + PASS, LOW, "not-text"),
    "a held floor is cut": (HEAD + PASS, corrections(A=hold("A")), "held"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_the_reason_and_the_line(name):
    text, wanted, code = REFUSED[name]
    with pytest.raises(InputError, match=r"line \d+|programme") as refusal:
        apply(text, wanted)
    assert code in {finding.code for finding in refusal.value.findings}


CROSS = HEAD + "G1 Z2. F200\nX150.\nG0 Z20\n"

#: A helix of 2 mm pitch in lines of 12 degrees, and on at the floor.
TURN = [(math.cos(math.radians(angle)), math.sin(math.radians(angle)), angle / 180) for angle in range(12, 552, 12)]
SPIRAL = (
    "G0 X35 Y30\nG1 Z3. F200\n"
    + "".join(f"X{30 + 5 * u:.3f} Y{30 + 5 * v:.3f} Z{max(3 - w, 2):.3f}\n" for u, v, w in TURN)
    + "X60\nG0 Z20\n"
)

#: name: (programme, offsets, options)
HANDLED = {
    "comment in a comment": (HEAD + "G1 Z2. F100 (a (b) c)\nX50\nG0 Z20\n", LOW, {}),
    "expression of numbers as Z": (HEAD + "G1 Z[3.-1.] F100\nX50\nG0 Z20\n", LOW, {}),
    "G41 switched on a floor": (HEAD + "G1 Z2. F200\nG41 D1 X20\nX50\nG40 X60\nG0 Z20\n", LOW, {}),
    "G95 and a crossing": (HEAD + "G1 Z2. F200\nG95 X150 F0.1\nG94 G0 Z20\n", BOTH, {}),
    "rapid out of a raised floor at its Z": (HEAD + "G1 Z2. F200\nX20\nG0 Y-30\nZ20\n", HIGH, {}),
    "drilling cycle over a floor": (HEAD + "G98 G81 X20 Y20 Z1. R5. F100\nG80\nG0 X10 Y10 Z20\n" + PASS, LOW, {}),
    "a helix of short lines down to a raised floor": (HEAD + SPIRAL, HIGH, {}),
    "a helix of short lines down to a lowered floor": (HEAD + SPIRAL, LOW, {}),
    "leaving a raised floor little by little": (
        HEAD + "G1 Z2. F200\nX55\nX56 Z2.02\nX57 Z2.06\nX58 Z2.15\nG0 Z20\n",
        HIGH,
        {},
    ),
    "optional crossing in increments": (
        HEAD + "G1 Z2. F200\nG91 X40\n/X100\n/Y12.3\n/Y-12.3\n/X-100\nX10\nG0 Z18\n",
        BOTH,
        {},
    ),
    "odd spacing and case": (HEAD + "g1 z +0 2. f 2 0 0\nx5 0.0 y 1 2\ng0z20\n", BOTH, {}),
    "a Z in a comment": (HEAD + "G1 (Z9 was here) Z2. F200 ; Z8\nX50 (Z7)\nG0 Z20\n", BOTH, {}),
    "leading zeros and signs": (HEAD + "N0010 G01 Z+002.0 F0200\nN0020 X+050.\nG00 Z20\n", BOTH, {}),
    "no leading zero": ("G20 G90 G17\nG0 X.4 Y.4 Z.8\nG1 Z.0787 F9.\nX2.\nG0 Z.8\n", BOTH, {}),
    "CR LF, percent, O and N": (
        "%\r\nO1000 (PART)\r\n" + (HEAD + PASS).replace("\n", "\r\n") + "M30\r\n%\r\nZ2. anything\r\n",
        BOTH,
        {},
    ),
    "no line end at the end": (HEAD + PASS + "M30", BOTH, {}),
    "roughing at floor plus stock": (HEAD + "G1 Z2.5 F200\nX60\nX10\n" + PASS, BOTH, {}),
    "drilling elsewhere": (HEAD + "G99 G81 X-30 Y20 Z-5. R5. F100\nX-40\nG80\nG0 X10 Y10 Z20\n" + PASS, BOTH, {}),
    "G28 and G53 retracts": (
        HEAD + PASS + "G91 G28 Z0\nG90\nG53 G0 Z0\nG0 X60 Y10\nZ20\nG1 Z2. F100\nX80\nG0 Z20\n",
        BOTH,
        {},
    ),
    "tool change and G43": (
        HEAD + "G0 G43 H1 Z20\n" + PASS + "T2 M6\nG0 X10 Y30\nG43 H2 Z20\nG1 Z2. F50\nX60\nG0 Z20\n",
        BOTH,
        {},
    ),
    "M98 before everything is stated": ("M98 P9000\n" + HEAD + "G54 G40\nG0 X10 Y10 Z20\n" + PASS, BOTH, {}),
    "parameter away from floors": (HEAD + "#1=5\nG0 X#1\nX10\n" + PASS, BOTH, {}),
    "slot to slot without a Z word": (CROSS, BOTH, {}),
    "crossing at a positive and a negative offset": (CROSS, corrections(A=0.3, B=-0.3), {}),
    "crossing both lowered": (CROSS, corrections(A=-0.2, B=-0.1), {}),
    "out of the part and back": (HEAD + "G1 Z2. F200\nY-20\nX50\nY20\nG0 Z20\n", LOW, {}),
    "across all floors from outside": ("G21 G90 G17\nG0 X-20 Y30 Z20\nG1 Z2. F100\nX230\nG0 Z20\n", BOTH, {}),
    "incremental": ("G21 G90 G17\nG0 X10 Y10 Z20\nG91 G1 Z-18. F100\nX40.\nX90.\nY5.\nG0 Z18.\nG90\n", BOTH, {}),
    "incremental floor in steps": (
        "G21 G90 G17\nG0 X10 Y10 Z5\nG91 G1 Z-1. F100\nZ-1.\nZ-1.\nX20.\nZ1.\nZ2.\n",
        LOW,
        {},
    ),
    "inch": ("G20 G90 G17\nG0 X1. Y1. Z1.\nG1 Z0.0787 F10.\nX2.\nX5.5\nG0 Z1.\n", BOTH, {}),
    "inch by G70": ("G70 G90 G17\nG0 X1. Y1. Z1.\nG1 Z0.0787 F10.\nX2.\nG0 Z1.\n", BOTH, {}),
    "modes in one block in any order": ("G90 G1 X10 Y10 Z20 F900 G21 G17\n" + PASS, BOTH, {}),
    "helix down to a floor": (
        HEAD + "X30 Y30\nG1 Z8. F200\nG2 X30 Y30 Z5 I5\nX30 Y30 Z2. I5\nG2 X30 Y30 I5\nG0 Z20\n",
        LOW,
        {},
    ),
    "arc out of the floor and back": (HEAD + "Y8\nG1 Z2. F200\nX40\nG2 X60 Y8 R12.\nG1 X80\nG0 Z20\n", BOTH, {}),
    "full circle on a tilted floor": (
        HEAD + "G1 Z2. F200\nG2 X10 Y10 I15 J5\nG0 Z20\n",
        corrections(A=tilt("A", 0.05, 0.002, -0.001)),
        {},
    ),
    "full circle that states no place, from one of four decimals": (
        HEAD + "X40.1234 Y30\nG1 Z2. F200\nG2 I15.5 J5\nG1 X50\nG0 Z20\n",
        corrections(A=tilt("A", 0.05, 0.002, -0.001)),
        {},
    ),
    "absolute arc centres": (
        HEAD + "G90.1\nG1 Z2. F200\nG3 X30 Y30 I10 J30\nG0 Z20\n",
        corrections(A=tilt("A", 0.05, 0.002, 0.001)),
        {},
    ),
    "radius format on a tilted floor": (
        HEAD + "G1 Z2. F200\nG3 X40 Y10 R20.\nG3 X20 Y12 R-20.\nG0 Z20\n",
        corrections(A=tilt("A", 0.1, 0.002, 0.001)),
        {},
    ),
    "radius format over half a turn, out of the floor and back": (
        HEAD + "X50 Y40\nG1 Z2. F200\nG3 X60 Y40 R-25.\nG0 Z20\n",
        corrections(A=tilt("A", 0.05, 0.002, -0.001)),
        {},
    ),
    "radius format, half a turn out of the floor and back": (
        HEAD + "X20 Y20\nG1 Z2. F200\nG3 X70 Y20 R25.\nG0 Z20\n",
        LOW,
        {},
    ),
    # The circle is divided with the four decimals of its I, the line behind it with three.
    "increments finer on the floor than on the way off it": (
        "G21 G17 G90\nG0 X3. Y4. Z5.\nG91 G1 Z-3.000 F200.\nG2 X0. Y0. I1.0000 J0.0000\nG1 X102. Y-1.\nG0 Z28.\n",
        corrections(A=follow("A", 0.25)),
        {},
    ),
    "to the edge of a raised floor and no further": (
        "G21 G90 G17\nG0 X-10 Y30 Z20\nG1 Z2. F200\nX5\nX-5\nX-0.1\nX-.2\nX50\nG0 Z20\n",
        HIGH,
        {},
    ),
    "along the edge of the floor": (HEAD + "G1 Z2. F200\nX-0.1\nY50\nX0\nY10\nX0.1\nY50\nG0 Z20\n", LOW, {}),
    "a long line over a dome": (HEAD + "G1 Z2. F200\nX90 Y50\nX10\nG0 Z20\n", corrections(A=follow("A", 0.3)), {}),
    "five axes with tip control": (
        HEAD + "G1 Z2. A2. C10. F200\nX50. A3. C20.\nX90. Y50. Z2. A1. C0.\nG0 Z20 A0 C0\n",
        BOTH,
        {"tip_control": True},
    ),
    "five axes over a dome": (
        HEAD + "G1 Z2. A2. F200\nX90. Y50. A4.\nG0 Z20 A0\n",
        corrections(A=follow("A", 0.3)),
        {"tip_control": True},
    ),
    "optional extra pass": (HEAD + "G1 Z2. F200\nX50\n/Y30\nG0 Z20\nX60 Y30\nG1 Z2.\nX70\nG0 Z20\n", LOW, {}),
    "G92.1 as a safety line": ("G92.1\n" + HEAD + PASS + "G92.1\n" + PASS, LOW, {}),
    "a zero set by a parameter before the first cut": ("#5223=1.\n" + HEAD + PASS, LOW, {}),
    # NISTIR 6556, 3.5.5: G10 L2 P2 sets the origin of G55, and G54 is in force.
    "the zero of another work offset set between two cuts": (
        HEAD + "G54\n" + AGAIN + "G10 L2 P2 Z5\n" + AGAIN,
        LOW,
        {},
    ),
    "a label and nothing behind the end": (HEAD + PASS + "M30\nO2 (X and Y in a comment)\n", LOW, {}),
    "dwell with an X word": (HEAD + "G1 Z2. F200\nG4 X2.\nX50\nG0 Z20\n", LOW, {}),
    "units given by the caller": ("G90\nG0 X10 Y10 Z20\n" + PASS, LOW, {"units": "mm"}),
    "G41 on above the floor": (HEAD + "G41 D1 X12\nG1 Z2. F200\nX50\nG0 Z20\nG40 X0\n", LOW, {}),
    "G18 arc above the floors": (HEAD + "G18 G2 X14 Z20 I2 K0\nG17\n" + PASS, LOW, {}),
    "offset smaller than half a decimal": (HEAD + PASS, corrections(A=0.0004), {}),
    "offset smaller than half a decimal, no Z word": (CROSS, corrections(A=0.1, B=0.0003), {}),
    "a full circle with J alone": (HEAD + "G1 Z2. F200\nG2 J8.\nG0 Z20\n", LOW, {}),
    "leaving by G1 at a high feed": (HEAD + "G1 Z2. F200\nX50\nG1 Z20 F9000\nX150\nZ2. F100\nX160\nG0 Z20\n", BOTH, {}),
    "a held floor left as programmed": (HEAD + PASS, corrections(A=hold("A"), B=0.1), {"held": "cut"}),
}


def _for_reference(text: str, options: dict) -> str:
    """The same programme in the words the reference reader knows."""
    head = "G21 " if options.get("units") == "mm" else ""
    text = "\n".join(line for line in text.splitlines() if not line.startswith(("G92.1", "M98", "#", "G10")))
    text = text.replace("(b)", "")
    for old, new in (
        ("G70", "G20"),
        ("Z[3.-1.]", "Z2."),
        ("X#1", "X5"),
        ("G4 X2.", ""),
        ("G18 G2 X14 Z20 I2 K0", "G1 X14"),
    ):
        text = text.replace(old, new)
    return head + text.split("%\nZ2. anything")[0]


@pytest.mark.parametrize("name", HANDLED)
def test_handled_as_said(name):
    text, wanted, options = HANDLED[name]
    out = apply(text, wanted, **options)
    check_heights(_for_reference(text, options), _for_reference(out, options), wanted)


@pytest.mark.parametrize("name", HANDLED)
def test_offsets_of_zero_change_nothing(name):
    text, _, options = HANDLED[name]
    assert apply(text, corrections(), **options) == text


def test_one_reason_for_many_blocks_is_told_once_with_the_option_that_settles_it():
    # RS274/NGC knows no unit before G20 or G21 (NISTIR 6556, 3.5.7): all blocks lack the same word.
    with pytest.raises(InputError) as refusal:
        apply("G90 G17\nG0 X10 Y10 Z20\n" + 3 * PASS, LOW)
    (found,) = [one for one in refusal.value.findings if one.code == "unknown-motion"]
    assert "--units mm" in found.text and "blocks after it" in found.text and "Rewrite" not in found.text


def test_what_is_not_counted_in_a_turned_frame_is_named():
    with pytest.raises(InputError, match=r"3 motions under G68, the first in line 5, are not counted"):
        apply(*REFUSED["rotated frame"][:2])


def test_a_floor_that_is_reached_by_a_second_z_axis_alone_is_not_taken_for_cut():
    """W moves along Z in a dialect (from memory): where the cutter is then, nobody here knows."""
    text = HEAD + PASS + "G0 X120 Y20 Z5.\nG1 W-3. F100\nX180\nG0 Z20\n"
    done = apply_offsets(PART, LOW, text.encode(), tools=TOOLS)
    assert "turned-frame" in {finding.code for finding in done.findings} and not done.is_complete


def test_there_are_forty_nasty_programmes():
    assert len(REFUSED) + len(HANDLED) >= 40


def test_floor_to_floor_never_dips_below_either():
    """Over the gap between two raised floors the tool is at least at the programme's Z, and on each at its own."""
    out = run(apply(CROSS, corrections(A=0.1, B=0.3)))
    heights = [(move.end[0], round(move.end[2], 3)) for move in out if move.kind == "line"]
    assert heights[0] == (10.0, 2.1)
    assert heights[-1] == (150.0, 2.3)
    assert all(z >= 2.0 for _, z in heights)


def test_a_block_with_a_comment_gets_its_word_before_the_comment():
    out = apply(HEAD + "G1 Z2. F200\nX150. (last)\nG0 Z20\n", corrections(A=-0.1))
    assert all("Z" not in line.split("(")[1] for line in out.splitlines() if "(" in line)


def test_held_passes_are_taken_out_and_named():
    text = HEAD + "G1 Z2. F200\nX50\nY40\nG0 Z20\nX150 Y10\nZ5\nG1 Z2. F100\nX180\nG0 Z20\n"
    done = apply_offsets(PART, corrections(A=hold("A"), B=0.1), text.encode(), tools=TOOLS, held="skip")
    below = [line for line in done.data.decode().splitlines() if "FLOORFIT" not in line]
    moves = run("\n".join(below))
    low = [move for move in moves if move.end[2] < 3 and move.end[0] < 101]
    assert not low
    assert min(move.end[2] for move in moves) == pytest.approx(2.1)
    # One pass does not cut all of a floor.
    assert {finding.code for finding in done.findings} - {"floor-uncut"} == {"skipped"}
    assert "lines 4 to 6" in done.findings[0].place


def test_of_a_programme_for_held_floors_alone_no_pass_is_left():
    """Nothing of it lies on a floor any more, and it was this part's all the same."""
    text = HEAD + "G1 Z2. F200\nX50\nY40\nG0 Z20\nM30\n"
    done = apply_offsets(PART, corrections(A=hold("A")), text.encode(), tools=TOOLS, held="skip")
    assert b"Z2." not in done.data
    assert not done.is_complete and "skipped" in {finding.code for finding in done.findings}


def test_held_passes_are_taken_out_before_a_block_of_places_alone():
    """RS274/NGC, 3.4: G1 stays in force, so that the lift off a held floor may be a Z word and nothing else."""
    visit = "Z5.\nG1 Z2. F200\nX60.\nY40.\n"
    text = HEAD + visit + "Z8.\nX30. Y30.\nG0 Z20\nX120. Y20.\nZ5.\nG1 Z2.\nX160.\nG0 Z20\n"
    out = apply(text, corrections(A=hold("A"), B=0.1), held="skip", tools=TOOLS)
    assert "Z8.\nX30. Y30.\nG0 Z20\nX120. Y20.\nZ5.\nG1 Z2.100\nX160.\n" in out
    assert "G1 X60.000 Y40.000" in out and "G1 Z2. F200" not in out


def test_walls_that_must_stay_are_refused():
    """A flank at 5 degrees moved by 0.2 mm goes sideways by 0.2 tan 5 = 0.0175 mm (trigonometry)."""
    text = HEAD + "G1 Z2. A5. F200\nX50\nG0 Z20 A0\n"
    done = apply_offsets(PART, corrections(A=0.2), text.encode(), tools=TOOLS, tip_control=True)
    assert done.pockets[0].sideways == pytest.approx(0.2 * math.tan(math.radians(5)), abs=1e-6)
    with pytest.raises(InputError, match="sideways"):
        apply_offsets(PART, corrections(A=0.2), text.encode(), tools=TOOLS, tip_control=True, walls="keep")


@pytest.mark.parametrize(
    "text", ["G1 Z2.15 F200\nX50\n", "G0 Z2.1\nG1 X20 Z2. F200\nX50\n", "G1 Z2. F200\nX20\nX50 Z2.1\n"]
)
def test_what_is_close_above_a_raised_floor_moves_with_it(text):
    """A pass 0.15 above, and ramps from 0.1 above: nothing comes lower than the raised floor (2.3)."""
    wanted = corrections(A=0.3)
    done = apply_offsets(PART, wanted, (HEAD + text + PASS).encode(), tools=TOOLS)
    moves = run("\n".join(line for line in done.data.decode().splitlines() if "FLOORFIT" not in line))
    assert min(move.end[2] for move in moves) == pytest.approx(2.3)


def test_corrections_of_another_part_are_refused():
    with pytest.raises(InputError, match="not those of this part"):
        apply_offsets(PART, {"A": shift("A", 0.1)}, b"G21\n")


def test_an_offset_below_the_decimals_is_not_lost():
    """dz less than half a unit of the last decimal is written with more decimals, not rounded away."""
    out = run(apply(HEAD + PASS, corrections(A=0.0004)))
    assert min(move.end[2] for move in out) == pytest.approx(2.0004, abs=1e-9)


def test_a_roll_onto_a_floor_is_shifted_whole():
    """Start and end of an arc in G18 move by the same dz, so that I and K (relative) still fit."""
    text = HEAD + "G1 Z4. F200\nG18 G3 X12 Z2. I2 K0\nG17 G1 X50\nG18 G3 X52 Z4. I0 K2\nG17 G0 Z20\n"
    out = apply(text, LOW).splitlines()
    assert [line for line in out if "K" in line] == ["G18 G3 X12 Z1.880 I2 K0", "G18 G3 X52 Z3.880 I0 K2"]
    assert "G1 Z3.880 F200" in out
    assert "G17 G0 Z20" in out


@pytest.mark.parametrize("name", ["parameter as Z", "spline", "while loop round a floor", "M98 call on a floor"])
def test_what_is_refused_passes_where_nothing_is_to_change(name):
    text = REFUSED[name][0]
    assert apply(text, corrections()) == text
