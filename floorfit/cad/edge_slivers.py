"""Long thin facets along the edge of a curved face, which a kernel hangs on edges that it need not divide."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from floorfit.cad.mesh import Mesh
from floorfit.cad.regions import Regions

__all__ = ["with_slivers"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Z of the normal of what may be a sliver of a floor: a set choice.
_UP = 0.8
#: A sliver may turn by this against its neighbour, rad (15 degrees): what the face turns along the sliver.
_OFF = np.radians(15.0)
#: Slivers hang on slivers at most this often.
_DEEPEST = 12
#: Corners of the face round a place through which a quadratic is laid; fewer than `_FEWEST` say nothing.
_AROUND, _FEWEST = 16, 9
#: A corner lies on the face within this many times what the others leave of the quadratic, and not under `_CLOSE`, mm.
_LEFT, _CLOSE = 3.0, 2e-4


def with_slivers(mesh: Mesh, regions: Regions, home: Ints, narrow: Bools) -> Ints:
    """Draw slivers into the curved faces that they hang on.

    A sliver of length L on a face that twists by t per length has its corners on the face, yet turns by up to t L
    against its neighbour, over no width: by width and turn it is a tight bend. A fillet is told from it by where its
    corners are: they rise from the face, by d² / 2 r at a distance d from its foot.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
        Planes.
    home : (r,) ndarray of int
        Curved face of each plane; −1 for none.
    narrow : (r,) ndarray of bool
        Planes that may be slivers.

    Returns
    -------
    (m,) ndarray of int
        Curved face of each facet, slivers included; −1 for none.

    Notes
    -----
    The face at a place is the quadratic through the nearest of its corners, by least squares.
    """
    label = regions.label
    face = np.where(label >= 0, home[label], -1)
    loose = (face < 0) & (mesh.normals[:, 2] > _UP) & ((label < 0) | narrow[label])
    both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
    both = both[loose[both[:, 1]] & (loose[both[:, 0]] | (face[both[:, 0]] >= 0))]
    turn = np.linalg.norm(mesh.normals[both[:, 0]] - mesh.normals[both[:, 1]], axis=1)
    both = both[turn < _OFF]
    for _ in range(_DEEPEST):
        rows = both[(face[both[:, 0]] >= 0) & (face[both[:, 1]] < 0)]
        owner = np.full(len(face), -1, np.int64)
        owner[rows[:, 1]] = face[rows[:, 0]]
        fresh = np.flatnonzero(owner >= 0)
        fresh = fresh[_lie_on(mesh, face, fresh, owner[fresh])]
        if len(fresh) == 0:
            break
        face[fresh] = owner[fresh]
    return face


def _lie_on(mesh: Mesh, face: Ints, facets: Ints, owner: Ints) -> Bools:
    """Whether all corners of each facet lie on the curved face that it hangs on."""
    if len(facets) == 0:
        return np.zeros(0, np.bool_)
    mine = np.flatnonzero(np.isin(face, owner))
    known = np.unique(np.column_stack([mesh.faces[mine].reshape(-1), np.repeat(face[mine], 3)]), axis=0)
    asked = np.column_stack([mesh.faces[facets].reshape(-1), np.repeat(owner, 3)])
    keys, back = np.unique(asked, axis=0, return_inverse=True)
    size = len(mesh.vertices)
    fresh = ~np.isin(keys[:, 1] * size + keys[:, 0], known[:, 1] * size + known[:, 0])
    good = np.ones(len(keys), np.bool_)
    good[fresh] = _near_quadratic(mesh, known, keys[fresh])
    return np.asarray(good[back.reshape(-1, 3)].all(axis=1))


def _near_quadratic(mesh: Mesh, known: Ints, asked: Ints) -> Bools:
    """Whether corners are near the quadratics through the corners of the same curved face round them."""
    from scipy.spatial import cKDTree

    out = np.zeros(len(asked), np.bool_)
    for number in np.unique(asked[:, 1]):
        corners = mesh.vertices[known[known[:, 1] == number, 0]]
        mine = np.flatnonzero(asked[:, 1] == number)
        if len(corners) < _FEWEST:
            continue
        places = mesh.vertices[asked[mine, 0]]
        _, near = cKDTree(corners[:, :2]).query(places[:, :2], min(_AROUND, len(corners)))
        away, left = _off_quadratic(corners[near] - places[:, None, :])
        out[mine] = away <= np.maximum(_LEFT * left, max(_CLOSE, 5.0 * mesh.noise))
    return out


def _off_quadratic(around: Floats) -> tuple[Floats, Floats]:
    """How far the origin is off the quadratic through points round it, and what it leaves of them (rms), mm."""
    size = np.abs(around[:, :, :2]).max(axis=(1, 2))[:, None, None]
    x, y = np.moveaxis(around[:, :, :2] / size, 2, 0)
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    inverse = np.linalg.pinv(terms, rcond=1e-6)
    factors = np.einsum("nij,nj->ni", inverse, around[:, :, 2])
    left = around[:, :, 2] - np.einsum("nij,nj->ni", terms, factors)
    return np.abs(factors[:, 0]), np.sqrt(np.mean(left**2, axis=1))
