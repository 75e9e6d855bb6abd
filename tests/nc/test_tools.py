"""Which cutter is in the spindle: from the command line, a table, or comments."""

from __future__ import annotations

import pytest
from nc_cases import apply, corrections, tilt

from floorfit.errors import InputError
from floorfit.nc.cutter import Cutter
from floorfit.nc.reader import read_motions
from floorfit.nc.tools import Tools, joined, read_tool_comments, read_tool_table, tool_of


@pytest.mark.parametrize(
    ("text", "number", "cutter"),
    [
        ("1=16", 1, Cutter(8.0)),
        ("T12=16,0.5", 12, Cutter(8.0, 0.5)),
        ("t3 = 12 , 6", 3, Cutter(6.0, 6.0)),
        ("20", None, Cutter(10.0)),
    ],
)
def test_a_tool_is_a_number_a_diameter_and_a_corner(text, number, cutter):
    assert tool_of(text) == (number, cutter)


@pytest.mark.parametrize(
    "text", ["", "1=", "1=-16", "1=0", "1=16,9", "1=16,-1", "x=16", "1=16;0.5", "1=1600", "1=1.2.3"]
)
def test_what_is_no_cutter_is_refused(text):
    with pytest.raises(InputError, match="--tool"):
        tool_of(text)


def test_a_table_in_inches_with_a_corner(tmp_path):
    """1 in is 25.4 mm exactly."""
    path = tmp_path / "tools.csv"
    path.write_text("# the shop's own\ntool,diameter_in,corner_in\nT1,1.0,\n2,0.5,0.125\n", encoding="utf-8")
    table = read_tool_table(path)
    assert table == {1: Cutter(12.7), 2: Cutter(6.35, 3.175)}


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("number,size\n1,16\n", "line 1"),
        ("tool,diameter_mm\n1,16\n1,12\n", "line 3"),
        ("tool,diameter_in,corner_mm\n1,0.625,0.5\n", "line 1"),
        ("tool,diameter_mm,corner\n1,16,0.5\n", "line 1"),
        ("tool,diameter_mm,corner_mm\n1,16,20\n", "line 2"),
        ("tool,diameter_mm\n1,\n", "line 2"),
        ("tool,diameter_mm\none,16\n", "line 2"),
        ("", "line 1"),
    ],
)
def test_a_bad_table_is_refused_with_its_line(tmp_path, text, place):
    path = tmp_path / "tools.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=f"tools.csv, {place}"):
        read_tool_table(path)


def test_a_table_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="Check the path"):
        read_tool_table(tmp_path / "none.csv")


def test_comments_by_the_rule_that_the_user_states():
    lines = ["O1", "(T1  D=16.0 CR=0.5 - END MILL)", "T1 M6", "(T2 D=12. CR=6. - BALL)", "(T3 IS A PROBE)"]
    assert read_tool_comments(lines, "(T{T} D={D} CR={R}", "p.nc") == {1: Cutter(8.0, 0.5), 2: Cutter(6.0, 6.0)}


def test_a_rule_without_number_or_diameter_is_refused():
    with pytest.raises(InputError, match="--tool-comment"):
        read_tool_comments([], "(D={D})", "p.nc")


def test_a_comment_with_a_shape_that_no_cutter_has_is_refused_with_its_line():
    with pytest.raises(InputError, match=r"p\.nc, line 2"):
        read_tool_comments(["", "(T1 D=10 CR=6)"], "T{T} D={D} CR={R}", "p.nc")


@pytest.mark.parametrize("words", [["1=16", "1=10"], ["16", "10,0.5"]])
def test_a_tool_said_to_have_two_shapes_is_refused(words):
    with pytest.raises(InputError, match="two shapes"):
        joined([tool_of(one) for one in words])
    assert joined([tool_of(one) for one in (words[0], words[0])]) == joined([tool_of(words[0])])


def test_a_tool_of_two_shapes_in_the_comments_is_refused_with_the_second_line():
    lines = ["(T1 D=16. CR=0.)", "T1 M6", "(T1 D=16.0 CR=0)", "M1", "(T1 D=10. CR=0.)"]
    assert read_tool_comments(lines[:4], "(T{T} D={D} CR={R}", "p.nc") == {1: Cutter(8.0)}
    with pytest.raises(InputError, match=r"p\.nc, line 5: tool 1 has another shape"):
        read_tool_comments(lines, "(T{T} D={D} CR={R}", "p.nc")


def test_what_is_said_one_by_one_goes_before_tables():
    tools = joined([(1, Cutter(5.0)), (None, Cutter(9.0))], {1: Cutter(8.0), 2: Cutter(4.0)}, {2: Cutter(3.0)})
    assert tools.get(1.0) == Cutter(5.0)
    assert tools.get(2.0) == Cutter(4.0)
    assert tools.get(7.0) == Cutter(9.0)


#: A programme's lines, and the number of the tool that cuts at the end of each of its motions.
IN_THE_SPINDLE = [
    (["T1 M6", "G0 X1.", "T2", "X2.", "M6", "X3."], [1, 1, 2]),
    (["T2", "T1 M6", "G0 X1.", "T3", "X2."], [1, 1]),
    (["M6 T1", "T5", "G0 X1."], [1]),
    (["T4", "G0 X1.", "T2", "X2."], [4, 2]),  # a turret, or a change by hand: no M6 in the file
    (["G0 X1.", "T1 M6", "X2."], [-1, 1]),
]


@pytest.mark.parametrize(("lines", "numbers"), IN_THE_SPINDLE)
def test_t_selects_and_m6_puts_it_in_the_spindle(lines, numbers):
    """RS274/NGC (NISTIR 6556), 3.7.3 and 3.6.3: T selects, M6 changes to the tool selected last."""
    motions = read_motions([f"{line}\n" for line in ["G21 G90", *lines]])
    assert Tools.numbers(motions).tolist() == numbers


@pytest.mark.parametrize("z", [2.0, 1.96])
def test_a_cutter_that_is_not_known_is_asked_for_on_a_tilt(z):
    """Under a flat end of radius R a tilt of 0.01 makes 0.01 R of height: 0.08 mm for 16 mm (closed form)."""
    text = f"G21 G17 G90 G94 G40\nT1 M6\nG0 X10. Y10. Z20.\nG1 Z{z} F500\nX90.\nG0 Z20.\nM30\n"
    with pytest.raises(InputError, match=r"line 4: pocket A: .* the cutter of T1 is not known"):
        apply(text, corrections(A=tilt("A", 0.1, 0.01, 0.0)), tools=Tools())
