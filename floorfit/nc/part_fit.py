"""Whether a programme is this part's, in this frame: its passes must fit the floors and their walls.

Passes at a floor's height that belong together (one box round them in plan) should stand in the floor by the cutter's
radius. Where they stand in it as far to one side as they go over the wall on the other, the programme is shifted, and
the boxes vote on the shift. Passes that run across metal which is no floor are another part's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.arrays import Array, Flags, Rows, counted
from floorfit.errors import Finding
from floorfit.nc.floor_bands import EPS_MM, CutFloor
from floorfit.nc.tip_path import TipPath
from floorfit.part.model import Part, Ring
from floorfit.units import MM_PER_UNIT, Unit

__all__ = ["check_fit"]

#: How far over a wall a cutter may reach before it counts, mm: stock left on walls, rounding. Own choice, no source.
_OVER_WALL_MM = 0.3
#: Metal between floors narrower than this is a seam or a step, mm.
_SEAM_MM = 0.4
#: Share of the passes at floor height that may run over walls before it is another part's programme. Own choice.
_MOST_OVER = 0.1
#: The same for cutter-location data, which may hold one crossing and little else. Own choice.
_MOST_OVER_LOCATIONS = 0.3
#: Length over walls that is a crossing and says nothing of the part, mm: a thin rib between floors. Own choice.
_CROSSING_MM = 5.0
#: Boxes vote for one shift where they agree to this, mm; smaller shifts are none.
_AGREE_MM = 1.0
#: Passes that leave the same room both ways, to this, and stand aside by more, mm, are shifted. Own choice, no source.
_ASIDE_MM = 0.1
#: Largest cutter that a box and its floor may differ by, mm.
_WIDEST_MM = 80.0
#: A motion further from a floor than this and its cutter's radius is not near it, mm. Own choice, no source.
_NEAR_MM = 5.0
#: Distance of the places tried along a pass, mm, and greatest number of them for one height.
_STEP_MM, _MOST_PLACES = 2.0, 200_000
#: Decimals of a place that is to be stated.
_DECIMALS: dict[Unit, int] = {"mm": 3, "in": 5}


@dataclass(frozen=True)
class _Boxes:
    """Passes at one height that belong together: centres and sizes, (n, 2), mm."""

    centre: Array
    size: Array
    radius: float

    def _in(self, floor: CutFloor) -> tuple[Array, Array]:
        """Room that boxes leave in the box of a floor, and ways to its middle, (n, 2)."""
        low, high = np.reshape(floor.pocket.polygon.bounds, (2, 2))
        return high - low - self.size, (low + high) / 2 - self.centre

    def fits(self, floors: Sequence[CutFloor]) -> tuple[Rows, Array]:
        """Boxes that have the size of a floor less one cutter, with the ways from the boxes to that floor, (m, 2)."""
        boxes, ways = [np.zeros(0, int)], [np.zeros((0, 2))]
        for floor in floors:
            room, way = self._in(floor)
            wide = np.abs(room[:, 0] - room[:, 1]) <= _AGREE_MM
            wide &= (room > -0.5).all(axis=1) & (room < _WIDEST_MM).all(axis=1)
            if self.radius:
                wide &= (np.abs(room - 2 * self.radius) <= _AGREE_MM).all(axis=1)
            boxes.append(np.flatnonzero(wide))
            ways.append(way[wide])
        return np.concatenate(boxes), np.concatenate(ways)

    def own(self, floors: Sequence[CutFloor]) -> Iterator[tuple[str, float, Array]]:
        """Floors with a box that leaves the same room both ways: id, that room, and way from the box to its middle."""
        for floor in floors:
            room, ways = self._in(floor)
            even = np.abs(room[:, 0] - room[:, 1]) <= _ASIDE_MM
            mine = np.flatnonzero(even & (np.abs(ways) <= 0.5 * np.minimum(room, _WIDEST_MM)).all(axis=1))
            if len(mine):
                best = mine[np.argmin(np.hypot(*ways[mine].T))]
                yield floor.pocket.id, float(room[best].mean()), ways[best]


def check_fit(
    path: TipPath, cutting: Flags, line: NDArray[np.int64], floors: Sequence[CutFloor], part: Part, source: str,
    *, lost: bool = True, is_location: bool = False,
) -> list[Finding]:  # fmt: skip
    """Return what says that the programme is not this part's, or stands elsewhere.

    Parameters
    ----------
    path : TipPath
        The tip, in the part's frame.
    cutting, line : (n,) ndarray
        Motions that cut, and the lines of all.
    floors : sequence of CutFloor
        All floors of the part.
    part : Part
    source : str
        Name of the programme.
    lost : bool
        Whether the programme cuts where nobody here knows.
    is_location : bool
        Whether it is cutter-location data.
    """
    outline, unit = part.outline, part.units
    rows = np.flatnonzero(cutting & path.is_followed)
    if not any(_on(path, rows, floor).any() for floor in floors):
        hint = "" if is_location else _hint(path, rows, floors, unit)
        if len(path) and not (hint or lost or any(_is_near(path, floor) for floor in floors)):
            text = "no motion comes near a floor of this part: nothing was changed. Is it the programme you meant?"
            return [Finding("no-floor", source, "", text, "warning")]
        text = "no cutting motion lies on any floor of this part. Is it this part's finishing programme, in its frame?"
        return [Finding("other-part", source, "", text + hint)]
    shift, votes, boxes, over, own = _seen(path, rows, floors, outline)
    far = float(np.hypot(*shift)) > _AGREE_MM
    if far and 2 * votes >= boxes and (len(over.rows) or votes >= 3):
        text = (
            f"the passes fit the floors only when they are moved by X {shift[0]:.3f} and Y {shift[1]:.3f} mm "
            f"({votes} of {boxes} floors). Is the programme's zero the part's? "
            f"If it is not, {_to_state(shift, unit, is_location=is_location)}."
        )
        return [Finding("shifted", source, "", text)]
    told = _aside(own, source)
    if not len(over.rows):
        return told
    place = f"line {line[over.rows[0]] + 1}"
    text = f"passes at the height of a floor run over metal that is no floor, {over.length:.0f} of {over.total:.0f} mm."
    if over.length > max((_MOST_OVER_LOCATIONS if is_location else _MOST_OVER) * over.total, _CROSSING_MM):
        text += " Is it this part's programme, in its frame, and its tool?"
        return [Finding("other-part", source, place, text)]
    code = "over-walls" if over.is_long else "across"
    return [*told, Finding(code, source, place, f"{text} They are left as programmed there. Look at them.", "warning")]


def _aside(own: Sequence[tuple[str, float, Array]], source: str) -> list[Finding]:
    """A warning where passes that fill their floors but for one cutter, as most do, do not stand in the middle."""
    rooms = np.array([room for _, room, _ in own])
    like = np.flatnonzero(np.abs(rooms - np.median(rooms)) <= _ASIDE_MM) if len(rooms) else rooms.astype(int)
    off = [own[index] for index in like.tolist() if np.hypot(*own[index][2]) > _ASIDE_MM]
    if len(like) < 3 or 2 * len(like) < len(own) or not off:
        return []
    (name, _, way), rest = off[0], f" and {len(off) - 1} more" if len(off) > 1 else ""
    text = (
        f"pocket {name}{rest}: the passes would stand in the middle of the floor if moved by X {way[0]:.3f} and "
        f"Y {way[1]:.3f} mm: one wall gets more and one less. Is the programme's zero the part's, and each pattern "
        "called at its place?"
    )
    return [Finding("aside", source, "", text, "warning")]


def _to_state(shift: Array, unit: Unit, *, is_location: bool) -> str:
    x, y = (f"{value:.{_DECIMALS[unit]}f}" for value in shift[:2] / MM_PER_UNIT[unit])
    frame = f"state its frame, moved by --frame=1,0,0,{x},0,1,0,{y},0,0,1,0"
    return frame if is_location else f"say --origin {x},{y},0"


def _is_near(path: TipPath, floor: CutFloor) -> bool:
    """Whether any motion comes over a floor or beside it, as low as what roughing left there or lower; boxes count."""
    reach = max(_NEAR_MM, *(cutter.radius for cutter in path.cutters))
    low = np.flatnonzero((path.boxes[0][:, 2] <= floor.top + _NEAR_MM) & path.is_usable)
    return bool(path.beside(low, floor.pocket.polygon.bounds, reach).any())


def _on(path: TipPath, rows: Rows, floor: CutFloor) -> Flags:
    """Motions that go over a floor and end below what roughing left there; an arc by its chord."""
    x0, y0, x1, y1 = floor.pocket.polygon.bounds
    (ax, ay), (bx, by) = path.start[rows, :2].T, path.end[rows, :2].T
    near = (np.minimum(ax, bx) <= x1) & (np.maximum(ax, bx) >= x0)
    near &= (np.minimum(ay, by) <= y1) & (np.maximum(ay, by) >= y0)
    out = np.zeros(len(rows), dtype=bool)
    some = rows[near]
    x, y, z = path.end[some].T
    radius = path.radius[some]
    lean = radius * np.hypot(path.axis[some, 0], path.axis[some, 1])
    if floor.is_shaped:
        lean = lean + radius * np.hypot(*floor.pocket.slope_at(x, y).T)
    over = z - floor.pocket.floor_at(x, y)
    low = (over >= -floor.window - lean - EPS_MM) & (over - lean <= floor.guard + EPS_MM)
    if low.any():
        out[np.flatnonzero(near)[low]] = shapely.intersects(floor.grown, path.lines(some[low]))
    return out


@dataclass(frozen=True)
class _Over:
    """Motions over metal that is no floor, length there and of all passes, mm; whether a stretch is no crossing."""

    rows: Rows
    length: float
    total: float
    is_long: bool


def _seen(
    path: TipPath, rows: Rows, floors: Sequence[CutFloor], outline: Ring
) -> tuple[Array, int, int, _Over, list[tuple[str, float, Array]]]:
    """The shift with most votes, its votes, the boxes that voted, what runs over walls, and floors with their boxes."""
    own: list[tuple[str, float, Array]] = []
    fits = [(np.zeros(0, int), np.zeros((0, 2)))]
    over = [_Over(np.zeros(0, dtype=int), 0.0, 0.0, False)]
    count = 0
    for level, mine, runs in _groups(path, rows, floors):
        if not runs:
            continue
        boxes = _boxes(path, runs)
        box, way = boxes.fits(mine)
        fits.append((count + box, way))
        own += boxes.own(mine)
        count += len(boxes.centre)
        over.append(_over_walls(path, np.concatenate(runs), level, floors, outline))
    shift, votes = _vote(*map(np.concatenate, zip(*fits, strict=True)))
    length, total = sum(one.length for one in over), sum(one.total for one in over)
    every = _Over(np.concatenate([one.rows for one in over]), length, total, any(one.is_long for one in over))
    return shift, votes, count, every, own


def _groups(
    path: TipPath, rows: Rows, floors: Sequence[CutFloor]
) -> Iterator[tuple[float, list[CutFloor], list[Rows]]]:
    """Floors that passes are told by: those at one level, and each curved one; greatest height, floors and runs."""
    flat = [floor for floor in floors if not (any(floor.pocket.slope) or floor.is_shaped)]
    ways = shapely.STRtree(path.lines(rows))
    for level in sorted({floor.pocket.floor_z for floor in flat}):
        mine = [floor for floor in flat if floor.pocket.floor_z == level]
        on = np.zeros(len(path), dtype=bool)
        for floor in mine:
            near = rows[np.sort(ways.query(floor.pocket.polygon))]
            on[near[_on(path, near, floor)]] = True
        yield level, mine, [run for run in _runs(path, rows, level, mine[0].window) if on[run].any()]
    for floor in floors:
        if floor.is_shaped:
            yield floor.z_range[1], [floor], _split(rows[_on(path, rows, floor)])


def _runs(path: TipPath, rows: Rows, level: float, window: float) -> list[Rows]:
    """Motions at one height, in runs of motions that follow each other."""
    off = np.maximum(*(np.abs(end[rows, 2] - level) for end in (path.start, path.end)))
    return _split(rows[off <= window + EPS_MM])


def _split(at: Rows) -> list[Rows]:
    """Motions that follow each other, together."""
    return [run for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if len(run)]


def _boxes(path: TipPath, runs: Sequence[Rows]) -> _Boxes:
    """Boxes round the runs, those joined that touch when grown by the cutter's radius."""
    radius = float(path.cutters[path.cutter[runs[0][0]]].radius)
    grow = max(radius - 0.5, 1.0)
    corners = []
    for run in runs:
        both = np.concatenate([path.start[run, :2], path.end[run, :2]])
        corners.append(shapely.box(*(both.min(axis=0) - grow), *(both.max(axis=0) + grow)))
    bounds = shapely.bounds(shapely.get_parts(shapely.union_all(corners)))
    low, high = bounds[:, :2] + grow, bounds[:, 2:] - grow
    return _Boxes((low + high) / 2, high - low, radius)


def _vote(box: Rows, ways: Array) -> tuple[Array, int]:
    """The way that most boxes agree on, the shortest of equals, and how many they are."""
    best, votes = np.zeros(2), 0
    if not len(box):
        return best, votes
    cells, cell = np.unique(np.floor(ways / _AGREE_MM).astype(int), axis=0, return_inverse=True)
    mine = np.split(np.argsort(cell, kind="stable"), np.cumsum(np.bincount(cell, minlength=len(cells)))[:-1])
    found = {tuple(place): rows for place, rows in zip(cells.tolist(), mine, strict=True)}
    beside = [list(product(*((at - 1, at, at + 1) for at in place))) for place in cells.tolist()]
    near = [[found[place] for place in places if place in found] for places in beside]
    most = np.array([sum(map(len, some)) for some in near], int)[cell]
    for row in np.argsort(np.hypot(*ways[:, :2].T)).tolist():
        if most[row] <= votes:
            continue
        rows = np.concatenate(near[cell[row]])
        agree = rows[(np.abs(ways[rows] - ways[row]) <= _AGREE_MM).all(axis=1)]
        count = len(np.unique(box[agree]))
        if count > votes:
            best, votes = np.median(ways[agree], axis=0), count
    return best, votes


def _over_walls(path: TipPath, rows: Rows, level: float, floors: Sequence[CutFloor], outline: Ring) -> _Over:
    """Motions whose cutter reaches over metal that is no floor."""
    open_at = [floor.pocket.polygon for floor in floors if floor.z_range[0] <= level + floor.window]
    air = shapely.union_all([polygon.buffer(_SEAM_MM / 2, join_style="mitre") for polygon in open_at])
    metal = Polygon(outline).difference(air).buffer(-_SEAM_MM / 2).buffer(_SEAM_MM / 2)
    length = np.nan_to_num(path.length[rows])
    count = np.maximum(np.ceil(length / max(_STEP_MM, length.sum() / _MOST_PLACES)), 1).astype(int)
    of, at = counted(count)
    share = (at + 0.5) / count[of]
    places = path.axis_places(rows[of], share)
    over = np.zeros(len(of), dtype=bool)
    for index, cutter in enumerate(path.cutters):
        mine = path.cutter[rows[of]] == index
        zone = metal.buffer(cutter.flat - _OVER_WALL_MM)
        shapely.prepare(zone)
        over[mine] = shapely.contains_xy(zone, *places[mine, :2].T)
    step = (length / count)[of]
    reach = np.array([max(cutter.flat - _OVER_WALL_MM, 0.0) for cutter in path.cutters])[path.cutter[rows[of]]]
    way = np.where(over, step, 0.0)
    starts = np.flatnonzero(np.append(True, (over[1:] != over[:-1]) | (np.diff(rows[of]) > 1)))
    is_long = bool((np.add.reduceat(way, starts) > _CROSSING_MM + 2 * reach[starts]).any())
    return _Over(np.unique(rows[of[over]]), float(step[over].sum()), float(length.sum()), is_long)


def _hint(path: TipPath, rows: Rows, floors: Sequence[CutFloor], unit: Unit) -> str:
    """Where the programme's zero seems to be, from the passes and the floors; empty where nothing fits."""
    flat = [floor for floor in floors if not (any(floor.pocket.slope) or floor.is_shaped)]
    level_of = np.round(path.end[rows, 2], 3)
    levels, which = np.unique(level_of, return_inverse=True)
    levels = levels[np.argsort(-np.bincount(which, np.nan_to_num(path.length[rows])))][:20]
    fits: list[list[tuple[Rows, Array]]] = [[(np.zeros(0, int), np.zeros((0, 3)))] for _ in range(4)]
    count = 0
    for level in levels.tolist():
        runs = _runs(path, rows, level, 0.002)
        if not runs:
            continue
        boxes = _boxes(path, runs)
        for quarter in range(4):
            c, s = round(np.cos(quarter * np.pi / 2)), round(np.sin(quarter * np.pi / 2))
            size = boxes.size[:, ::-1] if quarter % 2 else boxes.size
            turned = _Boxes(boxes.centre @ np.array([[c, s], [-s, c]]), size, boxes.radius)
            for floor in flat:
                box, way = turned.fits([floor])
                dz = np.full((len(box), 1), floor.pocket.floor_z - level)
                fits[quarter].append((count + box, np.hstack([way, dz])))
        count += len(boxes.centre)
    found = [_vote(*map(np.concatenate, zip(*some, strict=True))) for some in fits]
    quarter = max(range(4), key=lambda one: found[one][1])
    way, votes = found[quarter]
    if not votes:
        return ""
    place = ",".join(f"{value / MM_PER_UNIT[unit]:.{_DECIMALS[unit]}f}" for value in way)
    angle = f",{90 * quarter}" if quarter else ""
    return (
        f" {votes} of its passes would fit floors with --origin {place}{angle}: "
        "check that on the drawing before you say so."
    )
