"""Turn a recognised face into a pocket of the part, with its details."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.boundary import Arc, arcs_of, fillet_edges, fillet_groups, fillet_radius, wall_polygon
from floorfit.cad.candidates_found import Candidate
from floorfit.cad.curved_fillet import curved_fillet_radius
from floorfit.cad.drawing import largest_polygon, ring_of, tidy_polygon
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import Floor
from floorfit.cad.facet_heights import Facets, grid_patch, plane_patches
from floorfit.cad.mesh import Bools, Ints, Mesh
from floorfit.cad.recognise import Recognition
from floorfit.cad.recorded_web import RecordedWeb, record_web
from floorfit.part.model import Pocket, Tolerance
from floorfit.part.shape import Patch, heights, slopes

__all__ = ["DEFAULT_TOLERANCE", "Rounding", "corner_radius", "describe_floors", "pocket_of"]

#: Group of every facet, and the facets of each group.
Fillets = tuple[Ints, list[Ints]]

#: ISO 2768-1:1989, table 1, class m, for lengths over 0.5 up to 6 mm, which most webs are.
DEFAULT_TOLERANCE = Tolerance(-0.1, 0.1)
#: A curved floor of up to this many planes is written as these planes, else as a grid.
_FEW_PLANES = 24
#: The fillet of a curved floor ends within this many radii over it: chords make the radius look smaller.
_HIGHER = 1.05
#: An edge is asked what lies beyond it at this distance, mm: less than any rib is thick.
_BEYOND = 0.25


@dataclass(frozen=True)
class Rounding:
    """Rounds lengths to what single precision can carry, in the unit of the part file.

    Parameters
    ----------
    unit_mm : float
        Millimetres in one unit.
    places, z_places : int
        Decimals of plan coordinates and of heights.
    """

    unit_mm: float = 1.0
    places: int = 4
    z_places: int = 5

    def plan(self, polygon: Polygon) -> Polygon:
        """Polygon with rounded corners; unrounded where rounding would break it."""
        rounded = shapely.transform(polygon, lambda xy: np.round(xy / self.unit_mm, self.places) * self.unit_mm)
        return rounded if rounded.is_valid else polygon

    def z(self, value: float) -> float:
        """Rounded height, mm."""
        return float(np.round(value / self.unit_mm, self.z_places)) * self.unit_mm


def describe_floors(mesh: Mesh, found: Recognition, settings: ExtractSettings, rounding: Rounding) -> list[Floor]:
    """Details of every floor, without ids yet.

    Parameters
    ----------
    mesh : Mesh
    found : Recognition
    settings : ExtractSettings
    rounding : Rounding
    """
    group, members = fillet_groups(mesh, found.known.smooth.regions, found.is_plane)
    tree = shapely.STRtree([floor.polygon for floor in found.floors])
    return [_describe(mesh, found, floor, (group, members), tree, settings, rounding) for floor in found.floors]


def _describe(
    mesh: Mesh,
    found: Recognition,
    floor: Candidate,
    fillets: Fillets,
    tree: shapely.STRtree,
    settings: ExtractSettings,
    rounding: Rounding,
) -> Floor:
    radius, along = _fillet(mesh, found, floor, fillets)
    foot = rounding.plan(floor.polygon)
    wall, arcs = (
        _wall_line(mesh, floor, fillets, (along, radius), rounding) if radius > 0.0 else (foot, list(floor.arcs))
    )
    chosen = wall if settings.boundary == "wall" else foot
    web = record_web(floor.web, floor.polygon, isinstance(floor.face, Facets), found.tolerance, floor.sag)
    patches = _floor_patches(floor, chosen)
    z, under, low, high = _heights(floor, web, patches, chosen, rounding)
    return Floor(
        id="",
        foot=ring_of(foot.exterior),
        foot_islands=tuple(map(ring_of, foot.interiors)),
        wall=ring_of(wall.exterior),
        wall_islands=tuple(map(ring_of, wall.interiors)),
        hole_kinds=tuple(_hole_kind(mesh, floor, hole, tree) for hole in foot.interiors),
        floor_z=z,
        underside_z=under,
        slope=floor.slope,
        web=z - under,
        web_min=low,
        web_max=high,
        area=float(foot.area),
        fillet_radius=round(radius, 2),
        corner_radius=0.0 if floor.reach else corner_radius(arcs),
        **_shares(mesh, floor, found.floors, tree, along, radius),
        arc_error=max((arc.sagitta for arc in floor.arcs), default=0.0),
        floor=patches,
        underside=web.patches,
        is_parallel=web.is_parallel,
        web_along=web.along,
        floor_error=floor.sag,
        edge=web.edge,
    )


def _fillet(mesh: Mesh, found: Recognition, floor: Candidate, fillets: Fillets) -> tuple[float, Bools]:
    """Radius between floor and wall, and how much of the rim has it."""
    known, members = found.known.smooth.regions, found.known.members
    along = fillet_edges(known, floor.rim, found.is_plane)
    if not floor.is_shaped:
        return fillet_radius(mesh, known, members, floor.region, floor.rim, along), along
    radius = curved_fillet_radius(mesh, floor.facets, floor.face, _leaning(floor, fillets, along))
    return radius, along & (radius > 0.0)


def _wall_line(
    mesh: Mesh, floor: Candidate, fillets: Fillets, fillet: tuple[Bools, float], rounding: Rounding
) -> tuple[Polygon, list[Arc]]:
    """Foot of the wall without its fillet, and its corners."""
    wall = tidy_polygon(_wall(mesh, floor, fillets, *fillet), max(1e-5, 0.6 * mesh.noise))
    arcs = arcs_of(np.asarray(wall.exterior.coords)[:-1], mesh.noise)
    return rounding.plan(wall), arcs


def _floor_patches(floor: Candidate, chosen: Polygon) -> tuple[Patch, ...]:
    """Heights of a curved floor: its planes where these are few, else a grid; empty for a plane."""
    if not isinstance(floor.face, Facets):
        return ()
    pieces = floor.face.pieces
    if len(pieces) <= _FEW_PLANES:
        shapes = shapely.intersection(pieces, floor.polygon)
        return tuple(plane_patches(shapes, floor.face.points, floor.face.normals))
    return (grid_patch(floor.face, chosen, (), floor.sag),)


def _heights(
    floor: Candidate, web: RecordedWeb, patches: tuple[Patch, ...], chosen: Polygon, rounding: Rounding
) -> tuple[float, float, float, float]:
    """Floor Z and underside Z at the outline's centroid, and the web's range over the flat floor."""
    centre = Polygon(chosen.exterior).centroid
    at = np.array([centre.x]), np.array([centre.y])
    z = rounding.z(float(heights(patches, *at)[0]) if patches else floor.z_at(centre.x, centre.y))
    if web.is_parallel:
        slope = slopes(patches, *at)[0] if web.along == "normal" else np.zeros(2)
        steep = float(np.sqrt(1.0 + slope @ slope))
        return z, z - rounding.z(web.constant) * steep, web.thinnest, web.thickest
    if web.patches:
        under = float(heights(web.patches, *at)[0])
        return z, rounding.z(under), web.thinnest, web.thickest
    under = rounding.z(web.level)
    if patches:
        return z, under, web.thinnest, web.thickest
    xy = np.asarray(floor.polygon.exterior.coords)
    plane = floor.point[2] + (xy[:, :2] - floor.point[:2]) @ np.array(floor.slope)
    return z, under, float(plane.min() - under), float(plane.max() - under)


def corner_radius(arcs: list[Arc]) -> float:
    """Smallest inner corner of at least 30 degrees of arc, mm; 0 where corners are sharp."""
    inner = [arc.radius for arc in arcs if arc.sweep >= np.radians(30.0)]
    return round(min(inner), 2) if inner else 0.0


def _leaning(floor: Candidate, fillets: Fillets, along: Bools) -> Ints:
    """Facets of the fillets that begin along some edges of a floor."""
    group, members = fillets
    facets = [members[number] for number in np.unique(group[floor.rim.outer[along]]) if number >= 0]
    return np.concatenate(facets) if facets else np.zeros(0, np.int64)


def _wall(mesh: Mesh, floor: Candidate, fillets: Fillets, along: Bools, radius: float) -> Polygon:
    """Outline where the fillet ends."""
    leaning = _leaning(floor, fillets, along)
    high = _HIGHER * radius + 2.0 * floor.sag if floor.is_shaped else radius
    wall = wall_polygon(mesh, floor.polygon, floor.face, high, floor.facets, leaning)
    if floor.cuts.is_empty:
        return wall
    longer = [_longer(line, 2.0 * radius) for line in shapely.get_parts(shapely.line_merge(floor.cuts))]
    slit = shapely.union_all(shapely.buffer(np.array(longer, object), 1e-6, cap_style="square"))
    inside = floor.polygon.representative_point()
    return largest_polygon(
        shapely.union_all([part for part in shapely.get_parts(wall.difference(slit)) if part.contains(inside)])
    )


def _longer(line: shapely.LineString, by: float) -> shapely.LineString:
    """A cut carried on at both ends, through the fillets beside it."""
    xy = shapely.get_coordinates(line)
    a, b = xy[0] - xy[1], xy[-1] - xy[-2]
    first, last = xy[0] + by * a / np.hypot(*a), xy[-1] + by * b / np.hypot(*b)
    return shapely.LineString(np.vstack([first, xy, last]))


def _shares(
    mesh: Mesh,
    floor: Candidate,
    floors: list[Candidate],
    tree: shapely.STRtree,
    along: Bools,
    radius: float,
) -> dict[str, float]:
    """Shares of the outline along walls, fillets, steps to other floors, and nothing."""
    rim = floor.rim
    ends = mesh.vertices[rim.edges]
    direction = (ends[:, 1] - ends[:, 0])[:, :2]
    outward = np.column_stack([direction[:, 1], -direction[:, 0]])
    outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-12)[:, None]
    probe = ends.mean(axis=1)[:, :2] + outward * (_BEYOND + floor.reach + np.where(along, radius, 0.0))[:, None]
    hits = tree.query(shapely.points(probe), predicate="within")
    others = hits[:, [floors[j] is not floor for j in hits[1]]] if hits.shape[1] else hits
    step = np.zeros(len(rim.lengths), np.bool_)
    step[others[0]] = True
    rises = rim.rise > 1e-4
    return {
        "wall_share": rim.share(rises & ~along & ~step),
        "fillet_share": rim.share(along & ~step),
        "step_share": rim.share(step),
        "open_share": rim.share(~rises & ~step),
    }


def _hole_kind(mesh: Mesh, floor: Candidate, hole: shapely.LinearRing, tree: shapely.STRtree) -> str:
    """Whether metal stands in a hole of the floor, another floor lies there lower down, or nothing does."""
    rim = floor.rim
    middle = mesh.vertices[rim.edges].mean(axis=1)[:, :2]
    near = shapely.dwithin(shapely.points(middle), hole, 1e-2)
    risen = float(rim.lengths[near & (rim.rise > 1e-4)].sum())
    if risen > 0.5 * float(rim.lengths[near].sum()):
        return "island"
    return "step" if len(tree.query(Polygon(hole).buffer(1e-2), predicate="contains")) else "hole"


def pocket_of(floor: Floor, settings: ExtractSettings) -> Pocket:
    """The pocket of the part file for a described floor.

    Parameters
    ----------
    floor : Floor
    settings : ExtractSettings
    """
    at_wall = settings.boundary == "wall"
    return Pocket(
        id=floor.id,
        boundary=floor.wall if at_wall else floor.foot,
        islands=floor.wall_islands if at_wall else floor.foot_islands,
        floor_z=floor.floor_z,
        web=floor.web,
        tolerance=settings.tolerance or DEFAULT_TOLERANCE,
        underside_z=floor.underside_z,
        finish_stock=settings.finish_stock or 0.0,
        slope=(0.0, 0.0) if floor.floor else floor.slope,
        corner_radius=floor.corner_radius,
        floor=floor.floor,
        underside=floor.underside,
        is_parallel=floor.is_parallel,
        web_along=floor.web_along,
    )
