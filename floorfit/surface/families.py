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

__all__ = ["Family", "likely_families", "placed", "together", "within"]

Array = NDArray[np.float64]

#: A family less likely than this is left out.
LEAST_SHARE = 0.03


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


def together(families: Sequence[LocalShapes]) -> tuple[LocalShapes | None, list[int]]:
    """All shapes of several families, and the number of the first of each."""
    if len(families) < 2:
        return (families[0] if families else None), [0] * len(families)
    names, tables = (tuple(x for one in families for x in getattr(one, key)) for key in ("names", "tables"))
    starts = np.cumsum([0, *(one.count for one in families)])[:-1]
    return LocalShapes(names, tables, np.concatenate([one.sizes for one in families])), starts.tolist()


def within(
    grid: Grid,
    inverse: Band,
    families: Sequence[Family],
    starts: Sequence[int],
    every: LocalShapes | None,
    centre: Solution,
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
    every : LocalShapes or None
        The shapes of all.
    centre : Solution
        Where there are none.
    """
    if every is None:
        return Covariance.of(grid, inverse, None, None, np.empty((0, 0))).scaled(centre.dispersion)
    parts = [one.covariance(grid, inverse) for one in families]
    if len(parts) == 1:
        return parts[0]
    band = sum((one.share * part.band for one, part in zip(families, parts, strict=True)), 0.0 * inverse)
    cross, amounts = np.zeros((every.count, *grid.shape)), np.zeros((every.count, every.count))
    for one, part, start in zip(families, parts, starts, strict=True):
        own = slice(start, start + one.shapes.count)
        cross[own], amounts[own, own] = one.share * part.cross, one.share * part.amounts
    return Covariance(grid, band, every, cross, amounts)
