"""Long thin facets along the edge of a curved face, which a kernel hangs on a straight edge of a twisted surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from floorfit.cad.mesh import Mesh
from floorfit.cad.regions import Regions

__all__ = ["with_slivers"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A sliver's normal may be off its face by this, rad (6 degrees): what the face turns along the sliver.
_OFF = np.radians(6.0)
#: Z of the normal of what may be a sliver of a floor: a set choice.
_UP = 0.8
#: Facets that turn by less than this against each other may be chords of one bend, rad.
_SMOOTH = np.radians(15.0)
#: Slivers hang on slivers at most this often.
_DEEPEST = 8


def with_slivers(mesh: Mesh, regions: Regions, home: Ints, narrow: Bools) -> Ints:
    """Draw slivers into the curved faces that they hang on.

    A sliver of length L on a face that twists by t per length has its corners on the face, yet turns by up to t L
    against its neighbour, over no width: by width and turn it is a tight bend. A fillet is told from it by what comes
    next: the chords of a fillet go on turning, a sliver ends at a wall.

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
    """
    label, normals = _with_the_thinnest(mesh, regions)
    more = len(normals) - len(home)
    home = np.concatenate([home, np.full(more, -1)])
    narrow = np.concatenate([narrow, np.ones(more, np.bool_)])
    pairs, beside, lengths = _meetings(mesh, label, home, narrow)
    level, base = np.where(home >= 0, 0, -1), np.zeros((len(home), 3))
    for depth in range(1, _DEEPEST + 1):
        rows = np.flatnonzero((level[pairs[:, 0]] == depth - 1) & (level[pairs[:, 1]] < 0) & narrow[pairs[:, 1]])
        if len(rows) == 0:
            break
        near = beside[rows] if depth == 1 else base[pairs[rows, 0]]
        fresh, mean = _means(pairs[rows, 1], near, lengths[rows], len(home))
        good = np.linalg.norm(normals[fresh] - mean, axis=1) <= _OFF
        owner = np.full(len(home), -1, np.int64)
        owner[pairs[rows, 1]] = home[pairs[rows, 0]]
        fresh = fresh[good]
        level[fresh], base[fresh], home[fresh] = depth, mean[good], owner[fresh]
    home[_that_go_on(pairs, level)] = -1
    return np.where(label >= 0, home[label], -1)


def _with_the_thinnest(mesh: Mesh, regions: Regions) -> tuple[Ints, Floats]:
    """Planes of all facets and their normals: what is too thin for one and looks up is one by itself."""
    label = regions.label.copy()
    thin = np.flatnonzero((label < 0) & (mesh.normals[:, 2] > _UP))
    label[thin] = len(regions.normals) + np.arange(len(thin))
    return label, np.concatenate([regions.normals, mesh.normals[thin]])


def _meetings(mesh: Mesh, label: Ints, home: Ints, narrow: Bools) -> tuple[Ints, Floats, Floats]:
    """Smooth meetings to a plane that is not home: both planes, the first facet's normal, length."""
    both, edges = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]]), np.tile(mesh.pair_edges, (2, 1))
    a, b = label[both].T
    rows = np.flatnonzero((a >= 0) & (b >= 0) & (a != b))
    rows = rows[(home[b[rows]] < 0) & ((home[a[rows]] >= 0) | narrow[a[rows]])]
    turn = np.linalg.norm(mesh.normals[both[rows, 0]] - mesh.normals[both[rows, 1]], axis=1)
    rows = rows[turn < _SMOOTH]
    ends = mesh.vertices[edges[rows]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    return np.column_stack([a[rows], b[rows]]), mesh.normals[both[rows, 0]], length


def _means(keys: Ints, normals: Floats, lengths: Floats, count: int) -> tuple[Ints, Floats]:
    """Mean normal of each key, weighted by length."""
    sums = np.column_stack([np.bincount(keys, normals[:, i] * lengths, count) for i in range(3)])
    fresh = np.unique(keys)
    mean = sums[fresh]
    return fresh, mean / np.maximum(np.linalg.norm(mean, axis=1), 1e-300)[:, None]


def _that_go_on(pairs: Ints, level: Ints) -> Bools:
    """Planes of a bend: what follows them smoothly was not taken; and those that they hang on."""
    bends = np.zeros(len(level), np.bool_)
    onward = (level[pairs[:, 0]] > 0) & (level[pairs[:, 1]] < 0)
    bends[pairs[onward, 0]] = True
    for _ in range(_DEEPEST):
        inner = (level[pairs[:, 0]] > 0) & (level[pairs[:, 0]] < level[pairs[:, 1]]) & bends[pairs[:, 1]]
        bends[pairs[inner, 0]] = True
    return bends
