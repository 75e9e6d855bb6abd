"""Cut a floor where it runs under or through a rib: at roofed places, and at necks between walls."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.drawing import polygon_parts

__all__ = ["cut_at_necks", "without_roofs"]

#: A neck is no wider than this share of the narrower of the two bays; a set choice.
_NECK_SHARE = 1.0 / 3.0
#: Points along the cores of the bays, mm apart.
_ALONG = 1.0


def without_roofs(floor: Polygon, flat: Any, roofed: Any, least: float) -> list[Polygon]:
    """Parts of a floor that no face roofs.

    Parameters
    ----------
    floor : Polygon
    flat : geometry
        Where a face that looks down flatter than 60 degrees lies above: a rib's or a ledge's underside.
    roofed : geometry
        Where any face that looks down lies above; what leans over along a wall stays, but for what joins a roof.
    least : float, mm²
        Smaller parts are dropped.

    Returns
    -------
    list of Polygon
        The floor itself where there is no roof.
    """
    if flat.area <= 1e-3 * floor.area:
        return [floor]
    joined = shapely.intersection(roofed, flat.buffer(np.sqrt(flat.area), join_style="mitre"))
    touching = [part for part in polygon_parts(joined) if part.dwithin(flat, 1e-3)]
    gone = shapely.union_all([flat, *touching]).buffer(0.06, join_style="mitre")
    return [part for part in polygon_parts(floor.difference(gone)) if part.area >= least]


def cut_at_necks(floor: Polygon, risen: Any, holes: list[bool], widest: float) -> list[Polygon]:
    """Bays of a floor that notches in the ribs between them join.

    Parameters
    ----------
    floor : Polygon
    risen : geometry
        Edges along which metal rises; both ends of a cut lie there.
    holes : list of bool
        For each hole whether metal stands in it; others (drillings) do not narrow the floor.
    widest : float, mm
        Widest neck.

    Returns
    -------
    list of Polygon
        Floor alone where it has no neck.

    Notes
    -----
    What is left of the floor after shrinking it by half the widest neck are the cores of the bays. Each place belongs
    to its nearest core (Voronoi); where two bays meet, the cut is the straight line between the ends of that border.
    """
    solid = Polygon(floor.exterior, [h for h, rises in zip(floor.interiors, holes, strict=True) if rises])
    cores = [core for core in polygon_parts(solid.buffer(-widest / 2.0)) if core.area >= widest**2 / 4.0]
    if len(cores) < 2:
        return [floor]
    cuts = [cut for cut in _borders(solid, cores) if _is_neck(cut, cores, risen, widest)]
    if not cuts:
        return [floor]
    slit = shapely.union_all(shapely.buffer(np.array(cuts, object), 1e-7, cap_style="square"))
    parts = [part for part in polygon_parts(floor.difference(slit)) if part.area > 1.0]
    return [_snapped(part, cuts) for part in parts] if len(parts) > 1 else [floor]


def _borders(solid: Polygon, cores: list[Polygon]) -> list[Any]:
    """Straight lines between the ends of the borders where the neighbourhoods of two cores meet."""
    points, owner = [], []
    for number, core in enumerate(cores):
        xy = np.unique(shapely.get_coordinates(shapely.segmentize(core.boundary, _ALONG)), axis=0)
        points.append(xy)
        owner += [number] * len(xy)
    cells = shapely.get_parts(
        shapely.voronoi_polygons(shapely.multipoints(np.concatenate(points)), extend_to=solid, ordered=True)
    )
    numbers: NDArray[np.int64] = np.array(owner)
    rooms = [shapely.union_all(cells[numbers == number]) for number in range(len(cores))]
    near = shapely.STRtree(rooms).query(rooms, predicate="intersects").T
    lines = []
    for a, b in near[near[:, 0] < near[:, 1]]:
        border = shapely.intersection(shapely.intersection(rooms[a], rooms[b]), solid)
        for line in shapely.get_parts(shapely.line_merge(shapely.multilinestrings(_lines(border)))):
            xy = shapely.get_coordinates(line)
            lines.append(_stretched(xy[0], xy[-1]))
    return lines


def _lines(shape: Any) -> list[Any]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "LineString"]


def _stretched(a: NDArray[np.float64], b: NDArray[np.float64]) -> Any:
    """The line from a to b, a little longer at both ends."""
    more = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9) * 0.05
    return shapely.LineString([a - more, b + more])


def _is_neck(cut: Any, cores: list[Polygon], risen: Any, widest: float) -> bool:
    ends = shapely.points(shapely.get_coordinates(cut))
    bays = sorted(cores, key=lambda core: core.distance(cut))[:2]
    narrow = min(2.0 * shapely.maximum_inscribed_circle(bay).length for bay in bays) + widest
    between = bool((shapely.distance(ends, risen) < 0.5).all())
    return between and cut.length <= min(1.01 * widest, _NECK_SHARE * narrow)


def _snapped(part: Polygon, cuts: list[Any]) -> Polygon:
    """The part with its cut edges on the cut itself: slits have a width."""
    snapped = shapely.set_precision(part, 1e-6)
    return snapped if snapped.is_valid and snapped.geom_type == "Polygon" else part
