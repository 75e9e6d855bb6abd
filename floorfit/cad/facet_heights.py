"""Heights of a face from its facets, and the levels, planes and grids of a part file that say the same."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.part.shape import HeightGrid, Patch

__all__ = ["Facets", "Heights", "Plane", "grid_patch"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Grids follow the facets within this, mm.
_CLOSE = 2e-3
#: Steps of a grid, mm.
_STEPS = (20.0, 10.0, 5.0, 4.0, 2.5, 2.0, 1.0)
#: More heights than this are not written for one face: the step is widened.
_MOST_HEIGHTS = 20_000


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
        away = xy - self.point[None, :2]
        return np.asarray(self.point[2] - (away * self.normal[None, :2]).sum(axis=1) / self.normal[2])

    def beside(self, xy: Floats) -> tuple[Floats, Floats]:
        """Point and normal of the face nearest to each position, (n, 3) each."""
        return np.broadcast_to(self.point, (len(xy), 3)), np.broadcast_to(self.normal, (len(xy), 3))


@dataclass(frozen=True)
class Facets:
    """A face of many facets; beyond its edge the nearest facet's plane goes on.

    Parameters
    ----------
    corners : (k, 3, 3) ndarray, mm
    normals : (k, 3) ndarray
    """

    corners: Floats
    normals: Floats

    @cached_property
    def _tree(self) -> Any:
        rings = self.corners[:, [0, 1, 2, 0], :2]
        return shapely.STRtree(shapely.polygons(rings))

    def _nearest(self, xy: Floats) -> Ints:
        where, which = self._tree.query_nearest(shapely.points(xy), all_matches=False)
        out = np.zeros(len(xy), np.int64)
        out[where] = which
        return out

    def at(self, xy: Floats) -> Floats:
        """Z at (n, 2) positions, mm."""
        point, normal = self.beside(xy)
        away = xy - point[:, :2]
        return np.asarray(point[:, 2] - (away * normal[:, :2]).sum(axis=1) / normal[:, 2])

    def beside(self, xy: Floats) -> tuple[Floats, Floats]:
        """Point and normal of the facet nearest to each position, (n, 3) each."""
        number = self._nearest(xy)
        return self.corners[number, 0], self.normals[number]


def grid_patch(face: Heights, shape: Any, radius: float, region: Any, decimals: int) -> Patch:
    """Grid of heights over a shape.

    Parameters
    ----------
    face : Heights
    shape : Polygon
        Where the grid is needed, plan, mm.
    radius : float, mm
        Tightest bend: bilinear heights are within h² / 8R on each axis of an arc's.
    region : Ring
        Region of the patch; empty for everywhere.
    decimals : int
        To which heights are rounded.

    Returns
    -------
    Patch
    """
    x0, y0, x1, y1 = shape.bounds
    wanted = np.sqrt(4.0 * _CLOSE * max(radius, 1.0))
    step = next((s for s in _STEPS if s <= wanted), _STEPS[-1])
    step = max(step, float(np.sqrt((x1 - x0) * (y1 - y0) / _MOST_HEIGHTS)))
    nx, ny = (max(2, int(np.ceil((b - a) / step)) + 1) for a, b in ((x0, x1), (y0, y1)))
    steps = (round(float((x1 - x0) / (nx - 1)), 6), round(float((y1 - y0) / (ny - 1)), 6))
    origin = (round(float(x0), 4), round(float(y0), 4))
    x, y = origin[0] + steps[0] * np.arange(nx), origin[1] + steps[1] * np.arange(ny)
    xy = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    z = np.round(face.at(xy), decimals).reshape(ny, nx)
    return Patch(region, grid=HeightGrid(origin, steps, tuple(map(tuple, z.tolist()))))
