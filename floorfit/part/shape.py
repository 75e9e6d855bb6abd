"""Heights of a floor or an underside that is not one plane: regions, each a level, a plane or a grid of heights.

All lengths are mm. Of regions that overlap the last one counts; a place in no region takes the nearest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["HeightGrid", "Patch", "heights", "slopes"]

Floats = NDArray[np.float64]
Ring = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class HeightGrid:
    """Heights on a regular grid, bilinear in between, carried on by its outer cells.

    Parameters
    ----------
    origin : (float, float), mm
        X and Y of the first height.
    step : (float, float), mm
        Distance of neighbours along X and along Y, above 0.
    z : tuple of tuple of float, mm
        A row along X for each Y, from the origin up; at least 2 × 2.
    """

    origin: tuple[float, float]
    step: tuple[float, float]
    z: tuple[tuple[float, ...], ...]

    @cached_property
    def _table(self) -> Floats:
        table = np.array(self.z, float)
        table.flags.writeable = False
        return table

    def _cell(self, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
        """Place within its cell (0 to 1) and the four heights: low left, low right, high left, high right."""
        table = self._table
        u, v = (x - self.origin[0]) / self.step[0], (y - self.origin[1]) / self.step[1]
        j = np.clip(np.floor(u).astype(int), 0, table.shape[1] - 2)
        i = np.clip(np.floor(v).astype(int), 0, table.shape[0] - 2)
        return u - j, v - i, table[i, j], table[i, j + 1], table[i + 1, j], table[i + 1, j + 1]

    def at(self, x: Floats, y: Floats) -> Floats:
        """Height at places, mm.

        Parameters
        ----------
        x, y : (...) ndarray, mm
            Plan positions.
        """
        u, v, a, b, c, d = self._cell(x, y)
        return np.asarray((1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * c + u * d))

    def slope_at(self, x: Floats, y: Floats) -> Floats:
        """dZ/dX and dZ/dY at places, (..., 2).

        Parameters
        ----------
        x, y : (...) ndarray, mm
            Plan positions.
        """
        u, v, a, b, c, d = self._cell(x, y)
        along_x = ((1 - v) * (b - a) + v * (d - c)) / self.step[0]
        along_y = ((1 - u) * (c - a) + u * (d - b)) / self.step[1]
        return np.stack([along_x, along_y], axis=-1)


@dataclass(frozen=True)
class Patch:
    """Heights over one region: a plane (a level where the slope is 0), or a grid.

    Parameters
    ----------
    region : Ring, mm
        Outline; empty for everywhere.
    point : (float, float, float), mm
        A point of the plane; not used with a grid.
    slope : (float, float)
        dZ/dX and dZ/dY of the plane.
    grid : HeightGrid or None
    """

    region: Ring = ()
    point: tuple[float, float, float] = (0.0, 0.0, 0.0)
    slope: tuple[float, float] = (0.0, 0.0)
    grid: HeightGrid | None = None

    @cached_property
    def polygon(self) -> Polygon | None:
        """The region; None for everywhere."""
        from shapely import Polygon, prepare

        if not self.region:
            return None
        polygon = Polygon(self.region)
        prepare(polygon)
        return polygon

    def at(self, x: Floats, y: Floats) -> Floats:
        """Height at places, also outside the region, mm.

        Parameters
        ----------
        x, y : (...) ndarray, mm
            Plan positions.
        """
        if self.grid is not None:
            return self.grid.at(x, y)
        x0, y0, z0 = self.point
        return np.asarray(z0 + self.slope[0] * (x - x0) + self.slope[1] * (y - y0))

    def slope_at(self, x: Floats, y: Floats) -> Floats:
        """dZ/dX and dZ/dY at places, (..., 2).

        Parameters
        ----------
        x, y : (...) ndarray, mm
            Plan positions.
        """
        if self.grid is not None:
            return self.grid.slope_at(x, y)
        return np.broadcast_to(np.array(self.slope, float), (*np.shape(x), 2))


def heights(patches: tuple[Patch, ...], x: Floats, y: Floats) -> Floats:
    """Height at places.

    Parameters
    ----------
    patches : tuple of Patch
        At least one.
    x, y : ndarray, mm
        Places, of one shape.

    Returns
    -------
    ndarray, mm
    """
    return _of_owners(patches, x, y, Patch.at, ())


def slopes(patches: tuple[Patch, ...], x: Floats, y: Floats) -> Floats:
    """dZ/dX and dZ/dY at places, (..., 2); as `heights`.

    Parameters
    ----------
    patches : tuple of Patch
    x, y : (...) ndarray, mm
        Plan positions.
    """
    return _of_owners(patches, x, y, Patch.slope_at, (2,))


def _of_owners(
    patches: tuple[Patch, ...], x: Floats, y: Floats, of: Callable[..., Floats], more: tuple[int, ...]
) -> Floats:
    """What each place's own patch says of it, (..., *more)."""
    if len(patches) == 1:
        return of(patches[0], x, y)
    out = np.zeros((*np.shape(x), *more))
    owner = _owners(patches, x, y)
    for number in np.unique(owner):
        here = owner == number
        out[here] = of(patches[number], x[here], y[here])
    return out


def _owners(patches: tuple[Patch, ...], x: Floats, y: Floats) -> NDArray[np.int64]:
    """Number of the patch that counts at each place."""
    import shapely

    owner = np.full(np.shape(x), -1, np.int64)
    for number, patch in enumerate(patches):
        owner[shapely.intersects_xy(patch.polygon, x, y) if patch.polygon is not None else ...] = number
    lost = owner < 0
    if lost.any():
        shapes = np.array([patch.polygon for patch in patches], object)
        owner[lost] = shapely.STRtree(shapes).nearest(shapely.points(x[lost], y[lost]))
    return owner
