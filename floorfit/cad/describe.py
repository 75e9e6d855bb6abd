"""Turn a recognised face into a pocket of the part, with its details."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.boundary import Arc, arcs_of, fillet_edges, fillet_groups, fillet_radius, wall_polygon
from floorfit.cad.candidates_found import FEW_PLANES, Candidate
from floorfit.cad.curved_fillet import curved_fillet_radius
from floorfit.cad.drawing import polygon_parts, ring_of, tidy_polygon
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import Floor
from floorfit.cad.facet_heights import Facets, grid_patch, plane_patches
from floorfit.cad.mesh import Bools, Ints
from floorfit.cad.recognise import Recognition
from floorfit.cad.recorded_web import RecordedWeb, record_web
from floorfit.part.model import Pocket, Tolerance
from floorfit.part.shape import Patch, heights, slopes

__all__ = ["DEFAULT_TOLERANCE", "Rounding", "corner_radius", "describe_floors", "pocket_of"]

#: ISO 2768-1:1989, table 1, class m, for lengths over 0.5 up to 6 mm, which most webs are.
DEFAULT_TOLERANCE = Tolerance(-0.1, 0.1)
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


def describe_floors(found: Recognition, settings: ExtractSettings, rounding: Rounding) -> list[Floor]:
    """Details of every floor, without ids yet.

    Parameters
    ----------
    found : Recognition
    settings : ExtractSettings
    rounding : Rounding
    """
    describer = _Describer(found, settings, rounding)
    return [describer.floor(floor) for floor in found.floors]


class _Describer:
    def __init__(self, found: Recognition, settings: ExtractSettings, rounding: Rounding) -> None:
        self.mesh, self.found, self.settings, self.rounding = found.known.mesh, found, settings, rounding
        #: Group of every facet, and the facets of each group.
        self.group, self.members = fillet_groups(self.mesh, found.known.smooth.regions, found.is_plane)
        self.tree = shapely.STRtree([floor.polygon for floor in found.floors])

    def floor(self, floor: Candidate) -> Floor:
        radius, along = self._fillet(floor)
        foot = self.rounding.plan(floor.polygon)
        wall, arcs = self._wall_line(floor, along, radius) if radius > 0.0 else (foot, list(floor.arcs))
        chosen = wall if self.settings.boundary == "wall" else foot
        web = record_web(floor.web, floor.polygon, floor.is_shaped, self.found.tolerance, floor.sag)
        patches = _floor_patches(floor, chosen)
        z, under, low, high = self._heights(floor, web, patches, chosen)
        return Floor(
            id="",
            foot=ring_of(foot.exterior),
            foot_islands=tuple(map(ring_of, foot.interiors)),
            wall=ring_of(wall.exterior),
            wall_islands=tuple(map(ring_of, wall.interiors)),
            floor_z=z,
            underside_z=under,
            slope=floor.slope,
            web=z - under,
            web_min=low,
            web_max=high,
            area=float(foot.area),
            fillet_radius=round(radius, 2),
            corner_radius=0.0 if floor.reach else corner_radius(arcs),
            **self._shares(floor, along, radius),
            arc_error=max((arc.sagitta for arc in floor.arcs), default=0.0),
            floor=patches,
            underside=web.patches,
            is_parallel=web.is_parallel,
            web_along=web.along,
            floor_error=floor.sag,
            edge=web.edge,
        )

    def _fillet(self, floor: Candidate) -> tuple[float, Bools]:
        """Radius between floor and wall, and how much of the rim has it."""
        known, members = self.found.known.smooth.regions, self.found.known.members
        along = fillet_edges(known, floor.rim, self.found.is_plane)
        if not floor.is_shaped:
            return fillet_radius(self.mesh, known, members, floor.region, floor.rim, along), along
        radius = curved_fillet_radius(self.mesh, floor.facets, floor.face, self._leaning(floor, along))
        return radius, along & (radius > 0.0)

    def _wall_line(self, floor: Candidate, along: Bools, radius: float) -> tuple[Polygon, list[Arc]]:
        """Foot of the wall without its fillet, and its corners."""
        wall = tidy_polygon(self._wall(floor, along, radius), max(1e-5, 0.6 * self.mesh.noise))
        arcs = arcs_of(np.asarray(wall.exterior.coords)[:-1], self.mesh.noise)
        return self.rounding.plan(wall), arcs

    def _heights(
        self, floor: Candidate, web: RecordedWeb, patches: tuple[Patch, ...], chosen: Polygon
    ) -> tuple[float, float, float, float]:
        """Floor Z and underside Z at the outline's centroid, and the web's range over the flat floor."""
        centre = Polygon(chosen.exterior).centroid
        at = np.array([centre.x]), np.array([centre.y])
        z = self.rounding.z(float(heights(patches, *at)[0]) if patches else floor.z_at(centre.x, centre.y))
        if web.is_parallel:
            slope = slopes(patches, *at)[0] if web.along == "normal" else np.zeros(2)
            steep = float(np.sqrt(1.0 + slope @ slope))
            return z, z - self.rounding.z(web.constant) * steep, web.thinnest, web.thickest
        if web.patches:
            under = float(heights(web.patches, *at)[0])
            return z, self.rounding.z(under), web.thinnest, web.thickest
        under = self.rounding.z(web.level)
        if patches:
            return z, under, web.thinnest, web.thickest
        plane = floor.face.at(np.asarray(floor.polygon.exterior.coords)[:, :2])
        return z, under, float(plane.min() - under), float(plane.max() - under)

    def _leaning(self, floor: Candidate, along: Bools) -> Ints:
        """Facets of the fillets that begin along some edges of a floor."""
        facets = [self.members[number] for number in np.unique(self.group[floor.rim.outer[along]]) if number >= 0]
        return np.concatenate(facets) if facets else np.zeros(0, np.int64)

    def _wall(self, floor: Candidate, along: Bools, radius: float) -> Polygon:
        """Outline where the fillet ends."""
        leaning = self._leaning(floor, along)
        high = _HIGHER * radius + 2.0 * floor.sag if floor.is_shaped else radius
        wall = wall_polygon(self.mesh, floor.polygon, floor.face, high, floor.facets, leaning)
        if floor.cuts.is_empty:
            return wall
        longer = [_longer(line, 2.0 * radius) for line in shapely.get_parts(shapely.line_merge(floor.cuts))]
        slit = shapely.union_all(shapely.buffer(np.array(longer, object), 1e-6, cap_style="square"))
        inside = floor.polygon.representative_point()
        return next((part for part in polygon_parts(wall.difference(slit)) if part.contains(inside)), shapely.Polygon())

    def _shares(self, floor: Candidate, along: Bools, radius: float) -> dict[str, float]:
        """Shares of the outline along walls, fillets, steps to other floors, and nothing."""
        rim = floor.rim
        middle = self.mesh.vertices[rim.edges].mean(axis=1)[:, :2]
        away = _BEYOND + floor.reach + np.where(along, radius, 0.0)
        probe = middle + self.mesh.outward(rim.edges) * away[:, None]
        hits = self.tree.query(shapely.points(probe), predicate="within")
        others = hits[:, [self.found.floors[j] is not floor for j in hits[1]]] if hits.shape[1] else hits
        step = np.zeros(len(rim.lengths), np.bool_)
        step[others[0]] = True
        rises = rim.risen
        return {
            "wall_share": rim.share(rises & ~along & ~step),
            "fillet_share": rim.share(along & ~step),
            "step_share": rim.share(step),
            "open_share": rim.share(~rises & ~step),
        }


def _floor_patches(floor: Candidate, chosen: Polygon) -> tuple[Patch, ...]:
    """Heights of a curved floor: its planes where these are few, else a grid; empty for a plane."""
    if not isinstance(floor.face, Facets):
        return ()
    pieces = floor.face.pieces
    if len(pieces) <= FEW_PLANES:
        shapes = shapely.intersection(pieces, floor.polygon)
        return tuple(plane_patches(shapes, floor.face.points, floor.face.normals))
    return (grid_patch(floor.face, chosen, (), floor.sag),)


def corner_radius(arcs: list[Arc]) -> float:
    """Smallest inner corner of at least 30 degrees of arc, mm; 0 where corners are sharp."""
    inner = [arc.radius for arc in arcs if arc.sweep >= np.radians(30.0)]
    return round(min(inner), 2) if inner else 0.0


def _longer(line: shapely.LineString, by: float) -> shapely.LineString:
    """A cut carried on at both ends, through the fillets beside it."""
    xy = shapely.get_coordinates(line)
    a, b = xy[0] - xy[1], xy[-1] - xy[-2]
    first, last = xy[0] + by * a / np.hypot(*a), xy[-1] + by * b / np.hypot(*b)
    return shapely.LineString(np.vstack([first, xy, last]))


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
