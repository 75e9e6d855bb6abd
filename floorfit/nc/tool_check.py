"""Where a cutter is not known and its radius matters: refused, with what to say."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from floorfit.arrays import Flags, Rows
from floorfit.errors import Finding
from floorfit.nc.floor_bands import EPS_MM, CutFloor
from floorfit.nc.motions import CUTTING, RAPID
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools
from floorfit.nc.understood import Understood
from floorfit.part.model import Ring

__all__ = ["REACH_MM", "check_tools"]

#: Offsets up to this need no cutter at an edge, mm: half of a tight tolerance. Own choice, no source.
SMALL_MM = 0.05
#: Radius that a cutter of unknown size may have, mm. Own choice, no source.
REACH_MM = 25.0
#: A floor whose edge is this near to another floor, or to the part's edge, has no wall there, mm.
_NO_WALL_MM = 0.5
#: A rapid over the inside of a floor is lifted whatever the cutter, mm.
_INSIDE_MM = 0.5


def check_tools(seen: Understood, outline: Ring) -> list[Finding]:
    """Return a finding for every tool whose cutter is not known and matters.

    Parameters
    ----------
    seen : Understood
        The programme.
    outline : (k, 2) sequence, mm
        Outline of the part.
    """
    motions, path, floors, numbers = seen.motions, seen.path, seen.floors, Tools.numbers(seen.motions)
    unknown = (path.radius == 0) & path.is_usable & np.isin(motions.kind, (*CUTTING, RAPID))
    unknown &= ~np.isnan(path.end).any(axis=1) & ~np.isnan(path.start[:, :2]).any(axis=1)
    if not unknown.any():
        return []
    out: dict[float, Finding] = {}
    rows = np.flatnonzero(unknown)
    rim = Polygon(outline).exterior.buffer(_NO_WALL_MM)
    for floor in floors:
        if floor.is_active or (floor.is_held and floor.is_shaped):
            beside = path.beside(rows, floor.pocket.polygon.bounds, REACH_MM)
            for row, why in _matters(seen, floor, rim, rows[beside]):
                number = float(numbers[row])
                out.setdefault(number, _finding(floor, number, int(motions.line[row]), why, seen.source))
    return list(out.values())


def _finding(floor: CutFloor, number: float, line: int, why: str, source: str) -> Finding:
    name, example = (f"T{number:g}", f"{number:g}=16,0.5") if number >= 0 else ("the tool", "16,0.5")
    text = (
        f"pocket {floor.pocket.id}: {why}, and the cutter of {name} is not known. "
        f"Say its diameter and corner radius, for example --tool {example}."
    )
    return Finding("no-cutter", source, f"line {line + 1}", text)


def _matters(seen: Understood, floor: CutFloor, rim: BaseGeometry, rows: Rows) -> list[tuple[int, str]]:
    """The first motion for each way in which the radius matters on a floor."""
    motions, path = seen.motions, seen.path
    low = path.lowest[rows]
    some = rows[(low <= floor.top + EPS_MM) & (path.end[rows, 2] >= floor.z_range[0] - floor.window - 2.0)]
    some = some[_reach(path, some, floor.pocket.polygon, REACH_MM)]
    cuts = some[np.isin(motions.kind[some], CUTTING)]
    out: list[tuple[int, str]] = []
    on = cuts[_reach(path, cuts, floor.pocket.polygon, 0.0)]
    if floor.is_shaped:
        return [(int(row), "it is curved, so that the cutter says how high the tip stands over it") for row in on[:1]]
    if floor.correction.action in ("tilt", "follow") or any(floor.pocket.slope):
        steep = _steepest(floor)
        if len(on) and steep * REACH_MM > 0.005:
            out.append((int(on[0]), f"it changes by up to {1000 * steep:.2f} mm a metre under the cutter"))
    if max(map(abs, floor.dz_range)) <= SMALL_MM:
        return out
    edge = _open_edge(floor, seen.floors, rim)
    at_edge = cuts[_reach(path, cuts, edge, REACH_MM)] if not edge.is_empty else cuts[:0]
    if len(at_edge):
        out.append((int(at_edge[0]), "its edge is open, or a seam with another floor, and its offset is over 0.05 mm"))
    rapids = rows[motions.kind[rows] == RAPID]
    below = rapids[path.end[rapids, 2] < floor.z_range[1] + floor.dz_range[1] + floor.rapid_clearance - EPS_MM]
    below = below[path.end[below, 2] >= floor.z_range[0] - floor.window]
    below = below[_reach(path, below, floor.pocket.polygon, REACH_MM)]
    outside = below[~_reach(path, below, floor.pocket.polygon.buffer(-_INSIDE_MM), 0.0)]
    if floor.dz_range[1] > SMALL_MM and len(outside):
        out.append((int(outside[0]), "a rapid passes beside it lower than the corrected floor and its clearance"))
    return out


def _steepest(floor: CutFloor) -> float:
    """Greatest slope of the offset."""
    grid = floor.correction.grid
    if floor.correction.action == "tilt":
        return float(np.hypot(*floor.correction.slope))
    if grid is None:
        return 0.0
    by_x = np.abs(np.diff(grid.offset_mm, axis=0) / np.diff(grid.x_mm)[:, None]).max(initial=0.0)
    by_y = np.abs(np.diff(grid.offset_mm, axis=1) / np.diff(grid.y_mm)).max(initial=0.0)
    return float(np.hypot(by_x, by_y))


def _open_edge(floor: CutFloor, floors: Sequence[CutFloor], rim: BaseGeometry) -> BaseGeometry:
    """The part of a floor's edge that has no wall: at the part's outline, or at another floor with another offset."""
    edge = floor.pocket.polygon.boundary
    x0, y0, x1, y1 = floor.pocket.polygon.bounds
    beside = shapely.box(x0 - _NO_WALL_MM, y0 - _NO_WALL_MM, x1 + _NO_WALL_MM, y1 + _NO_WALL_MM)
    others = [other.pocket.polygon for other in floors if other.index != floor.index]
    others = [shape for shape in others if shape.intersects(beside)]
    near = [shape for shape in others if shape.distance(floor.pocket.polygon) < _NO_WALL_MM]
    air = [shape.buffer(_NO_WALL_MM) for shape in near]
    return edge.intersection(shapely.union_all([*air, rim]))


def _reach(path: TipPath, rows: Rows, shape: BaseGeometry, by: float) -> Flags:
    """Motions that come as near to a shape in plan; an arc by its box."""
    if not len(rows):
        return np.zeros(0, dtype=bool)
    lines = path.lines(rows)
    arcs = np.flatnonzero(path.is_arc[rows])
    radius = np.hypot(*(path.end[rows[arcs], :2] - path.centre[rows[arcs]]).T)
    lines[arcs] = shapely.buffer(shapely.points(path.centre[rows[arcs]]), radius)
    grown = shape.buffer(by) if by else shape
    shapely.prepare(grown)
    return np.asarray(shapely.intersects(grown, lines))
