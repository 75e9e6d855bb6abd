"""A welded triangle mesh with its facets' neighbours, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mesh", "component_labels", "join_mesh", "near_groups", "rows_by_label", "weld"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Single precision resolves this share of the largest coordinate. Models are written with four decimals at best, so
#: that a part of less than this many mm is as coarse as one of that size.
_RESOLUTION, _LEAST_SIZE = 2.0**-23, 700.0


@dataclass(frozen=True)
class Mesh:
    """Welded facets and the pairs of them that share an edge.

    Parameters
    ----------
    vertices : (n, 3) ndarray, mm
    faces : (m, 3) ndarray of int
        Right-handed about the outward normal.
    vectors : (m, 3) ndarray, mm²
        Vector area of each facet: half the cross product.
    normals : (m, 3) ndarray
        Unit normals; zero for a facet without area.
    heights : (m,) ndarray, mm
        Smallest height of each facet: small for a sliver.
    pairs : (k, 2) ndarray of int
        Facets that share an edge; the first runs along it as ``pair_edges`` gives it, the second against it.
    pair_edges : (k, 2) ndarray of int
        Vertices of that edge.
    open_faces, open_edges : (q,), (q, 2) ndarray of int
        Facets and directed edges without a partner.
    flipped_pairs : (j, 2) ndarray of int
        Facets that share an edge and run along it the same way: one of them is the wrong way round.
    crowded_edges : int
        Edges with more than two facets.
    noise : float
        Resolution of the coordinates, mm: one unit in the last place of single precision at the largest.
    """

    vertices: Floats
    faces: Ints
    vectors: Floats
    normals: Floats
    heights: Floats
    pairs: Ints
    pair_edges: Ints
    open_faces: Ints
    open_edges: Ints
    flipped_pairs: Ints
    crowded_edges: int
    noise: float

    @cached_property
    def corners(self) -> Floats:
        """Corner points of every facet, (m, 3, 3), mm."""
        return self.vertices[self.faces]

    @cached_property
    def middles(self) -> Floats:
        """Centroid of every facet, (m, 3), mm."""
        return np.asarray(self.corners.mean(axis=1))

    @cached_property
    def plan_boxes(self) -> Floats:
        """Least X and Y, and greatest X and Y, of every facet, (4, m), mm."""
        plan = self.corners[:, :, :2]
        return np.concatenate([plan.min(axis=1).T, plan.max(axis=1).T])

    @cached_property
    def sizes(self) -> Floats:
        """Area of every facet, mm²."""
        return np.asarray(np.linalg.norm(self.vectors, axis=1))

    @cached_property
    def turns(self) -> Floats:
        """Angle between the normals of each of ``pairs``, as the length of its chord, (k,), rad."""
        f, g = self.pairs.T
        return np.asarray(np.linalg.norm(self.normals[f] - self.normals[g], axis=1))

    def outward(self, edges: Ints) -> Floats:
        """Unit vector in plan to the right of each directed edge: away from what lies on its left, (k, 2).

        Parameters
        ----------
        edges : (k, 2) ndarray of int
            Vertices.
        """
        along = self.vertices[edges[:, 1], :2] - self.vertices[edges[:, 0], :2]
        right = np.column_stack([along[:, 1], -along[:, 0]])
        return np.asarray(right / np.maximum(np.linalg.norm(right, axis=1), 1e-12)[:, None])

    def border(self, mine: Bools) -> tuple[Ints, Ints, Bools]:
        """Pairs of which one facet is chosen: their rows, the facet beyond, and whether it rises over their edge.

        Parameters
        ----------
        mine : (m,) ndarray of bool
            Facets that are chosen.
        """
        rows = np.flatnonzero(mine[self.pairs[:, 0]] != mine[self.pairs[:, 1]])
        pairs, edges = self.pairs[rows], self.pair_edges[rows]
        beyond = np.where(mine[pairs[:, 0]], pairs[:, 1], pairs[:, 0])
        rises = self.far_corners(beyond, edges)[:, 2] > self.vertices[edges, 2].max(axis=1)
        return rows, beyond, np.asarray(rises)

    def far_corners(self, facets: Ints, edges: Ints) -> Floats:
        """The corner of each facet that is not on the edge of it that is named, (k, 3), mm.

        Parameters
        ----------
        facets : (k,) ndarray of int
        edges : (k, 2) ndarray of int
            Vertices of an edge of each.
        """
        return np.asarray(self.vertices[self.faces[facets].sum(axis=1) - edges.sum(axis=1)])

    def lengths(self, edges: Ints) -> Floats:
        """Length of each edge, (k,), mm.

        Parameters
        ----------
        edges : (k, 2) ndarray of int
            Vertices.
        """
        return np.asarray(np.linalg.norm(self.vertices[edges[:, 1]] - self.vertices[edges[:, 0]], axis=1))

    @property
    def plan_areas(self) -> Floats:
        """Area of every facet seen from above, mm²; negative for one that looks down."""
        return self.vectors[:, 2]


def weld(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Give equal points one number, and drop facets that have two corners in one point.

    Parameters
    ----------
    vertices, faces : ndarray

    Returns
    -------
    vertices, faces : ndarray

    Notes
    -----
    Points are compared by a 64-bit hash; with a million points the chance of a collision is below 1e-7, and a
    collision is found by the comparison that follows.
    """
    points = vertices + 0.0
    _, first, inverse = np.unique(_hash(points), return_index=True, return_inverse=True)
    if (points[first][inverse.reshape(-1)] != points).any():
        _, first, inverse = np.unique(points, axis=0, return_index=True, return_inverse=True)
    joined = inverse.reshape(-1)[faces]
    whole = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    return points[first], joined[whole].astype(np.int64)


def _hash(points: Floats) -> NDArray[np.uint64]:
    bits = np.ascontiguousarray(points + 0.0).view(np.uint64)
    bits = (bits ^ (bits >> np.uint64(29))) * np.uint64(0xBF58476D1CE4E5B9)
    bits ^= bits >> np.uint64(32)
    odd = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)
    mixed = bits * odd
    total = mixed[:, 0] + (mixed[:, 1] ^ (mixed[:, 1] >> np.uint64(31))) + (mixed[:, 2] << np.uint64(1))
    return np.asarray(total, np.uint64)


def join_mesh(vertices: Floats, faces: Ints) -> Mesh:
    """Weld triangles as read, (n, 3) and (m, 3), mm, and find which facets share an edge.

    Cost: linear in memory, one sort of the 3 m directed edges.
    """
    vertices, faces = weld(vertices, faces)
    noise = float(np.abs(vertices).max(initial=_LEAST_SIZE)) * _RESOLUTION
    corners = vertices[faces]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    vectors = np.cross(a, b) / 2.0
    size = np.linalg.norm(vectors, axis=1)
    longest = np.sqrt(np.maximum.reduce([(a * a).sum(1), (b * b).sum(1), ((a - b) ** 2).sum(1)]))
    normals = vectors / np.where(size > 0.0, size, 1.0)[:, None]
    heights = 2.0 * size / np.where(longest > 0.0, longest, 1.0)
    pairs, pair_edges, lone, flipped, crowded = _pair_edges(faces, len(vertices))
    return Mesh(
        vertices, faces, vectors, normals, heights, pairs, pair_edges, lone[:, 0], lone[:, 1:], flipped, crowded, noise
    )


def _pair_edges(faces: Ints, count: int) -> tuple[Ints, Ints, Ints, Ints, int]:
    """Match every directed edge with one that runs the other way."""
    start = faces.reshape(-1)
    end = faces[:, [1, 2, 0]].reshape(-1)
    key = np.minimum(start, end) * np.int64(count) + np.maximum(start, end)
    # Forward before backward within an edge, so that a regular edge is (forward, backward).
    order = np.argsort(2 * key + (start > end), kind="stable")
    key, owner = key[order], order // 3
    start, end = start[order], end[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]]) if len(key) else np.zeros(0, np.int64)
    length = np.diff(np.r_[first, len(key)])
    two = first[length == 2]
    regular = two[start[two] != start[two + 1]]
    wrong = two[start[two] == start[two + 1]]
    lone = first[length == 1]
    more = [_pair_crowd(slice(i, i + n), start) for i, n in zip(first[length > 2], length[length > 2], strict=True)]
    left = np.concatenate([regular, *(pair[0] for pair in more)]).astype(np.int64)
    right = np.concatenate([regular + 1, *(pair[1] for pair in more)]).astype(np.int64)
    pairs = np.column_stack([owner[left], owner[right]])
    edges = np.column_stack([start[left], end[left]])
    open_rows = np.column_stack([owner[lone], start[lone], end[lone]])
    return pairs, edges, open_rows, np.column_stack([owner[wrong], owner[wrong + 1]]), len(more)


def _pair_crowd(rows: slice, start: Ints) -> tuple[Ints, Ints]:
    """Pair every forward with every backward edge where more than two facets meet."""
    index = np.arange(rows.start, rows.stop)
    forward = start[rows] == start[rows].min()
    left, right = np.meshgrid(index[forward], index[~forward], indexing="ij")
    return left.reshape(-1), right.reshape(-1)


def rows_by_label(label: Ints) -> list[Ints]:
    """Rows of each label that occurs, the smallest label first; labels under 0 are of no group.

    Parameters
    ----------
    label : (m,) ndarray of int
    """
    order = np.argsort(label, kind="stable")
    order = order[np.searchsorted(label[order], 0) :]
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if len(order) else []


def near_groups(points: Floats, tolerance: float) -> tuple[Ints, Ints]:
    """Number points so that those within a tolerance share a number, and the row of the first of each number.

    Parameters
    ----------
    points : (n, 2 or 3) ndarray, mm
    tolerance : float, mm
    """
    from scipy.spatial import cKDTree

    near = cKDTree(points).query_pairs(tolerance, output_type="ndarray").astype(np.int64)
    label = component_labels(len(points), near)
    return label, np.unique(label, return_index=True)[1]


def component_labels(count: int, pairs: Ints) -> Ints:
    """Number the connected groups of ``count`` things that ``pairs`` join.

    Parameters
    ----------
    count : int
    pairs : (k, 2) ndarray of int

    Returns
    -------
    (count,) ndarray of int
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    data = np.ones(len(pairs), np.int8)
    graph = coo_matrix((data, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], np.int64)
