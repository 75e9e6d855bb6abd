"""Subprogrammes: what a file calls, what of it stands in the file, what runs under another state than as it is read.

The reader takes a subprogramme where it stands, once. What it does not state itself is then as at its call, and that
has to be the same at every call: one offset is written into its blocks, for the place where they are read to be.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

import numpy as np

from floorfit.arrays import Rows
from floorfit.errors import Finding
from floorfit.nc.motions import Modal, Motions
from floorfit.nc.state import FIELD
from floorfit.nc.tip_path import TipPath

__all__ = ["REPEATS", "behind_end", "is_call_of", "labels_of", "other_states", "unseen_calls"]

#: The start of a programme, an axis word, and comments, where no block is read.
_LABEL, _AXIS_WORD, _COMMENT = (
    re.compile(r"\s*([O:]\d+)"),
    re.compile(r"(?<![A-Z])[XYZ][ \t]*[-+]?[\d.\[#]"),
    re.compile(r"\([^()]*\)|;.*"),
)
_STARTS = re.compile(r"^[ \t]*/?[ \t]*[oO:][ \t]*0*(\d+)", re.MULTILINE)
#: A call in dialects may be P with the repeats before the last four digits (from memory).
REPEATS = 10_000


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
        text = _COMMENT.sub("", lines[number]).upper()
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


def labels_of(lines: Sequence[str]) -> frozenset[int]:
    """Numbers of the programmes and subprogrammes that stand in a file."""
    return frozenset(map(int, _STARTS.findall("".join(lines))))


def is_call_of(target: float, number: int) -> bool:
    """Whether a call is of a number; one that is not known may be."""
    return target != target or target == number or (target >= REPEATS and target % REPEATS == number)


def unseen_calls(motions: Motions, lines: Sequence[str], keep: Collection[str], source: str) -> list[Finding]:
    """A warning for every programme that is called, stands in no line here, and is not stated to cut no floor.

    Parameters
    ----------
    motions : Motions
    lines : sequence of str
    keep : sequence of str
        Programmes that are stated to cut no floor, as ``"O9000"``.
    source : str
        Name of the programme.
    """
    if not motions.calls:
        return []
    known = {int(digits) for name in keep if (digits := name.strip().lstrip("OoPpLl:")).isdigit()}
    known |= labels_of(lines)
    out: dict[float, Finding] = {}
    for row, target in motions.calls:
        if any(is_call_of(target, number) for number in known):
            continue
        name = "a programme" if target != target else f"O{target:g}"
        text = (
            f"{name} is called and stands in another file: what it cuts is not seen here and gets no offset. Where it "
            f"cuts no floor, say --keep {name}."
        )
        out.setdefault(target, Finding("unseen", source, f"line {motions.line[row] + 1}", text, "warning"))
    return list(out.values())


def other_states(motions: Motions, path: TipPath, cuts: Rows, touched: Rows) -> list[tuple[int, str]]:
    """Cuts of subprogrammes that run under another state than they are read in, with the reason.

    Parameters
    ----------
    motions, path : Motions, TipPath
        The programme, and its tip in the part's frame.
    cuts, touched : (k,) ndarray of int
        Motions that cut, and those of them on floors that matter: for others cutter and length do not count.
    """
    out = []
    for modal in np.unique(motions.modal[cuts]).tolist():
        state = motions.modals[modal]
        mine = cuts[motions.modal[cuts] == modal]
        here = mine[np.isin(mine, touched)]
        first, number = int((here if len(here) else mine)[0]), state.sub[1:]
        calls = [row for row, target in motions.calls if not number.isdigit() or is_call_of(target, int(number))]
        for row in calls if state.inherited else ():
            why = _difference(motions, path, first, row, is_touched=len(here) > 0)
            if why:
                out.append((first, f"{state.sub} is called in line {motions.line[row] + 1} {why}"))
                break
    return out


def _difference(motions: Motions, path: TipPath, row: int, call: int, *, is_touched: bool) -> str:
    """What a motion has from its caller, and has otherwise where it is read; ``""`` where nothing differs."""
    read, called = motions.modals[motions.modal[row]], motions.modals[motions.modal[call]]
    if "transform" in read.inherited and (called.transform or read.transform):
        return f"under {called.transform or read.transform}"
    if "frame" in read.inherited and called.frame != read.frame:
        return "in another zero"
    for name in read.inherited:
        if name in FIELD and name not in ("transform", "frame") and _of(read, name) != _of(called, name):
            return f"with another mode ({name})"
    if is_touched and "tool" in read.inherited and path.cutter[row] != path.cutter[call]:
        return "with another cutter"
    if is_touched and "length" in read.inherited and called.length != read.length:
        return "under another length offset"
    return ""


def _of(state: Modal, name: str) -> object:
    return getattr(state, FIELD[name])
