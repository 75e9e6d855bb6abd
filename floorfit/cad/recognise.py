"""Tell floors from other faces that look up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.boundary import curved_members, rim_table, rims_of
from floorfit.cad.candidates_found import Candidate, Smoothed, parts_of, whole_face, with_web
from floorfit.cad.drawing import largest_polygon, polygon_parts, region_polygon, ring_of
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import RejectedFace
from floorfit.cad.facet_heights import Plane
from floorfit.cad.floor_rules import WALLED, fault_of, is_open_at_a_corner
from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels
from floorfit.cad.pads import Standing, pads_by_ground, standing_faces
from floorfit.cad.regions import Regions, planar_regions, plane_tolerance
from floorfit.cad.smooth import Smooth, join_smooth
from floorfit.cad.torn import torn_off
from floorfit.cad.underside import read_underside

__all__ = ["Candidate", "Recognition", "Step", "recognise", "refused_face"]

#: Told the name of each step as it starts, and the share of the work done.
Step = Callable[[str, float], None]

#: Faces steeper than this are not looked at; between ``max_slope_deg`` and here they are named as too steep.
_STEEPEST_DEG = 30.0
#: Facets that turn by less than this belong to one bent face, rad (15 degrees).
_SMOOTH = np.radians(15.0)
#: A bent face with walls round it is a fillet where it runs on into a plane along this share; into any face where its
#: radius is under this, mm: a set choice, above the corner radius of nearly all cutters.
_FILLET_MM, _OF_A_PLANE = 15.0, 0.25
#: Share of a full-radius slot that leans by less than 30 degrees: sin 30.
_OF_A_SLOT = 0.5
#: A bent face that fills this share of the circle round it is the end of a bore; a set choice.
_ROUND = 0.95
#: Beyond a curved face chords that fall by less than this may belong to a fillet that rises, rad (10 degrees).
_UNSURE = np.radians(10.0)
#: Faces down to this share of ``min_area`` are named when they are too small.
_NAMED_SHARE = 0.1


@dataclass(frozen=True)
class Recognition:
    """Floors and rejected faces of one mesh, with the tables that describe their edges.

    Parameters
    ----------
    known : Smoothed
        Regions, their facets and the underside.
    is_plane : (r,) ndarray of bool
        Regions wide enough to be faces of their own.
    floors : list of Candidate
    refused : list of Candidate
        Faces that were not taken.
    rejected : list of RejectedFace
        The same as they are shown, and faces that bend too tightly to be looked at.
    kinks : list of (int, int, float)
        Floors that meet in one smooth kink, and its angle in degrees: two planes, or one curved floor in a coarse mesh.
    tolerance : float, mm
        Flatness that was worked with.
    """

    known: Smoothed
    is_plane: Bools
    floors: list[Candidate]
    refused: list[Candidate]
    rejected: list[RejectedFace]
    kinks: list[tuple[int, int, float]]
    tolerance: float


def recognise(mesh: Mesh, settings: ExtractSettings, step: Step) -> Recognition:
    """Find the floors of a sound mesh.

    A floor is one smooth face, level within ``max_slope_deg``, at least ``min_area`` large and ``min_width`` wide;
    walls stand along more than half of its outline, or face each other over it; metal lies below all of it. Facets
    are grouped by planes first, and the planes of one curved face by how smoothly they meet. A face is cut where a
    rib runs over it or through it. `floorfit.cad.floor_rules` names what else is no floor.

    Parameters
    ----------
    mesh : Mesh
    settings : ExtractSettings
    step : callable
        Told about progress.
    """
    tolerance = plane_tolerance(mesh, settings.plane_tolerance)
    step("grouping faces", 0.35)
    flat = planar_regions(mesh, mesh.normals[:, 2] > np.cos(np.radians(_STEEPEST_DEG)), tolerance)
    smooth = join_smooth(mesh, flat, _mean_widths(mesh, flat, rim_table(mesh, flat)), settings.min_width)
    regions, table = smooth.regions, rim_table(mesh, smooth.regions)
    widths = _mean_widths(mesh, regions, table)
    curved = curved_members(mesh, regions, table, widths) & ~smooth.is_shaped
    is_plane = (widths >= settings.min_width) & ~curved
    named = np.flatnonzero(is_plane & (regions.plan_areas >= _NAMED_SHARE * settings.min_area))
    rims = rims_of(mesh, regions, table, named, smooth.is_shaped)
    step("reading undersides", 0.55)
    plane_label = np.where(np.append(flat.is_curved, True)[flat.label], -1, flat.label)
    known = Smoothed(mesh, plane_label, smooth, regions.members(), read_underside(mesh, tolerance))
    rejected = _curved_faces(known, is_plane, settings)
    narrow = (widths < settings.min_width) & ~curved & (regions.plan_areas >= settings.min_area)
    slots = _narrow_faces(known, np.flatnonzero(narrow), table, settings)
    rejected += [refused_face(slot, "too-narrow", _narrow_words(slot, settings)) for slot in slots]
    wholes = [whole_face(known, int(number), rims[int(number)]) for number in named]
    floors, refused, more = _judged(known, wholes, settings, step)
    kinks = _kinks(regions, smooth.kinks, floors)
    more += torn_off(mesh, np.where(np.isin(regions.label, named), regions.label, -1), floors)
    return Recognition(known, is_plane, floors, refused + slots, rejected + more, kinks, tolerance)


def _judged(
    known: Smoothed, wholes: list[Candidate], settings: ExtractSettings, step: Step
) -> tuple[list[Candidate], list[Candidate], list[RejectedFace]]:
    """Floors, faces that are none, and what is said of these; what stands on floors after these, from below."""
    standing = standing_faces(known.mesh, wholes)
    pads = pads_by_ground(wholes, standing)
    floors: list[Candidate] = []
    refused, rejected = [], []
    rank = {region: on.height for region, on in standing.items() if on.is_pad or on.is_doubtful}
    order = sorted(wholes, key=lambda face: rank.get(face.region, 0.0))
    for count, whole in enumerate(order):
        step("casting webs", 0.65 + 0.2 * count / len(order))
        on = standing.get(whole.region)
        if on is not None and not {floor.region for floor in floors} & set(on.grounds):
            on = None
        if on is not None and on.is_pad:
            whole = with_web(known, replace(whole, reach=on.reach))
        for face in parts_of(known, whole, pads.get(whole.region, Polygon())):
            refusal = _refusal(known.mesh, face, settings, on)
            if refusal is None:
                floors.append(face)
            elif refusal.code != "silent":
                rejected.append(refusal)
                refused.append(face)
            rejected += _roofed(face, settings)
    return floors, refused, rejected


def _kinks(regions: Regions, pairs: Ints, floors: list[Candidate]) -> list[tuple[int, int, float]]:
    home: dict[int, list[int]] = {}
    for index, floor in enumerate(floors):
        home.setdefault(floor.region, []).append(index)
    out = []
    for a, b in pairs.tolist():
        turn = float(np.degrees(np.linalg.norm(regions.normals[a] - regions.normals[b])))
        near = [
            (i, j)
            for i in home.get(a, [])
            for j in home.get(b, [])
            if floors[i].polygon.dwithin(floors[j].polygon, 1e-3)
        ]
        out += [(i, j, turn) for i, j in near]
    return out


def _mean_widths(mesh: Mesh, regions: Regions, table: tuple[Ints, Ints, Ints, Ints]) -> Floats:
    """Twice the area over the perimeter: about the width of a strip, half the size of a square."""
    region, _, _, edges = table
    ends = mesh.vertices[edges][:, :, :2]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    perimeter = np.bincount(region, length, len(regions.normals))
    return np.asarray(2.0 * regions.plan_areas / np.maximum(perimeter, 1e-12))


def _roofed(face: Candidate, settings: ExtractSettings) -> list[RejectedFace]:
    """What a roof covers of the face that this one was cut from; told once, with the part that it touches first."""
    out = []
    for part in polygon_parts(face.roofed) if face.first else []:
        if part.area < _NAMED_SHARE * settings.min_area:
            continue
        place = _place_on(face, part)
        reason = "metal lies above it: it was cut from the floor beside it"
        out.append(RejectedFace(place, float(part.area), "under-a-roof", reason, ring_of(part.exterior)))
    return out


def _place_on(face: Candidate, part: Polygon) -> tuple[float, float, float]:
    """A place of a face inside a part of it."""
    inside = part.representative_point()
    return inside.x, inside.y, face.z_at(inside.x, inside.y)


def _refusal(mesh: Mesh, face: Candidate, settings: ExtractSettings, on: Standing | None) -> RejectedFace | None:
    """Why a face is not a floor; None where it is one."""
    code, reason = fault_of(mesh, face, settings, is_pad=on is not None and on.is_pad)
    if code == "no-wall" and on is not None and on.is_doubtful:
        return replace(refused_face(face, code, on.words), is_walled=True)
    if code == "no-wall" and face.is_shaped and face.rim.share(face.rim.rise > -_UNSURE) > WALLED:
        words = f"{reason}; it runs on smoothly beyond, and the model is too coarse to tell whether up or down"
        return replace(refused_face(face, code, words), is_walled=True)
    if code == "no-wall" and is_open_at_a_corner(mesh, face):
        words = f"{reason}, on two sides: or a bay that is open at a corner"
        return replace(refused_face(face, code, words), is_walled=True)
    return refused_face(face, code, reason) if code else None


def refused_face(face: Candidate, code: str, reason: str) -> RejectedFace:
    """A face as it is shown to the user when it was not taken.

    Parameters
    ----------
    face : Candidate
    code, reason : str
        Why it was not taken.
    """
    place = _place_on(face, face.polygon)
    outline, holes = ring_of(face.polygon.exterior), tuple(map(ring_of, face.polygon.interiors))
    return RejectedFace(place, face.area, code, reason, outline, holes, face.walled > WALLED + 1e-6)


def _curved_faces(known: Smoothed, is_plane: Bools, settings: ExtractSettings) -> list[RejectedFace]:
    """Faces that bend too tightly for a floor, and are level enough and large enough, or have walls round them."""
    mesh, smooth = known.mesh, known.smooth
    label = smooth.regions.label
    bent = mesh.normals[:, 2] > np.cos(np.radians(_STEEPEST_DEG))
    bent &= ~np.append(is_plane, False)[label]  # the last for facets of no region, −1
    f, g = mesh.pairs.T
    inside = bent[f] & bent[g] & (mesh.turns < _SMOOTH)
    group = component_labels(len(bent), mesh.pairs[inside])
    group[~bent] = -1
    count = group.max(initial=0) + 1
    length = mesh.lengths(mesh.pair_edges[inside])
    turning = np.bincount(group[f[inside]], mesh.turns[inside] * length, count)
    areas = np.bincount(group[bent], mesh.plan_areas[bent], count)
    is_level = mesh.normals[:, 2] > np.cos(np.radians(settings.max_slope_deg))
    out = []
    for number in np.flatnonzero(areas >= _OF_A_SLOT * settings.min_area):
        facets = np.flatnonzero(group == number)
        is_tight = bool(areas[number] < _FILLET_MM * turning[number])
        walled = _is_walled(mesh, smooth, is_plane, facets, is_tight=is_tight)
        facets = facets if walled else facets[is_level[facets]]
        shape = largest_polygon(region_polygon(mesh, facets))
        area, share = float(mesh.plan_areas[facets].sum()), _OF_A_SLOT if walled and is_tight else 1.0
        if area < share * settings.min_area or 2.0 * shape.area < share * settings.min_width * shape.length:
            continue
        centre = np.average(mesh.middles[facets], axis=0, weights=mesh.plan_areas[facets])
        if walled and _is_bored(known, centre, shape, settings):
            continue
        reason = "it bends tighter than a floor may, or is too narrow for one: enter it by hand if it is one"
        place = (float(centre[0]), float(centre[1]), float(centre[2]))
        out.append(RejectedFace(place, area, "curved", reason, ring_of(shape.exterior), (), walled))
    return out


def _is_bored(known: Smoothed, centre: Floats, shape: Polygon, settings: ExtractSettings) -> bool:
    """Whether a bent face is the wall of a bore that lies, under its own roof, or the end of one that stands."""
    radius = float(shapely.minimum_bounding_radius(shape))
    if 2.0 * radius <= settings.bore_max and shape.area >= _ROUND * np.pi * radius**2:
        return True
    return known.underside.web_under(shape, Plane(centre, np.array([0.0, 0.0, 1.0])), 0.0).roofed > 0.5


def _narrow_faces(
    known: Smoothed, numbers: Ints, table: tuple[Ints, Ints, Ints, Ints], settings: ExtractSettings
) -> list[Candidate]:
    """Level faces with walls round them that are large enough, but too narrow: slots."""
    regions, is_shaped = known.smooth.regions, known.smooth.is_shaped
    level = np.cos(np.radians(settings.max_slope_deg))
    numbers = numbers[regions.normals[numbers, 2] > level]
    rims = rims_of(known.mesh, regions, table, numbers, is_shaped)
    faces = [whole_face(known, int(number), rims[int(number)]) for number in numbers]
    return [face for face in faces if face.walled > WALLED and face.web.covered > 1.0 - 1e-3]


def _narrow_words(face: Candidate, settings: ExtractSettings) -> str:
    width = 2.0 * face.polygon.area / face.polygon.length
    return f"{width:.3g} mm wide (twice its area over its perimeter), --min-width is {settings.min_width:g} mm"


def _is_walled(mesh: Mesh, smooth: Smooth, is_plane: Bools, facets: Ints, *, is_tight: bool) -> bool:
    """Whether metal rises steeply along most of the outline of a bent face; not of the fillet of a plane one.

    Where it runs on smoothly into a curved face it is a part of that face, and that says nothing; a tight one is its
    fillet.
    """
    mine = np.zeros(len(mesh.faces), np.bool_)
    mine[facets] = True
    rows, beyond, rises = mesh.border(mine)
    lengths = mesh.lengths(mesh.pair_edges[rows])
    rises &= mesh.normals[beyond, 2] < np.cos(np.radians(_STEEPEST_DEG))
    label = smooth.regions.label[beyond]
    # The last of both is for facets of no region, −1.
    runs_on = mesh.turns[rows] < _SMOOTH
    runs_on &= np.append(is_plane, False)[label]
    counts = ~(runs_on & np.append(smooth.is_shaped, False)[label]) | is_tight
    whole = max(float(lengths[counts].sum()), 1e-12)
    flat = float(lengths[runs_on & counts].sum())
    return bool(lengths[rises & counts].sum() > WALLED * whole and flat < _OF_A_PLANE * whole)
