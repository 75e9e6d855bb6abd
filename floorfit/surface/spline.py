"""The fitted warp as an object: a grid and its coefficients, and shapes beside them with their amounts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.surface.grid import Grid
from floorfit.surface.local_shapes import LocalShapes

__all__ = ["Surface", "greville", "middles", "plane_coefficients"]


@dataclass(frozen=True)
class Surface:
    """Warp w(x, y) of the underside, mm, as a bicubic B-spline.

    Parameters
    ----------
    grid : Grid
        Axes of the tensor product.
    coefficients : (nl, ns) ndarray, mm
        One for each B-spline, along × across.
    shapes : LocalShapes, optional
        What stands beside the spline.
    amounts : (K,) ndarray, mm
        Of each shape.
    """

    grid: Grid
    coefficients: Array
    shapes: LocalShapes | None = None
    amounts: Array = field(default_factory=lambda: np.empty(0))

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Warp at plan positions, mm; any shape, broadcast together. Cost: 16 terms a place.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        places = np.column_stack([xs.ravel(), ys.ravel()])
        flat = self.grid.at(self.coefficients, places)
        if self.shapes is not None:
            flat += self.shapes.total_at(self.amounts, places)
        return flat.reshape(xs.shape)

    def on_grid(self, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Warp on the rectangle of places xs × ys, mm, shape (len(xs), len(ys)): two small matrix products.

        Parameters
        ----------
        xs, ys : (k,), (l,) array_like, mm
        """
        smooth = self.grid.on_grid(self.coefficients, xs, ys)
        return smooth if self.shapes is None else smooth + self.shapes.total_on_grid(self.amounts, xs, ys)


def plane_coefficients(grid: Grid, plane: Array) -> Array:
    """Coefficients of ``plane[0] + plane[1] x + plane[2] y``, exactly.

    A linear function's B-spline coefficients are its values at the Greville abscissae, the means of three
    neighbouring knots (M. J. Marsden 1970, identity for linear functions).

    Parameters
    ----------
    grid : Grid
    plane : (3,) ndarray
        mm, and mm per mm.
    """
    along, across = (greville(axis.knots) for axis in (grid.along, grid.across))
    first, second = (plane[2], plane[1]) if grid.swapped else (plane[1], plane[2])
    return np.asarray(plane[0] + first * along[:, None] + second * across[None, :])


def middles(grid: Grid) -> Array:
    """Places of the B-splines, their Greville abscissae, (nl ns, 2), mm."""
    along, across = (greville(axis.knots) for axis in (grid.along, grid.across))
    pairs = np.stack(np.meshgrid(along, across, indexing="ij"), axis=-1).reshape(-1, 2)
    return pairs[:, ::-1] if grid.swapped else pairs


def greville(knots: Array) -> Array:
    """Means of three neighbouring knots: a linear function's coefficients are its values there.

    Parameters
    ----------
    knots : (n + 4,) ndarray
    """
    return np.asarray((knots[1:-3] + knots[2:-2] + knots[3:-1]) / 3)
