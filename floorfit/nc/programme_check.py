"""What cannot be rewritten safely: refused by line and word, and only where it touches a floor that matters.

A floor matters when its offset is not zero, or when it is held. Every check returns findings; none raises.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.errors import Finding
from floorfit.nc.floor_index import Floor, Matches, PlanIndex
from floorfit.nc.motions import CUTTING, CYCLE, FLOW, JUMP, OTHER_ARC, RAPID, UNKNOWN, Motions
from floorfit.nc.shifts import Plan

__all__ = ["check_plan", "check_programme"]

#: Findings of one kind that are written out; the rest are counted.
_SHOWN = 5


class _Findings:
    """Collects findings, a few of each kind in words and the rest as a number."""

    def __init__(self, source: str, motions: Motions) -> None:
        self.source, self.motions = source, motions
        self.found: list[Finding] = []

    def rows(self, code: str, rows: Iterable[int], text: str, severity: str = "error") -> None:
        """Add a finding for each of the first rows, and one for the number of the others."""
        rows = list(rows)
        for row in rows[:_SHOWN]:
            self.add(code, int(self.motions.line[row]), text, severity)
        if len(rows) > _SHOWN:
            more = f"and {len(rows) - _SHOWN} more blocks, the last in line {self.motions.line[rows[-1]] + 1}"
            self.found.append(Finding(code, self.source, more, text, severity))

    def add(self, code: str, line: int, text: str, severity: str = "error") -> None:
        """Add one finding at a line."""
        self.found.append(Finding(code, self.source, f"line {line + 1}", text, severity))


def check_programme(
    motions: Motions,
    floors: Sequence[Floor],
    found: Matches,
    *,
    source: str,
    tip_control: bool,
    work_offset: str | None,
) -> list[Finding]:
    """Return what makes the programme unfit before any offset is planned.

    Parameters
    ----------
    motions : Motions
        The programme.
    floors : sequence of Floor
        The floors that matter.
    found : Matches
        What belongs to which floor.
    source : str
        Name of the programme.
    tip_control : bool
        Whether X, Y, Z are stated to be the tool tip in the part's frame whatever the rotary axes do.
    work_offset : str or None
        The work offset whose zero is the part's, if stated.
    """
    out = _Findings(source, motions)
    if not floors:
        return []
    out.found += [finding for finding in motions.findings if finding.severity == "error"]
    touched = touched_rows(found, floors)
    _check_unknown(out, floors)
    _check_unknown_motions(out, floors)
    _check_cycles(out, floors)
    _check_frames(out)
    _check_state(out, touched, tip_control=tip_control)
    if work_offset is None:
        _check_work_offsets(out, touched)
    return out.found


def touched_rows(found: Matches, floors: Sequence[Floor]) -> NDArray[np.intp]:
    """Return the rows that end on, or run along, one of the floors."""
    wanted = np.array([floor.index for floor in floors])
    mask = np.isin(found.node, wanted) | np.isin(found.whole, wanted)
    for row, touched in found.partial.items():
        mask[row] |= bool(set(touched) & set(wanted.tolist()))
    return np.flatnonzero(mask)


def _check_unknown(out: _Findings, floors: Sequence[Floor]) -> None:
    """Cutting motion whose place depends on the run, where it could be on a floor."""
    motions = out.motions
    cutting = np.isin(motions.kind, CUTTING)
    lost = np.isnan(motions.xyz).any(axis=1) | np.isnan(motions.start[:, :2]).any(axis=1)
    for row in np.flatnonzero(cutting & lost).tolist():
        if any(_could_touch(motions, row, floor) for floor in floors):
            place, reason = motions.why.get(row) or motions.why.get(row - 1, (-1, "the position is not known"))
            seen = f" (line {place + 1})" if place >= 0 else ""
            out.add(
                "unknown-position",
                int(motions.line[row]),
                f"a cut that may be on a floor, and {reason}{seen}. State X, Y and Z with numbers before the cut.",
            )
        if len(out.found) > 20:
            return


def _could_touch(motions: Motions, row: int, floor: Floor) -> bool:
    """Whether a row with unknown coordinates could run on a floor."""
    start, end = motions.start[row], motions.xyz[row]
    z = end[2]
    if z == z and not floor.z_range[0] - floor.window <= z <= floor.top:
        return False
    ends = [point for point in (start[:2], end[:2]) if not np.isnan(point).any()]
    if np.isnan(end[:2]).any():
        return True
    if len(ends) == 1:
        return bool(start[2] == start[2] and start[2] <= floor.top) or (z != z and bool(floor.over(end[None, :2])[0]))
    return bool(shapely.intersects(floor.region, shapely.linestrings(np.array(ends))))


def _check_unknown_motions(out: _Findings, floors: Sequence[Floor]) -> None:
    motions = out.motions
    top = max(floor.top for floor in floors)
    for row in np.flatnonzero(motions.kind == UNKNOWN).tolist():
        z0, z1, low = motions.start[row, 2], motions.xyz[row, 2], motions.low[row]
        if z1 > top and not z0 <= top and not low <= top:
            continue
        place, reason = motions.why.get(row, (-1, "the motion is not known"))
        seen = f" (line {place + 1})" if place not in (-1, int(motions.line[row])) else ""
        out.add(
            "unknown-motion",
            int(motions.line[row]),
            f"{reason}{seen}, and it may reach a floor. Rewrite the block with G0, G1, G2 or G3 and the modes stated.",
        )
        if len(out.found) > 20:
            return


def _check_cycles(out: _Findings, floors: Sequence[Floor]) -> None:
    motions = out.motions
    rows = []
    for row in np.flatnonzero(motions.kind == CYCLE).tolist():
        path = np.array([motions.start[row, :2], motions.xyz[row, :2]])
        absolute = motions.modals[motions.modal[row]].absolute
        path = path[1:] if absolute else path
        low = motions.low[row]
        if any(not low > floor.top and _path_over(floor, path) for floor in floors):
            rows.append(row)
    out.rows(
        "cycle",
        rows,
        "a canned cycle over a floor whose Z is to change: whether its R and Z follow the floor is not "
        "for a machine to guess. Drill before, in another programme, or write the cycle out.",
    )


def _path_over(floor: Floor, path: NDArray[np.float64]) -> bool:
    if np.isnan(path).any():
        return True
    if len(path) == 1:
        return bool(floor.over(path)[0])
    return bool(shapely.intersects(floor.region, shapely.linestrings(path)))


def _check_frames(out: _Findings) -> None:
    """A zero moved (G92, G52, G10) after cutting began makes later Z numbers mean another surface."""
    motions = out.motions
    cuts = np.flatnonzero(np.isin(motions.kind, CUTTING))
    frames = motions.field("frame")[cuts]
    moved = cuts[frames != frames[0]] if len(cuts) else cuts
    if len(moved):
        line = int(motions.line[moved[0]])
        out.add(
            "zero-moved",
            line,
            "cuts in another zero than the first cut: G92, G52 or G10 stands between. "
            "Split the programme there, or set the zero once, before the first cut.",
        )


def _check_work_offsets(out: _Findings, touched: NDArray[np.intp]) -> None:
    motions = out.motions
    names = motions.field("work_offset")[touched].astype(str)
    names, first = np.unique(names, return_index=True)
    if len(names) > 1:
        places = ", ".join(
            f"{name or 'none'} in line {motions.line[touched[row]] + 1}" for name, row in zip(names, first, strict=True)
        )
        out.add(
            "work-offset",
            int(motions.line[touched[first.max()]]),
            f"floors are cut under several work offsets "
            f"({places}). Say which is the part's zero, for example --work-offset {names[0] or names[-1]}.",
        )


def _check_state(out: _Findings, touched: NDArray[np.intp], *, tip_control: bool) -> None:
    motions = out.motions
    cutting = touched[np.isin(motions.kind[touched], CUTTING)]
    if not tip_control:
        rotary = (np.abs(motions.abc[cutting]) > 1e-6) | (np.abs(motions.start_abc[cutting]) > 1e-6)
        rotary |= np.isnan(motions.abc[cutting]) | np.isnan(motions.start_abc[cutting])
        out.rows(
            "rotary",
            cutting[rotary.any(axis=1)],
            "a rotary word (A, B or C) is not zero over a floor. Where X, Y "
            "and Z are the tool tip in the part's frame, say so with --tip-control.",
        )
    level = np.isin(touched, np.flatnonzero(motions.length > 0))
    rows = touched[level & (touched > 0)]
    compensation = motions.field("compensation")
    change = rows[(compensation[rows] != compensation[rows - 1]) & np.isin(rows - 1, touched)]
    out.rows(
        "compensation",
        change,
        "G40, G41 or G42 changes on a floor: where the tool runs depends on the control. Switch it above the floor.",
    )


def check_plan(
    motions: Motions, floors: Sequence[Floor], found: Matches, plan: Plan, *, source: str, tolerance_mm: float
) -> list[Finding]:
    """Return what the planned offsets cannot be written into, and what a person should see.

    Parameters
    ----------
    motions, floors, found : see `check_programme`
        The programme and the floors that matter.
    plan : Plan
        Planned offsets.
    source : str
        Name of the programme.
    tolerance_mm : float
        Of the offset along a motion.
    """
    out = _Findings(source, motions)
    _check_rapids(out, found, plan)
    _check_arcs(out, plan)
    _check_divided(out, plan, tolerance_mm)
    _check_left_behind(out, plan)
    _check_between(out, floors, found)
    return out.found


def _check_rapids(out: _Findings, found: Matches, plan: Plan) -> None:
    motions, start, end = out.motions, plan.start(), plan.node
    rapid = motions.kind == RAPID
    divided = np.isin(np.arange(len(motions)), list(plan.breaks))
    low = rapid & ((end < 0) | (found.level & ((start < 0) | (start != end))) | divided)
    out.rows(
        "rapid",
        np.flatnonzero(low),
        "a rapid (G0) to, over or off a floor at the floor's own Z would have to "
        "follow the floor. Use G1 there, or end the rapid above the floor.",
    )


def _check_arcs(out: _Findings, plan: Plan) -> None:
    motions, start, end = out.motions, plan.start(), plan.node
    other = motions.kind == OTHER_ARC
    absolute = motions.field("arc_absolute").astype(bool) if len(motions) else np.zeros(0, dtype=bool)
    divided = np.isin(np.arange(len(motions)), list(plan.breaks))
    bad = other & ((np.abs(start - end) > 1e-9) | (absolute & ((start != 0) | (end != 0))) | divided)
    out.rows(
        "arc-plane",
        np.flatnonzero(bad),
        "an arc in G18 or G19 reaches a floor and cannot be shifted whole. "
        "Write it as short lines, or end it above the floor.",
    )


def _check_divided(out: _Findings, plan: Plan, tolerance_mm: float) -> None:
    motions = out.motions
    rows: dict[str, list[int]] = {"compensation": [], "feed": [], "path": []}
    for row in sorted(plan.breaks):
        modal = motions.modals[motions.modal[row]]
        if modal.compensation != 400:
            rows["compensation"].append(row)
        elif modal.feed_mode != 940:
            rows["feed"].append(row)
        elif modal.path_mode[0] == 640 and modal.path_mode[1] > tolerance_mm:
            rows["path"].append(row)
    texts = {
        "compensation": "the block must be divided, and G41 or G42 is in force: more blocks change the path",
        "feed": "the block must be divided, and the feed is not per minute (G93 or G95)",
        "path": f"the block must be divided, and G64 P is wider than the tolerance of {tolerance_mm:g} mm",
    }
    for code, text in texts.items():
        out.rows(f"divide-{code}", rows[code], f"{text}. Post the programme without that over the floors.")


def _check_left_behind(out: _Findings, plan: Plan) -> None:
    """Calls, cycles and new zeros while the tool stands on a corrected floor would carry its offset along."""
    motions, start = out.motions, plan.start()
    frame = motions.field("frame")
    moved = np.append([False], frame[1:] != frame[:-1]) if len(frame) else np.zeros(0, dtype=bool)
    kind = motions.kind
    rows = np.flatnonzero(
        (start != 0) & ((kind == FLOW) | (kind == CYCLE) | (kind == UNKNOWN) | ((kind == JUMP) & moved))
    )
    out.rows("on-floor", rows, "a call, a cycle or a new zero while the tool is on a corrected floor. Retract first.")


def _shallow(motions: Motions, floor: Floor, found: Matches) -> list[int]:
    """Cuts down to a raised floor from below its corrected height, or off it to there, wherever that is in plan."""
    on = np.flatnonzero(found.node == floor.index) if floor.is_active else np.zeros(0, dtype=int)
    dz = floor.dz(motions.xyz[on, :2])
    out: list[int] = []
    for rows, ends in ((on, motions.start), (on + 1, motions.xyz)):
        some = rows < len(motions)
        points = ends[rows[some]]
        with np.errstate(invalid="ignore"):
            height = points[:, 2] - floor.pocket.nominal_z(points[:, 0], points[:, 1])
            found_rows = rows[some][(height > floor.window) & (height < dz[some])]
        out += found_rows[np.isin(motions.kind[found_rows], CUTTING)].tolist()
    return out


def _check_between(out: _Findings, floors: Sequence[Floor], found: Matches) -> None:
    """Warn of cuts that stay between the programmed floor and a raised one, or below the floor."""
    motions = out.motions
    top = max((floor.top for floor in floors), default=-np.inf)
    cutting = np.isin(motions.kind, CUTTING) & (found.node < 0) & (motions.xyz[:, 2] <= top)
    points = np.where(cutting[:, None], motions.xyz[:, :2], np.nan)
    index = PlanIndex(points, points)
    for floor in floors:
        rows = index.touching(floor.region.bounds)
        rows = rows[motions.xyz[rows, 2] <= floor.top]
        rows = rows[floor.over(motions.xyz[rows, :2])]
        height = motions.xyz[rows, 2] - floor.pocket.nominal_z(motions.xyz[rows, 0], motions.xyz[rows, 1])
        dz = floor.dz(motions.xyz[rows, :2])
        name = f"pocket {floor.pocket.id}"
        out.rows(
            "between",
            sorted({*rows[(height > floor.window) & (height < dz)].tolist(), *_shallow(motions, floor, found)}),
            f"{name}: cuts above the programmed floor but "
            "below the corrected one, and is left as programmed. Look at it.",
            "warning",
        )
        out.rows(
            "below",
            rows[height < -floor.window],
            f"{name}: cuts below the programmed floor, and is left as programmed. Look at it.",
            "warning",
        )
