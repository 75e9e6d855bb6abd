"""What is told of a corrected file: what the cutter leaves, what its motion gives away, and the picture's lines.

A wrong Z, length or clamping shows in a programme's own motion where nothing of it must be refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely

from floorfit.arrays import Rows, counted
from floorfit.errors import Finding
from floorfit.nc.corrected import PlanTrace
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import LIFTED, UNTOUCHED, Gains
from floorfit.nc.motions import Motions
from floorfit.nc.subprogrammes import COMMENT
from floorfit.nc.swept_floors import TOO_DEEP_MM, SweptFloor
from floorfit.nc.tip_path import TipPath
from floorfit.nc.understood import Understood
from floorfit.nc.zones import UPRIGHT

__all__ = ["cut_again", "floor_off", "heights_of_tips", "plan_trace", "what_is_left"]

#: Greatest number of lines in the picture; of more, every second, third … is drawn.
_MOST_LINES = 30_000
#: Height over the highest floor up to which motion is drawn, mm, and angle of one chord of an arc, radians.
_DRAWN_MM, _CHORD_RAD = 20.0, 0.2
#: Share of the passes on a floor that the lowest of them must make up to be its finish. Own choice, no source.
_FINISH_SHARE = 0.1
#: Two cuts of a floor are alike where the shorter has this share of the longer one's way. Own choice, no source.
_ALIKE = 0.8
#: Stops at which a person may turn a part over: M0, M1 (ISO 6983-1, from memory), and M60, pallets [N 3.6.1].
_STOP = re.compile(r"(?<![A-Z])M[ \t]*0*(?:0|1|60)(?![\d.])", re.IGNORECASE)


def what_is_left(swept: Sequence[SweptFloor], source: str, *, is_beside: bool = False) -> list[Finding]:
    """A warning for each floor on which the cutter leaves metal that is not wanted, or that is cut at another height.

    Parameters
    ----------
    swept : sequence of SweptFloor
    source : str
        Name of the programme for messages.
    is_beside : bool
        Whether the cutter runs beside its path by its radius somewhere (G41, G42).
    """
    out = []
    more = " Where D of G41 or G42 is the cutter's wear and the path that of its centre, say --wear." * is_beside
    for one in swept:
        if one.high_mm > TOO_DEEP_MM:
            x, y = one.where_high
            text = (
                f"pocket {one.pocket}: up to {one.high_mm:.3f} mm is left above what is wanted, most near ({x:.1f}, "
                f"{y:.1f}), on {one.high_area_mm2:.0f} mm²: the cutter cannot follow at an edge, a seam or a slope."
            )
            out.append(Finding("left-high", source, "", text, "warning"))
        if one.is_off:
            out.append(floor_off(one.pocket, one.off_mm, source))
        if one.off_mm == one.off_mm and not one.is_whole:
            text = (
                f"pocket {one.pocket}: {one.uncut_mm2:.0f} mm² of its floor ({100 * one.uncut_share:.0f} %) are not "
                "cut by this programme and keep their stock. Correct the programme that cuts them with the same job."
            ) + more
            out.append(Finding("floor-uncut", source, "", text, "warning"))
    return out


def floor_off(pocket: str, off_mm: float, source: str) -> Finding:
    """A warning that a floor is cut at another Z than the part file's.

    Parameters
    ----------
    pocket : str
        Its id.
    off_mm : float
        Height over the part file's Z before any offset, mm.
    source : str
        Name of the programme.
    """
    way, web = ("above", "thicker") if off_mm > 0 else ("below", "thinner")
    text = (
        f"pocket {pocket}: before any offset this programme cuts it {abs(off_mm):.3f} mm {way} the Z "
        f"of the part file, and its web comes out {web} by as much. Is it the programme that finishes the "
        "floor, and was it not corrected before?"
    )
    return Finding("floor-off", source, "", text, "warning")


def plan_trace(path: TipPath, gains: Gains, floors: Sequence[CutFloor]) -> PlanTrace:
    """Motion near the floors in plan, in the part's frame.

    Parameters
    ----------
    path, gains : TipPath, Gains
        The programme, and what was asked of it.
    floors : sequence of CutFloor
        All floors.
    """
    top = max((floor.top for floor in floors), default=0.0) + _DRAWN_MM
    with np.errstate(invalid="ignore"):
        low = np.minimum(path.start[:, 2], path.end[:, 2]) <= top
    rows = np.flatnonzero(path.is_followed & (low | (gains.status > 0)))
    rows = rows[:: max(1, -(-len(rows) // _MOST_LINES))]
    count = np.clip(np.ceil(np.abs(path.sweep[rows]) / _CHORD_RAD), 1, 64).astype(int)
    of, index = counted(count)
    row, share, step = rows[of], index / count[of], 1 / count[of]
    # A motion that leaves a floor for where it always went is drawn as untouched.
    still = (gains.status == LIFTED) & (gains.node == 0)
    still[list(gains.breaks)] = False
    status = np.where(still, UNTOUCHED, gains.status)[row]
    return PlanTrace(path.points(row, share)[:, :2], path.points(row, share + step)[:, :2], status)


def heights_of_tips(path: TipPath, cutting: Rows, floors: Sequence[CutFloor]) -> Iterator[tuple[str, float]]:
    """Yield the level floors that cutters of unknown size cut at another Z than the part file's: id, and height, mm.

    An upright cutter of any size stands with its tip on a level floor.

    Parameters
    ----------
    path : TipPath
    cutting : (k,) ndarray of int
        Motions that cut.
    floors : sequence of CutFloor
    """
    level = np.abs(path.end[:, 2] - path.start[:, 2]) <= 0.5 * TOO_DEEP_MM
    rows = cutting[(path.is_usable & (path.radius == 0) & level & (path.axis[:, 2] > 1 - UPRIGHT))[cutting]]
    tips = shapely.STRtree(np.asarray(shapely.points(path.end[rows, :2])))
    for floor in floors:
        if floor.is_shaped or any(floor.pocket.slope):
            continue
        on = rows[tips.query(floor.pocket.polygon, predicate="intersects")]
        over = path.end[on, 2] - floor.pocket.floor_z
        near = np.flatnonzero(over <= 0.5 * max(floor.pocket.finish_stock, 0.2))
        near = near[np.argsort(over[near], kind="stable")]
        way = np.cumsum(path.length[on[near]])
        if len(way) and way[-1] > 0:
            off = float(over[near[np.searchsorted(way, _FINISH_SHARE * way[-1])]])
            if abs(off) > TOO_DEEP_MM:
                yield floor.pocket.id, off


def cut_again(seen: Understood) -> list[Finding]:
    """A warning where a tool cuts floors alike before and after a stop: the part may have been turned over there.

    Parameters
    ----------
    seen : Understood
        The programme.
    """
    stops = np.array(
        [n for n, text in enumerate(seen.lines) if "M" in text.upper() and _STOP.search(COMMENT.sub("", text))]
    )
    found: dict[int, list[str]] = {}
    for floor in seen.floors if len(stops) else ():
        stop = _stop_between(seen.motions, seen.path, seen.cuts_on(floor.index), stops)
        if stop >= 0:
            found.setdefault(stop, []).append(floor.pocket.id)
    out = []
    for stop, names in sorted(found.items()):
        text = (
            f"pocket {', '.join(names[:5])}{f' and {len(names) - 5} more' if len(names) > 5 else ''}: one tool cuts "
            "the same floor alike before and after this stop. Is the part turned over or changed here? Then split the "
            "programme: what stands behind the stop got the offsets of the floors that were cut before it."
        )
        out.append(Finding("cut-again", seen.source, f"line {stop + 1}", text, "warning"))
    return out


def _stop_between(motions: Motions, path: TipPath, rows: Rows, stops: Rows) -> int:
    """The stop before a second cut of a floor by a tool that is like its first, or -1."""
    after = np.searchsorted(stops, motions.line[rows])
    tool = motions.field("tool")[rows]
    low = path.end[rows, 2] <= np.nanmin(path.end[rows, 2], initial=np.inf) + 0.5 * TOO_DEEP_MM
    for number in np.unique(tool).tolist():
        mine = low & (tool == number)
        way = np.bincount(after[mine], np.nan_to_num(path.length[rows[mine]]), minlength=len(stops) + 1)
        done = np.flatnonzero(way > 0)
        for one, two in pairwise(done.tolist()):
            if min(way[one], way[two]) >= _ALIKE * max(way[one], way[two]):
                return int(stops[two - 1])
    return -1
