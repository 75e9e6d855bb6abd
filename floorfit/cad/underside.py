"""The web under a floor: the nearest faces that look down, over the whole floor, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.drawing import region_polygon, triangles_in_plan
from floorfit.cad.mesh import Mesh
from floorfit.cad.regions import planar_regions

__all__ = ["NO_WEB", "Underside", "Web", "read_underside"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Regions with fewer facets than this are kept as single triangles.
_FEW = 4
#: Shapes narrower than twice this are float noise, mm.
_THIN = 1e-3


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
        Share of the floor with a face that looks down above it.
    """

    minimum: float
    maximum: float
    underside_low: float
    underside_high: float
    covered: float
    roofed: float


#: Stands for the web of a face that is no floor for other reasons and was not looked under.
NO_WEB = Web(np.nan, np.nan, np.nan, np.nan, 0.0, 0.0)


@dataclass(frozen=True)
class Underside:
    """Everything that looks down, as plane pieces in plan with a search tree.

    Parameters
    ----------
    pieces : (p,) ndarray of Polygon
    normals, points : (p, 3) ndarray
        Plane of each piece.
    tree : shapely.STRtree
    """

    pieces: NDArray[np.object_]
    normals: Floats
    points: Floats
    tree: shapely.STRtree

    def web_under(self, floor: Polygon, point: Floats, normal: Floats, slack: float) -> Web:
        """Web under a floor by cutting its outline with every face below it.

        Parameters
        ----------
        floor : Polygon
            Outline with holes, plan, mm.
        point, normal : (3,) ndarray
            The floor's plane.
        slack : float, mm
            A strip this wide along the floor's edge is left out: chords of one arc on both sides differ by as much.
        """
        inner = floor.buffer(-slack, join_style="mitre")
        floor = floor if inner.is_empty else inner
        shapes, owner = self._under(floor)
        keep = _is_wide(shapes)
        shapes, owner = shapes[keep], owner[keep]
        low, high, under_low, under_high = self._ranges(shapes, owner, point, normal)
        above = high < -_THIN
        roofed = min(1.0, float(shapely.area(shapes[above]).sum()) / max(floor.area, 1e-12))
        below = np.flatnonzero(~above)
        nearest, covered = _nearest(floor, shapes[below], low[below])
        rows = below[nearest]
        if len(rows) == 0:
            return Web(np.nan, np.nan, np.nan, np.nan, 0.0, roofed)
        thin, thick = float(low[rows].min()), float(high[rows].max())
        return Web(thin, thick, float(under_low[rows].min()), float(under_high[rows].max()), covered, roofed)

    def _under(self, floor: Polygon) -> tuple[NDArray[np.object_], Ints]:
        """Parts of the floor over each piece, as single polygons, with the piece each came from."""
        index = self.tree.query(floor, predicate="intersects")
        inside = self.tree.query(floor, predicate="contains")
        edge = np.setdiff1d(index, inside, assume_unique=True)
        cut, number = shapely.get_parts(shapely.intersection(self.pieces[edge], floor), return_index=True)
        area = shapely.get_type_id(cut) == 3
        whole, part = shapely.get_parts(self.pieces[inside], return_index=True)
        return np.concatenate([cut[area], whole]), np.concatenate([edge[number[area]], inside[part]])

    def _ranges(self, shapes: NDArray[np.object_], owner: Ints, point: Floats, normal: Floats) -> tuple[Floats, ...]:
        """Least and greatest web and underside Z over the corners of each shape (they are linear in between)."""
        if len(shapes) == 0:
            return (np.zeros(0),) * 4
        xy, number = shapely.get_coordinates(shapes, return_index=True)
        under = _plane_z(xy, self.points[owner[number]], self.normals[owner[number]])
        web = _plane_z(xy, point[None, :], normal[None, :]) - under
        starts = np.searchsorted(number, np.arange(len(shapes)))
        return (
            np.minimum.reduceat(web, starts),
            np.maximum.reduceat(web, starts),
            np.minimum.reduceat(under, starts),
            np.maximum.reduceat(under, starts),
        )


def _plane_z(xy: Floats, point: Floats, normal: Floats) -> Floats:
    away = xy - point[:, :2]
    return np.asarray(point[:, 2] - (away * normal[:, :2]).sum(axis=1) / normal[:, 2])


def _is_wide(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Whether a shape is more than float noise; many small triangles of a fine mesh are judged by area alone."""
    if len(shapes) > 2000:
        return np.asarray(shapely.area(shapes) > 1e-9)
    return np.asarray(~shapely.is_empty(shapely.buffer(shapes, -_THIN, quad_segs=2)), np.bool_)


def _nearest(floor: Polygon, shapes: NDArray[np.object_], webs: Floats) -> tuple[Ints, float]:
    """Shapes that are met first going down, and the share of the floor that they cover."""
    areas = shapely.area(shapes)
    if areas.sum() <= floor.area * (1.0 + 1e-6) + 1e-3:
        return np.arange(len(shapes)), float(areas.sum()) / floor.area
    left, seen, total = floor, [], 0.0
    for row in np.argsort(webs, kind="stable"):
        visible = shapely.intersection(left, shapes[row])
        if visible.is_empty or visible.buffer(-_THIN, quad_segs=2).is_empty:
            continue
        seen.append(int(row))
        total += visible.area
        left = shapely.difference(left, shapes[row])
        if left.is_empty or left.buffer(-_THIN, quad_segs=2).is_empty:
            break
    return np.array(seen, np.int64), total / floor.area


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
    size = np.bincount(regions.label[regions.label >= 0], minlength=len(regions.normals))
    whole = (size >= _FEW) & ~regions.is_curved if len(size) else np.zeros(0, np.bool_)
    in_whole = np.zeros(len(down), np.bool_)
    inside = regions.label >= 0
    in_whole[inside] = whole[regions.label[inside]]
    members = regions.members() if whole.any() else []
    numbers = np.flatnonzero(whole)
    shapes = [region_polygon(mesh, members[number]) for number in numbers]
    single = np.flatnonzero(down & ~in_whole & (mesh.plan_areas < -1e-6) & (mesh.heights > 1e-5))
    pieces = np.concatenate([np.array(shapes, object), triangles_in_plan(mesh, single)])
    normals = np.concatenate([regions.normals[numbers], mesh.normals[single]])
    points = np.concatenate([regions.points[numbers], mesh.vertices[mesh.faces[single, 0]]])
    return Underside(pieces, normals, points, shapely.STRtree(pieces))
