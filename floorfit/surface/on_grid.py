"""The readings on a grid, at any weights: what the search for weights and smoothing asks of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.border import Slow, with_slow
from floorfit.surface.grid import Grid
from floorfit.surface.left_out import LooResiduals, leave_one_out
from floorfit.surface.local_shapes import LocalShapes, Misfit
from floorfit.surface.modes import Modes
from floorfit.surface.reml import Equations, Prior, Solution, assemble, columns_of
from floorfit.surface.search import START
from floorfit.surface.spline import Surface

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["LEAST_SHOWN_MM", "SAMPLE", "OnGrid"]

#: The most shapes that further forms are fitted for, four columns each; and the τ, mm, above which it matters which
#: family or form a shape is of.
MOST_FORMED, LEAST_SHOWN_MM = 200, 0.01
#: By how much a residual on rough ground may be larger before it is doubted. A factor known from some four parameters
#: makes it Student's t of four degrees of freedom: as unlikely as a bad reading is 3.7 standard deviations of a normal
#: distribution, 7.4 of that.
ROUGH_TAIL = 1.6
#: Readings that the start looks at, at most.
SAMPLE = 20_000


@dataclass(frozen=True)
class OnGrid:
    """The readings on a grid: their equations and solutions for any weights, and what is left out of them.

    Parameters
    ----------
    grid : Grid
    points : (n, 2) ndarray, mm
    values, u : (n,) ndarray, mm
        Values without their plane; standard uncertainties.
    shapes : LocalShapes or None
        What is fitted beside the spline.
    modes : Modes or None
        What may be likely of the whole plate.
    start : Prior
        Where a search for the smoothing begins.
    """

    grid: Grid
    points: Array
    values: Array
    u: Array
    shapes: LocalShapes | None = None
    modes: Modes | None = None
    start: Prior = START

    def equations(self, weights: Array, slow: Slow | None = None) -> Equations:
        """Add the readings up at some weights, with a slow error beside the shapes.

        Parameters
        ----------
        weights : (n,) ndarray
            0 to 1.
        slow : Slow, optional
        """
        total, weighed = float(weights.sum()), weights / self.u**2
        return assemble(self.grid, self.points, self.values, weighed, total, self.shapes, self.design, slow)

    def reshaped(self, solution: Solution, weights: Array) -> Solution:
        """The same readings at the same smoothing with these shapes: one factor serves.

        Parameters
        ----------
        solution : Solution
            With other shapes.
        weights : (n,) ndarray
        """
        columns = columns_of(self.grid, self.points, self.values, weights / self.u**2, self.shapes, self.design)
        return solution.with_columns(columns)

    def beside(self, alone: Solution, weights: Array, slow: Slow | None) -> Solution:
        """The solution with a slow error beside the shapes.

        Parameters
        ----------
        alone : Solution
        weights : (n,) ndarray
        slow : Slow or None
        """
        columns = alone.equations.columns
        if slow is None or columns is None or self.shapes is None:
            return alone
        design = self.shapes.design(self.points) if self.design is None else self.design
        columns = with_slow(columns, self.grid, slow, self.points, self.values, weights / self.u**2, design)
        return alone.with_columns(columns)

    def left(self, solution: Solution) -> Array:
        """What the surface of a solution leaves of each reading, its slow error and noise, mm.

        Parameters
        ----------
        solution : Solution
        """
        fitted = Surface(self.grid, solution.coefficients, self.shapes, solution.amounts)
        return np.asarray(self.values - fitted.at(*self.points.T))

    @cached_property
    def design(self) -> csr_array | None:
        """Of the shapes at the readings, where there are few enough to keep it."""
        return None if self.shapes is None or len(self.points) > SAMPLE else self.shapes.design(self.points)

    def asks_for_forms(self, solution: Solution) -> bool:
        """Whether further forms of the shapes may be fitted: these are loose, few enough, and go far."""
        if self.shapes is None or solution.border is None:
            return False
        return self.shapes.is_loose and self.shapes.count <= MOST_FORMED and solution.border.tau > LEAST_SHOWN_MM

    def loo(self, weights: Array, solution: Solution) -> LooResiduals:
        """Leave-one-out residuals; how rough the ground is is itself not well known where it is rough.

        Parameters
        ----------
        weights : (n,) ndarray
        solution : Solution
            At these weights.
        """
        inverse, missed, rough = solution.factor.inverse_band, self.missed(solution), solution.prior.rough
        loo = leave_one_out(solution, inverse, self.shapes, self.points, self.values, self.u, weights, missed)
        if rough is None:
            return loo
        return replace(loo, deviation=np.where(rough.at(self.points) < 1.0, ROUGH_TAIL, 1.0) * loo.deviation)

    def missed(self, solution: Solution) -> Array | float:
        """Variance of what the forms of the shapes leave out at the readings, mm²."""
        if self.shapes is None:
            return 0.0
        own = solution.amounts[: self.shapes.count - self.shapes.forms]
        return np.asarray(self._squares @ np.repeat(own**2, 3))

    @cached_property
    def _squares(self) -> csr_array:
        assert self.shapes is not None
        return Misfit.of(self.shapes, np.ones(self.shapes.count)).squares_at(self.points)
