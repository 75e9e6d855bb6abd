"""Pads: raised faces that stand in a bay, and are floors with a web of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from floorfit.cad.candidates_found import Candidate
from floorfit.cad.floor_rules import is_enclosed, wall_height
from floorfit.cad.mesh import Floats, Ints, Mesh

__all__ = ["Standing", "pads_by_ground", "standing_faces"]

#: A pad rises to at most this share of the walls round its floor; up to `_IN_DOUBT` it may be one. Set choices: ribs,
#: bosses and lugs go up to the walls' tops or near them.
_LOW, _IN_DOUBT = 0.25, 0.5
#: A pad is at least this many times as wide as it is high, what may be one `_STOUT` times: less is a boss or a rib.
_FLAT, _STOUT = 3.0, 2.0
#: A pad is at least this wide, mm: a rivet of 2.4 mm with two diameters to the edge on either side (common practice, no
#: source). Narrower may be one: a bead or a low rib looks the same.
_NARROWEST = 9.6
#: Share of its outline along which a pad meets floors or walls; what may be one meets them along more than half.
_ALL_ROUND, _HALF = 0.9, 0.5
#: The floor is looked for this far outside the outline, mm: beyond any fillet or draft at the foot of the pad.
_OUTSIDE = (0.25, 1.0, 2.5, 5.0, 10.0)
#: A hole narrower than this share of a face is drilled through it and does not make it a ring.
_DRILLED = 0.5


@dataclass(frozen=True)
class Standing:
    """How a raised face stands in a bay.

    Parameters
    ----------
    grounds : tuple of int
        Regions of the floors that it stands on.
    step, height : float, mm
        How far it rises over them, and over the lowest floor where they are pads.
    walls : float, mm
        How far the walls round the lowest of them do.
    width : float, mm
        Of the face: the widest circle in it.
    share : float
        Share of its outline along which it meets these floors or walls.
    reach : float, mm
        How far outside its outline the floors begin.
    """

    grounds: tuple[int, ...]
    step: float
    height: float
    walls: float
    width: float
    share: float
    reach: float

    @property
    def is_pad(self) -> bool:
        """Whether it is low, wide and has the floor all round it."""
        wide = self.width >= max(_FLAT * self.step, _NARROWEST)
        return wide and self.height <= _LOW * self.walls and self.share >= _ALL_ROUND

    @property
    def is_doubtful(self) -> bool:
        """Whether it is no pad by the rules, and not far from one."""
        near = self.height <= _IN_DOUBT * self.walls and self.width >= _STOUT * self.step
        return near and self.share > _HALF and not self.is_pad

    @property
    def words(self) -> str:
        """What it is, with its figures."""
        size = f"{self.width:.4g} mm wide, {self.height:.4g} mm high on a floor with walls of {self.walls:.4g} mm"
        return f"{size}, which it meets along {100.0 * self.share:.0f} % of its outline: a pad, a land, a lip or a boss"


def standing_faces(mesh: Mesh, faces: list[Candidate]) -> dict[int, Standing]:
    """Raised faces that stand on floors, by region.

    Rules
    -----
    A face round which no walls rise is a *pad* where

    - it meets a floor that lies lower, or a wall, along nine tenths of its outline;
    - it rises over that floor to at most a quarter of the height of the walls round the floor;
    - it is at least three times as wide as it is high, and 9.6 mm wide (drillings in it do not count).

    It *may be* one up to half the walls' height, from twice as wide as high, however narrow, and with more than half
    of its outline: such a face is left out and asked about. Anything higher or narrower is a boss, a lug, a rib or an
    island. A pad may stand on a pad: its whole height is held against the walls, its step against its width.

    Parameters
    ----------
    mesh : Mesh
    faces : list of Candidate
        Whole faces, before they are cut.

    Returns
    -------
    dict
        What stands on floors, whether it is a pad or not.
    """
    enclosed = [is_enclosed(mesh, face) for face in faces]
    grounds = [face for face, walled in zip(faces, enclosed, strict=True) if walled]
    raised = [face for face, walled in zip(faces, enclosed, strict=True) if not walled]
    walls: dict[int, float] = {}
    heights: dict[int, float] = {}
    out: dict[int, Standing] = {}
    for face in sorted(raised, key=lambda face: face.point[2]):
        found = _standing(mesh, face, grounds, walls, heights)
        if found is None:
            continue
        out[face.region] = found
        if found.is_pad:
            grounds = [*grounds, face]
            walls[face.region], heights[face.region] = found.walls, found.height
    return out


def pads_by_ground(faces: list[Candidate], standing: dict[int, Standing]) -> dict[int, Any]:
    """Where pads and their feet lie in each floor, by region.

    Parameters
    ----------
    faces : list of Candidate
        Whole faces, before they are cut.
    standing : dict
        From `standing_faces`.
    """
    shapes: dict[int, list[Any]] = {}
    for face in faces:
        on = standing.get(face.region)
        if on is not None and on.is_pad:
            foot = face.polygon.buffer(on.reach + _OUTSIDE[0])
            for region in on.grounds:
                shapes.setdefault(region, []).append(foot)
    return {region: shapely.union_all(feet) for region, feet in shapes.items()}


def _standing(
    mesh: Mesh, face: Candidate, grounds: list[Candidate], walls: dict[int, float], heights: dict[int, float]
) -> Standing | None:
    near = [ground for ground in grounds if ground.polygon.dwithin(face.polygon, _OUTSIDE[-1])]
    rim = face.rim
    falls = rim.on_outline & ~rim.risen & (rim.lengths > 0.0)
    if not near or not falls.any():
        return None
    below, away, depth = _grounds_below(mesh, rim.edges[falls], near)
    if (below < 0).all():
        return None
    lengths = rim.lengths[falls] * (below >= 0)
    share = face.walled + float(lengths.sum()) / float(rim.lengths[rim.on_outline].sum())
    used = np.unique(below[below >= 0])
    step = float(np.average(depth[below >= 0], weights=lengths[below >= 0]))
    for row in used:
        if near[row].region not in walls:
            walls[near[row].region] = wall_height(mesh, near[row])
    height = step + max(heights.get(near[row].region, 0.0) for row in used)
    regions = tuple(near[row].region for row in used)
    highest = max(walls[region] for region in regions)
    return Standing(regions, step, height, highest, _width(face.polygon), share, float(away.max()))


def _grounds_below(mesh: Mesh, edges: Ints, near: list[Candidate]) -> tuple[Ints, Floats, Floats]:
    """Floor that lies lower outside each edge (−1 for none), how far away it begins, and how deep it lies, mm."""
    middle, outward = mesh.vertices[edges].mean(axis=1), mesh.outward(edges)
    below = np.full(len(edges), -1, np.int64)
    away, depth = np.zeros(len(edges)), np.zeros(len(edges))
    for distance in _OUTSIDE:
        probe = middle[:, :2] + distance * outward
        for row, ground in enumerate(near):
            open_rows = np.flatnonzero(below < 0)
            inside = open_rows[shapely.contains_xy(ground.polygon, *probe[open_rows].T)]
            if len(inside) == 0:
                continue
            over = middle[inside, 2] - ground.face.at(probe[inside])
            lower = over > 1e-3
            below[inside[lower]], away[inside[lower]], depth[inside[lower]] = row, distance, over[lower]
    return below, away, depth


def _width(polygon: Polygon) -> float:
    """Diameter of the widest circle in a face, mm; drillings are passed over."""
    whole = 2.0 * shapely.maximum_inscribed_circle(Polygon(polygon.exterior)).length
    large = [
        hole
        for hole in polygon.interiors
        if 2.0 * shapely.maximum_inscribed_circle(Polygon(hole)).length > _DRILLED * whole
    ]
    return 2.0 * float(shapely.maximum_inscribed_circle(Polygon(polygon.exterior, large)).length)
