"""Heights of a face from its facets, and the levels, planes and grids of a part file that say the same."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.drawing import polygon_parts, ring_of, triangles_in_plan
from floorfit.cad.mesh import Floats, Ints, Mesh
from floorfit.part.shape import HeightGrid, Patch, Ring

__all__ = [
    "Facets", "Heights", "Plane", "facets_at", "grid_patch", "plane_patch", "plane_patches", "rings_of",
    "z_of_planes",
]  # fmt: skip

#: Grids follow the facets within this, mm, or within this share of what these may be off.
_CLOSE, _SHARE = 2e-3, 0.125
#: Steps of a grid, mm: the first that is close enough is taken.
_STEPS = (20.0, 10.0, 5.0, 2.5, 1.25)
#: More heights than this are not written for one face: the step is widened.
_MOST_HEIGHTS = 20_000
#: Regions narrower than twice this are left out, mm: the nearest region counts there.
_NARROW = 2e-3


class Heights(Protocol):
    """Z of a face at plan positions."""

    def at(self, xy: Floats) -> Floats:
        """Z at (n, 2) positions, mm."""


@dataclass(frozen=True)
class Plane:
    """A plane.

    Parameters
    ----------
    point, normal : (3,) ndarray
    """

    point: Floats
    normal: Floats

    def at(self, xy: Floats) -> Floats:
        """Z at (n, 2) positions, mm."""
        return z_of_planes(xy, self.point[None, :], self.normal[None, :])


@dataclass(frozen=True)
class Facets:
    """A face of many plane pieces; beyond its edge the nearest piece's plane goes on.

    Parameters
    ----------
    pieces : (k,) ndarray of Polygon
        Plan of each piece.
    points, normals : (k, 3) ndarray
        Its plane.
    """

    pieces: NDArray[np.object_]
    points: Floats
    normals: Floats

    @cached_property
    def corners(self) -> Floats:
        """Corners of the pieces with the Z of each, (n, 3), mm."""
        xy, number = shapely.get_coordinates(self.pieces, return_index=True)
        return np.column_stack([xy, z_of_planes(xy, self.points[number], self.normals[number])])

    @cached_property
    def _tree(self) -> Any:
        return shapely.STRtree(self.pieces)

    def at(self, xy: Floats) -> Floats:
        """Z at (n, 2) positions, mm."""
        places = np.asarray(shapely.points(xy))
        number = np.full(len(xy), -1, np.int64)
        where, which = self._tree.query(places)
        over = shapely.intersects_xy(self.pieces[which], *xy[where].T)
        number[where[over]] = which[over]
        # The nearest piece costs five times as much to find: only for places beside all of them.
        beside = np.flatnonzero(number < 0)
        where, which = self._tree.query_nearest(places[beside], all_matches=False)
        number[beside[where]] = which
        return z_of_planes(xy, self.points[number], self.normals[number])


def z_of_planes(xy: Floats, points: Floats, normals: Floats) -> Floats:
    """Z of one plane for each position, mm.

    Parameters
    ----------
    xy : (n, 2) ndarray, mm
    points : (n, 3) ndarray, mm
        A place on each plane.
    normals : (n, 3) ndarray
    """
    away = xy - points[:, :2]
    return np.asarray(points[:, 2] - (away * normals[:, :2]).sum(axis=1) / normals[:, 2])


def facets_at(mesh: Mesh, facets: Ints, places: Floats) -> tuple[Ints, Ints, Floats]:
    """Facets over and under places: row of the place, number of the facet, and its Z there, mm.

    Parameters
    ----------
    mesh : Mesh
    facets : (k,) ndarray of int
        Those to be looked among.
    places : (n, 2) ndarray, mm
    """
    tree = shapely.STRtree(triangles_in_plan(mesh, facets))
    row, over = tree.query(shapely.points(places), predicate="intersects")
    over = facets[over]
    return row, over, z_of_planes(places[row], mesh.corners[over, 0], mesh.normals[over])


def rings_of(shape: Any) -> list[Ring]:
    """Rings of the parts of a shape; a part with holes is cut through them, since a region is one ring."""
    out: list[Ring] = []
    for part in polygon_parts(shape):
        if _is_narrow(part):
            continue
        if len(part.interiors):
            out += rings_of(_cut_through(part))
            continue
        # Rounding may fold a needle at a corner over: what is left without it counts.
        rounded = Polygon(np.round(np.asarray(part.exterior.coords)[:, :2], 4)).buffer(0.0)
        out += [ring_of(piece.exterior) for piece in polygon_parts(rounded) if not _is_narrow(piece)]
    return out


def _is_narrow(part: Polygon) -> bool:
    return bool(part.buffer(-_NARROW, join_style="mitre").is_empty)


def _cut_through(part: Polygon) -> Any:
    """The part in two halves, cut along a line of X through the middle of its first hole."""
    x = Polygon(part.interiors[0]).centroid.x
    x0, y0, x1, y1 = part.bounds
    halves = [shapely.box(x0 - 1.0, y0 - 1.0, x, y1 + 1.0), shapely.box(x, y0 - 1.0, x1 + 1.0, y1 + 1.0)]
    return shapely.geometrycollections([piece for half in halves for piece in polygon_parts(part.intersection(half))])


def plane_patches(shapes: NDArray[np.object_], points: Floats, normals: Floats) -> list[Patch]:
    """Patches of planes, one or more for each shape.

    Parameters
    ----------
    shapes : (n,) ndarray of shapely geometry
        In plan, mm.
    points : (n, 3) ndarray, mm
        A place on each plane.
    normals : (n, 3) ndarray
    """
    out = []
    for shape, point, normal in zip(shapes, points, normals, strict=True):
        out += [plane_patch(ring, point, normal) for ring in rings_of(shape)]
    return out


def plane_patch(region: Ring, point: Floats, normal: Floats) -> Patch:
    """One plane; level where it rises by less than 1e-9.

    Parameters
    ----------
    region : sequence of (float, float), mm
    point : (3,) ndarray, mm
        A place on the plane.
    normal : (3,) ndarray
    """
    slope = (-normal[:2] / normal[2] + 0.0).tolist()
    level = max(abs(slope[0]), abs(slope[1])) < 1e-9
    at = (0.0, 0.0, round(float(point[2]), 5)) if level else tuple(np.round(point, 6).tolist())
    return Patch(region, at, (0.0, 0.0) if level else (float(slope[0]), float(slope[1])))


def grid_patch(face: Heights, shape: Any, region: Ring, sag: float = 0.0) -> Patch:
    """Grid of heights over a shape.

    Parameters
    ----------
    face : Heights
    shape : Polygon
        Where the grid is needed, plan, mm.
    region : Ring
        Region of the patch; empty for everywhere.
    sag : float, mm
        How far the facets themselves may be from the true face.

    Returns
    -------
    Patch
    """
    rng = np.random.default_rng(1)
    x0, y0, x1, y1 = shape.bounds
    tries = np.array([x0, y0]) + rng.random((2000, 2)) * (x1 - x0, y1 - y0)
    tries = tries[shapely.contains_xy(shape, tries)]
    truth = face.at(tries) if len(tries) else np.zeros(0)
    least = float(np.sqrt(max((x1 - x0) * (y1 - y0), 1e-6) / _MOST_HEIGHTS))
    for step in _STEPS:
        patch = _grid(face, shape.bounds, region, max(step, least))
        off = np.abs(patch.at(tries[:, 0], tries[:, 1]) - truth).max(initial=0.0)
        if off <= max(_CLOSE, _SHARE * sag) or step <= least:
            return patch
    return patch


def _grid(face: Heights, bounds: tuple[float, ...], region: Ring, step: float) -> Patch:
    x0, y0, x1, y1 = bounds
    nx, ny = (max(2, int(np.ceil((b - a) / step)) + 1) for a, b in ((x0, x1), (y0, y1)))
    steps = (round(max(x1 - x0, 1e-3) / (nx - 1), 6), round(max(y1 - y0, 1e-3) / (ny - 1), 6))
    origin = (round(float(x0), 4), round(float(y0), 4))
    x, y = origin[0] + steps[0] * np.arange(nx), origin[1] + steps[1] * np.arange(ny)
    xy = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    z = np.round(face.at(xy), 5).reshape(ny, nx)
    return Patch(region, grid=HeightGrid(origin, steps, tuple(map(tuple, z.tolist()))))
