"""The underside of one floor, in the words of the part file: a level, a constant web, or heights by region."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.drawing import polygon_parts
from floorfit.cad.facet_heights import Facets, grid_patch, plane_patch, plane_patches, rings_of, z_of_planes
from floorfit.cad.mesh import Bools, Floats, Ints, component_labels, rows_by_label
from floorfit.cad.underside import Web
from floorfit.part.shape import Patch, heights
from floorfit.part.shaped import STEEPEST_BELOW

__all__ = ["RecordedWeb", "record_web"]

#: Along the outline the web may be thicker within this distance, mm: fillets and flanges of the other side stand
#: there, and a reading as near as this to a wall is not trusted anyway. A set choice.
EDGE_MM = 6.0
#: On small floors the strip is narrower: this times area over perimeter, a sixth of the mean width.
_EDGE_SHARE = 1.0 / 3.0
#: Wider than the strip along the outline that is not looked under, mm.
_STRIP = 0.3
#: A web of a curved floor is constant along the normal where it varies by less than this share of what it varies along
#: Z, and that is more than `_SAME`, mm: the last digit of a drawing. Set choices.
_CLEARLY, _SAME = 0.5, 1e-3
#: The normal of a piece narrower than this says little, mm: a set choice.
_SLIVER = 1.0
#: The depth of that strip is looked up along its outline at places this near to each other, mm.
_BETWEEN_MM = 2.0
#: More plane pieces than this in one place are written as a grid, where it follows them this closely, mm, or they are
#: more than that: at the foot of a wall below, or over its fillet, no grid does.
_MOST_PLANES, _FOLLOWS, _TOO_MANY = 200, 0.01, 5000


@dataclass(frozen=True)
class RecordedWeb:
    """The underside of one floor.

    Parameters
    ----------
    level : float, mm
        Z of a level underside; NaN for any other.
    patches : tuple of Patch
        Heights of an underside that is not level; empty for a level one and for a constant web.
    is_parallel : bool
        Whether the web is constant.
    constant : float, mm
        The constant web.
    along : {"z", "normal"}
        Direction in which it is constant.
    edge : float, mm
        Width of the strip along the outline where the other side's fillets and walls make the web thicker; 0 for none.
    thinnest, thickest : float, mm
        Web over the floor without that strip.
    """

    level: float
    patches: tuple[Patch, ...]
    is_parallel: bool
    constant: float
    edge: float
    thinnest: float
    thickest: float
    along: Literal["z", "normal"] = "z"


def record_web(web: Web, floor: Polygon, is_curved: bool, tolerance: float, sag: float) -> RecordedWeb:
    """Say what the underside of a floor is.

    Parameters
    ----------
    web : Web
        What was found below.
    floor : Polygon
    is_curved : bool
        Whether the floor is more than one plane.
    tolerance : float, mm
        Flatness of one plane.
    sag : float, mm
        How far the floor's facets may be from the true floor; 0 for a plane.
    """
    if web.underside_high - web.underside_low <= 2.0 * tolerance:
        level = (web.underside_low + web.underside_high) / 2.0
        return RecordedWeb(level, (), False, np.nan, 0.0, web.minimum, web.maximum)
    base, over = _base(web, tolerance)
    edge_only, edge = _along_edge(web, floor, base, over, tolerance)
    kept = ~edge_only
    thin, thick = float(web.thinnest[kept].min()), float(web.thickest[kept].max())
    if is_curved:
        # The two faces of such a web are parallel: the cosine of either turns it from along Z to along the normal.
        wide = kept & (2.0 * shapely.area(web.shapes) >= _SLIVER * shapely.length(web.shapes))
        sound = wide if wide.any() else kept
        cosine = np.abs(web.normals[sound, 2])
        least, most = float((cosine * web.thinnest[sound]).min()), float((cosine * web.thickest[sound]).max())
        clearly = most - least <= _CLEARLY * (thick - thin) and thick - thin > _SAME
        if clearly and most - least <= 2.0 * (tolerance + sag):
            return RecordedWeb(np.nan, (), True, (least + most) / 2.0, edge, thin, thick, "normal")
    level = _level_of(web, base, kept, tolerance)
    if np.isfinite(level):
        return RecordedWeb(level, (), False, np.nan, edge, thin, thick)
    if thick - thin <= 2.0 * (tolerance + sag):
        return RecordedWeb(np.nan, (), True, (thin + thick) / 2.0, edge, thin, thick)
    return RecordedWeb(np.nan, tuple(_patches(web, base, kept, floor)), False, np.nan, edge, thin, thick)


def _base(web: Web, tolerance: float) -> tuple[Bools, Floats]:
    """Shapes in the plane of the largest one, and how far each rises over that plane at most."""
    largest = int(shapely.area(web.shapes).argmax())
    xy, number = shapely.get_coordinates(web.shapes, return_index=True)
    own = z_of_planes(xy, web.points[number], web.normals[number])
    over = own - z_of_planes(xy, web.points[None, largest], web.normals[None, largest])
    starts = np.searchsorted(number, np.arange(len(web.shapes)))
    high, low = np.maximum.reduceat(over, starts), np.minimum.reduceat(over, starts)
    return np.maximum(high, -low) <= 2.0 * tolerance, np.asarray(high)


def _along_edge(web: Web, floor: Polygon, base: Bools, over: Floats, tolerance: float) -> tuple[Bools, float]:
    """Shapes that only make the web thicker within `EDGE_MM` of the outline, and how far in they reach."""
    none = np.zeros(len(base), np.bool_)
    if shapely.area(web.shapes[base]).sum() < 0.5 * floor.area:
        return none, 0.0
    deeper = ~base & (over <= 2.0 * tolerance)
    core = floor.buffer(-min(EDGE_MM, _EDGE_SHARE * floor.area / floor.length), join_style="mitre")
    parts = polygon_parts(shapely.union_all(web.shapes[deeper]).buffer(2e-3, join_style="mitre"))
    strips = [part for part in parts if not part.intersects(core)]
    if not strips:
        return none, 0.0
    strip = shapely.union_all(strips)
    shapely.prepare(strip)
    mine = none.copy()
    mine[deeper] = shapely.covers(strip, web.shapes[deeper])
    rim = shapely.boundary(floor)
    # Its middle may be deeper in than its corners: where it runs along a whole side these lie on the outline.
    places = shapely.get_coordinates(shapely.segmentize(web.shapes[mine], _BETWEEN_MM))
    reach = float(shapely.distance(shapely.points(places), rim).max(initial=0.0))
    return mine, reach


def _level_of(web: Web, base: Bools, kept: Bools, tolerance: float) -> float:
    """Z of the underside where all that counts is one level; else NaN."""
    if not base[kept].all():
        return float("nan")
    xy, number = shapely.get_coordinates(web.shapes[kept], return_index=True)
    z = z_of_planes(xy, web.points[kept][number], web.normals[kept][number])
    if z.max() - z.min() > 2.0 * tolerance:
        return float("nan")
    # The largest shape alone: the foot of a fine fillet below is in its plane within the tolerance only.
    flat = z[number == shapely.area(web.shapes[kept]).argmax()]
    return float((flat.min() + flat.max()) / 2.0)


def _patches(web: Web, base: Bools, kept: Bools, floor: Polygon) -> list[Patch]:
    """The base everywhere, and over it what differs: planes, or a grid where there are many."""
    first = int(shapely.area(web.shapes).argmax())
    steep = np.hypot(web.normals[:, 0], web.normals[:, 1]) > STEEPEST_BELOW * np.abs(web.normals[:, 2])
    rest = kept & ~base & ~steep
    is_main = shapely.area(web.shapes[base]).sum() >= 0.05 * floor.area or rest.sum() <= _MOST_PLANES
    if not is_main:
        rest = kept & ~steep
    out = [plane_patch((), web.points[first], web.normals[first])] if is_main else []
    edge = _strip_of(floor, web.shapes)
    for group in _groups(web.shapes, np.flatnonzero(rest)):
        shapes, points, normals = _to_the_edge(web.shapes[group], edge), web.points[group], web.normals[group]
        grids = _grids(shapes, points, normals) if len(group) > _MOST_PLANES else []
        out += grids or plane_patches(shapes, points, normals)
    return out


def _strip_of(floor: Polygon, shapes: NDArray[np.object_]) -> Any:
    """The strip along the outline that was not looked under."""
    strip = floor.difference(floor.buffer(-_STRIP, join_style="mitre"))
    shapely.prepare(strip)
    return strip.difference(shapely.union_all(shapes[shapely.intersects(strip, shapes)]).buffer(1e-6))


def _to_the_edge(shapes: NDArray[np.object_], edge: Any) -> NDArray[np.object_]:
    """Shapes carried on over the strip along the outline that was not looked under."""
    out = shapes.copy()
    near = np.flatnonzero(shapely.dwithin(shapes, edge, 1e-3) & ~shapely.is_empty(edge))
    for row in near:
        more = shapely.intersection(shapely.buffer(shapes[row], _STRIP, join_style="mitre"), edge)
        out[row] = shapely.union_all([shapes[row], shapely.buffer(more, 2e-6)])
    return out


def _groups(shapes: NDArray[np.object_], rows: Ints) -> list[Ints]:
    """Rows whose shapes hang together."""
    if len(rows) == 0:
        return []
    near = shapely.STRtree(shapes[rows]).query(shapes[rows], predicate="dwithin", distance=1e-3).T
    return [rows[group] for group in rows_by_label(component_labels(len(rows), near))]


def _grids(shapes: NDArray[np.object_], points: Floats, normals: Floats) -> list[Patch]:
    """Grids of plane pieces; none where they do not follow these."""
    whole: Any = shapely.union_all(shapes).buffer(1e-3, join_style="mitre")
    parts, owner = shapely.get_parts(shapes, return_index=True)
    area = shapely.get_type_id(parts) == 3
    face = Facets(parts[area], points[owner[area]], normals[owner[area]])
    grids = [grid_patch(face, Polygon(ring), ring) for ring in rings_of(whole)]
    middles = shapely.get_coordinates(shapely.centroid(face.pieces))
    off = np.abs(heights(tuple(grids), *middles.T) - z_of_planes(middles, face.points, face.normals))
    return grids if len(shapes) > _TOO_MANY or off.max() <= _FOLLOWS else []
