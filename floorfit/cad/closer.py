"""Heights of curved floors from closer facets of the same model: outlines stay as they were recognised."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from floorfit.cad.candidates_found import FEW_PLANES, Candidate, with_web
from floorfit.cad.drawing import triangles_in_plan
from floorfit.cad.facet_heights import Facets
from floorfit.cad.mesh import Mesh
from floorfit.cad.recognise import Recognition
from floorfit.cad.underside import read_underside

__all__ = ["is_coarse", "with_heights"]

#: Floors of more facets bend two ways: kernels make them closer than asked already.
_MOST = 4_000
#: The closer facets of a floor lie within this of the first ones, mm, and look up steeper than 60 degrees.
_NEAR, _UP = 0.1, 0.5


def is_coarse(face: Candidate) -> bool:
    """Whether a floor is curved, and closer facets would make its heights better."""
    return isinstance(face.face, Facets) and FEW_PLANES < len(face.face.pieces) <= _MOST


def with_heights(found: Recognition, mesh: Mesh, share: float) -> Recognition:
    """The same floors with the heights and webs of closer facets.

    Parameters
    ----------
    found : Recognition
    mesh : Mesh
        The same model with closer chords.
    share : float
        How much closer.
    """
    known = replace(found.known, underside=read_underside(mesh, found.tolerance))
    up = np.flatnonzero(mesh.normals[:, 2] > _UP)

    def closer(face: Candidate) -> Candidate:
        middles = mesh.middles[up]
        mine = np.flatnonzero(shapely.contains_xy(face.polygon, middles[:, :2]))
        mine = up[mine[np.abs(face.face.at(middles[mine, :2]) - middles[mine, 2]) < _NEAR]]
        if len(mine) == 0:
            return face
        heights = Facets(triangles_in_plan(mesh, mine), mesh.middles[mine], mesh.normals[mine])
        return with_web(known, replace(face, face=heights, sag=share * face.sag))

    return replace(found, floors=[closer(face) if is_coarse(face) else face for face in found.floors])
