"""Take the passes over held floors out of a programme, or say why that cannot be done safely.

A visit is the motion down to the floor, everything on it, and the motion off it. What goes down and along is removed;
one move at the height the tool came from takes its place, so that the motion off the floor starts where it always did.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from floorfit.errors import Finding
from floorfit.nc.floor_bands import MARGIN_MM, CutFloor
from floorfit.nc.motions import ANTICLOCKWISE, CLOCKWISE, CUTTING, LINE, Motions
from floorfit.nc.numbers import decimals_for, in_style
from floorfit.nc.tip_path import TipPath
from floorfit.nc.understood import Understood
from floorfit.nc.words import read_block

__all__ = ["skip_held"]


def skip_held(seen: Understood, floors: Sequence[CutFloor]) -> tuple[list[str], list[Finding]]:
    """Remove every visit to a held floor.

    Parameters
    ----------
    seen : Understood
        The programme.
    floors : sequence of CutFloor
        The held floors.

    Returns
    -------
    list of str
        As many lines as before; those removed are empty.
    list of Finding
        Errors where a visit could not be removed, and a warning for each that was.
    """
    out, motions = list(seen.lines), seen.motions
    findings: list[Finding] = []
    for floor in floors:
        for first, last in _visits(seen, floor):
            place = f"lines {motions.line[first] + 1} to {motions.line[last] + 1}"
            fault = _fault(seen, floor, first, last)
            if fault:
                text = f"the motion on held pocket {floor.pocket.id} cannot be skipped: {fault}. Remove it by hand."
                findings.append(Finding("held", seen.source, place, text))
            else:
                _remove(out, motions, first, last)
                text = f"pocket {floor.pocket.id} is held: these blocks were removed."
                findings.append(Finding("skipped", seen.source, place, text, "warning"))
    return out, findings


def _visits(seen: Understood, floor: CutFloor) -> list[tuple[int, int]]:
    """Runs of rows that end on the floor, first and last."""
    end = seen.gains.guard_end == floor.index
    on = end & np.isin(seen.motions.kind, CUTTING)
    on[[row for row in seen.cuts_into(floor.index).tolist() if not end[row] and not (row and end[row - 1])]] = True
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _fault(seen: Understood, floor: CutFloor, first: int, last: int) -> str:
    motions, found = seen.motions, seen.gains
    inside = range(first + 1, last + 1)
    modals = {motions.modals[motions.modal[row]]._replace(motion=0) for row in range(first, last + 1)}
    if found.guard_whole[first] >= 0 or (first and found.floor[first - 1] >= 0):
        return "it comes from, or goes on to, another floor"
    if not all(found.guard_whole[row] == floor.index for row in inside):
        return "not all of it stays on the floor"
    if len(modals) > 1 or any(not modal.absolute or modal.compensation != 400 for modal in modals):
        return "a mode changes there, or it is incremental or radius compensated"
    if np.isnan(motions.start[first]).any() or (motions.abc[first : last + 1] != motions.start_abc[first]).any():
        return "the tool comes from an unknown place, or turns"
    if motions.kind[last] not in (LINE, CLOCKWISE, ANTICLOCKWISE) or last + 1 >= len(motions):
        return "it has no motion off the floor"
    low, high = motions.xyz[last : last + 2, 2]
    if not (high > low or np.isnan(high)):
        return "it does not leave the floor upwards"
    return _way_fault(seen.path, floor, first, last) or _word_fault(seen.lines, motions, first, last)


def _way_fault(path: TipPath, floor: CutFloor, first: int, last: int) -> str:
    start, end, radius = path.start[first], path.end[last], path.cutters[path.cutter[first]].radius
    height = float(start[2])
    if height < float(floor.pocket.rough_z(*start[:2])) or height < float(floor.pocket.rough_z(*end[:2])):
        return "the tool comes from below the roughed floor"
    way = shapely.linestrings([start[:2], end[:2]])
    before = shapely.linestrings([start[:2], *path.end[first : last + 1, :2]])
    # Beside an open edge, or in a corner, the cutter may be out of the pocket where it was before.
    room = floor.pocket.polygon.union(before.buffer(radius)).buffer(MARGIN_MM)
    return "" if shapely.covers(room, way.buffer(radius)) else "the straight way across is not all over the pocket"


def _word_fault(lines: Sequence[str], motions: Motions, first: int, last: int) -> str:
    for number in motions.line[first : last + 1].tolist():
        block = read_block(lines[number])
        if block.deleted or any(word.letter == "M" for word in block.words):
            return f"line {number + 1} is optional or has an M word"
    following = read_block(lines[int(motions.line[last + 1])])
    has_motion = any(word.letter == "G" for word in following.words)
    return "" if has_motion or motions.kind[last] == LINE else "the motion off the floor has no G word of its own"


def _remove(out: list[str], motions: Motions, first: int, last: int) -> None:
    """One move in place of some; of their words those stay that are neither motion nor place."""
    numbers = list(dict.fromkeys(motions.line[first : last + 1].tolist()))
    text = out[numbers[0]]
    line_end = text[len(text.rstrip("\r\n")) :] or "\n"
    words = [(word, out[number][word.start : word.end]) for number in numbers for word in read_block(out[number]).words]
    feed = [raw for word, raw in words if word.letter == "F"][-1:]
    is_kept = [word.letter in "STDH" or (word.letter == "G" and word.value not in (0, 1, 2, 3)) for word, _ in words]
    others = [raw.replace(" ", "") for (_, raw), kept in zip(words, is_kept, strict=True) if kept]
    unit = motions.modals[motions.modal[last]].unit_mm
    place = zip("XY", (motions.xyz[last, :2] / unit).tolist(), strict=True)
    move = [letter + in_style(value, "", decimals_for(value, unit)) for letter, value in place]
    for number in numbers:
        out[number] = ""
    out[numbers[0]] = " ".join([*others, "G1", *move, *feed]) + line_end
