"""The comment lines at the head of a corrected programme."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

__all__ = ["MARK", "has_header", "header_lines", "header_place", "line_end"]

#: Begins every line of the header, so that a later run knows a programme that was corrected already.
MARK = "FLOORFIT:"

_CAUTIONS = (
    "Z words over pocket floors were changed. Nothing else was.",
    "Simulate, then prove out above the part.",
    "Licensed and local practice decides. Do not apply twice.",
)
#: Text characters in a header line: well inside the 256 of a block (NISTIR 6556, 3.3).
_WIDTH = 90


def has_header(lines: Sequence[str]) -> bool:
    """Return whether the programme was corrected before."""
    return any(MARK in line for line in lines[:100])


def header_place(lines: Sequence[str]) -> int:
    """Return the line index in front of which the header goes: after leading ``%`` and programme number lines."""
    place = 0
    for index, line in enumerate(lines[:20]):
        text = line.lstrip("\xef\xbb\xbf").strip()
        if text.startswith("%") or re.match(r"[oO:]\s*\d+\s*(\(.*\)|;.*)?$", text):
            place = index + 1
        elif text:
            break
    return place


def header_lines(lines: Sequence[str], facts: Sequence[str], notes: Sequence[str] = ()) -> list[str]:
    """Return the header in the comment style and line ends of the programme.

    Parameters
    ----------
    lines : sequence of str
        The programme.
    facts, notes : sequence of str
        Lines before and behind the cautions: job, date, name and SHA-256 of the input; further lines.
    """
    semicolon = not any("(" in line for line in lines) and any(";" in line for line in lines)
    style = "; {} {}" if semicolon else "({} {})"
    return [style.format(MARK, plain(text)) + line_end(lines) for text in (*facts, *_CAUTIONS, *notes)]


def line_end(lines: Sequence[str]) -> str:
    """Return how the first line ends that has an end."""
    return next((line[len(line.rstrip("\r\n")) :] for line in lines if line.endswith(("\n", "\r"))), "\n")


def plain(text: str) -> str:
    """Return text that is safe inside a comment: ASCII, no brackets, no line ends, cut to the width."""
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "replace").decode()
    return re.sub(r"[()\[\];%\x00-\x1f\x7f]", " ", flat)[:_WIDTH].strip()
