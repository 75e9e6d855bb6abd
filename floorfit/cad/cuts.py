"""Cut a floor where it runs under or through a rib: at roofed places, and at necks between walls."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.drawing import polygon_parts

__all__ = ["LEAST_ROOF", "cut_at_necks", "without_roofs"]

#: Roofs smaller than this are passed over, mm².
LEAST_ROOF = 0.5
#: Widest necks that are looked for, mm, one size after the other: bays between narrow necks may be small. Set choices,
#: above any drain notch, mouse hole or passage of a cable.
_WIDEST = (30.0, 12.0, 5.0)
#: A neck is no wider than this share of the narrower of the two bays; a set choice.
_NECK_SHARE = 1.0 / 3.0
#: A neck is no longer than this, mm: the thickness of the rib that it goes through. A longer one is a channel.
_LONGEST = 15.0
#: Cuts reach over the edge by this, mm.
_OVER = 0.05
#: Chords of a quarter circle when a floor is shrunk.
_FINE = 32
#: Necks that are looked for between two bays.
_MOST_NECKS = 8
#: Parts of a floor under a roof that are smaller than this are dropped, mm².
_LEAST_PART = 25.0
#: What is narrower than twice this after roofed places were taken out is dropped, mm.
_SLIVER = 0.02


def without_roofs(floor: Polygon, flat: Any, roofed: Any) -> list[Polygon]:
    """Parts of a floor that no face roofs.

    Parameters
    ----------
    floor : Polygon
    flat : geometry
        Where a face that looks down flatter than 60 degrees lies above: a rib's or a ledge's underside.
    roofed : geometry
        Where any face that looks down lies above; what leans over along a wall stays, but for what joins a roof.

    Returns
    -------
    list of Polygon
        The floor itself where there is no roof.
    """
    if flat.area <= LEAST_ROOF:
        return [floor]
    near = shapely.intersection(roofed, flat.buffer(np.sqrt(flat.area), join_style="mitre"))
    touching = [part for part in polygon_parts(near) if part.dwithin(flat, 1e-3)]
    left = floor.difference(shapely.union_all([flat, *touching]))
    opened = left.buffer(-_SLIVER, join_style="mitre").buffer(_SLIVER, join_style="mitre")
    parts = polygon_parts(shapely.intersection(opened, left))
    return [part for part in parts if part.area >= _LEAST_PART]


def cut_at_necks(floor: Polygon, risen: Any) -> list[Polygon]:
    """Bays of a floor that notches in the ribs between them join.

    Parameters
    ----------
    floor : Polygon
    risen : geometry
        Edges along which metal rises; both ends of a cut lie there.

    Returns
    -------
    list of Polygon
        The floor alone where it has no neck.

    Notes
    -----
    What is left of the floor after shrinking it by half the widest neck are the cores of the bays. In front of a neck
    each core has a cusp; the cut goes through the middle between two cusps, square to the line that joins them.
    Holes in which no metal stands (drillings) do not narrow the floor.
    """
    shapely.prepare(risen)
    parts = [floor]
    for widest in _WIDEST:
        parts = [piece for part in parts for piece in _cut(part, risen, widest)]
    return parts


def _cut(floor: Polygon, risen: Any, widest: float) -> list[Polygon]:
    solid = Polygon(floor.exterior, [hole for hole in floor.interiors if risen.dwithin(hole, 1e-2)])
    eroded = solid.buffer(-widest / 2.0, quad_segs=_FINE)
    cores = [core for core in polygon_parts(eroded) if core.area >= widest**2 / 16.0]
    if len(cores) < 2:
        return [floor]
    shapely.prepare(solid)
    cuts = [cut for a, b in _neighbours(cores, widest) for cut in _cuts_between(solid, a, b, risen, widest)]
    if not cuts:
        return [floor]
    slit = shapely.union_all(shapely.buffer(np.array(cuts, object), 1e-6, cap_style="square"))
    parts = [part for part in polygon_parts(floor.difference(slit)) if part.area > 1.0]
    return parts if len(parts) > 1 else [floor]


def _neighbours(cores: list[Polygon], widest: float) -> list[tuple[Polygon, Polygon]]:
    """Pairs of cores that a neck could join."""
    near = shapely.STRtree(cores).query(cores, predicate="dwithin", distance=_LONGEST + widest).T
    return [(cores[i], cores[j]) for i, j in near.tolist() if i < j]


def _cuts_between(solid: Polygon, a: Polygon, b: Polygon, risen: Any, widest: float) -> list[Any]:
    """Cuts through the necks that join two bays, the shortest neck first."""
    narrow = min(2.0 * shapely.maximum_inscribed_circle(bay).length for bay in (a, b)) + widest
    cuts: list[Any] = []
    left, right = a, b
    for _ in range(_MOST_NECKS):
        link = shapely.shortest_line(left, right)
        if link is None or link.is_empty or link.length > _LONGEST + widest or not solid.covers(link):
            return cuts
        cut = _across(solid, link, widest)
        if cut is None or not _is_neck(cut, link.length, narrow, risen, widest):
            return cuts
        cuts.append(cut)
        used = cut.buffer(link.length / 2.0 + widest / 2.0)
        left, right = left.difference(used), right.difference(used)
    return cuts


def _across(solid: Polygon, link: Any, widest: float) -> Any:
    """The line square to a link through its middle, from edge to edge of the floor and a little further."""
    ends = shapely.get_coordinates(link)
    middle, along = ends.mean(axis=0), (ends[1] - ends[0]) / max(link.length, 1e-9)
    square = np.array([-along[1], along[0]])
    line = shapely.LineString([middle - widest * square, middle + widest * square])
    spot = shapely.Point(middle)
    inside = [part for part in shapely.get_parts(line.intersection(solid)) if part.dwithin(spot, 1e-6)]
    if not inside:
        return None
    xy = shapely.get_coordinates(inside[0])
    more = (xy[-1] - xy[0]) / max(inside[0].length, 1e-9) * _OVER
    return shapely.LineString([xy[0] - more, xy[-1] + more])


def _is_neck(cut: Any, apart: float, narrow: float, risen: Any, widest: float) -> bool:
    """Whether a cut goes from wall to wall across a short, narrow passage.

    Notes
    -----
    In front of a passage of width b a core stays √(W² − b²)/2 away from it, so that of the distance of two cores the
    length of the passage is what exceeds √(W² − b²).
    """
    width = cut.length - 2.0 * _OVER
    if width > min(1.01 * widest, _NECK_SHARE * narrow):
        return False
    ends = shapely.points(shapely.get_coordinates(cut))
    passage = apart - np.sqrt(max(widest**2 - width**2, 0.0))
    return bool((shapely.distance(ends, risen) < 0.5).all()) and passage <= _LONGEST
