"""What lies a little off a floor, between its edge and walls: there the model's edges do not lie on its faces."""

from __future__ import annotations

import numpy as np

from floorfit.cad.candidates_found import Candidate
from floorfit.cad.drawing import largest_polygon, region_polygon, ring_of
from floorfit.cad.extracted import RejectedFace
from floorfit.cad.mesh import Bools, Ints, Mesh, component_labels

__all__ = ["torn_off"]

#: Facets flatter than 30 degrees may be of a floor, those steeper than 60 are of a wall: a fillet has some between.
_FLAT, _STEEP = float(np.cos(np.radians(30.0))), 0.5
#: A piece that rises does so by less than this from the edge, rad (10 degrees): more is a fillet; a set choice.
_LEANS = np.radians(10.0)
#: Smaller pieces are float noise, mm²; a set choice.
_LEAST = 1.0
#: More than this share of what else is round a piece is wall.
_WALLED = 0.5


def torn_off(mesh: Mesh, faces: Ints, floors: list[Candidate]) -> list[RejectedFace]:
    """Pieces that hang on the edge of one plane floor alone, with walls round what is left of their outline.

    A sewn gap looks so: the edges stand half way between floor and wall, and a kernel cuts an arc at its chord. A step
    down has another floor at its foot; an open edge has no walls round it.

    Parameters
    ----------
    mesh : Mesh
    faces : (m,) ndarray of int
        Face of each facet that was looked at as a floor; −1 for none.
    floors : list of Candidate
    """
    loose = (mesh.normals[:, 2] > _FLAT) & (faces < 0)
    group = component_labels(len(faces), mesh.pairs[loose[mesh.pairs].all(axis=1)])
    out = []
    for floor in (floor for floor in floors if not floor.is_shaped):
        rise = floor.rim.rise
        beyond = floor.rim.outer[(np.abs(rise) > 1e-4) & (rise < _LEANS) & (floor.rim.outer >= 0)]
        for number in np.unique(group[beyond[loose[beyond]]]):
            facets = np.flatnonzero(group == number)
            if mesh.plan_areas[facets].sum() >= _LEAST and _is_walled(mesh, faces, floor.region, group == number):
                out.append(_piece(mesh, floor, facets))
    return out


def _is_walled(mesh: Mesh, faces: Ints, region: int, mine: Bools) -> bool:
    rows, beyond, rises = mesh.border(mine)
    if set(faces[beyond].tolist()) - {-1, region}:
        return False
    lengths = mesh.lengths(mesh.pair_edges[rows])
    rises &= mesh.normals[beyond, 2] < _STEEP
    other = faces[beyond] != region
    return bool(lengths[rises & other].sum() > _WALLED * lengths[other].sum())


def _piece(mesh: Mesh, floor: Candidate, facets: Ints) -> RejectedFace:
    shape = largest_polygon(region_polygon(mesh, facets))
    corners = mesh.corners[facets].reshape(-1, 3)
    off = float(np.abs(floor.face.at(corners[:, :2]) - corners[:, 2]).max())
    x, y, z = np.average(mesh.middles[facets], axis=0, weights=mesh.plan_areas[facets]).tolist()
    reason = (
        f"up to {off:.2g} mm off the floor beside it, with walls round it: edges of the model do not lie on its faces, "
        "and the floor may be there too. Heal the model and export it again"
    )
    return RejectedFace((x, y, z), float(shape.area), "torn", reason, ring_of(shape.exterior), (), is_walled=True)
