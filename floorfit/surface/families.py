"""Families of shapes that may stand beside the spline: which are likely, and their shapes side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from floorfit.surface.border import Slow
from floorfit.surface.covariance import Covariance
from floorfit.surface.grid import Band, Grid
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.reml import Solution, columns_of, solve

__all__ = ["NOTHING", "Family", "likely_families", "placed", "slices", "within"]

Array = NDArray[np.float64]

#: A family less likely than this is left out.
LEAST_SHARE = 0.03

#: No shapes.
NOTHING = LocalShapes((), (), np.empty(0))


@dataclass(frozen=True)
class Family:
    """A family of shapes that may stand beside the spline.

    Parameters
    ----------
    shapes : LocalShapes
    solution : Solution
        With them.
    share : float
        How likely the family is.
    """

    shapes: LocalShapes
    solution: Solution
    share: float

    def covariance(self, grid: Grid, inverse: Band) -> Covariance:
        """Where this family is the true one; ``inverse`` is that of its factor."""
        border = self.solution.border
        own = np.empty((0, 0)) if border is None else border.covariance
        return Covariance.of(grid, inverse, border, self.shapes, own).scaled(self.solution.dispersion)


def likely_families(
    centre: Solution,
    others: Sequence[LocalShapes],
    points: Array,
    values: Array,
    weights: Array,
    slow: Slow | None,
) -> list[Family]:
    """Other families with their shares, beside the best one at its smoothing.

    Parameters
    ----------
    centre : Solution
        With the best family.
    others : sequence of LocalShapes
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
        Without their plane.
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    slow : Slow or None
        What stands beside the centre's shapes.
    """
    found = []
    for shapes in others:
        columns = columns_of(centre.equations.grid, points, values, weights, shapes, None, slow)
        found.append((shapes, solve(replace(centre.equations, columns=columns), centre.prior, factor=centre.factor)))
    odds = np.exp([(centre.criterion - solution.criterion) / 2 for _, solution in found])
    shares = odds / (1 + odds.sum())
    return [Family(*one, float(share)) for one, share in zip(found, shares, strict=True) if share > LEAST_SHARE]


def placed(values: Array, start: int, total: int) -> Array:
    """Amounts of one family among those of all, (total, ...).

    Parameters
    ----------
    values : (K, ...) ndarray
    start, total : int
        Where they stand, and how many there are.
    """
    if len(values) == total:
        return values
    out = np.zeros((total, *values.shape[1:]))
    out[start : start + len(values)] = values
    return out


def slices(families: Sequence[Family], starts: Sequence[int]) -> list[slice]:
    """Where the shapes of each family stand among those of all."""
    return [slice(start, start + one.shapes.count) for one, start in zip(families, starts, strict=True)]


def within(
    grid: Grid, inverse: Band, families: Sequence[Family], starts: Sequence[int], every: LocalShapes
) -> Covariance:
    """Mean of the covariances under each family.

    Parameters
    ----------
    grid : Grid
    inverse : Band
        Of the factor that they share.
    families : sequence of Family
    starts : sequence of int
        Where the shapes of each stand.
    every : LocalShapes
        The shapes of all.
    """
    parts = [one.covariance(grid, inverse) for one in families]
    if len(parts) == 1:
        return parts[0]
    band = sum((one.share * part.band for one, part in zip(families, parts, strict=True)), 0.0 * inverse)
    cross, amounts = np.zeros((every.count, *grid.shape)), np.zeros((every.count, every.count))
    for one, part, own in zip(families, parts, slices(families, starts), strict=True):
        cross[own], amounts[own, own] = one.share * part.cross, one.share * part.amounts
    return Covariance(grid, band, every, cross, amounts)
