"""Families of shapes that may stand beside the spline: which are likely, and their shapes side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.along_axes import LEAST_SHARE
from floorfit.surface.border import Slow
from floorfit.surface.covariance import Covariance
from floorfit.surface.grid import Band, Grid
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.reml import Solution, columns_of

__all__ = ["NOTHING", "Family", "likely_families", "placed", "slices", "within"]

#: No shapes.
NOTHING = LocalShapes((), (), np.empty(0))


@dataclass(frozen=True)
class Family:
    """A family of shapes that may stand beside the spline.

    Parameters
    ----------
    shapes : LocalShapes
    nodes : list of (Solution, share)
        With them, at each smoothing and shape of the energy, the best first.
    share : float
        How likely the family is.
    """

    shapes: LocalShapes
    nodes: list[tuple[Solution, float]]
    share: float

    def covariance(self, grid: Grid, inverse: Band) -> Covariance:
        """Where this family is the true one; ``inverse`` is that of the best solution's factor.

        Parameters
        ----------
        grid : Grid
        inverse : Band
            Of the best solution's factor.
        """
        best = self.nodes[0][0]
        own = np.empty((0, 0)) if best.border is None else best.border.covariance
        return Covariance.of(grid, inverse, best.border, self.shapes, own).scaled(best.dispersion)


def likely_families(
    nodes: Sequence[tuple[Solution, float]],
    others: Sequence[LocalShapes],
    points: Array,
    values: Array,
    weights: Array,
    slow: Slow | None,
) -> list[Family]:
    """Other families with their shares, each at every smoothing and shape of the energy of the best one.

    Parameters
    ----------
    nodes : sequence of (Solution, share)
        With the best family.
    others : sequence of LocalShapes
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
        Without their plane.
    weights : (n,) ndarray
        Robust weight over u², 1/mm².
    slow : Slow or None
        What stands beside the best family's shapes.
    """
    found = []
    for shapes in others:
        columns = columns_of(nodes[0][0].equations.grid, points, values, weights, shapes, None, slow)
        found.append((shapes, [(solution.with_columns(columns), share) for solution, share in nodes]))
    odds = np.exp([(nodes[0][0].criterion - own[0][0].criterion) / 2 for _, own in found])
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
    """Where the shapes of each family stand among those of all.

    Parameters
    ----------
    families : sequence of Family
    starts : sequence of int
        Number of the first shape of each.
    """
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
