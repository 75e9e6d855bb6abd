"""The record as a drawing sees it: outlines, floors and the place of their labels, all in millimetres."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.arrays import Array
from floorfit.record import Decision, Record, WebMap
from floorfit.report.format import Display, Writing, display_for
from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["DrawnFloor", "PlanView", "plain_text", "plan_of", "thinness", "web_scale"]

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class DrawnFloor:
    """One pocket floor to draw.

    Parameters
    ----------
    index : int
        Position in the part's order, from 0.
    boundary : (m, 2) ndarray, mm
        Outline.
    islands : tuple of (k, 2) ndarray, mm
        Metal inside it.
    label_at : (float, float), mm
        A place well inside the floor.
    decision : Decision
        What was decided for it.
    """

    index: int
    boundary: Array
    islands: tuple[Array, ...]
    label_at: tuple[float, float]
    decision: Decision

    @property
    def id(self) -> str:
        """Name on the drawing."""
        return self.decision.pocket

    @cached_property
    def bounds(self) -> Bounds:
        """Smallest rectangle round it, mm."""
        return _bounds(self.boundary)

    @cached_property
    def polygon(self) -> Polygon:
        """The floor as a valid shapely geometry with its islands as holes, mm; prepared to be asked what it covers."""
        from shapely import Polygon, prepare

        polygon = Polygon(self.boundary, self.islands)
        valid = polygon if polygon.is_valid else polygon.buffer(0)
        prepare(valid)
        return valid


@dataclass(frozen=True, eq=False)
class PlanView:
    """The part to draw: name, units, outline (mm) and floors in the part's order."""

    name: str
    display: Display
    outline: Array
    floors: tuple[DrawnFloor, ...]

    @property
    def bounds(self) -> Bounds:
        """Rectangle round outline and floors, mm."""
        points = np.vstack([self.outline, *(floor.boundary for floor in self.floors)])
        return _bounds(points)

    @property
    def suggestions(self) -> Array:
        """Places where another reading would help a floor most, (k, 2), mm."""
        places = [one.decision.suggestion_mm for one in self.floors if one.decision.suggestion_mm is not None]
        return np.array(places, dtype=float).reshape(-1, 2)


def plan_of(record: Record, writing: Writing | None = None) -> PlanView:
    """Return what there is to draw.

    Parameters
    ----------
    record : Record
        A run; its part document is in the part's own unit.
    writing : Writing, optional
        Unit, language and decimal sign of the drawing; those of the part and English where left out.

    Returns
    -------
    PlanView
        In mm; the floors match ``record.decisions`` one by one.

    Raises
    ------
    KeyError
        If the record's part lacks a pocket that was decided.
    """
    part = record.part
    unit = part.get("units", "mm")
    scale = MM_PER_UNIT["in"] if unit == "in" else 1.0
    pockets = {pocket["id"]: pocket for pocket in part["pockets"]}
    floors = tuple(_floor(k, pockets[d.pocket], d, scale) for k, d in enumerate(record.decisions))
    outline = _ring(part["outline"], scale)
    return PlanView(str(part.get("name", "")), display_for(unit, writing), outline, floors)


def web_scale(record: Record) -> Array:
    """Return what a web may be, for each floor: middle and half width at the centroid, slope, centroid.

    With ``d = web - sx (x - cx) - sy (y - cy)``, the web brought to the centroid of a sloped floor,
    ``(d - middle) / half`` is -1 at the lower limit and +1 at the upper.

    Parameters
    ----------
    record : Record
        A run with a map.

    Returns
    -------
    (n, 6) ndarray
        middle, half (mm), sx, sy, cx, cy (mm). With one limit only, half is the distance to the farthest web on any
        floor; without a limit it is infinite.
    """
    limits = np.array([(d.web_lower_limit_mm, d.web_upper_limit_mm) for d in record.decisions], dtype=float)
    low, high = limits.reshape(-1, 2).T
    slopes = {pocket["id"]: pocket.get("slope", (0.0, 0.0)) for pocket in record.part["pockets"]}
    planes = np.array([(*slopes[d.pocket], *d.centroid_mm) for d in record.decisions], dtype=float).reshape(-1, 4)
    reach = _reach(record, np.column_stack([low, high]), planes)
    cases = [~np.isnan(low + high), ~np.isnan(low), ~np.isnan(high)]
    middle = np.select(cases, [(low + high) / 2, low + reach, high - reach], 0.0)
    half = np.select(cases, [(high - low) / 2, reach, reach], np.inf)
    return np.column_stack([middle, np.where(half > 0, half, np.inf), planes])


def thinness(record: Record, web: Array) -> Array:
    """Return how thin webs are in their tolerance: -1 at the upper limit, +1 at the lower; NaN where none.

    Parameters
    ----------
    record : Record
        A run with a map.
    web : (r, c) ndarray, mm
        On the map's nodes.
    """
    assert record.map is not None
    scale = np.vstack([web_scale(record), np.full(6, np.nan)])[record.map.pocket]
    return np.asarray((scale[..., 0] - _level(record.map, web, scale[..., 2:])) / scale[..., 1])


def plain_text(text: str) -> str:
    """Return text on one line, control characters replaced by spaces."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _level(grid: WebMap, web: Array, planes: Array) -> Array:
    """Return webs with the slope of their floor taken out; ``planes`` (r, c, 4): sx, sy, cx, cy."""
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    return np.asarray(web - planes[..., 0] * (x - planes[..., 2]) - planes[..., 1] * (y - planes[..., 3]))


def _reach(record: Record, limits: Array, planes: Array) -> float:
    """Return the largest distance of a web from a limit of its floor, mm."""
    grid = record.map
    if grid is None:
        return 1.0
    own = np.vstack([np.hstack([limits, planes]), np.full(6, np.nan)])[grid.pocket]
    webs = [_level(grid, rows, own[..., 2:]) for rows in (grid.web_before_mm, grid.web_after_mm)]
    distance = np.abs(np.stack(webs)[..., None] - own[..., :2])
    return float(np.nanmax(distance)) if np.isfinite(distance).any() else 1.0


def _floor(index: int, pocket: dict[str, Any], decision: Decision, scale: float) -> DrawnFloor:
    boundary = _ring(pocket["boundary"], scale)
    islands = tuple(_ring(island, scale) for island in pocket.get("islands", ()))
    return DrawnFloor(index, boundary, islands, _label_place(boundary, islands), decision)


def _bounds(points: Array) -> Bounds:
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return (x0, y0, x1, y1)


def _ring(points: list[list[float]], scale: float) -> Array:
    return np.array(points, dtype=float)[:, :2] * scale


def _label_place(boundary: Array, islands: tuple[Array, ...]) -> tuple[float, float]:
    from shapely import Point, Polygon

    polygon = Polygon(boundary, islands)
    centre, (x0, y0, x1, y1) = polygon.centroid, polygon.bounds
    if polygon.is_valid and polygon.buffer(-0.125 * min(x1 - x0, y1 - y0)).contains(Point(centre)):
        return (centre.x, centre.y)
    return _widest_place(polygon if polygon.is_valid else polygon.buffer(0))


def _widest_place(polygon: Polygon) -> tuple[float, float]:
    """Return the middle of the widest level chord: a label is wider than it is high."""
    candidates = list(_chords(polygon))
    if not candidates:
        point = polygon.representative_point()
        return (point.x, point.y)
    _, x, y = max(candidates)
    return (x, y)


def _chords(polygon: Polygon) -> Iterator[tuple[float, float, float]]:
    from shapely import LineString

    x0, y0, x1, y1 = polygon.bounds
    for y in np.linspace(y0, y1, 11)[1:-1]:
        cut = polygon.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
        for piece in getattr(cut, "geoms", [cut]):
            if piece.length > 0:
                middle = piece.interpolate(0.5, normalized=True)
                room = middle.distance(polygon.boundary)
                yield (min(piece.length / 2, 2.5 * room), float(middle.x), float(middle.y))
