"""The header: where it goes and what it must not break."""

from __future__ import annotations

import pytest

from floorfit.nc.header import MARK, has_header, header_lines, header_place, plain

GIVEN = ("job j", "date d", "input i", "sha256 s")


@pytest.mark.parametrize(
    ("lines", "place"),
    [
        (["G21\n"], 0),
        (["%\n", "O100 (NAME)\n", "G21\n"], 2),
        (["\xef\xbb\xbf%\n", "G21\n"], 1),
        (["\n", "%\n", "\n", ":7\n", "G21\n"], 4),
        (["(a comment)\n", "%\n"], 0),
    ],
)
def test_place(lines, place):
    assert header_place(lines) == place


def test_the_style_of_comment_and_line_end_is_the_programmes():
    assert all(line.startswith("; ") and line.endswith("\r\n") for line in header_lines(["G21 ; mm\r\n"], GIVEN))
    assert all(line.startswith("(") and line.endswith(")\n") for line in header_lines(["G21\n"], GIVEN))


def test_text_in_a_comment_is_plain():
    """NISTIR 6556, 3.3.4: no nesting; 3.3: at most 256 characters in a line."""
    text = plain("Tür (a) [b] ;%\n" + "x" * 300)
    assert text.isascii()
    assert not set(text) & set("()[];%\n")
    assert len(text) <= 90


def test_a_corrected_programme_is_known_again():
    assert has_header(header_lines(["G21\n"], GIVEN))
    assert MARK.isascii()
