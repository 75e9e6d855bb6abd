"""Which faces that look up are floors of pockets, and what the others are: by depth, access and width."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.candidates_found import Candidate
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.facet_heights import facets_at
from floorfit.cad.mesh import Floats, Mesh

__all__ = ["WALLED", "fault_of", "is_enclosed", "is_open_at_a_corner", "wall_height"]

#: More than this share of the outline must rise for a face to be a floor.
WALLED = 0.5
#: A bay whose walls face each other is a floor when they stand along this share of its outline.
_WALLED_OPEN = 0.3
#: Share of an open bay that lies between walls that face each other.
_BETWEEN = 0.9
#: A round face within ``bore_max`` is a pocket where its web is at most this share of its diameter.
_THIN_ROUND = 0.2
#: Round faces up to this diameter, mm, are spotfaces where they are less deep than the metal below is thick.
_SPOTFACE_MM = 80.0
#: Channels round an island up to this width, mm, are grooves where they are less deep than the metal below.
_GROOVE_MM = 10.0
#: Walls on two sides: of the outline, this share at least runs along walls in any direction. A set choice.
_TWO_SIDES = 0.1
#: A bay that is open at a corner is as wide as its walls are high, and its web at most this share of them.
_THIN_OPEN = 0.5
#: A curved face leans over by less than this at its edge, degrees: more, and it is cut off where it runs on.
_LEANS_DEG = 25.0
#: Share of its outline along which it may lean by more.
_LEANING = 0.05
#: Walls are measured this far outside the outline, mm: beyond any fillet at their foot.
_OUTSIDE = (0.5, 2.0, 5.0, 9.0)


def fault_of(mesh: Mesh, face: Candidate, settings: ExtractSettings, *, is_pad: bool = False) -> tuple[str, str]:
    """Code and reason why a face is no floor; empty where it is one; ``silent`` where it is not worth a word.

    Rules
    -----
    - *no-wall*: walls rise along at most half of its outline, and do not face each other over it.
    - *bore*: round, within ``bore_max``, and either a hole in its middle or a web thicker than a fifth of its diameter.
    - *spotface*: round, up to 80 mm, less deep than the metal below it is thick.
    - *groove*: runs round an island, up to 10 mm wide, less deep than the metal below it is thick.
    - *lug-gap*: open at both ends, and narrower between its walls than they are high.
    - *no-metal*, *covered*: not all of it has metal below, or all of it lies under a roof.

    Parameters
    ----------
    mesh : Mesh
    face : Candidate
    settings : ExtractSettings
    is_pad : bool
        Whether it stands in a bay as a pad does, see `floorfit.cad.pads`: it needs no walls, and is no recess.
    """
    small = face.area < settings.min_area
    if not is_pad and not is_enclosed(mesh, face):
        if small:
            return "silent", ""
        share = f"{100.0 * face.walled:.0f} %"
        return "no-wall", f"walls rise along {share} of its outline: a top face, rib top, land or flange"
    slope = float(np.degrees(np.arctan(np.hypot(*face.slope))))
    if slope > settings.max_slope_deg:
        return "too-steep", f"slopes by {slope:.2f}°, --max-slope is {settings.max_slope_deg:g}°"
    leaning = mesh.normals[face.rim.inner, 2] < np.cos(np.radians(_LEANS_DEG))
    if face.is_shaped and face.rim.share(leaning) > _LEANING:
        return "too-steep", f"leans by over {_LEANS_DEG:g}° at its edge and runs on: where the floor ends is not known"
    fault = _web_fault(face, settings)
    if not fault[0] and not is_pad:
        fault = _kind(mesh, face, settings)
    if small and not fault[0]:
        return "too-small", f"{face.area:.1f} mm², --min-area is {settings.min_area:g} mm²"
    return ("silent", "") if small else fault


def is_enclosed(mesh: Mesh, face: Candidate) -> bool:
    """Whether walls rise along more than half of a face's outline, or face each other over it.

    Parameters
    ----------
    mesh : Mesh
    face : Candidate
    """
    if face.walled > WALLED + 1e-6:
        return True
    return face.walled >= _WALLED_OPEN and _between_walls(mesh, face)[0] >= _BETWEEN


def is_open_at_a_corner(mesh: Mesh, face: Candidate) -> bool:
    """Whether a face with few walls may be the floor of a bay that is open on two sides, and no flange or land.

    Parameters
    ----------
    mesh : Mesh
    face : Candidate

    Notes
    -----
    The walls stand on two sides at least, the bay is as wide as they are high, and its web is thin against them.
    """
    rim = face.rim
    risen = rim.risen & rim.on_outline & (rim.lengths > 0.0)
    if face.walled < _WALLED_OPEN or not risen.any():
        return False
    along = np.diff(mesh.vertices[rim.edges[risen]][:, :, :2], axis=1)[:, 0]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
    spread = (along * rim.lengths[risen, None]).T @ along / float(rim.lengths[rim.on_outline].sum())
    if np.linalg.eigvalsh(spread)[0] < _TWO_SIDES:
        return False
    height = wall_height(mesh, face)
    wide = 2.0 * float(shapely.maximum_inscribed_circle(face.polygon).length) >= height
    return wide and face.web.covered > 0.999 and face.web.maximum <= _THIN_OPEN * height


def _between_walls(mesh: Mesh, face: Candidate) -> tuple[float, float]:
    """Share of a face that lies between walls that face each other, and how far apart these are, mm.

    Notes
    -----
    Lines across the face, square to its longest straight wall, are cut with the edges that rise.
    """
    rim = face.rim
    mine = rim.risen & (rim.lengths > 0.0)
    if not mine.any():
        return 0.0, 0.0
    ends = mesh.vertices[rim.edges[mine]][:, :, :2]
    along = ends[rim.lengths[mine].argmax()]
    along = (along[1] - along[0]) / np.linalg.norm(along[1] - along[0])
    turn = np.array([along, [-along[1], along[0]]])
    ends, floor = ends @ turn.T, np.asarray(face.polygon.exterior.coords)[:, :2] @ turn.T
    low, high = floor.min(axis=0), floor.max(axis=0)
    shares, widths = [], []
    for u in low[0] + (high[0] - low[0]) * (np.arange(20) + 0.5) / 20.0:
        crossing = (ends[:, :, 0].min(axis=1) <= u) & (ends[:, :, 0].max(axis=1) >= u)
        v = ends[crossing, :, 1].mean(axis=1)
        line = shapely.LineString([(u, low[1] - 1.0), (u, high[1] + 1.0)]).intersection(Polygon(floor))
        whole = max(line.length, 1e-9)
        apart = float(v.max() - v.min()) if len(v) >= 2 else 0.0
        shares.append(min(1.0, apart / whole))
        widths.append(apart)
    return float(np.mean(np.array(shares) > 0.98)), float(np.median(widths))


def _web_fault(face: Candidate, settings: ExtractSettings) -> tuple[str, str]:
    web = face.web
    if web.roofed > 1e-3:
        return "covered", f"{100 * web.roofed:.0f} % of it has metal above: an undercut or a hollow"
    if web.covered < 1.0 - 1e-3:
        return "no-metal", f"only {100 * web.covered:.1f} % of it has metal below: an open mesh or a gap"
    if settings.web_max is not None and web.maximum > settings.web_max:
        return "too-thick", f"the web is {web.maximum:.4g} mm, --web-max is {settings.web_max:g} mm"
    return "", ""


def _kind(mesh: Mesh, face: Candidate, settings: ExtractSettings) -> tuple[str, str]:
    """What a face is by depth, access and width, where it is no floor."""
    bore, web = _diameter(face), face.web.minimum
    if 0.0 < bore <= settings.bore_max and (_has_middle_hole(face) or web > _THIN_ROUND * bore):
        text = f"round, Ø {bore:.4g}, with {_below(face)}: a bore; --bore-max is {settings.bore_max:g} mm"
        return "bore", text
    width = 2.0 * face.polygon.area / face.polygon.length
    if width <= _GROOVE_MM and _runs_round(face):
        depth = wall_height(mesh, face)
        if depth < web:
            return "groove", f"{width:.4g} wide round an island, {depth:.4g} deep over {web:.4g} of metal: a groove"
    if bore > settings.bore_max and bore <= _SPOTFACE_MM and settings.bore_max > 0.0:
        depth = wall_height(mesh, face)
        if depth < web:
            return "spotface", f"round, Ø {bore:.4g}, {depth:.4g} deep over {web:.4g} of metal: a spotface"
    return _lug_gap(mesh, face)


def _lug_gap(mesh: Mesh, face: Candidate) -> tuple[str, str]:
    open_share = 1.0 - face.walled
    if open_share < 0.1 or len(face.polygon.interiors):
        return "", ""
    between, apart = _between_walls(mesh, face)
    if between < _BETWEEN or not _is_open_at_ends(mesh, face):
        return "", ""
    depth = wall_height(mesh, face)
    if apart >= depth:
        return "", ""
    return "lug-gap", f"open at both ends, {apart:.4g} wide between walls {depth:.4g} high: a gap between lugs"


def _is_open_at_ends(mesh: Mesh, face: Candidate) -> bool:
    """Whether what does not rise of the outline comes in two or more separate stretches."""
    low = ~face.rim.risen & face.rim.on_outline
    if not low.any():
        return False
    lines = shapely.line_merge(shapely.union_all(shapely.linestrings(mesh.vertices[face.rim.edges[low]][:, :, :2])))
    return len([part for part in shapely.get_parts(lines) if part.length > 0.1]) >= 2


def _below(face: Candidate) -> str:
    return "a hole in its middle" if _has_middle_hole(face) else f"{face.web.minimum:.4g} of metal below"


def _diameter(face: Candidate) -> float:
    """Diameter of a face whose outline is one circle, mm; 0 for any other outline."""
    full = [arc.radius for arc in face.arcs if arc.sweep > 1.9 * np.pi]
    if len(full) != 1:
        return 0.0
    inside = Polygon(face.polygon.exterior).area
    return 2.0 * full[0] if inside > 0.95 * np.pi * full[0] ** 2 else 0.0


def _has_middle_hole(face: Candidate) -> bool:
    middle = Polygon(face.polygon.exterior).centroid
    return any(Polygon(hole).contains(middle) for hole in face.polygon.interiors)


def _runs_round(face: Candidate) -> bool:
    """Whether islands take at least a quarter of what its outline encloses: a channel all round them."""
    inner = ~face.rim.on_outline
    risen = float(face.rim.lengths[inner & face.rim.risen].sum())
    islands = sum(Polygon(hole).area for hole in face.polygon.interiors)
    return risen > 0.5 * float(face.rim.lengths[inner].sum()) and islands >= 0.25 * (islands + face.area)


def wall_height(mesh: Mesh, face: Candidate) -> float:
    """How high the walls round a face stand, mm: the median of the metal beside its outline.

    Parameters
    ----------
    mesh : Mesh
    face : Candidate

    Notes
    -----
    The top face is looked up at places outside the outline, among the facets that look up.
    """
    rings = [Polygon(face.polygon.exterior).buffer(away, join_style="mitre").exterior for away in _OUTSIDE]
    along = np.arange(24) / 24.0
    places = shapely.get_coordinates(shapely.line_interpolate_point(np.array(rings)[:, None], along, normalized=True))
    tops = np.fmax.reduce(_top_z(mesh, places).reshape(len(rings), -1))
    over = tops - face.face.at(places[-len(along) :])
    risen = over[np.isfinite(over) & (over > 1e-3)]
    return float(np.median(risen)) if len(risen) else 0.0


def _top_z(mesh: Mesh, places: Floats) -> Floats:
    """Z of the highest facet that looks up at each place; NaN beside the part."""
    (x, y), (x0, y0, x1, y1) = places.T, mesh.plan_boxes
    near = (x0 <= x.max()) & (x1 >= x.min()) & (y0 <= y.max()) & (y1 >= y.min())
    facets = np.flatnonzero((mesh.plan_areas > 1e-9) & near)
    row, _, z = facets_at(mesh, facets, places)
    out = np.full(len(places), np.nan)
    np.fmax.at(out, row, z)
    return out
