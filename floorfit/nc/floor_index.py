"""Which motion belongs to a floor: by position in plan, and by Z near the programmed floor.

The rule. A point of the tool belongs to a floor when it lies in the floor's polygon, grown by `MARGIN_MM`, and its Z is
within the floor's window of the nominal floor Z there. The window is `WINDOW_MM`, or `WINDOW_SHARE` of the finishing
stock where that is less: roughing stays a whole stock above the floor and is never taken for finishing. Wall passes,
links and clearances above the window are not floor motion. A motion is *level* over a floor when both of its ends are
within the window of that floor's plane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.decision.decision import Correction
from floorfit.nc.motions import ANTICLOCKWISE, CLOCKWISE, LINE, OTHER_ARC, RAPID, Motions
from floorfit.nc.plane_floors import check_plane_floors
from floorfit.part.model import Part, Pocket

__all__ = ["MARGIN_MM", "WINDOW_MM", "WINDOW_SHARE", "Floor", "Matches", "PlanIndex", "floors_of", "match"]

#: Growth of the polygon, mm: more than a programme's rounding (0.01 mm), less than any rib. Own choice, no source.
MARGIN_MM = 0.1
#: Half height of the window, mm: more than chord errors of sloped floors in a programme. Own choice, no source.
WINDOW_MM = 0.05
#: The window as a share of the finishing stock, so that roughing at floor + stock stays out. Own choice, no source.
WINDOW_SHARE = 0.4
#: Offsets no greater than this are none, mm: a tenth of the finest decimal ever written here (0.000001 in).
NO_OFFSET_MM = 2.5e-6
#: Kinds that follow a path this room can compute.
PATHS = (RAPID, LINE, CLOCKWISE, ANTICLOCKWISE, OTHER_ARC)


@dataclass(frozen=True)
class Floor:
    """One floor with its offset field.

    Parameters
    ----------
    index : int
        Place in the part.
    pocket : Pocket
        Nominal floor.
    correction : Correction
        What is added to its Z.
    """

    index: int
    pocket: Pocket
    correction: Correction

    @cached_property
    def region(self) -> Polygon:
        """The polygon grown by the margin, prepared for many questions."""
        region = self.pocket.polygon.buffer(MARGIN_MM)
        shapely.prepare(region)
        return region

    @cached_property
    def is_convex(self) -> bool:
        """Whether a straight move between two points of the region stays in it."""
        return bool(self.region.convex_hull.area - self.region.area < 1e-9 * self.region.area)

    @property
    def window(self) -> float:
        """Half height of the window, mm."""
        stock = self.pocket.finish_stock
        return min(WINDOW_MM, WINDOW_SHARE * stock) if stock > 0 else WINDOW_MM

    @cached_property
    def z_range(self) -> tuple[float, float]:
        """Least and greatest nominal Z over the region's bounds, mm."""
        x0, y0, x1, y1 = self.region.bounds
        z = self.pocket.nominal_z([x0, x1, x0, x1], [y0, y0, y1, y1])
        return float(z.min()), float(z.max())

    @cached_property
    def dz_range(self) -> tuple[float, float]:
        """Least and greatest offset over the region's bounds, mm."""
        x0, y0, x1, y1 = self.region.bounds
        x, y = np.meshgrid(np.linspace(x0, x1, 33), np.linspace(y0, y1, 33))
        dz = self.correction.at(x, y)
        grid = self.correction.grid
        more = [] if grid is None else [float(grid.offset_mm.min()), float(grid.offset_mm.max())]
        return min(float(dz.min()), *more, np.inf), max(float(dz.max()), *more, -np.inf)

    @property
    def is_held(self) -> bool:
        """Whether the floor must not be cut."""
        return self.correction.action == "hold"

    @property
    def is_active(self) -> bool:
        """Whether anything is to change on this floor."""
        return not self.is_held and max(map(abs, self.dz_range)) > NO_OFFSET_MM

    @property
    def top(self) -> float:
        """Greatest Z, mm, at which motion can matter to this floor."""
        return self.z_range[1] + self.window + max(0.0, self.dz_range[1])

    def near(self, xyz: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether points (n, 3) are within the window of the floor's plane, wherever they are in plan."""
        return np.asarray(np.abs(xyz[:, 2] - self.pocket.nominal_z(xyz[:, 0], xyz[:, 1])) <= self.window)

    def over(self, xy: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether points (n, 2) lie in the region or on its edge."""
        return np.asarray(shapely.intersects_xy(self.region, xy[:, 0], xy[:, 1]))

    def dz(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Offset at points (n, 2), mm."""
        return self.correction.at(xy[:, 0], xy[:, 1])


def floors_of(part: Part, corrections: Mapping[str, Correction]) -> tuple[Floor, ...]:
    """Return the part's floors with their corrections, in the part's order; refuse curved ones."""
    check_plane_floors(part)
    return tuple(Floor(index, pocket, corrections[pocket.id]) for index, pocket in enumerate(part.pockets))


@dataclass(frozen=True)
class Matches:
    """What belongs to which floor.

    Parameters
    ----------
    node : (n,) ndarray of int
        Floor of each row's end point, or -1.
    whole : (n,) ndarray of int
        Floor that a level row stays in from end to end, or -1.
    level : (n,) ndarray of bool
        Whether the row is level with a floor that matters, wherever it is in plan.
    partial : dict of int to list of int
        Rows that are in one or more floors for a part of their way, and those floors.
    """

    node: NDArray[np.intp]
    whole: NDArray[np.intp]
    level: NDArray[np.bool_]
    partial: dict[int, list[int]] = field(default_factory=dict)


class PlanIndex:
    """Boxes sorted by X, so that a floor looks only at those that may touch it.

    Parameters
    ----------
    low, high : (n, 2) ndarray, mm
        Corners of each box; the same array twice for points.
    """

    def __init__(self, low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
        """Sort the boxes that have a place; the few long ones are kept apart."""
        self.low, self.high = low, high
        rows = np.flatnonzero(~np.isnan(low).any(axis=1) & ~np.isnan(high).any(axis=1))
        span = high[rows, 0] - low[rows, 0]
        self.reach = float(np.quantile(span, 0.95)) if len(rows) else 0.0
        self.long = rows[span > self.reach]
        short = rows[span <= self.reach]
        self.order = short[np.argsort(low[short, 0], kind="stable")]
        self.x = low[self.order, 0]

    def touching(self, bounds: tuple[float, float, float, float]) -> NDArray[np.intp]:
        """Return the boxes that touch a rectangle, in order."""
        x0, y0, x1, y1 = bounds
        first, last = np.searchsorted(self.x, [x0 - self.reach - 1e-9, x1 + 1e-9])
        rows = np.concatenate([self.order[first:last], self.long])
        low, high = self.low[rows], self.high[rows]
        touch = (high[:, 0] >= x0) & (low[:, 0] <= x1) & (high[:, 1] >= y0) & (low[:, 1] <= y1)
        return np.sort(rows[touch])


def match(motions: Motions, floors: Sequence[Floor], usable: NDArray[np.bool_]) -> Matches:
    """Tell which motion belongs to which floor.

    Parameters
    ----------
    motions : Motions
        The programme.
    floors : sequence of Floor
        The floors.
    usable : (n,) ndarray of bool
        Rows whose frame is the part's; the others match nothing.

    Returns
    -------
    Matches
    """
    count = len(motions)
    found = Matches(np.full(count, -1), np.full(count, -1), np.zeros(count, dtype=bool))
    best = np.full(count, np.inf)
    ends = PlanIndex(motions.xyz[:, :2], motions.xyz[:, :2])
    for floor in floors:
        rows = ends.touching(floor.region.bounds)
        _match_nodes(motions, floor, rows[usable[rows]], found.node, best, floors)
    path = usable & np.isin(motions.kind, PATHS)
    boxes = PlanIndex(*_boxes(motions))
    for floor in floors:
        rows = boxes.touching(floor.region.bounds)
        rows = rows[path[rows]]
        _match_rows(motions, floor, rows[_is_level(motions, floor, rows)], found)
    for floor in _planes(floors):
        rows = np.flatnonzero(path)
        found.level[rows] |= _is_level(motions, floor, rows)
    return found


def _planes(floors: Sequence[Floor]) -> list[Floor]:
    """One floor for each plane that floors with a correction lie in."""
    planes = {}
    for floor in floors:
        if floor.is_active:
            pocket = floor.pocket
            place = pocket.centroid if any(pocket.slope) else ()
            planes[(pocket.floor_z, pocket.slope, place, floor.window)] = floor
    return list(planes.values())


def _is_level(motions: Motions, floor: Floor, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        return np.asarray(floor.near(motions.xyz[rows]) & floor.near(motions.start[rows]))


def _match_nodes(
    motions: Motions,
    floor: Floor,
    rows: NDArray[np.intp],
    node: NDArray[np.intp],
    best: NDArray[np.float64],
    floors: Sequence[Floor],
) -> None:
    """Give each end point the floor nearest in Z; of two as near, the one with the greater offset."""
    with np.errstate(invalid="ignore"):
        rows = rows[floor.near(motions.xyz[rows])]
    rows = rows[floor.over(motions.xyz[rows, :2])]
    xyz = motions.xyz[rows]
    away = np.round(np.abs(xyz[:, 2] - floor.pocket.nominal_z(xyz[:, 0], xyz[:, 1])), 6)
    taken = node[rows]
    wins = away < best[rows]
    tie = np.flatnonzero((taken >= 0) & (away == best[rows]))
    if len(tie):
        others = [floors[index].dz(xyz[[place], :2])[0] for place, index in zip(tie, taken[tie], strict=True)]
        wins[tie] = floor.dz(xyz[tie, :2]) > np.array(others)
    node[rows[wins]], best[rows[wins]] = floor.index, away[wins]


def _match_rows(motions: Motions, floor: Floor, rows: NDArray[np.intp], found: Matches) -> None:
    inside = floor.over(motions.start[rows, :2]) & floor.over(motions.xyz[rows, :2])
    sure = inside & (floor.is_convex & ~motions.is_arc[rows] | (motions.length[rows] == 0))
    unsure = np.flatnonzero(~sure)
    lines = path_lines(motions, rows[unsure])
    sure[unsure] = shapely.covers(floor.region, lines)
    touch = unsure[shapely.intersects(floor.region, lines) & ~sure[unsure]]
    _enter(found, floor.index, rows[sure], rows[touch])


def _enter(found: Matches, index: int, whole: NDArray[np.intp], touched: NDArray[np.intp]) -> None:
    again = found.whole[whole] >= 0
    for row in whole[again].tolist():
        found.partial.setdefault(row, [int(found.whole[row])]).append(index)
    fresh = whole[~again]
    found.whole[fresh] = index
    if found.partial:
        for row in [row for row in fresh.tolist() if row in found.partial]:
            found.partial[row].append(index)
    for row in touched.tolist():
        found.partial.setdefault(row, [int(found.whole[row])] if found.whole[row] >= 0 else []).append(index)


def _boxes(motions: Motions) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners of a box round each path in plan; round the whole circle for an arc."""
    first, last = motions.start[:, :2], motions.xyz[:, :2]
    low, high = np.minimum(first, last), np.maximum(first, last)
    arcs = motions.is_arc
    if arcs.any():
        centre = motions.centre[arcs]
        radius = np.hypot(*(last[arcs] - centre).T)[:, None] + 0.01
        low[arcs], high[arcs] = centre - radius, centre + radius
    return low, high


def path_lines(motions: Motions, rows: NDArray[np.intp], chord_mm: float = 0.01) -> NDArray[np.object_]:
    """Return each row's path in plan as a line string; arcs by chords within ``chord_mm``."""
    lines = np.empty(len(rows), dtype=object)
    steps = chords(motions, rows, chord_mm)
    for count in np.unique(steps).tolist():
        some = np.flatnonzero(steps == count)
        lines[some] = shapely.linestrings(motions.points(rows[some], np.linspace(0, 1, count + 1))[:, :, :2])
    return lines


def chords(motions: Motions, rows: NDArray[np.intp], chord_mm: float) -> NDArray[np.intp]:
    """Chords that a path needs: 1 for a line, a power of two for an arc."""
    radius = np.nan_to_num(np.hypot(*(motions.xyz[rows, :2] - motions.centre[rows]).T), nan=1.0)
    step = 2 * np.arccos(np.clip(1 - chord_mm / np.maximum(radius, chord_mm), -1, 1))
    need = np.maximum(np.abs(motions.sweep[rows]) / step, 1)
    return np.where(motions.is_arc[rows], 2 ** np.ceil(np.log2(need)), 1).astype(int)
