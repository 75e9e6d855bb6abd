"""Close seams: corners of one side that lie on edges of the other become corners of both."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from floorfit.cad.mesh import Ints, Mesh, join_mesh

__all__ = ["close_seams"]

#: A facet has three edges, and edges are split one a pass; what is left after this is no seam.
_MOST_PASSES = 6


def close_seams(mesh: Mesh, tolerance: float) -> tuple[Mesh, int]:
    """Split facets at corners of others that lie on their open edges.

    The surface stays where it is within ``tolerance``; only the facets are cut finer.

    Parameters
    ----------
    mesh : Mesh
    tolerance : float, mm
        Largest distance of a corner from the edge.

    Returns
    -------
    mesh : Mesh
        The same object where there was nothing to split.
    count : int
        Corners that were put on edges.
    """
    total = 0
    for _ in range(_MOST_PASSES):
        edge, corner = _corners_on_edges(mesh, tolerance)
        if len(edge) == 0:
            break
        faces, count = _split(mesh, edge, corner)
        total += count
        mesh = join_mesh(mesh.vertices, faces)
    return mesh, total


def _corners_on_edges(mesh: Mesh, tolerance: float) -> tuple[Ints, Ints]:
    """Open edges (rows of ``open_edges``) and corners of open edges that lie inside them."""
    import shapely

    corners = np.unique(mesh.open_edges)
    lines: Any = shapely.linestrings(mesh.vertices[mesh.open_edges][:, :, :2])
    points: Any = shapely.points(mesh.vertices[corners, :2])
    row, column = shapely.STRtree(points).query(lines, predicate="dwithin", distance=tolerance)
    start = mesh.vertices[mesh.open_edges[row, 0]]
    along = mesh.vertices[mesh.open_edges[row, 1]] - start
    away = mesh.vertices[corners[column]] - start
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    share = np.einsum("ij,ij->i", away, along) / length
    off = np.linalg.norm(away - along * (share / length)[:, None], axis=1)
    on = (off <= tolerance) & (share > tolerance) & (share < length - tolerance)
    on &= corners[column] != mesh.faces[mesh.open_faces[row]].sum(axis=1) - mesh.open_edges[row].sum(axis=1)
    return row[on], corners[column[on]]


def _split(mesh: Mesh, edge: Ints, corner: Ints) -> tuple[Ints, int]:
    """Replace each facet by a fan from the corner across its split edge; one edge of a facet at a time."""
    owner = mesh.open_faces[edge]
    _, first = np.unique(owner, return_index=True)
    now = np.isin(edge, edge[first])
    fans, gone, count = [], [], 0
    for row in np.unique(edge[now]):
        start, end = (int(v) for v in mesh.open_edges[row])
        inside = corner[edge == row]
        share = (mesh.vertices[inside] - mesh.vertices[start]) @ (mesh.vertices[end] - mesh.vertices[start])
        chain = [start, *(int(v) for v in inside[np.argsort(share)]), end]
        facet = int(mesh.open_faces[row])
        apex = int(mesh.faces[facet].sum()) - start - end
        fans += [(a, b, apex) for a, b in pairwise(chain)]
        gone.append(facet)
        count += len(inside)
    kept = np.delete(mesh.faces, gone, axis=0)
    return np.concatenate([kept, np.array(fans, np.int64)]), count
