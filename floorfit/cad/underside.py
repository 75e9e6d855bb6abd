"""The web under a floor: the nearest faces that look down, over the whole floor, exactly."""

from __future__ import annotations

from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.drawing import polygon_parts, region_polygon, triangles_in_plan
from floorfit.cad.facet_heights import Facets, Heights, z_of_planes
from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels, rows_by_label
from floorfit.cad.regions import planar_regions

__all__ = ["NO_WEB", "Underside", "Web", "read_underside"]

#: Regions with fewer facets than this are kept as single triangles.
_FEW = 4
#: A curved floor bends over a shape that holds this many corners of its pieces; with fewer it is as fine as these.
_BENDS = 4
#: Shapes narrower than twice this are float noise, mm.
_THIN = 1e-3
#: Z of the normal of a roof: it looks down flatter than 60 degrees. Steeper is a wall that leans over.
_ROOF = -0.5


@dataclass(frozen=True)
class Web:
    """The web of one floor, mm.

    Parameters
    ----------
    minimum, maximum : float
        Thinnest and thickest along Z over the floor (a strip of ``slack`` along its edge left out).
    underside_low, underside_high : float
        Range of the underside's Z there.
    covered : float
        Share of the floor with metal below.
    roofed : float
        Share of the floor with a roof above it: a face that looks down flatter than 60 degrees.
    shapes : (k,) ndarray of Polygon
        What is seen of the underside, in plan.
    points, normals : (k, 3) ndarray
        Plane of each shape.
    thinnest, thickest : (k,) ndarray
        Least and greatest web over each shape.
    """

    minimum: float
    maximum: float
    underside_low: float
    underside_high: float
    covered: float
    roofed: float
    shapes: NDArray[np.object_]
    points: Floats
    normals: Floats
    thinnest: Floats
    thickest: Floats


def _no_web(roofed: float) -> Web:
    nothing = np.zeros((0, 3))
    none = np.zeros(0)
    return Web(*(np.nan,) * 4, 0.0, roofed, np.zeros(0, object), nothing, nothing, none, none)


#: Stands for the web of a face that is no floor for other reasons and was not looked under.
NO_WEB = _no_web(0.0)


@dataclass(frozen=True)
class Underside:
    """Everything that looks down, as plane pieces in plan with a search tree.

    Parameters
    ----------
    pieces : (p,) ndarray of Polygon
    normals, points : (p, 3) ndarray
        Plane of each piece.
    sheets : (p,) ndarray of int
        Number of the connected patch of faces that look down which the piece is part of.
    tree : shapely.STRtree
    """

    pieces: NDArray[np.object_]
    normals: Floats
    points: Floats
    sheets: Ints
    tree: shapely.STRtree

    def web_under(self, floor: Polygon, face: Heights, slack: float) -> Web:
        """Web under a floor by cutting its outline with every face below it.

        Parameters
        ----------
        floor : Polygon
            Outline with holes, plan, mm.
        face : Heights
            The floor's heights.
        slack : float, mm
            A strip this wide along the floor's edge is left out: chords of one arc on both sides differ by as much.
        """
        inner = floor.buffer(-slack, join_style="mitre")
        floor = floor if inner.is_empty else inner
        shapes, owner = self._under(floor)
        low, high, under_low, under_high = self._ranges(shapes, owner, face)
        above = high < -_THIN
        roofs = shapes[above & (self.normals[owner, 2] < _ROOF)]
        roofed = min(1.0, float(shapely.area(roofs).sum()) / max(floor.area, 1e-12))
        below = np.flatnonzero(~above)
        planes = self.points[owner[below]], self.normals[owner[below]]
        nearest, seen, covered = _nearest(floor, shapes[below], low[below], self.sheets[owner[below]], planes)
        rows = below[nearest]
        if len(rows) == 0:
            return _no_web(roofed)
        thin, thick = float(low[rows].min()), float(high[rows].max())
        mine = owner[rows]
        levels = (float(under_low[rows].min()), float(under_high[rows].max()))
        planes = self.points[mine], self.normals[mine]
        return Web(thin, thick, *levels, covered, roofed, seen, *planes, low[rows], high[rows])

    def roofs_over(self, floor: Polygon, face: Heights) -> tuple[Any, Any]:
        """Where roofs lie above a floor, and where any face that looks down does, a leaning wall too.

        Parameters
        ----------
        floor : Polygon
            In plan, mm.
        face : Heights
            Of the floor.
        """
        shapes, owner = self._under(floor)
        above = self._ranges(shapes, owner, face)[1] < -_THIN
        flat = above & (self.normals[owner, 2] < _ROOF)
        return shapely.union_all(shapes[flat]), shapely.union_all(shapes[above])

    def _under(self, floor: Polygon) -> tuple[NDArray[np.object_], Ints]:
        """Parts of the floor over each piece, as single polygons wider than noise, with the piece each came from."""
        index = self.tree.query(floor, predicate="intersects")
        inside = self.tree.query(floor, predicate="contains")
        edge = np.setdiff1d(index, inside, assume_unique=True)
        cut, number = shapely.get_parts(shapely.intersection(self.pieces[edge], floor), return_index=True)
        area = shapely.get_type_id(cut) == 3
        whole, part = shapely.get_parts(self.pieces[inside], return_index=True)
        shapes, owner = np.concatenate([cut[area], whole]), np.concatenate([edge[number[area]], inside[part]])
        keep = _is_wide(shapes)
        return shapes[keep], owner[keep]

    def _ranges(self, shapes: NDArray[np.object_], owner: Ints, face: Heights) -> tuple[Floats, ...]:
        """Least and greatest web and underside Z over the corners of each shape, and over those of a curved floor."""
        if len(shapes) == 0:
            return (np.zeros(0),) * 4
        xy, number = shapely.get_coordinates(shapes, return_index=True)
        under = z_of_planes(xy, self.points[owner[number]], self.normals[owner[number]])
        web = face.at(xy) - under
        starts = np.searchsorted(number, np.arange(len(shapes)))
        low, high = np.minimum.reduceat(web, starts), np.maximum.reduceat(web, starts)
        if isinstance(face, Facets):
            bends, row = _bends(shapes, face)
            webs = bends[:, 2] - z_of_planes(bends[:, :2], self.points[owner[row]], self.normals[owner[row]])
            np.minimum.at(low, row, webs)
            np.maximum.at(high, row, webs)
        return low, high, np.minimum.reduceat(under, starts), np.maximum.reduceat(under, starts)


def _bends(shapes: NDArray[np.object_], face: Facets) -> tuple[Floats, Ints]:
    """Where a curved floor bends over each shape: places with their Z, (n, 3), and the row of the shape.

    These are the corners of its pieces there, and where edges of them cross the shape's outline: strips that run from
    edge to edge of a floor have no corner inside it.
    """
    corner, row = shapely.STRtree(shapes).query(shapely.points(face.corners[:, :2]), predicate="within")
    bends = np.bincount(row, minlength=len(shapes))[row] >= _BENDS
    large = np.flatnonzero(shapely.area(shapes) > _BENDS * shapely.area(face.pieces).mean())
    outlines, edges = shapely.boundary(shapes[large]), shapely.boundary(face.pieces)
    which, edge = shapely.STRtree(edges).query(outlines, predicate="intersects")
    xy, number = shapely.get_coordinates(shapely.intersection(outlines[which], edges[edge]), return_index=True)
    crossings = np.column_stack([xy, face.at(xy)])
    return np.concatenate([face.corners[corner[bends]], crossings]), np.concatenate([row[bends], large[which[number]]])


def _is_wide(shapes: NDArray[np.object_]) -> Bools:
    """Whether a shape is more than float noise; many small triangles of a fine mesh are judged by area alone."""
    if len(shapes) > 2000:
        return np.asarray(shapely.area(shapes) > 1e-9)
    return np.asarray(~shapely.is_empty(shapely.buffer(shapes, -_THIN, quad_segs=2)), np.bool_)


def _nearest(
    floor: Polygon, shapes: NDArray[np.object_], webs: Floats, sheets: Ints, planes: tuple[Floats, Floats]
) -> tuple[Ints, NDArray[np.object_], float]:
    """Shapes that are met first going down, what is seen of each, and the share of the floor that they cover.

    Notes
    -----
    Shapes of one sheet lie side by side, so only sheets are compared: what one sheet hides of the next is cut away
    by its outline. The cost grows with the shapes, not with their pairs.
    """
    areas = shapely.area(shapes)
    if areas.sum() <= floor.area * (1.0 + 1e-6) + 1e-3:
        return np.arange(len(shapes)), shapes, float(areas.sum()) / floor.area
    hidden: Any = shapely.Polygon()
    seen, shown, total = [np.zeros(0, np.int64)], [np.zeros(0, object)], 0.0
    groups = _by_mean(webs, sheets, areas)
    outlines = [_joined(shapes[rows], areas[rows]) for rows in groups]
    for number in _from_above(shapes, planes, groups, outlines):
        rows = groups[number]
        parts = _outside(shapes[rows], hidden)
        wide = _is_wide(parts)
        seen.append(rows[wide])
        shown.append(parts[wide])
        total += float(shapely.area(parts[wide]).sum())
        hidden = shapely.union(hidden, outlines[number])
        if floor.area - hidden.area < _THIN * floor.length:
            break
    return np.concatenate(seen), np.concatenate(shown), total / floor.area


def _by_mean(webs: Floats, sheets: Ints, areas: Floats) -> list[Ints]:
    """Rows of each sheet, the sheet with the thinnest web (mean over its area) first."""
    return sorted(rows_by_label(sheets), key=lambda rows: float(np.average(webs[rows], weights=areas[rows] + 1e-12)))


def _from_above(
    shapes: NDArray[np.object_], planes: tuple[Floats, Floats], groups: list[Ints], outlines: list[Any]
) -> list[int]:
    """Numbers of the sheets, each before those that lie below it; else as they came.

    The mean web says nothing of a sheet that lies high at one place and runs down to a foot at another.
    """
    before: dict[int, set[int]] = {number: set() for number in range(len(groups))}
    first, second = shapely.STRtree(outlines).query(np.array(outlines, object), predicate="intersects")
    for a, b in zip(first[first < second].tolist(), second[first < second].tolist(), strict=True):
        for part in polygon_parts(shapely.intersection(outlines[a], outlines[b]).buffer(-_THIN)):
            at = part.representative_point()
            z_a, z_b = (_highest(shapes, planes, groups[number], at) for number in (a, b))
            before[b if z_a >= z_b else a].add(a if z_a >= z_b else b)
    if all(number > above for number, others in before.items() for above in others):
        return list(before)
    try:
        return list(TopologicalSorter(before).static_order())
    except CycleError:  # now above and now below each other: there is no such order
        return list(before)


def _highest(shapes: NDArray[np.object_], planes: tuple[Floats, Floats], rows: Ints, at: shapely.Point) -> float:
    """Z of the highest of some shapes at a place, mm."""
    over = rows[shapely.dwithin(shapes[rows], at, 1e-9)]
    xy = np.tile([at.x, at.y], (len(over), 1))
    return float(z_of_planes(xy, planes[0][over], planes[1][over]).max(initial=-np.inf))


def _outside(shapes: NDArray[np.object_], hidden: Any) -> NDArray[np.object_]:
    """Each shape without what lies in front of it."""
    if hidden.is_empty:
        return shapes
    shapely.prepare(hidden)
    out = shapes.copy()
    out[shapely.covers(hidden, shapes)] = shapely.Polygon()
    cut = np.flatnonzero(~shapely.is_empty(out) & shapely.intersects(hidden, out))
    out[cut] = shapely.difference(out[cut], hidden)
    return np.asarray(out, object)


def _joined(shapes: NDArray[np.object_], areas: Floats) -> Any:
    """Union of the shapes of one sheet; they lie side by side but for a sheet that laps over itself."""
    try:
        whole = shapely.coverage_union_all(shapes)
        if whole.is_valid and abs(whole.area - areas.sum()) <= 1e-6 * areas.sum():
            return whole
    except shapely.errors.GEOSException:
        pass  # corners on edges of neighbours: the slower union
    return shapely.union_all(shapes)


def read_underside(mesh: Mesh, tolerance: float) -> Underside:
    """Collect the faces of a mesh that look down.

    Parameters
    ----------
    mesh : Mesh
    tolerance : float, mm
        Flatness of one plane.
    """
    down = mesh.normals[:, 2] < -1e-4
    regions = planar_regions(mesh, mesh.normals[:, 2] < -0.5, tolerance)
    whole = (np.bincount(regions.label + 1, minlength=len(regions.normals) + 1)[1:] >= _FEW) & ~regions.is_curved
    in_whole = np.append(whole, False)[regions.label]
    members = regions.members()
    numbers = np.flatnonzero(whole)
    shapes = [region_polygon(mesh, members[number]) for number in numbers]
    single = np.flatnonzero(down & ~in_whole & (mesh.plan_areas < -1e-6) & (mesh.heights > 1e-5))
    pieces = np.concatenate([np.array(shapes, object), triangles_in_plan(mesh, single)])
    normals = np.concatenate([regions.normals[numbers], mesh.normals[single]])
    points = np.concatenate([regions.points[numbers], mesh.vertices[mesh.faces[single, 0]]])
    sheet = component_labels(len(down), mesh.pairs[down[mesh.pairs].all(axis=1)])
    first = np.array([members[number][0] for number in numbers], np.int64)
    sheets = sheet[np.concatenate([first, single])]
    return Underside(pieces, normals, points, sheets, shapely.STRtree(pieces))
