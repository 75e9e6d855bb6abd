"""What cannot be rewritten safely: refused by line and word, and only where it touches a floor that matters.

A floor matters when its offset is not zero, or when it is held. Every check returns findings; none raises.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.nc.correction_run import StatedOfProgramme
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import STRAIGHT_SHARE, Gains
from floorfit.nc.holes import cycles_in_floors
from floorfit.nc.motions import CUTTING, CYCLE, FLOW, JUMP, RAPID, UNKNOWN, Motions
from floorfit.nc.shifts import moved_zeros
from floorfit.nc.state import UNSTATED
from floorfit.nc.swept_floors import TOO_DEEP_MM
from floorfit.nc.tip_path import TipPath
from floorfit.nc.understood import Findings, Understood

__all__ = ["check_plan", "check_programme"]

#: Reasons why a motion is not known that are told, and what stands in those that an option settles.
_REASONS, _SETTLED = 20, "give --"
#: Greatest tolerance of the offset that is offered, mm: half of it may be too deep, and that is `TOO_DEEP_MM`.
_WIDEST_MM = 2 * TOO_DEEP_MM
#: Length offsets (G43, G43.1, G43.2, G44) under which rotary words do move the tip.
_PLAIN_LENGTH = (430, 431, 432, 440)
_NO_LENGTH = 490


def check_programme(seen: Understood, stated: StatedOfProgramme) -> list[Finding]:
    """Return what makes the programme unfit, whatever is planned.

    Parameters
    ----------
    seen : Understood
        The programme.
    stated : StatedOfProgramme
        What the user says of it.
    """
    motions, gains = seen.motions, seen.gains
    floors = [floor for floor in seen.floors if floor.matters]
    if not floors:
        return []
    out = Findings(seen.source, motions.line)
    out.found += [finding for finding in motions.findings if finding.severity == "error"]
    rows = [gains.rows_on(floor.index) for floor in floors] + [np.array(sorted(gains.guarded), dtype=int)]
    touched = np.unique(np.concatenate(rows))
    cutting = np.intersect1d(touched, seen.cuts)
    _check_unknown(out, seen, floors)
    _check_unknown_motions(out, seen, floors)
    for (code, text, severity), at in cycles_in_floors(seen, floors).items():
        out.rows(code, at, text, severity)
    _check_frames(out, seen)
    if stated.origin is None:
        _check_zero(out, seen)
    _check_lengths(out, motions, cutting)
    _check_lean(out, motions, cutting, tip_control=stated.tip_control)
    if not stated.work_offset:
        _check_work_offsets(out, seen, touched)
    return out.found


def _check_unknown(out: Findings, seen: Understood, floors: Sequence[CutFloor]) -> None:
    """Cutting motion whose place depends on the run, where it could be on a floor."""
    motions, path = seen.motions, seen.path
    cutting = np.isin(motions.kind, CUTTING) & ~motions.is_high
    lost = np.isnan(path.end).any(axis=1) | np.isnan(path.start[:, :2]).any(axis=1)
    for row in np.flatnonzero(cutting & lost).tolist():
        if any(_could_touch(path.start[row], path.end[row], floor) for floor in floors):
            place, reason = motions.why.get(row) or motions.why.get(row - 1, (-1, "the position is not known"))
            where = f" (line {place + 1})" if place >= 0 else ""
            text = f"a cut that may be on a floor, and {reason}{where}. State X, Y and Z with numbers before the cut."
            out.add("unknown-position", int(motions.line[row]), text)
        if len(out.found) > 20:
            return


def _could_touch(start: Array, end: Array, floor: CutFloor) -> bool:
    """Whether a motion with unknown coordinates could run on a floor."""
    z = end[2]
    if z == z and not floor.z_range[0] - floor.window <= z <= floor.top:
        return False
    ends = [point for point in (start[:2], end[:2]) if not np.isnan(point).any()]
    if np.isnan(end[:2]).any():
        return True
    if len(ends) == 1:
        over = bool(shapely.intersects_xy(floor.grown, *end[:2]))
        return bool(start[2] == start[2] and start[2] <= floor.top) or (z != z and over)
    return bool(shapely.intersects(floor.grown, shapely.linestrings(np.array(ends))))


def _check_unknown_motions(out: Findings, seen: Understood, floors: Sequence[CutFloor]) -> None:
    motions = seen.motions
    top = max(floor.top for floor in floors)
    rows = np.flatnonzero(motions.kind == UNKNOWN)
    turned = np.array([bool(motions.modals[motions.modal[row]].transform) for row in rows.tolist()], dtype=bool)
    held = any(floor.is_held for floor in floors)
    if turned.any() and not held:
        text = (
            "motion in a turned, scaled, mirrored or tilted frame is left as it is, and is not counted for any floor. "
            "If a floor is cut there, post that floor without it."
        )
        low = [row for row in rows[turned].tolist() if not _is_above(seen, row, top)]
        out.rows("turned-frame" if low else "turned-above", (low or rows[turned].tolist())[:1], text, "warning")
        rows = rows[~turned]
    low = [row for row in rows.tolist() if not _is_above(seen, row, top)]
    why = [motions.why.get(row, (-1, "the motion is not known")) for row in low]
    for place, reason in list(dict.fromkeys(why))[:_REASONS]:
        own = [row for row, one in zip(low, why, strict=True) if one == (place, reason)]
        there = f" (line {place + 1})" if place not in (-1, 0, int(motions.line[own[0]])) else ""
        many = f", as may {len(own) - 1} blocks after it" if len(own) > 1 else ""
        remedy = "." if _SETTLED in reason else ". Rewrite the block with G0, G1, G2 or G3 and the modes stated."
        text = f"{reason}{there}, and it may reach a floor{many}{remedy}"
        out.add("unknown-motion", int(motions.line[own[0]]), text)


def _is_above(seen: Understood, row: int, top: float) -> bool:
    """Whether a motion that is not followed stays above a height, as far as its places are known."""
    start, end = seen.path.start[row, 2], seen.path.end[row, 2]
    low = seen.motions.low[row] + end - seen.motions.xyz[row, 2]
    return bool(end > top and not start <= top and not low <= top)


def _lengths(motions: Motions, rows: Rows) -> dict[float, dict[object, int]]:
    """Length offsets of each tool, None for none, and the first row of each."""
    used: dict[float, dict[object, int]] = {}
    for index, first in zip(*np.unique(motions.modal[rows], return_index=True), strict=True):
        modal = motions.modals[index]
        length = None if modal.length[0] == _NO_LENGTH else modal.length[1]
        used.setdefault(modal.selected if modal.tool == -1 else modal.tool, {}).setdefault(length, int(rows[first]))
    return used


def _check_foreign_lengths(out: Findings, motions: Motions, used: dict[float, dict[object, int]]) -> None:
    """A tool that cuts floors does so under no length offset that tools which cut none have, nor alone under another's.

    A length offset has the number of its tool where all others have (common practice, no source).
    """
    every = _lengths(motions, np.flatnonzero(np.isin(motions.kind, (*CUTTING, CYCLE))))
    others = {tool: set(found) - {None, UNSTATED, 0.0} for tool, found in every.items()}
    for tool, lengths in used.items():
        for length in (set(lengths) & others.get(tool, set())) - {tool}:
            line, rest = int(motions.line[lengths[length]]), {one: some for one, some in others.items() if one != tool}
            shared = next((one for one, some in rest.items() if one not in used and length in some), None)
            alone = len(rest) > 1 and tool not in others[tool] and all(one in some for one, some in rest.items())
            if shared is not None:
                text = f"T{tool:g} cuts floors under H{length:g}, and T{shared:g} has it too. Is it that of both?"
                out.add("length-shared", line, text, "warning")
            elif alone and length not in rest:
                text = f"T{tool:g} cuts floors under H{length:g}, and each other tool has the H of its own number. "
                out.add("length-shared", line, text + "Is it right?", "warning")


def _check_lengths(out: Findings, motions: Motions, touched: Rows) -> None:
    """A tool has one length offset, and a length offset one tool."""
    used = _lengths(motions, touched)
    _check_foreign_lengths(out, motions, used)
    owner: dict[object, float] = {}
    for tool, found in used.items():
        line = int(motions.line[max(found.values())])
        if len(found) > 1:
            names = " and ".join("no length offset" if name is None else f"H{name:g}" for name in found)
            text = f"one tool (T{tool:g}) cuts floors under {names}: the same Z is another surface there. "
            more = "Post the floors with one length offset for a tool, or split the programme."
            out.add("length-offset", line, text + more)
        for length in found:
            first = owner.setdefault(length, tool)
            if first != tool and length not in (None, UNSTATED, 0.0):
                text = f"T{tool:g} and T{first:g} cut floors under one length offset, H{length:g}. Is it that of both?"
                out.add("length-shared", line, text, "warning")
            elif length != tool and length in used and length not in used[length]:
                text = (
                    f"T{tool:g} cuts floors under H{length:g}, and so it does not stand for T{length:g}. Is it right?"
                )
                out.add("length-shared", line, text, "warning")


def _check_frames(out: Findings, seen: Understood) -> None:
    """A zero moved (G92, G52, G10) after cutting began makes later Z numbers mean another surface."""
    motions, cuts = seen.motions, seen.cuts
    frames = motions.field("frame")[cuts]
    moved = cuts[frames != frames[0]] if len(cuts) else cuts
    if len(moved):
        text = "cuts in another zero than the first cut: G92, G52, G10 or a parameter with a zero stands between. "
        more = "Split the programme there, or set the zero once, before the first cut."
        out.add("zero-moved", int(motions.line[moved[0]]), text + more)


def _zeros(motions: Motions) -> Array:
    """How often the zero was moved by what is not known, and where G52 and G92 have it; a row for each motion."""
    moved = [(modal.frame, *modal.shift) for modal in motions.modals]
    return np.array(moved, float).reshape(-1, 4)[motions.modal]


def _check_zero(out: Findings, seen: Understood) -> None:
    """The zero of all cuts, where the programme sets it: the part's or not; the work offset alone says nothing."""
    motions, cuts = seen.motions, seen.cuts
    zeros = _zeros(motions)
    frames = np.any(zeros[:, : 1 if np.any(moved_zeros(motions)) else 4], axis=1)
    if len(cuts) and frames[cuts[0]]:
        x, y, z = zeros[cuts[0], 1:]
        text = "a zero is set here (G92, G52, G10, or a parameter), and all Z are taken from it. If it is the part's, "
        more = "say --origin 0,0,0, else where it stands on the part."
        more += f" If that of the work offset is the part's, it is at X {x:g}, Y {y:g}, Z {z:g} mm." * bool(x or y or z)
        out.add("zero-set", int(motions.line[np.flatnonzero(frames)[0]]), text + more, "warning")


def _check_work_offsets(out: Findings, seen: Understood, touched: Rows) -> None:
    """The work offset whose zero is the part's is G54, or none, where all cuts have that; else stated."""
    motions, cuts = seen.motions, seen.cuts
    names, first = np.unique(motions.field("work_offset")[cuts].astype(str), return_index=True)
    if len(names) > 1 and len(touched):
        places = ", ".join(
            f"{name or 'none'} from line {motions.line[cuts[at]] + 1}" for name, at in zip(names, first, strict=True)
        )
        text = (
            f"the programme cuts under several work offsets ({places}), and a surface of one may have the numbers of a "
            f"floor of another. Say which is the part's zero, for example --work-offset {names[0] or names[-1]}."
        )
        out.add("work-offset", int(motions.line[touched[0]]), text)
    elif len(names) and names[0] not in ("", "G54") and len(touched):
        text = (
            f"the programme cuts under {names[0]}, which may be another side of the part with the same numbers. If its "
            f"zero is the part's, say --work-offset {names[0]}."
        )
        out.add("work-offset", int(motions.line[touched[0]]), text)


def _check_lean(out: Findings, motions: Motions, cutting: Rows, *, tip_control: bool) -> None:
    abc, before = motions.abc[cutting], motions.start_abc[cutting]
    turned = (~(np.abs(abc) <= 1e-6) | ~(np.abs(before) <= 1e-6)).any(axis=1)
    leaning = ~(motions.vector[cutting, 2] > 1 - 1e-9)
    if not tip_control:
        text = (
            "a rotary word (A, B, C) or a tool vector (I, J, K) leans the tool over a floor. Where X, Y "
            "and Z are the tool tip in the part's frame, say so with --tip-control."
        )
        out.rows("rotary", cutting[turned | leaning].tolist(), text)
        return
    length = np.array([modal.length[0] for modal in motions.modals] or [0])[motions.modal[cutting]]
    plain = turned & np.isin(length, _PLAIN_LENGTH)
    text = (
        "--tip-control is stated, and a plain length offset (G43) is in force: under it a rotary word moves the tip. "
        "Post the programme with tip control (G43.4, G43.5), or without rotary words over the floors."
    )
    out.rows("tip-control", cutting[plain].tolist(), text)


def check_plan(seen: Understood, tolerance_mm: float) -> list[Finding]:
    """Return what the planned gains cannot be written into, and what a person should see.

    Parameters
    ----------
    seen : Understood
        The programme.
    tolerance_mm : float
        Of the offset along a motion.
    """
    out, floors = Findings(seen.source, seen.motions.line), [floor for floor in seen.floors if floor.is_active]
    _check_half(out, floors, seen.gains)
    _check_rapids(out, seen)
    _check_divided(out, seen, tolerance_mm)
    _check_left_behind(out, seen)
    _check_below(out, seen, floors)
    return out.found


def _check_half(out: Findings, floors: Sequence[CutFloor], gains: Gains) -> None:
    for floor in floors:
        text = (
            f"pocket {floor.pocket.id}: a pass is on the floor (from {floor.window:g} mm under it to {floor.band:g} mm "
            "over it) for a part of its way only, or under it, so that the floor would be moved in part. Is the "
            "floor's Z, slope or shape another one, or the programme's zero?"
        )
        if floor.is_shaped:
            text += " If it is a ramp to a curved floor, make it steeper than 1 in 50, so that it is known for one."
        out.rows("half", sorted({row for row, at in gains.half if at == floor.index}), text)


def _check_rapids(out: Findings, seen: Understood) -> None:
    low = {*np.flatnonzero((seen.motions.kind == RAPID) & (seen.gains.node < 0)).tolist(), *seen.gains.steep_rapids}
    text = "a rapid (G0) to, over or off a floor at the floor's own Z would have to follow the floor. "
    out.rows("rapid", sorted(low), text + "Use G1 there, or end the rapid above the floor.")


def _check_divided(out: Findings, seen: Understood, tolerance_mm: float) -> None:
    motions, path, gains = seen.motions, seen.path, seen.gains
    rows: dict[str, list[int]] = {"compensation": [], "path": []}
    moving = np.flatnonzero((path.length > 1e-9) | path.is_arc)
    beside = np.append(False, motions.field("compensation")[moving].astype(int) != 400)
    # The first motion under G40 goes back from beside its path: a piece of it would do so on a shorter way.
    aside = set(moving[beside[1:] | beside[:-1]].tolist())
    for row in sorted(gains.breaks):
        modal = motions.modals[motions.modal[row]]
        if row in aside:
            rows["compensation"].append(row)
        elif modal.path_mode[0] == 640 and modal.path_mode[1] > tolerance_mm:
            rows["path"].append(row)
    texts = {
        "compensation": "G41 or G42 is in force or ends there: more blocks change the path",
        "path": f"G64 P is wider than the tolerance of {tolerance_mm:g} mm",
    }
    for code, text in texts.items():
        enough = np.ceil(1000 * max((gains.bend(row) for row in rows[code]), default=0.0) / STRAIGHT_SHARE) / 1000
        more = f", or say --tolerance {enough:g}, with which none is" if enough <= _WIDEST_MM else ""
        text = f"the block must be divided, and {text}. Post the programme without that over the floors{more}."
        out.rows(f"divide-{code}", rows[code], text)


def _check_left_behind(out: Findings, seen: Understood) -> None:
    """Calls, cycles and new zeros while the tool stands on a corrected floor would carry its offset along."""
    motions, start = seen.motions, seen.gains.start()
    frame = _zeros(motions)
    turned = motions.field("transform").astype(str)
    moved = np.zeros(len(motions), dtype=bool)
    moved[1:] = (frame[1:] != frame[:-1]).any(axis=1) | ((turned[1:] != turned[:-1]) & (turned[1:] != ""))
    kind = motions.kind
    left = (kind == FLOW) | (kind == CYCLE) | (kind == UNKNOWN) | ((kind == JUMP) & moved)
    text = "a call, a cycle, a new zero or a turned frame while the tool is on a corrected floor. Retract first."
    out.rows("on-floor", np.flatnonzero((start != 0) & left), text)


def _check_below(out: Findings, seen: Understood, floors: Sequence[CutFloor]) -> None:
    """Cuts that end below a programmed floor stay as they are: too deep where the floor is raised, else a warning."""
    path = seen.path
    top = max((floor.z_range[1] for floor in floors), default=-np.inf)
    with np.errstate(invalid="ignore"):
        cuts = seen.cuts[(path.is_usable & (path.lowest < top))[seen.cuts]]
    cuts, places = _low_places(path, cuts)
    x, y, z = places.T
    for floor in floors:
        x0, y0, x1, y1 = floor.pocket.polygon.bounds
        some = np.flatnonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
        below = floor.pocket.nominal_z(x[some], y[some]) - z[some]
        low = (below > floor.window + 1e-6) & shapely.intersects_xy(floor.pocket.polygon, x[some], y[some])
        some, below = some[low], below[low]
        raised = floor.dz(places[some, :2]) > TOO_DEEP_MM
        name = f"pocket {floor.pocket.id}"
        text = (
            f"{name}: cuts up to {below.max(initial=0.0):.3f} mm below the programmed floor, which is to be raised. "
            "Is it a hole or a deeper floor? Then take it out of the pocket's outline in the part file. If not, the "
            "floor's Z or the programme's zero is another one."
        )
        out.rows("below", np.unique(cuts[some[raised]]), text)
        text = f"{name}: cuts below the programmed floor, and is left as programmed. Look at it."
        out.rows("below", np.unique(cuts[some[~raised]]), text, "warning")


def _low_places(path: TipPath, rows: Rows) -> tuple[Rows, Array]:
    """Ends of motions, and places on the way of arcs that stand upright: motion and place of each."""
    ends = path.axis_places(rows, np.ones(len(rows)))
    if path.standing is None:
        return rows, ends
    mine = np.flatnonzero(np.isin(path.standing.rows, rows))
    along = path.standing.places(mine)
    more = np.repeat(path.standing.rows[mine], along.shape[1])
    return np.concatenate([rows, more]), np.concatenate([ends, along.reshape(-1, 3)])
