"""The table of pockets as text: columns that line up whatever stands in them."""

from __future__ import annotations

from floorfit.report.format import display_for
from floorfit.report.listing import headings, in_columns

ROW = ["shift", "+0.063", "0.011", "1.928…2.072", "+0.028", "1.000", "8", "conform"]


def test_words_begin_and_numbers_end_at_one_place() -> None:
    # Three signs and three wide ones: 仕切り takes six columns (Unicode Standard Annex 11, class W).
    lines = in_columns([headings(display_for("mm")), ["P16", *ROW], ["仕切り", *ROW]])
    assert lines[0].startswith("pocket action") and lines[1].startswith("P16    shift")
    assert lines[2].startswith("仕切り shift")
    ends = [line.index(word) + len(word) for line, word in zip(lines, ("margin", "+0.028", "+0.028"), strict=True)]
    assert ends[0] == ends[1] == ends[2] + 3


def test_a_long_id_is_cut_and_the_line_stays_within_a_screen() -> None:
    name = "bay between frames 12 and 13"
    (line,) = in_columns([[name, *ROW]])
    assert line.startswith("bay between f… shift")  # 14 signs, the last one for what is left out
    assert len(line) <= 80  # a terminal's width (common practice, no source)
