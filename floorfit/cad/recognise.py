"""Tell floors from other faces that look up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.boundary import Arc, Rim, arcs_of, curved_members, rim_table, rims_of
from floorfit.cad.drawing import largest_polygon, region_polygon, tidy_polygon
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import RejectedFace
from floorfit.cad.mesh import Mesh, component_labels
from floorfit.cad.regions import Regions, planar_regions, plane_tolerance
from floorfit.cad.underside import NO_WEB, Underside, Web, read_underside

__all__ = ["Candidate", "Recognition", "Step", "recognise"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Told the name of each step as it starts, and the share of the work done.
Step = Callable[[str, float], None]

#: Faces steeper than this are not looked at; between ``max_slope_deg`` and here they are named as too steep.
_STEEPEST_DEG = 30.0
#: More than this share of the outline must rise for a face to be a floor.
_WALLED = 0.5
#: Faces down to this share of ``min_area`` are named when they are too small.
_NAMED_SHARE = 0.1


@dataclass(frozen=True)
class Candidate:
    """A planar face with everything that decides whether it is a floor.

    Parameters
    ----------
    region : int
        Number in the regions.
    facets : ndarray of int
        Its facets.
    polygon : Polygon
        Flat face in plan, mm.
    point, normal : (3,) ndarray
        Its plane.
    rim : Rim
    walled : float
        Share of the outline that rises.
    arcs : tuple of Arc
        Arcs of its outline.
    web : Web
    """

    region: int
    facets: Ints
    polygon: Polygon
    point: Floats
    normal: Floats
    rim: Rim
    walled: float
    arcs: tuple[Arc, ...]
    web: Web

    @property
    def slope(self) -> tuple[float, float]:
        """dZ/dX and dZ/dY."""
        return (0.0 - float(self.normal[0] / self.normal[2]), 0.0 - float(self.normal[1] / self.normal[2]))

    def z_at(self, x: float, y: float) -> float:
        """Z of the plane, mm."""
        return float(self.point[2] + self.slope[0] * (x - self.point[0]) + self.slope[1] * (y - self.point[1]))


@dataclass(frozen=True)
class Recognition:
    """Floors and rejected faces of one mesh, with the tables that describe their edges.

    Parameters
    ----------
    regions : Regions
    members : list of ndarray of int
        Facets of each region.
    is_plane : (r,) ndarray of bool
        Regions wide enough to be faces of their own.
    floors : list of Candidate
    rejected : list of RejectedFace
    """

    regions: Regions
    members: list[Ints]
    is_plane: Bools
    floors: list[Candidate]
    rejected: list[RejectedFace]


def recognise(mesh: Mesh, settings: ExtractSettings, step: Step) -> Recognition:
    """Find the floors of a sound mesh.

    A floor is planar, level within ``max_slope_deg``, at least ``min_area`` large and ``min_width`` wide; more than
    half of its outline rises; metal lies below all of it and nothing above; and the underside below is level.

    Parameters
    ----------
    mesh : Mesh
    settings : ExtractSettings
    step : callable
        Told about progress.
    """
    tolerance = plane_tolerance(mesh, settings.plane_tolerance)
    step("grouping faces", 0.35)
    regions = planar_regions(mesh, mesh.normals[:, 2] > np.cos(np.radians(_STEEPEST_DEG)), tolerance)
    table = rim_table(mesh, regions)
    widths = _mean_widths(mesh, regions, table)
    curved = curved_members(mesh, regions, table, widths)
    is_plane = (widths >= settings.min_width) & ~curved
    named = np.flatnonzero(is_plane & (regions.plan_areas >= _NAMED_SHARE * settings.min_area))
    rims = rims_of(mesh, regions, table, named)
    step("reading undersides", 0.55)
    underside = read_underside(mesh, tolerance)
    members = regions.members()
    floors, rejected = [], _curved_faces(mesh, regions, is_plane, settings)
    for count, number in enumerate(named):
        step("casting webs", 0.65 + 0.2 * count / len(named))
        candidate = _candidate(mesh, regions, int(number), members[number], rims[int(number)], underside)
        refusal = _refusal(candidate, float(regions.plan_areas[number]), settings, tolerance)
        if refusal is None:
            floors.append(candidate)
        elif refusal.code != "silent":
            rejected.append(refusal)
    return Recognition(regions, members, is_plane, floors, rejected)


def _mean_widths(mesh: Mesh, regions: Regions, table: tuple[Ints, Ints, Ints, Ints]) -> Floats:
    """Twice the area over the perimeter: about the width of a strip, half the size of a square."""
    region, _, _, edges = table
    ends = mesh.vertices[edges][:, :, :2]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    perimeter = np.bincount(region, length, len(regions.normals))
    return np.asarray(2.0 * regions.plan_areas / np.maximum(perimeter, 1e-12))


def _candidate(mesh: Mesh, regions: Regions, number: int, facets: Ints, rim: Rim, underside: Underside) -> Candidate:
    polygon = tidy_polygon(largest_polygon(region_polygon(mesh, facets)), max(1e-5, 0.6 * mesh.noise))
    point, normal = _plane(regions, number, polygon)
    arcs = tuple(arcs_of(np.asarray(polygon.exterior.coords)[:-1]))
    error = max((arc.sagitta for arc in arcs), default=0.0)
    walled = rim.share(rim.rise > 1e-4)
    slack = max(0.05, 3.0 * error)
    web = underside.web_under(polygon, point, normal, slack) if walled > _WALLED else NO_WEB
    return Candidate(number, facets, polygon, point, normal, rim, walled, arcs, web)


def _plane(regions: Regions, number: int, polygon: Polygon) -> tuple[Floats, Floats]:
    """The region's plane; level where it rises by less than a micrometre over its whole size."""
    point, normal = regions.points[number], regions.normals[number].copy()
    x0, y0, x1, y1 = polygon.bounds
    # An axis along which the floor rises by less than a tenth of a micrometre is level; so is a floor under 1 µm.
    normal[:2][np.abs(normal[:2]) * (x1 - x0, y1 - y0) < 1e-4] = 0.0
    rise = np.hypot(x1 - x0, y1 - y0) * np.hypot(normal[0], normal[1])
    return point, np.array([0.0, 0.0, 1.0]) if rise < 1e-3 else normal


def _refusal(face: Candidate, area: float, settings: ExtractSettings, tolerance: float) -> RejectedFace | None:
    """Why a face is not a floor; None where it is one."""
    code, reason = _fault(face, area, settings, tolerance)
    if not code:
        return None
    inside = face.polygon.representative_point()
    place = (inside.x, inside.y, face.z_at(inside.x, inside.y))
    outline = tuple((float(x), float(y)) for x, y in list(face.polygon.exterior.coords)[:-1])
    return RejectedFace(place, area, code, reason, outline)


def _fault(face: Candidate, area: float, settings: ExtractSettings, tolerance: float) -> tuple[str, str]:
    small = area < settings.min_area
    if face.walled <= _WALLED + 1e-6:
        if small:
            return "silent", ""
        share = f"{100.0 * face.walled:.0f} %"
        return "no-wall", f"walls rise along {share} of its outline: a top face, rib top, land or flange"
    slope = float(np.degrees(np.arctan(np.hypot(*face.slope))))
    if slope > settings.max_slope_deg:
        return "too-steep", f"slopes by {slope:.2f}°, --max-slope is {settings.max_slope_deg:g}°"
    bore = _diameter(face)
    if 0.0 < bore <= settings.bore_max:
        return (
            ("silent", "")
            if small
            else ("bore", f"round, Ø {bore:.4g}: a bore; --bore-max is {settings.bore_max:g} mm")
        )
    fault = _web_fault(face.web, settings, tolerance)
    if small and not fault[0]:
        return "too-small", f"{area:.1f} mm², --min-area is {settings.min_area:g} mm²"
    return ("silent", "") if small else fault


def _diameter(face: Candidate) -> float:
    """Diameter of a face whose outline is one circle, mm; 0 for any other outline."""
    full = [arc.radius for arc in face.arcs if arc.sweep > 1.9 * np.pi]
    if len(full) != 1:
        return 0.0
    inside = Polygon(face.polygon.exterior).area
    return 2.0 * full[0] if inside > 0.95 * np.pi * full[0] ** 2 else 0.0


def _web_fault(web: Web, settings: ExtractSettings, tolerance: float) -> tuple[str, str]:
    if web.roofed > 1e-3:
        return "covered", f"{100 * web.roofed:.0f} % of it has metal above: an undercut or a hollow"
    if web.covered < 1.0 - 1e-3:
        return "no-metal", f"only {100 * web.covered:.1f} % of it has metal below: an open mesh or a gap"
    if web.underside_high - web.underside_low > 2.0 * tolerance:
        text = f"the underside runs from Z {web.underside_low:.4g} to {web.underside_high:.4g} under it"
        return "web-varies", f"{text} (web {web.minimum:.4g} to {web.maximum:.4g} mm): enter it by hand"
    if settings.web_max is not None and web.maximum > settings.web_max:
        return "too-thick", f"the web is {web.maximum:.4g} mm, --web-max is {settings.web_max:g} mm"
    return "", ""


def _curved_faces(mesh: Mesh, regions: Regions, is_plane: Bools, settings: ExtractSettings) -> list[RejectedFace]:
    """Faces that are level enough and large enough, but bend."""
    loose = mesh.normals[:, 2] > np.cos(np.radians(settings.max_slope_deg))
    inside = regions.label >= 0
    loose[inside] &= ~is_plane[regions.label[inside]]
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    turn = np.einsum("ij,ij->i", mesh.normals[f], mesh.normals[g])
    smooth = loose[f] & loose[g] & (turn > np.cos(np.radians(15.0)))
    group = component_labels(len(loose), mesh.pairs[smooth])
    group[~loose] = -1
    areas = np.bincount(group[loose], mesh.plan_areas[loose], group.max(initial=0) + 1)
    out = []
    for number in np.flatnonzero(areas >= settings.min_area):
        facets = np.flatnonzero(group == number)
        shape = largest_polygon(region_polygon(mesh, facets))
        if shape.is_empty or 2.0 * shape.area / shape.length < settings.min_width:
            continue
        centre = np.average(mesh.corners[facets].mean(axis=1), axis=0, weights=mesh.plan_areas[facets])
        reason = "the face bends; only planar floors are read: enter it by hand"
        place = (float(centre[0]), float(centre[1]), float(centre[2]))
        out.append(RejectedFace(place, float(areas[number]), "curved", reason))
    return out
