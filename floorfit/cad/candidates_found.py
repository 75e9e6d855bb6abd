"""Faces with everything that decides whether they are floors: outline, heights, edges, web; cut at ribs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.boundary import Arc, Rim, arcs_of
from floorfit.cad.cuts import LEAST_ROOF, cut_at_necks, without_roofs
from floorfit.cad.drawing import largest_polygon, region_polygon, tidy_polygon, triangles_in_plan
from floorfit.cad.facet_heights import Facets, Heights, Plane
from floorfit.cad.mesh import Floats, Ints, Mesh
from floorfit.cad.smooth import Smooth
from floorfit.cad.underside import NO_WEB, Underside, Web

__all__ = ["Candidate", "Smoothed", "part_of", "parts_of", "whole_face", "with_web"]

#: A face with less of its outline walled than this is not cut and not looked under.
_LEAST_WALLED = 0.3
#: A curved face of up to this many planes is written as these planes, else as a grid.
FEW_PLANES = 24
#: Edges this near to an outline lie along it, mm.
_ALONG = 1e-2


@dataclass(frozen=True)
class Smoothed:
    """What all faces of one mesh share.

    Parameters
    ----------
    mesh : Mesh
    plane_label : (m,) ndarray of int
        Plane of every facet, before the planes of curved faces were joined; −1 for what is left of a curved face.
    smooth : Smooth
    members : list of ndarray of int
        Facets of each region.
    underside : Underside
    """

    mesh: Mesh
    plane_label: Ints
    smooth: Smooth
    members: list[Ints]
    underside: Underside


@dataclass(frozen=True)
class Candidate:
    """A smooth face with everything that decides whether it is a floor.

    Parameters
    ----------
    region : int
        Number in the regions.
    facets : ndarray of int
        Its facets.
    polygon : Polygon
        Flat face in plan, mm.
    point, normal : (3,) ndarray
        Its plane; the mean plane of a curved face.
    face : Heights
        Its heights.
    sag : float, mm
        How far the chords of a curved face may lie from the true face.
    rim : Rim
    walled : float
        Share of the outline that rises.
    arcs : tuple of Arc
        Arcs of its outline.
    web : Web
    cuts : geometry
        Where it was cut from its neighbours; empty for a whole face.
    roofed : geometry
        What a roof covers of the face it was cut from.
    first : bool
        Whether it is the first of the parts, or the whole.
    reach : float, mm
        How far outside its outline the floor begins that it stands on as a pad.
    """

    region: int
    facets: Ints
    polygon: Polygon
    point: Floats
    normal: Floats
    face: Heights
    sag: float
    rim: Rim
    walled: float
    arcs: tuple[Arc, ...]
    web: Web
    cuts: Any
    roofed: Any
    first: bool = True
    reach: float = 0.0

    @cached_property
    def area(self) -> float:
        """Plan area, mm²."""
        return float(self.polygon.area)

    @property
    def is_shaped(self) -> bool:
        """Whether it is more than one plane."""
        return isinstance(self.face, Facets)

    @property
    def slope(self) -> tuple[float, float]:
        """dZ/dX and dZ/dY of its plane."""
        return (0.0 - float(self.normal[0] / self.normal[2]), 0.0 - float(self.normal[1] / self.normal[2]))

    def z_at(self, x: float, y: float) -> float:
        """Z of the face, mm.

        Parameters
        ----------
        x, y : float, mm
        """
        return float(self.face.at(np.array([[x, y]]))[0])


def whole_face(known: Smoothed, number: int, rim: Rim) -> Candidate:
    """The face of a region, uncut; with its web where enough of its outline is walled.

    Parameters
    ----------
    known : Smoothed
    number : int
        Of the region.
    rim : Rim
        Of that region.
    """
    mesh, smooth, facets = known.mesh, known.smooth, known.members[number]
    polygon = tidy_polygon(largest_polygon(region_polygon(mesh, facets)), max(1e-5, 0.6 * mesh.noise))
    point, normal = _plane(smooth.regions.points[number], smooth.regions.normals[number], polygon)
    face = _facets(known, facets) if smooth.is_shaped[number] else Plane(point, normal)
    arcs = tuple(arcs_of(np.asarray(polygon.exterior.coords)[:-1], mesh.noise))
    walled = rim.share(rim.risen)
    sag = float(smooth.sag[number])
    nothing = shapely.Polygon()
    whole = Candidate(number, facets, polygon, point, normal, face, sag, rim, walled, arcs, NO_WEB, nothing, nothing)
    return whole if walled <= _LEAST_WALLED else with_web(known, whole)


def parts_of(known: Smoothed, whole: Candidate, low: Any) -> list[Candidate]:
    """A face, or the parts that it is cut into by ribs over it and through it.

    Parameters
    ----------
    known : Smoothed
    whole : Candidate
        The whole face.
    low : geometry
        Where pads stand in it: they are no ribs.
    """
    if whole.web is NO_WEB:
        return [whole]
    roofed, parts = _parts(known, whole, low)
    if len(parts) == 1 and parts[0] is whole.polygon:
        return [replace(whole, roofed=roofed)]
    cuts = shapely.union_all([shapely.difference(part.exterior, whole.polygon.exterior) for part in parts])
    out = [part_of(known, whole, part, cuts, roofed) for part in parts]
    return [out[0], *(replace(part, first=False) for part in out[1:])]


def _plane(point: Floats, normal: Floats, polygon: Polygon) -> tuple[Floats, Floats]:
    """The region's plane; level where it rises by less than a micrometre over its whole size."""
    normal = normal.copy()
    x0, y0, x1, y1 = polygon.bounds
    # An axis along which the floor rises by less than a tenth of a micrometre is level; so is a floor under 1 µm.
    normal[:2][np.abs(normal[:2]) * (x1 - x0, y1 - y0) < 1e-4] = 0.0
    rise = np.hypot(x1 - x0, y1 - y0) * np.hypot(normal[0], normal[1])
    return point, np.array([0.0, 0.0, 1.0]) if rise < 1e-3 else normal


def _facets(known: Smoothed, facets: Ints) -> Facets:
    """Heights of a curved face: of its planes where these are few, else of its single facets."""
    mesh, label = known.mesh, known.plane_label[facets]
    planes = np.unique(label[label >= 0])
    if (
        0 < len(planes) <= FEW_PLANES
        and mesh.plan_areas[facets[label < 0]].sum() < 1e-3 * mesh.plan_areas[facets].sum()
    ):
        groups = [facets[label == plane] for plane in planes]
        pieces = [region_polygon(mesh, group) for group in groups]
        normals = np.array([mesh.vectors[group].sum(axis=0) for group in groups])
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        middles = [np.average(mesh.middles[group], axis=0, weights=mesh.sizes[group]) for group in groups]
        return Facets(np.array(pieces, object), np.array(middles), normals)
    good = facets[mesh.heights[facets] > max(100.0 * mesh.noise, 1e-4)]
    return Facets(triangles_in_plan(mesh, good), mesh.middles[good], mesh.normals[good])


def with_web(known: Smoothed, face: Candidate) -> Candidate:
    """The same face with what lies below it.

    Parameters
    ----------
    known : Smoothed
        The model with its smooth faces.
    face : Candidate
    """
    error = max((arc.sagitta for arc in face.arcs), default=0.0)
    return replace(face, web=known.underside.web_under(face.polygon, face.face, max(0.05, 3.0 * error)))


def _parts(known: Smoothed, whole: Candidate, low: Any) -> tuple[Any, list[Polygon]]:
    """What a roof covers, and the outlines that are left of a face without it, cut at necks."""
    polygon, roofed = whole.polygon, shapely.Polygon()
    parts = [polygon]
    if whole.web.roofed * whole.area > LEAST_ROOF:
        flat, above = known.underside.roofs_over(polygon, whole.face)
        parts = without_roofs(polygon, flat, above)
        roofed = flat
        if not parts:
            return shapely.Polygon(), [polygon]
    risen = _risen(known.mesh, whole.rim, low)
    return roofed, [piece for part in parts for piece in cut_at_necks(part, risen)]


def _risen(mesh: Mesh, rim: Rim, low: Any) -> Any:
    """Edges along which metal rises, but for those at the foot of a pad."""
    ends = mesh.vertices[rim.edges[rim.risen]][:, :, :2]
    if not low.is_empty:
        ends = ends[~shapely.intersects(low, shapely.points(ends.mean(axis=1)))]
    return shapely.multilinestrings(ends) if len(ends) else shapely.MultiLineString()


def _lengths_along(lines: Any, ring: Any) -> Floats:
    """Length of each line that lies along a ring, mm."""
    return np.asarray(shapely.length(shapely.intersection(lines, shapely.buffer(ring, _ALONG))), float)


def _cut_by_roofs(whole: Candidate, part: Polygon, roofed: Any) -> float:
    """Length of a part's outline along which a roof cut it off: a wall stands behind, or the roof is a rib."""
    if roofed.is_empty:
        return 0.0
    cut = shapely.difference(part.exterior, shapely.buffer(whole.polygon.boundary, _ALONG))
    return float(shapely.intersection(cut, shapely.buffer(roofed, 10.0 * _ALONG)).length)


def part_of(known: Smoothed, whole: Candidate, part: Polygon, cuts: Any, roofed: Any) -> Candidate:
    """A part of a face: its own outline, and of the rim what lies along it.

    Parameters
    ----------
    known : Smoothed
        The model with its smooth faces.
    whole : Candidate
        The face.
    part : Polygon, mm
        Outline of the part.
    cuts, roofed : shapely geometry, mm
        Where it was cut, and what a roof covers.
    """
    rim = whole.rim
    lines = shapely.linestrings(known.mesh.vertices[rim.edges][:, :, :2])
    # An edge may run on beyond the part: what of it lies along the part counts.
    along, outer = (_lengths_along(lines, ring) for ring in (part.boundary, part.exterior))
    mine = along > np.minimum(5.0 * _ALONG, 0.5 * rim.lengths)
    lengths = np.minimum(along, rim.lengths)[mine]
    on_outline = outer[mine] > 0.5 * along[mine]
    kept = Rim(rim.edges[mine], lengths, rim.inner[mine], rim.outer[mine], rim.rise[mine], on_outline)
    risen = float(kept.lengths[kept.on_outline & kept.risen].sum()) + _cut_by_roofs(whole, part, roofed)
    arcs = tuple(arcs_of(np.asarray(part.exterior.coords)[:-1], known.mesh.noise))
    walled = min(1.0, risen / part.exterior.length)
    return with_web(known, replace(whole, polygon=part, rim=kept, walled=walled, arcs=arcs, cuts=cuts, roofed=roofed))
