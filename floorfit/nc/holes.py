"""Canned cycles in floors whose Z changes: they are left as programmed, which suits holes through the web alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from floorfit.arrays import Array
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import Gains
from floorfit.nc.motions import CYCLE
from floorfit.nc.swept_floors import TOO_DEEP_MM
from floorfit.nc.tip_path import TipPath
from floorfit.nc.understood import Understood

__all__ = ["cycles_in_floors", "is_cut"]

#: Codes, those that weigh most first: of a cycle that comes to several floors one is told.
_WORST = ("cycle-low", "cycle-left", "cycle-stock", "cycle")
_TEXT = "a canned cycle in a floor whose Z changes is left as programmed. Look at its R and its depth."


def cycles_in_floors(seen: Understood, floors: Sequence[CutFloor]) -> dict[tuple[str, str, str], list[int]]:
    """Return the cycles that come to a floor, rows by code, words and severity.

    Parameters
    ----------
    seen : Understood
        The programme.
    floors : sequence of CutFloor
        The floors that matter.
    """
    out: dict[tuple[str, str, str], list[int]] = {}
    shapes = shapely.STRtree([floor.pocket.polygon for floor in floors])
    for row in np.flatnonzero(seen.motions.kind == CYCLE).tolist():
        over = [(floors[index], is_hole) for index, is_hole in _reached(seen, row, shapes)]
        found = [one for floor, is_hole in over for one in _judged(seen, row, floor, is_hole)]
        if found:
            out.setdefault(min(found, key=lambda one: _WORST.index(one[0])), []).append(row)
    return out


def _reached(seen: Understood, row: int, floors: shapely.STRtree) -> list[tuple[int, bool]]:
    """Floors that the cutter reaches, and whether it drills there; else it comes over them on the way to the hole.

    A block that may be repeated (G91) may drill all along its way.
    """
    path = seen.path
    ends = np.array([path.start[row, :2], path.end[row, :2]])
    if np.isnan(ends[1]).any():
        return [(index, True) for index in range(len(floors))]
    reach = max(path.radius[row], 1e-6)
    way = shapely.linestrings(ends) if not np.isnan(ends).any() else shapely.points(ends[1])
    near = np.sort(floors.query(shapely.box(*np.nanmin(ends, axis=0) - reach, *np.nanmax(ends, axis=0) + reach)))
    near = near[shapely.distance(floors.geometries[near], way) < reach]
    holes = shapely.distance(floors.geometries[near], shapely.points(ends[1])) < reach
    holes |= not seen.motions.modals[seen.motions.modal[row]].absolute
    return list(zip(near.tolist(), holes.tolist(), strict=True))


def _judged(seen: Understood, row: int, floor: CutFloor, is_hole: bool) -> Iterator[tuple[str, str, str]]:
    motions, path = seen.motions, seen.path
    shift = float(path.end[row, 2] - motions.xyz[row, 2]) if path.end[row, 2] == path.end[row, 2] else 0.0
    low, level = motions.low[row] + shift, motions.level.get(row, np.nan) + shift
    place = path.end[row, :2]
    if not is_hole:
        low = level = np.maximum(level, path.start[row, 2])
        place = np.full(2, np.nan)
    under, raised = _heights(floor, place)
    top = floor.z_range[1] if np.isnan(place).any() else float(floor.pocket.floor_at(*place))
    stock = top + floor.pocket.finish_stock + max(raised, 0.0)
    if low > (floor.top if is_hole else max(floor.top, stock)):
        return
    name = f"pocket {floor.pocket.id}"
    if floor.is_held or raised != raised:
        yield "cycle", _TEXT, "warning"
    elif raised > TOO_DEEP_MM and not level >= floor.z_range[1] + raised:
        text = (
            f"{name}: the cycle's R does not clear the floor, which is raised by {raised:.3f} mm, and is a rapid. "
            "Raise R above it."
        )
        yield "cycle-low", text, "error"
    elif is_hole and raised > TOO_DEEP_MM and not low <= under:
        text = (
            f"{name}: the cycle ends in the web, which would be left thinner than decided by {raised:.3f} mm. Write "
            "it with G0 and G1, or post it for the corrected floor."
        )
        yield "cycle-low", text, "error"
    elif is_hole and not low <= under + min(raised, 0.0):
        text = f"{name}: the cycle may end in the web, whose floor moves by {raised:+.3f} mm. It is left as programmed."
        yield "cycle-left", text, "warning"
    elif raised > TOO_DEEP_MM and level < stock - TOO_DEEP_MM and not is_cut(path, row, floor, seen.gains):
        text = (
            f"{name}: the cycle's R lies {stock - level:.3f} mm in the stock, which is raised by {raised:.3f} mm with "
            "the floor, and no pass before it takes that off. It is left as programmed: raise R, or drill later."
        )
        yield "cycle-stock", text, "warning"
    else:
        yield "cycle", _TEXT, "warning"


def is_cut(path: TipPath, row: int, floor: CutFloor, gains: Gains) -> bool:
    """Whether motion on the floor was over the hole before it is drilled.

    Parameters
    ----------
    path : TipPath
        The programme.
    row : int
        Motion that ends over the hole.
    floor : CutFloor
        The floor.
    gains : Gains
        What was planned.
    """
    rows = gains.rows_on(floor.index)
    rows = rows[(rows < row) & ~path.is_rapid[rows] & ~np.isnan(path.start[rows]).any(axis=1)]
    return bool((shapely.distance(path.lines(rows), shapely.points(path.end[row, :2])) <= path.radius[rows]).any())


def _heights(floor: CutFloor, place: Array) -> tuple[float, float]:
    """Z of the underside at a place, and what is added to the floor there; the most where no place is known."""
    if np.isnan(place).any():
        place = np.array(floor.pocket.centroid)
        added = max(floor.dz_range, key=abs)
    else:
        added = float(floor.dz(place[None])[0]) if not floor.is_held else float("nan")
    return float(floor.pocket.underside_at(*place)), added
