"""A thin elastic plate over a polygon, by Morley triangles: what push-off is computed with.

Kirchhoff plate of even thickness, held along every boundary (outer and islands), either clamped (no slope) or
simply supported (free to turn). The triangle is that of L. S. D. Morley, "The triangular equilibrium element in
the solution of plate bending problems", Aeronautical Quarterly 19, 149-169, 1968: a quadratic with the deflection
at the vertices and the normal slope at the middle of the sides. It converges to the plate on any polygon, concave
corners and holes included, where splitting the plate into two membranes does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import NumericalError

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["TriangleMesh", "mesh_polygon", "plate_system", "refine"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

#: Boundary spacing is halved at most this often until the triangles fill the polygon.
_TRIES = 6


@dataclass(frozen=True)
class TriangleMesh:
    """Triangles that fill a polygon.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    triangles : (t, 3) ndarray of int
        Vertex numbers.
    edges : (e, 2) ndarray of int
        Vertex numbers, the smaller first.
    triangle_edges : (t, 3) ndarray of int
        Edge opposite each vertex.
    on_boundary : (e,) ndarray of bool
        Edges that belong to one triangle only.
    """

    points: Array
    triangles: Index
    edges: Index
    triangle_edges: Index
    on_boundary: NDArray[np.bool_]


def mesh_polygon(polygon: Polygon, size: float, anchor: tuple[float, float] | None = None) -> TriangleMesh:
    """Fill a polygon with triangles of about one size.

    Parameters
    ----------
    polygon : Polygon
        Holes are left open.
    size : float, mm
        Length of the triangle sides.
    anchor : (float, float), optional
        A place inside that becomes a vertex; number 0 of the points then.

    Returns
    -------
    TriangleMesh

    Raises
    ------
    NumericalError
        If the triangles do not fill the polygon even with a fine boundary.
    """
    spacing = size
    for _ in range(_TRIES):
        points, triangles = _triangulate(polygon, size, spacing, anchor)
        corners = points[triangles]
        if abs(_areas(corners).sum() - polygon.area) < 1e-9 * polygon.area:
            return _with_edges(points, triangles)
        spacing /= 2
    raise NumericalError("Push-off: the floor's outline could not be filled with triangles; simplify the outline.")


def _triangulate(
    polygon: Polygon, size: float, spacing: float, anchor: tuple[float, float] | None
) -> tuple[Array, Index]:
    """Delaunay triangles of a lattice inside and of points along the boundary."""
    from scipy.spatial import Delaunay
    from shapely import contains_xy

    origin = np.array(anchor if anchor is not None else polygon.representative_point().coords[0])
    rings = [polygon.exterior, *polygon.interiors]
    boundary = np.vstack([_along_ring(np.asarray(ring.coords)[:, :2], spacing) for ring in rings])
    points = np.vstack([_lattice(polygon, size, spacing, origin), boundary])
    triangles = Delaunay(points).simplices.astype(np.int64)
    corners = points[triangles]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    flat = abs(_areas(corners)) < 1e-9 * longest**2
    keep = ~flat & contains_xy(polygon, *corners.mean(axis=1).T)
    return points, triangles[keep]


def _lattice(polygon: Polygon, size: float, spacing: float, origin: Array) -> Array:
    """Equilateral lattice through ``origin``, far enough from the boundary not to cut its pieces off."""
    from shapely import contains_xy, distance, points

    x0, y0, x1, y1 = polygon.bounds
    rise = size * np.sqrt(3) / 2
    j = np.arange(np.floor((y0 - origin[1]) / rise), np.ceil((y1 - origin[1]) / rise) + 1)
    i = np.arange(np.floor((x0 - origin[0]) / size) - 1, np.ceil((x1 - origin[0]) / size) + 1)
    ii, jj = np.meshgrid(i, j, indexing="ij")
    nodes = np.column_stack([(origin[0] + size * (ii + (jj % 2) / 2)).ravel(), (origin[1] + rise * jj).ravel()])
    nodes = nodes[contains_xy(polygon, *nodes.T)]
    nodes = nodes[distance(points(nodes), polygon.boundary) > 0.55 * max(size, spacing)]
    nodes = nodes[np.linalg.norm(nodes - origin, axis=1) > 1e-6 * size]
    return np.vstack([origin, nodes])


def _along_ring(ring: Array, spacing: float) -> Array:
    """Points along a closed ring, its corners among them, the last not repeated."""
    pieces = []
    for start, end in pairwise(ring):
        count = max(1, int(np.ceil(np.linalg.norm(end - start) / spacing)))
        pieces.append(start + np.arange(count)[:, None] / count * (end - start))
    return np.vstack(pieces)


def _areas(corners: Array) -> Array:
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.asarray(abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2)


def _with_edges(points: Array, triangles: Index) -> TriangleMesh:
    """Number the edges of triangles."""
    used, triangles = np.unique(triangles, return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    pairs = np.sort(triangles[:, [[1, 2], [2, 0], [0, 1]]].reshape(-1, 2), axis=1)
    edges, back, count = np.unique(pairs, axis=0, return_inverse=True, return_counts=True)
    return TriangleMesh(points[used], triangles, edges, back.reshape(-1, 3), count == 1)


def refine(mesh: TriangleMesh) -> TriangleMesh:
    """Cut every triangle into four; the old vertices keep their numbers."""
    n = len(mesh.points)
    middles = mesh.points[mesh.edges].mean(axis=1)
    a, b, c = mesh.triangles.T
    p, q, r = (n + mesh.triangle_edges).T
    triangles = np.vstack([np.column_stack(t) for t in ((a, r, q), (r, b, p), (q, p, c), (p, q, r))])
    return _with_edges(np.vstack([mesh.points, middles]), triangles)


def plate_system(mesh: TriangleMesh, nu: float, *, is_clamped: bool) -> tuple[Any, Index]:
    """Stiffness of the plate for D = 1 N·mm, boundary conditions taken in.

    Parameters
    ----------
    mesh : TriangleMesh
    nu : float
        Poisson's ratio.
    is_clamped : bool
        Clamped along every boundary; simply supported if False.

    Returns
    -------
    matrix : scipy.sparse.csc_matrix
        Symmetric and positive definite; multiply by D for a real plate.
    rows : (n,) ndarray of int
        Row of each vertex's deflection; −1 on the boundary.
    """
    from scipy.sparse import coo_matrix

    n, e = len(mesh.points), len(mesh.edges)
    free = np.ones(n + e, dtype=bool)
    free[mesh.edges[mesh.on_boundary]] = False
    if is_clamped:
        free[n:][mesh.on_boundary] = False
    rank = np.where(free, np.cumsum(free) - 1, -1)
    matrices = _morley(mesh, nu)
    unknowns = rank[np.hstack([mesh.triangles, n + mesh.triangle_edges])]
    row = np.broadcast_to(unknowns[:, :, None], matrices.shape)
    col = np.broadcast_to(unknowns[:, None, :], matrices.shape)
    kept = (row >= 0) & (col >= 0)
    size = int(free.sum())
    matrix = coo_matrix((matrices[kept], (row[kept], col[kept])), shape=(size, size)).tocsc()
    return matrix, rank[:n]


def _morley(mesh: TriangleMesh, nu: float) -> Array:
    """Stiffness of each triangle for D = 1, (t, 6, 6): three deflections, three normal slopes."""
    corners = mesh.points[mesh.triangles]
    centre = corners.mean(axis=1, keepdims=True)
    areas = _areas(corners)
    vertex = corners - centre
    ends = mesh.points[mesh.edges[mesh.triangle_edges]] - centre[:, None]
    middle = ends.mean(axis=2)
    along = ends[:, :, 1] - ends[:, :, 0]
    normal = np.stack([along[..., 1], -along[..., 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    unknowns = np.concatenate([_powers(vertex), _slopes(middle, normal)], axis=1)
    powers = np.linalg.inv(unknowns)  # column k: coefficients of the quadratic with unknown k = 1
    curvature = np.stack([2 * powers[:, 3], powers[:, 4], 2 * powers[:, 5]], axis=1)  # w_xx, w_xy, w_yy
    law = np.array([[1.0, 0.0, nu], [0.0, 2 * (1 - nu), 0.0], [nu, 0.0, 1.0]])
    return np.asarray(areas[:, None, None] * (curvature.transpose(0, 2, 1) @ law @ curvature))


def _powers(points: Array) -> Array:
    """1, x, y, x², xy, y² at points, (t, 3, 6)."""
    x, y = points[..., 0], points[..., 1]
    return np.stack([np.ones_like(x), x, y, x**2, x * y, y**2], axis=-1)


def _slopes(points: Array, normal: Array) -> Array:
    """Normal derivatives of the same, (t, 3, 6)."""
    x, y = points[..., 0], points[..., 1]
    nx, ny = normal[..., 0], normal[..., 1]
    return np.stack([np.zeros_like(x), nx, ny, 2 * x * nx, y * nx + x * ny, 2 * y * ny], axis=-1)
