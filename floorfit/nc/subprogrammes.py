"""What of a file does not run, and what it calls that stands in another file."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from floorfit.errors import Finding
from floorfit.nc.motions import Motions
from floorfit.nc.unrolled import REPEATS

__all__ = ["COMMENT", "behind_end", "jumps_to", "unseen_calls"]

#: The start of a programme, an axis word, and comments, where no block is read.
_LABEL, _AXIS_WORD, COMMENT = (
    re.compile(r"\s*([O:]\d+)"),
    re.compile(r"(?<![A-Z])[XYZ][ \t]*[-+]?[\d.\[#]"),
    re.compile(r"\([^()]*\)|;.*"),
)
#: Jumps by number or by a parameter (dialects, from memory), and the number of a block.
_JUMP = re.compile(r"(?:GOTO|M0*99[ \t]*P)[ \t]*(?:0*(\d+)|[\[#])", re.IGNORECASE)
_NUMBER = re.compile(r"^[ \t]*(?:/[ \t]*)?N[ \t]*0*(\d+)", re.IGNORECASE | re.MULTILINE)


def jumps_to(lines: Sequence[str]) -> frozenset[int]:
    """Lines that a jump may lead to, from 0: nothing is known there of what ran before.

    Parameters
    ----------
    lines : sequence of str
    """
    targets = set(_JUMP.findall("".join(lines)))
    numbers = {number: found[1] for number, line in enumerate(lines) if targets and (found := _NUMBER.match(line))}
    return frozenset(number for number, name in numbers.items() if "" in targets or name in targets)


def behind_end(lines: Sequence[str], first: int, source: str, *, is_behind: bool = False) -> list[Finding]:
    """Blocks behind the end are not read: an error where they are a programme that moves the tool, else a warning.

    Parameters
    ----------
    lines : sequence of str
    first : int
        The line behind the end.
    source : str
        Name of the programme.
    is_behind : bool
        Whether the second line of ``%`` stands before that one.
    """
    label = ""
    for number in range(first, len(lines)):
        text = COMMENT.sub("", lines[number]).upper()
        is_behind = is_behind or text.lstrip().startswith("%")
        found = _LABEL.match(text)
        label = found[1] if found else label
        if not _AXIS_WORD.search(text):
            continue
        if label and not is_behind:
            told = (
                f"{label} is a programme of its own behind the end of the first, and would be left as it is. Split the "
                "file, and correct each programme."
            )
            return [Finding("second-programme", source, f"line {number + 1}", told)]
        told = "the tool is moved behind the end of the programme: that is left as it is. If it runs, split the file."
        return [Finding("behind-end", source, f"line {number + 1}", told, "warning")]
    return []


def unseen_calls(motions: Motions, keep: Collection[str], source: str) -> list[Finding]:
    """A warning for every programme whose call was not followed, and that is not stated to cut no floor.

    Parameters
    ----------
    motions : Motions
    keep : sequence of str
        Programmes that are stated to cut no floor, as ``"O9000"``.
    source : str
        Name of the programme.
    """
    if not motions.calls:
        return []
    known = {int(digits) for name in keep if (digits := name.strip().lstrip("OoPpLl:")).isdigit()}
    out: dict[float, Finding] = {}
    for row, target in motions.calls:
        if target in known or (target >= REPEATS and target % REPEATS in known):
            continue
        name = "a programme" if target != target else f"O{target:g}"
        text = (
            f"{name} is called and stands in another file: what it cuts is not seen here and gets no offset. Where it "
            f"cuts no floor, say --keep {name}."
        )
        out.setdefault(target, Finding("unseen", source, f"line {motions.line[row] + 1}", text, "warning"))
    return list(out.values())
