"""What a fit makes of any values of the places that it was made from: a linear smoother, at its weights."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.one_thread import one_thread
from floorfit.surface.border import Slow
from floorfit.surface.given import flattened, heights, plane_of
from floorfit.surface.grid import Grid
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.on_grid import OnGrid
from floorfit.surface.reml import Solution
from floorfit.surface.robust import weighed_anew
from floorfit.surface.spline import Surface, plane_coefficients

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Smoother"]


@dataclass(frozen=True)
class Smoother:
    """One solution of a fit, for other values of the same places.

    Parameters
    ----------
    shapes : LocalShapes or None
        What stands beside the spline.
    weights : (n,) ndarray
        Robust weight of each reading.
    solution : Solution
        At the best smoothing.
    slow : Slow or None
        What stands beside the shapes.
    """

    shapes: LocalShapes | None
    weights: Array
    solution: Solution
    slow: Slow | None

    @property
    def grid(self) -> Grid:
        """The splines' grid."""
        return self.solution.equations.grid

    def anew(self, points: Array, values: Array, u: Array) -> Smoother:
        """With the weights and the smoothing that other values ask for; smoothness length and models are kept.

        Parameters
        ----------
        points : (n, 2) ndarray, mm
        values, u : (n,) ndarray, mm
        """
        data = OnGrid(self.grid, points, flattened(points, values, u), u, self.shapes)
        with one_thread():
            weights, solution = weighed_anew(data, self.weights, self.solution, self.slow)
        return replace(self, weights=weights, solution=solution)

    def smoothed(self, points: Array, values: Array, u: Array) -> Surface:
        """Smooth other values of the same places, with the same smoothing, robust weights and shapes.

        Parameters
        ----------
        points : (n, 2) ndarray, mm
        values : (n,) ndarray, mm
        u : (n,) ndarray, mm
            Places and standard uncertainties of the readings that were fitted; what was read there besides.
        """
        shapes = self.shapes
        design = None if shapes is None else shapes.design(points)
        coefficients, amounts, _ = self._solved(points, values[:, None], u, design)
        return Surface(self.grid, coefficients[0], shapes, amounts[0])

    def followed(self, points: Array, values: Array, u: Array) -> Array:
        """What the fit makes of other values of the same places, at them: the surface and the slow error, mm.

        Parameters
        ----------
        points, u
            As in `smoothed`.
        values : (n, k) ndarray, mm
            k columns of values, in one solution.

        Returns
        -------
        (n, k) ndarray
        """
        grid, shapes = self.grid, self.shapes
        design = None if shapes is None else shapes.design(points)
        coefficients, amounts, knots = self._solved(points, values, u, design)
        out = np.stack([grid.at(one, points) for one in coefficients], axis=1)
        if design is not None:
            out += design @ amounts.T
        return np.asarray(out if self.slow is None else out + self.slow.errors @ knots.T)

    def _solved(self, points: Array, values: Array, u: Array, design: csr_array | None) -> tuple[Array, Array, Array]:
        """Coefficients, amounts and knots of the slow error for columns of other values of the same places."""
        grid, border, shapes = self.grid, self.solution.border, self.shapes
        planes = [plane_of(points, column, u) for column in values.T]
        flat = values - np.stack([heights(plane, points) for plane in planes], axis=1)
        weighed = (self.weights / u**2)[:, None] * flat
        with one_thread():
            right = np.stack([grid.right_side(points, column) for column in weighed.T])
            coefficients = self.solution.factor.solve_many(right)
            amounts = knots = np.empty((len(planes), 0))
            if border is not None and shapes is not None and design is not None:
                seen = (design.T @ weighed).T
                if self.slow is not None:
                    seen = np.concatenate([seen, (self.slow.design.T @ weighed).T], axis=1)
                pairs = [border.solve(one, two) for one, two in zip(coefficients, seen, strict=True)]
                coefficients, both = (np.stack([pair[k] for pair in pairs]) for k in (0, 1))
                amounts, knots = both[:, : shapes.count], both[:, shapes.count :]
        return coefficients + np.stack([plane_coefficients(grid, plane) for plane in planes]), amounts, knots
