"""What a programme's own motion gives away of a wrong Z, length or clamping, where nothing of it must be refused."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely

from floorfit.arrays import Rows
from floorfit.errors import Finding
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.motions import Motions
from floorfit.nc.subprogrammes import COMMENT
from floorfit.nc.swept_floors import TOO_DEEP_MM
from floorfit.nc.tip_path import TipPath
from floorfit.nc.understood import Understood
from floorfit.nc.zones import UPRIGHT

__all__ = ["cut_again", "heights_of_tips"]

#: Share of the passes on a floor that the lowest of them must make up to be its finish. Own choice, no source.
_FINISH_SHARE = 0.1
#: Two cuts of a floor are alike where the shorter has this share of the longer one's way. Own choice, no source.
_ALIKE = 0.8
#: Stops at which a person may turn a part over: M0, M1 (ISO 6983-1, from memory), and M60, pallets [N 3.6.1].
_STOP = re.compile(r"(?<![A-Z])M[ \t]*0*(?:0|1|60)(?![\d.])", re.IGNORECASE)


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
