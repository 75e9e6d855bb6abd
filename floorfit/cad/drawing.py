"""Plan polygons of regions: loops of edges joined to areas, and tidy, canonical rings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.cad.mesh import Floats, Ints, Mesh

if TYPE_CHECKING:
    from shapely import LinearRing, Polygon
    from shapely.geometry.base import BaseGeometry

    from floorfit.part.model import Ring

__all__ = ["largest_polygon", "polygon_parts", "region_polygon", "ring_of", "tidy_polygon", "triangles_in_plan"]

#: Cells times edges up to here are counted cell by cell (about a second); a set choice.
_MOST_CROSSINGS = 200_000_000


def region_polygon(mesh: Mesh, facets: Ints) -> Any:
    """Plan area of connected facets that look one way, as a polygon with holes.

    Parameters
    ----------
    mesh : Mesh
    facets : (k,) ndarray of int

    Returns
    -------
    Polygon or MultiPolygon

    Notes
    -----
    Edges that the facets use once, and not also the other way, are the outline. Where a patch laps over itself in
    plan its loops cross, and the cells between them are taken by their winding number. Where corners meet edges of
    a neighbour (seams) the loops do not close, the area differs from the facets', and their union is taken instead.
    """
    area = float(np.abs(mesh.plan_areas[facets]).sum())
    ends = mesh.vertices[outline_edges(mesh.faces[facets], len(mesh.vertices))][:, :, :2]
    grid = max(1e-6, mesh.noise / 4.0)
    for way in (_simple_loops, _crossing_loops):
        try:
            shape, covered = way(ends, grid)
        except shapely.errors.GEOSException:
            continue  # lines that cross within float noise; the next way snaps them to a grid
        if shape.is_valid and abs(covered - area) <= 1e-6 * area + 1e-6 + grid * shape.length:
            return shape
    return shapely.unary_union(shapely.set_precision(triangles_in_plan(mesh, facets), grid))


def _simple_loops(ends: Floats, _grid: float) -> tuple[Any, float]:
    """Area inside loops that do not cross, and its size."""
    lines: Any = shapely.linestrings(ends)
    shape: Any = shapely.build_area(shapely.geometrycollections(lines))
    return shape, float(shape.area)


def _crossing_loops(ends: Floats, grid: float) -> tuple[Any, float]:
    """Union of the cells between loops that cross, and the sum of the cells' areas times the facets over each.

    Notes
    -----
    All facets of a patch look one way, so the winding number of its outline about a point is the number of facets
    over that point.
    """
    lines: Any = shapely.linestrings(ends)
    noded = shapely.unary_union(shapely.set_precision(shapely.multilinestrings(lines), grid))
    cells: Any = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    if len(cells) * len(ends) > _MOST_CROSSINGS:
        return shapely.Polygon(), 0.0
    times = np.abs(_windings(shapely.get_coordinates(shapely.point_on_surface(cells)), ends))
    covered = float((shapely.area(cells) * times).sum())
    return shapely.unary_union(cells[times > 0]), covered


def _windings(points: Floats, ends: Floats) -> Ints:
    """Winding number of directed edges about each point, by the edges that cross a ray to +X (Sunday 2001)."""
    (ax, ay), (bx, by) = ends[:, 0].T, ends[:, 1].T
    out = np.zeros(len(points), np.int64)
    for index, (x, y) in enumerate(points):
        left = (bx - ax) * (y - ay) - (x - ax) * (by - ay)
        up, down = (ay <= y) & (by > y) & (left > 0.0), (ay > y) & (by <= y) & (left < 0.0)
        out[index] = int(up.sum()) - int(down.sum())
    return out


def outline_edges(faces: Ints, count: int) -> Ints:
    """Directed edges of the facets that have no partner running the other way, (e, 2).

    Parameters
    ----------
    faces : (m, 3) ndarray of int
    count : int
        Vertices of the mesh.
    """
    start = faces.reshape(-1)
    end = faces[:, [1, 2, 0]].reshape(-1)
    forward, back = np.sort(start * np.int64(count) + end), np.sort(end * np.int64(count) + start)
    if len(back) == 0:
        return np.zeros((0, 2), np.int64)
    partner = np.minimum(np.searchsorted(back, forward), len(back) - 1)
    return np.column_stack(np.divmod(forward[back[partner] != forward], count))


def triangles_in_plan(mesh: Mesh, facets: Ints) -> NDArray[np.object_]:
    """Facets as shapely polygons in plan.

    Parameters
    ----------
    mesh : Mesh
    facets : (k,) ndarray of int
    """
    corners = mesh.vertices[mesh.faces[facets]][:, :, :2]
    return np.asarray(shapely.polygons(np.concatenate([corners, corners[:, :1]], axis=1)))


def polygon_parts(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a geometry, the largest first; lines and points are dropped."""
    single = shapely.get_parts(shapely.get_parts(shape))  # twice: a collection may hold polygons of several parts
    parts = [part for part in single if part.geom_type == "Polygon" and not part.is_empty]
    return sorted(parts, key=lambda part: -part.area)


def largest_polygon(shape: BaseGeometry) -> Polygon:
    """Largest polygon of a geometry; empty where there is none."""
    parts = polygon_parts(shape)
    return parts[0] if parts else shapely.Polygon()


def ring_of(ring: LinearRing) -> Ring:
    """Corners of a ring as plain numbers, the last not repeated."""
    return tuple((float(x), float(y)) for x, y in list(ring.coords)[:-1])


def tidy_polygon(shape: Polygon, tolerance: float) -> Polygon:
    """Same polygon without corners on straight lines, in one order whatever the mesh was.

    Each ring starts at its smallest (x, y); the outline runs anticlockwise, holes clockwise, sorted by their start.

    Parameters
    ----------
    shape : Polygon
    tolerance : float, mm
        A corner this near to the line through its neighbours is dropped (Douglas and Peucker 1973).
    """
    outer = _tidy_ring(shape.exterior.coords, tolerance, True)
    if len(outer) < 3:
        return shape
    rings = (_tidy_ring(hole.coords, tolerance, False) for hole in shape.interiors)
    holes = sorted((ring for ring in rings if len(ring) >= 3), key=lambda ring: tuple(ring[0]))
    tidy = shapely.Polygon(outer, holes)
    return tidy if tidy.is_valid and not tidy.is_empty else shape


def _tidy_ring(coords: object, tolerance: float, anticlockwise: bool) -> Floats:
    ring = np.asarray(coords, float)[:-1, :2]
    x, y = ring[:, 0], ring[:, 1]
    area = float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    if (area > 0.0) != anticlockwise:
        ring = ring[::-1]
    ring = np.roll(ring, -int(np.lexsort((ring[:, 1], ring[:, 0]))[0]), axis=0)
    line = shapely.simplify(shapely.LineString(np.vstack([ring, ring[:1]])), tolerance, preserve_topology=False)
    return _without_ties(np.asarray(line.coords, float)[:-1], tolerance)


def _without_ties(ring: Floats, tolerance: float) -> Floats:
    """Drop what the simplification kept on straight lines.

    It splits at the farthest corner; where an edge is parallel to the chord, that may be one in the middle of it.
    """
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    chord = after - before
    away = ring - before
    off = np.abs(chord[:, 0] * away[:, 1] - chord[:, 1] * away[:, 0]) / np.maximum(np.hypot(*chord.T), 1e-300)
    straight = (off <= tolerance) & (len(ring) > 3)
    straight &= ~np.roll(straight, 1)  # never two neighbours at once
    return np.asarray(ring[~straight])
