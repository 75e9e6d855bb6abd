"""The comment lines at the head of a corrected programme."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

__all__ = ["MARK", "has_header", "header_lines", "header_place"]

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


def header_lines(
    lines: Sequence[str], *, job: str, created: str, input_name: str, digest: str, notes: Sequence[str] = ()
) -> list[str]:
    """Return the header in the comment style and line ends of the programme.

    Parameters
    ----------
    lines : sequence of str
        The programme.
    job, created, input_name, digest : str
        Job id, date, name and SHA-256 of the input.
    notes : sequence of str
        Further lines.
    """
    texts = [f"job {job}", f"date {created}", f"input {input_name}", f"sha256 {digest}", *_CAUTIONS, *notes]
    semicolon = not any("(" in line for line in lines) and any(";" in line for line in lines)
    end = next((line[len(line.rstrip("\r\n")) :] for line in lines if line.endswith(("\n", "\r"))), "\n")
    style = "; {} {}" if semicolon else "({} {})"
    return [style.format(MARK, plain(text)) + end for text in texts]


def plain(text: str) -> str:
    """Return text that is safe inside a comment: ASCII, no brackets, no line ends, cut to the width."""
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "replace").decode()
    return re.sub(r"[()\[\];%\x00-\x1f\x7f]", " ", flat)[:_WIDTH].strip()
