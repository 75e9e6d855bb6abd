"""What runs under another state than it is read in, and what is called and stands in another file.

A subprogramme starts in the state of its caller and RS274/NGC gives its words their meaning by that state (NISTIR 6556,
3.5.3 for arcs, 3.5.18 for G92; M98, M99, G51.1, G52, G65 and G68 are dialect, common practice, no source).
"""

import pytest
from nc_cases import PART, TOOLS, corrections, tilt

from floorfit.errors import InputError
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools

HEAD = "G21 G90 G17 G40 G94 G54\nT1 M6\nG0 X10 Y10 Z20\n"
#: A pass over floor A in a subprogramme that states all but what it has from its caller; B cut in the main programme.
PASS = "G0 X10 Y30 Z20\nG1 Z2. F200\nX90\nG0 Z20\n"
SUB = "O1000\nG90 G21 G17 G40 G54\n" + PASS + "M99\n"
MAIN_B = "G0 X110 Y30 Z20\nG1 Z2. F200\nX190\nG0 Z20\n"
BOTH = corrections(A=-0.12, B=0.2)


def apply(text, given=BOTH, tools=TOOLS, **stated):
    return apply_offsets(PART, given, text.encode(), tools=tools, **stated)


def main(calls: str) -> str:
    return HEAD + calls + "G90 G21 G17 G40 G54\n" + MAIN_B + "M30\n" + SUB


@pytest.mark.parametrize(
    "calls",
    [
        # Turned about the middle between the two floors, mirrored there, or half as large: A's numbers are places of B.
        "M98 P1000\nG68 X101 Y30 R180\nM98 P1000\nG69\n",
        "M98 P1000\nG51.1 X101\nM98 P1000\nG50.1\n",
        "M98 P1000\nG51 X0 Y0 Z0 P0.5\nM98 P1000\nG50\n",
    ],
)
def test_runs_in_a_turned_frame_are_written_out_and_left_and_told(calls):
    done = apply(main(calls))
    assert {"written-out", "turned-frame"} <= {one.code for one in done.findings} and not done.is_complete
    assert done.data.count(b"G0 X10 Y30 Z20") == 2 and done.data.count(b"G1 Z1.880 F200") == 1
    assert done.data.count(b"G1 Z2. F200") == 1 and b"M98" not in done.data


def test_a_call_whose_number_is_not_known_may_be_of_a_subprogramme_here():
    with pytest.raises(InputError, match="line 6: the number called depends on the run"):
        apply(main("M98 P1000\nG68 X101 Y30 R180\nM98 P#1\nG69\n"))


def test_a_subprogramme_that_runs_in_a_turned_frame_alone_is_left_and_told():
    done = apply(main("G68 X101 Y30 R180\nM98 P31000\nG69\n"))
    assert "turned-frame" in {one.code for one in done.findings} and not done.is_complete
    assert b"Z1.880" not in done.data and done.data.count(b"Z2.200") == 1


@pytest.mark.parametrize("zero", ["G52 X102 Y0", "G92 X-12"])
def test_floors_cut_by_one_block_in_several_zeros_get_their_own_offsets(zero):
    """B's place in the numbers of A, by a zero 102 mm further."""
    text = HEAD + f"M98 P1000\n{zero}\nM98 P1000\nM30\n" + SUB
    own = apply(text).data
    assert own.count(b"Z1.880") == own.count(b"Z2.200") == 1 and own.find(b"Z1.880") < own.find(b"Z2.200")
    done = apply(text, corrections(A=0.2, B=0.2))
    assert done.data.count(b"Z2.200") == 1 and b"Z2." not in done.data.replace(b"Z2.200", b"")


#: The zero of floor B's pass 100 mm beside the work offset's, so that its numbers are those of floor A's: G52 says
#: where it stands (from memory), G92 calls the place of the tool by another number (NISTIR 6556, 3.5.18); G92.1 ends.
BESIDE = {
    "G52": PASS + "G52 X100. Y0\n" + PASS + "G52 X0 Y0\n",
    "G52 first": "G52 X100. Y0\n" + PASS + "G52 X0 Y0\n" + PASS,
    "G92": PASS + "G0 X100. Y0\nG92 X0 Y0\n" + PASS + "G92.1\n",
    "G92 twice": PASS + "G0 X60. Y0\nG92 X0 Y0\nG0 X50. Y0\nG92 X10.\n" + PASS + "G92.1\n",
}


@pytest.mark.parametrize("way", BESIDE)
def test_a_zero_that_is_moved_by_a_known_way_is_followed(way):
    """By hand: A is lowered by 0.12 mm and B raised by 0.2, wherever their numbers come from."""
    done = apply(HEAD + BESIDE[way] + "M30\n")
    first, second = (b"Z2.200", b"Z1.880") if way == "G52 first" else (b"Z1.880", b"Z2.200")
    assert 0 < done.data.find(first) < done.data.find(second)
    assert done.data.count(b"Z1.880") == done.data.count(b"Z2.200") == 1
    assert not {one.code for one in done.findings} & {"zero-set", "floor-off"}
    set_first = apply("G10 L2 P1 Z5.\n" + HEAD + BESIDE[way] + "M30\n")
    assert "zero-set" in {one.code for one in set_first.findings}


@pytest.mark.parametrize("way", BESIDE)
def test_a_tilt_is_written_in_the_numbers_of_a_moved_zero(way):
    """By hand: 0.001 a millimetre from X 151, B's middle; the pass ends 39 mm from it, at X 90 of its own zero."""
    done = apply(HEAD + BESIDE[way] + "M30\n", corrections(B=tilt("B", 0.1, 0.001, 0.0)), Tools({1: Cutter(0.5)}))
    assert done.data.count(b"X90 Z2.1") == 1 and done.data.count(b"X90\n") == 1


def test_a_subprogramme_under_two_cutters_is_written_out_where_it_states_none():
    """A flat end of 16 mm on a tilt of 0.002 stands 0.016 mm higher than the tip of a point: radius times slope."""
    given = corrections(A=tilt("A", 0.05, 0.002, 0.0))
    text = main("M98 P1000\nT2 M6\nM98 P1000\n")
    out = apply(text, given, Tools({1: Cutter(8.0), 2: Cutter(2.0)})).data.decode()
    # By hand: 2 + 0.05 - 0.002 * 40 at X 10, and the radius times the slope.
    assert out.find("Z1.986") < out.find("T2 M6") < out.find("Z1.974")
    own = text.replace("O1000\n", "O1000\nT1 M6\n")
    assert apply(own, given, Tools({1: Cutter(8.0), 2: Cutter(2.0)})).changed_blocks > 0


def test_a_subprogramme_called_in_one_state_is_corrected_once():
    done = apply(main("M98 P1000\nM98 P21000\n"))
    assert done.data.count(b"Z1.880") == 1 and done.data.count(b"Z2.200") == 1
    assert "unseen" not in {finding.code for finding in done.findings}


def test_a_call_of_another_file_leaves_open_what_it_cuts_until_that_is_stated():
    floors = corrections(A=-0.12)
    text = HEAD + "M98 P9000\nG0 X10 Y10 Z20\n" + PASS
    done = apply(text, floors)
    assert [one.place for one in done.findings if one.code == "unseen"] == ["line 4"]
    assert not done.is_complete
    assert "unseen" not in {one.code for one in apply(text, floors, keep=["O9000"]).findings}
    assert "unseen" in {one.code for one in apply(text, floors, keep=["O9001"]).findings}


def test_a_modal_macro_runs_behind_every_motion_and_is_no_plain_motion():
    with pytest.raises(InputError, match="G66"):
        apply(HEAD + "G66 P9100\n" + PASS + "G67\n")


@pytest.mark.parametrize(
    "between",
    [
        # Dialects, from memory: G10 L10 and L11 set the length of tool 1, #2001 holds it; G43 H takes it.
        "G10 L10 P1 R0.3\nG43 H1 Z20\n",
        "G10 L11 P1 R-0.1\nG43 H1 Z20\n",
        "#2001=0.3\nG43 H1 Z20\n",
        "#11001=0.3\nG43 H1 Z20\n",
    ],
)
def test_a_tool_made_longer_between_two_cuts_moves_the_surface(between):
    with pytest.raises(InputError, match="another zero than the first cut"):
        apply(HEAD + "G43 H1 Z20\n" + PASS + between + MAIN_B)


def test_the_length_of_the_next_tool_set_between_two_cuts_moves_nothing():
    text = HEAD + "G43 H1 Z20\n" + PASS + "G10 L10 P2 R120.\nT2 M6\nG43 H2 Z20\n" + MAIN_B
    assert apply(text).changed_blocks == 2


def test_one_tool_under_two_length_offsets_is_refused():
    with pytest.raises(InputError, match="under H1 and H11"):
        apply(HEAD + "G43 H1 Z20\n" + PASS + "G43 H11 Z20\n" + MAIN_B)
    with pytest.raises(InputError, match="H1 and no length offset"):
        apply(HEAD + "G43 H1 Z20\n" + PASS + "G49 Z20\n" + MAIN_B)


@pytest.mark.parametrize(("length", "is_shared"), [("G43 H1 Z20\n", True), ("G43 H2 Z20\n", False), ("", True)])
def test_two_tools_under_one_length_offset_are_asked_about(length, is_shared):
    """A tool is as long as its own offset says; G43 holds until another is stated (NISTIR 6556, table 4: modal)."""
    done = apply(HEAD + "G43 H1 Z20\n" + PASS + f"T2 M6\n{length}" + MAIN_B)
    assert ("length-shared" in {one.code for one in done.findings}) is is_shared
    assert not (is_shared and done.is_complete)


def test_a_cycle_of_a_dialect_that_goes_down_is_asked_about():
    """G12 and G13 mill a round pocket at the depth of their Z (dialect, from memory): from Z 20 to the floor itself."""
    with pytest.raises(InputError, match="G13 is a motion that this reader does not know"):
        apply(HEAD + "X150 Y30\nG13 I5. D1 Z2. F300\nG0 Z20\n" + PASS)


#: Calls in two states, and what the subprogramme states where it is to be free of its caller's.
STATES = [
    ("G55\nM98 P1000\nG54\nM98 P1000\n", "", None),
    ("G43 H1 Z20\nM98 P1000\nG43 H2 Z20\nM98 P1000\n", "G43 H1\n", "under H1 and H2"),
    ("G43 H1 Z20\nM98 P1000\nG43 H1 Z20\nM98 P1000\n", "", None),
]


@pytest.mark.parametrize(("calls", "own", "why"), STATES)
def test_what_a_subprogramme_states_itself_is_not_its_callers(calls, own, why):
    """G54 to G59 and G43 are modal (NISTIR 6556, table 4): a word here replaces the caller's."""
    text = HEAD + calls + "M30\n" + SUB
    if why is not None:
        with pytest.raises(InputError, match=why):
            apply(text)
    done = apply(text.replace("G40 G54\n" + PASS, "G40 G54\n" + own + PASS))
    assert done.data.count(b"Z1.880") == 1


def test_behind_the_second_percent_nothing_is_read():
    """A file between two lines of % ends at the second (NISTIR 6556, 3.1: from memory)."""
    first, second = "%\nO1\n" + HEAD + PASS + "M30\n", "O2\n" + HEAD + PASS + "M30\n"
    assert apply(first + "%\n" + second).changed_blocks == 1
    with pytest.raises(InputError, match="O2 is a programme of its own"):
        apply(first + second + "%\n")


@pytest.mark.parametrize("second", ["O2 G1 X5. F100\n", "O2 G90 G0 X5. Y5.\nO2 G1 Z2. F100\n", ":2 G1 Z 2.\n"])
def test_a_second_programme_that_moves_on_its_own_line_is_refused(second):
    """A programme number may stand in front of other words (ISO 6983-1, from memory)."""
    with pytest.raises(InputError, match="2 is a programme of its own"):
        apply(HEAD + PASS + "M30\n" + second)


@pytest.mark.parametrize("tail", ["G0 X20 Y20\nG1 Z2. F100\n", "<SIDE2>\nG1 Z2. F100\n", "%\n%\nO2\nG1 Z2. F100\n%\n"])
def test_motion_behind_the_end_is_told(tail):
    """M30 ends the programme (NISTIR 6556, 3.6.1); a file of several is common practice, no source."""
    done = apply("%\n" + HEAD + PASS + MAIN_B + "M30\n" + tail)
    assert "behind-end" in {one.code for one in done.findings}
    assert not done.is_complete


@pytest.mark.parametrize("tail", ["%\nCHECKED OK\n", "(X5. Y5.)\n%\n", "O2 (X AND Y)\n", "\n\n"])
def test_what_moves_nothing_behind_the_end_is_not_told(tail):
    assert "behind-end" not in {one.code for one in apply(HEAD + PASS + "M30\n" + tail).findings}


@pytest.mark.parametrize("call", ["L100", "N50 L100", "L100 P2", "l 100"])
def test_a_call_by_its_number_alone_leaves_open_what_it_cuts(call):
    """``L100`` calls subprogramme 100 in a dialect, with P as often as it says (from memory)."""
    done = apply(HEAD + PASS + call + "\nG0 Z20\n" + MAIN_B)
    assert [one.place for one in done.findings if one.code == "unseen"] == ["line 8"]
    assert not done.is_complete
    assert "unseen" not in {one.code for one in apply(HEAD + call + "\n" + PASS, keep=["L100"]).findings}
    with pytest.raises(InputError, match="L100 called another programme"):
        apply(HEAD + PASS + call + "\nG1 Z2. F200\nX60\nG0 Z20\n")


def test_an_l_word_in_a_cycle_is_no_call():
    """L repeats a cycle (NISTIR 6556, 3.5.16)."""
    done = apply(HEAD + PASS + MAIN_B + "G91 G99 G81 X-5. Z-1. R-1. L2 F100\nL2\nG90 G80\nG0 Z20\n")
    assert "unseen" not in {one.code for one in done.findings}


#: What a subprogramme leaves behind it, by the words it ends with, and what is said of the cut that follows. Modes hold
#: until another word of their group (NISTIR 6556, 3.4), whoever said it; M98, M99, G52, G65, G68: dialects, no source.
LEFT = {
    "G55": "several work offsets",
    "G52 Z-0.5": "0.500 mm below the programmed floor",
    "G92 Z20.5": "0.500 mm below the programmed floor",
    "G10 L2 P1 Z-0.5": "another zero than the first cut",
    "#5223=-0.5": "another zero than the first cut",
    "G43 H2": "under H1 and H2",
    "M98 P2000\nM99\nO2000\nG52 Z-0.5": "0.500 mm below the programmed floor",
}


@pytest.mark.parametrize("left", LEFT)
@pytest.mark.parametrize("call", ["M98 P1000", "G65 P1000", "M98 P11000", "L1000"])
def test_what_a_subprogramme_leaves_in_force_holds_behind_its_call(left, call):
    text = HEAD + "G43 H1 Z20\n" + PASS + call + "\n" + MAIN_B + f"M30\nO1000\nG0 Z20\n{left}\nM99\n"
    match = LEFT[left].replace("M98", call.split()[0])
    with pytest.raises(InputError, match=match):
        apply(text)


@pytest.mark.parametrize("left", ["G68 X101 Y30 R180", "G51.1 X101"])
def test_a_frame_that_a_subprogramme_leaves_turned_is_not_the_parts(left):
    done = apply(HEAD + PASS + "M98 P1000\n" + MAIN_B + f"M30\nO1000\nG0 Z20\n{left}\nM99\n")
    assert "turned-frame" in {one.code for one in done.findings} and not done.is_complete


@pytest.mark.parametrize("body", ["G91\nG0 Z5.\nG90", "G52 X0 Y0", "G43 H1", "G54", "G91\nM98 P2000\nM99\nO2000\nG90"])
def test_a_subprogramme_that_leaves_all_as_it_was_changes_nothing(body):
    done = apply(HEAD + "G43 H1 Z20\n" + PASS + "M98 P1000\n" + MAIN_B + f"M30\nO1000\n{body}\nM99\n")
    assert done.data.count(b"Z1.880") == 1 and done.data.count(b"Z2.200") == 1


def test_a_mode_that_the_main_programme_states_again_is_not_the_subprogrammes():
    done = apply(HEAD + PASS + "M98 P1000\nG90 G21\n" + MAIN_B + "M30\nO1000\nG20 G91\nM99\n")
    assert done.data.count(b"Z2.200") == 1


@pytest.mark.parametrize("left", ["G91", "G20\nG91"])
@pytest.mark.parametrize("call", ["M98 P1000", "G65 P1000", "M98 P11000", "L1000"])
def test_what_follows_a_call_runs_in_the_distance_mode_that_it_left(left, call):
    """By hand: from (90, 30, 20) in increments, X110 Y30 Z20 leads far beside the part, and no floor B is cut there."""
    done = apply(HEAD + PASS + call + "\n" + MAIN_B + f"M30\nO1000\nG0 Z20\n{left}\nM99\n")
    assert done.data.count(b"Z1.880") == 1 and b"Z2.200" not in done.data
    assert not done.is_complete


@pytest.mark.parametrize(
    ("jump", "why"),
    [("IF [#1 EQ 1] GOTO 5\nN5", "a jump may lead here"), ("/G90", "with the optional .* block run or")],
)
def test_modes_of_a_subprogramme_with_jumps_are_not_known_behind_it(jump, why):
    with pytest.raises(InputError, match=why):
        apply(HEAD + PASS + "M98 P1000\n" + MAIN_B + f"M30\nO1000\nG91\n{jump}\nM99\n")


@pytest.mark.parametrize("end", ["", "G91 G28 Z0\n", "G55\n", "G41 D1\n", "T2 M6\n"])
def test_a_subprogramme_begins_with_what_is_in_force_at_its_call(end):
    """Not with what the file says last before it: the end of the main programme."""
    text = HEAD + "M98 P1000\n" + MAIN_B + end + "M30\nO1000\n" + PASS + "M99\n"
    done = apply(text, tools=Tools({1: Cutter(1.0), 2: Cutter(8.0)}))
    assert done.data.count(b"Z1.880") == 1 and done.data.count(b"Z2.200") == 1


@pytest.mark.parametrize(
    ("calls", "order"),
    [
        ("M98 P1000\nG91\nM98 P1000\nG90\n", ("Z1.880", "G91", "Z2.", "G90", "Z2.200")),
        ("M98 P1000\nG20\nM98 P1000\nG21\n", ("Z1.880", "G20", "Z2.", "G21", "Z2.200")),
        ("G52 Z15.\nM98 P1000\nG52 Z0\nM98 P1000\n", ("G52 Z15.", "Z2.", "G52 Z0", "Z1.880", "Z2.200")),
    ],
)
def test_a_subprogramme_that_runs_in_two_modes_is_written_out(calls, order):
    """Its other run is in the air: in increments from Z 20, in inches, or 15 mm higher."""
    done = apply("%\n" + HEAD + calls + MAIN_B + "M30\nO1000\n" + PASS + "M99\n%\n")
    rest = done.data.decode()
    for one in order:
        assert one in rest, done.data
        rest = rest.partition(one)[2]
    assert done.data.endswith(b"M30\n%\n") and "written-out" in {one.code for one in done.findings}


def test_a_subprogramme_under_two_work_offsets_is_refused():
    with pytest.raises(InputError, match=r"line 15: .*several work offsets .G54 from line 15, G55 from line 15"):
        apply(HEAD + "M98 P1000\nG55\nM98 P1000\nG54\n" + MAIN_B + "M30\nO1000\n" + PASS + "M99\n")


def test_the_second_run_of_a_subprogramme_begins_with_what_the_first_left():
    """L2 runs it twice, the second time in increments, above the part (common practice, no source)."""
    done = apply(HEAD + "M98 P1000 L2\nG90\n" + MAIN_B + "M30\nO1000\n" + PASS + "G91\nM99\n").data
    assert 0 < done.find(b"Z1.880") < done.find(b"G91") < done.find(b"Z2. ") < done.find(b"G90\n")


#: One pass over floor A, called in every way; the file is the same but for the Z of its plunge (M97, L: dialects, from
#: memory; O sub and O call: RS274/NGC, 3.7).
CALLED = {
    "M98 L2": HEAD + "M98 P1000 L2\n" + MAIN_B + "M30\nO1000 (A)\n" + PASS + "M99\n",
    "P with repeats": HEAD + "M98 P21000\n" + MAIN_B + "M30\nO1000 (A)\n" + PASS + "M99",
    "M97": HEAD + "M97 P50\n" + MAIN_B + "M30\nN50 (A)\n" + PASS + "M99\n",
    "L": HEAD + "N10 L1000 P2\n" + MAIN_B + "M30\nO1000\n" + PASS + "M17\n",
    "O sub": "o100 sub\n" + PASS + "o100 endsub\n" + HEAD + "o100 call\n" + MAIN_B + "M2\n",
    "O sub by name": "O<a pass> sub\n" + PASS + "O<a pass> endsub\n" + HEAD + "O<a pass> call [1]\n" + MAIN_B + "M2\n",
    "G65": HEAD + "G65 P1000 A1. X5.\n" + MAIN_B + "M30\nO1000\n" + PASS + "M99\n",
    "nested": HEAD + "M98 P1\n" + MAIN_B + "M30\nO1\nM98 P2 L2\nM99\nO2\n" + PASS + "M99\n",
    "motion beside": HEAD + "G0 X20 M98 P1000\n" + MAIN_B + "M30\nO1000\n" + PASS + "G0 Z30 M99\n",
    "in increments": HEAD + "G90 G0 X10 Y30 Z20\nM98 P1000\n" + MAIN_B
    + "M30\nO1000\nG91\nG1 Z-18. F200\nX80\nG0 Z18.\nG90\nM99\n",
}  # fmt: skip


@pytest.mark.parametrize("name", CALLED)
def test_a_subprogramme_is_followed_where_it_is_called(name):
    text = CALLED[name]
    done = apply(text)
    out = b"".join(line for line in done.data.splitlines(keepends=True) if b"FLOORFIT:" not in line).decode()
    assert out.replace("Z1.880", "Z2.").replace("Z2.200", "Z2.").replace("Z-18.120", "Z-18.").replace(
        "Z18.120", "Z18."
    ) == text  # fmt: skip
    assert done.data.count(b"Z1.880") + done.data.count(b"Z-18.120") == 1 and done.data.count(b"Z2.200") == 1
    assert done.changed_blocks == (3 if "increments" in name else 2)


def test_depth_in_the_main_programme_and_the_way_in_a_subprogramme():
    """One way at two depths: 0.5 above the floor it stays, on the floor the plunge in the main programme moves."""
    way = "X90\nY35\nX10\n"
    text = HEAD + "G0 X10 Y30\nG1 Z2.5 F200\nM98 P7\nG0 Z20\nX10 Y30\nG1 Z2.\nM98 P7\nG0 Z20\n" + MAIN_B
    done = apply(text + "M30\nO7\n" + way + "M99\n")
    assert done.data.count(b"G1 Z2.5 F200") == done.data.count(b"G1 Z1.880\n") == 1
    assert way.encode() in done.data


def test_one_way_over_two_floors_with_two_offsets_is_written_out():
    """In increments from two places, 102 mm from each other: A goes down and B up."""
    way = "O7\nG91\nG1 Z-18. F200\nX80\nG0 Z18.\nG90\nM99\n"
    calls = "G0 X10 Y30 Z20\nM98 P7\nG0 X112 Y30\nM98 P7\nM30\n"
    own = apply(HEAD + calls + way).data
    assert own.count(b"Z-18.120") == own.count(b"Z18.120") == own.count(b"Z-17.800") == own.count(b"Z17.800") == 1
    assert apply(HEAD + calls + way, corrections(A=0.2, B=0.2)).data.count(b"Z-17.800") == 1


def test_calls_that_do_not_end_are_refused():
    with pytest.raises(InputError, match="do not end"):
        apply(HEAD + PASS + "M98 P7\nM30\nO7\nM98 P7\nM99\n")


def test_a_subprogramme_that_is_never_called_and_cuts_is_not_left_without_a_word():
    with pytest.raises(InputError, match="O8 is a programme of its own"):
        apply(HEAD + "M98 P7\nM30\nO7\n" + PASS + "M99\nO8\n" + MAIN_B + "M99\n")


@pytest.mark.parametrize(("first", "second", "is_asked"), [("1", "2", False), ("2", "1", True), ("21", "22", False)])
def test_lengths_of_two_tools_that_seem_exchanged_are_asked_about(first, second, is_asked):
    """H of a tool is by custom its number, or its number and another (common practice, no source)."""
    done = apply(HEAD + f"G43 H{first} Z20\n" + PASS + f"T2 M6\nG43 H{second} Z20\n" + MAIN_B)
    assert ("length-shared" in {one.code for one in done.findings}) is is_asked


def test_steps_down_by_one_subprogramme_move_with_their_floor_in_a_band_that_holds_them():
    """By hand: from Z 3 in two steps of 0.5 mm to the floor at Z 2; all go up by 0.2 with the first block."""
    main_a = HEAD + "Z4\nG1 Z3. F200\nM98 P1000\nM98 P1000\nG90 G0 Z20\nM30\n"
    sub = "O1000\nG91\nG1 Z-0.5\nX80\nX-80\nM99\n"
    own = apply(main_a + sub, corrections(A=0.2)).data
    assert own.find(b"Z3. F200") < own.find(b"Z-0.5") < own.find(b"Z-0.300")
    done = apply(main_a + sub, corrections(A=0.2), band_mm=1.0).data.decode()
    assert "G1 Z3.200 F200\n" in done and done.endswith(sub)


def test_runs_of_a_macro_that_want_several_offsets_are_refused_with_the_line():
    """G65 gives a subprogramme parameters of its own (dialect, no source): its blocks cannot stand alone."""
    way = "O7\nG91\nG1 Z-18. F[200*#1]\nX80\nG0 Z18.\nG90\nM99\n"
    with pytest.raises(InputError, match="line 11: this block runs more than once"):
        apply(HEAD + "G0 X10 Y30 Z20\nG65 P7 A1.\nG0 X112 Y30\nG65 P7 A2.\nM30\n" + way)


@pytest.mark.parametrize("call", ["M98 P7", "G65 P7", "L7", "O7 call"])
def test_calls_of_every_kind_are_written_out(call):
    way = "G91\nG1 Z-18. F200\nX80\nG0 Z18.\nG90\n"
    calls = f"G0 X10 Y30 Z20\n{call}\nG0 X112 Y30\n{call}\nM30\n"
    text = f"O7 sub\n{way}O7 endsub\n" + HEAD + calls if "O" in call else HEAD + calls + f"O7\n{way}M99\n"
    out = apply(text).data.decode().partition("T1 M6\n")[2]
    first, second = (way.replace("18.", depth) for depth in ("18.120", "17.800"))
    assert out == f"G0 X10 Y10 Z20\nG0 X10 Y30 Z20\n{first}G0 X112 Y30\n{second}M30\n"
