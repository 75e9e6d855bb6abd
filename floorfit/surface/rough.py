"""Where the readings ask for rougher ground than elsewhere: a mark of a clamp, a step under a rib.

A bend of its own that a place shows costs energy there. Where the energy of the fitted surface is more than its
effective parameters there account for, the factor of the energy falls, and rises elsewhere: the step of S. N. Wood and
M. Fasiolo (Biometrics 73, 1071, 2017), by which the restricted likelihood does not fall, drawn in by a weak prior.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.axis import MARGIN_CELLS
from floorfit.surface.blocks import outer
from floorfit.surface.covariance import Covariance
from floorfit.surface.grid import Grid
from floorfit.surface.local_energy import Rough, cell_energies
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.reml import Prior, Solution
from floorfit.surface.search import pinned

__all__ = ["rougher"]

#: Tiles that the part is shared out into, about square: on plates of one to a few metres each is a few readings wide.
TILES = 240
#: Effective parameters that the weak prior (a gamma of the factor about one) counts for on a tile and its neighbours.
PRIOR_PARAMETERS = 2.0
#: Least gain, twice the log likelihood, for which factors are taken: plates without marks show 0 to 8 by chance, those
#: with a dozen clamp marks 60 to 100 (invented plates of the tuning seeds, tests/benchmarks/conditions.py).
LEAST_GAIN = 15.0
#: Bounds of the log of a factor.
LEAST_LOG, MOST_LOG = -6.0, 3.0


def rougher(solution: Solution, shapes: LocalShapes | None) -> Prior | None:
    """Prior with factors of the energy by place, or None where one energy serves everywhere.

    Parameters
    ----------
    solution : Solution
        At the likeliest smoothing.
    shapes : LocalShapes or None
        What was fitted beside the spline.
    """
    grid, prior = solution.equations.grid, solution.prior
    if prior.tension:
        return None
    rough = prior.rough or _even(grid)
    energies, parameters = (rough.tiles(grid, cells) for cells in _shares(solution, shapes))
    if energies.sum() <= 0.0 or parameters.sum() <= 0.0:
        return None  # a plane
    energies = energies * (parameters.sum() / energies.sum())
    change = np.log((PRIOR_PARAMETERS + _blurred(parameters)) / (PRIOR_PARAMETERS + _blurred(energies)))
    gain = float((energies * (1 - np.exp(change)) + parameters * change).sum())
    if gain < LEAST_GAIN:
        return None
    return replace(prior, rough=replace(rough, logs=np.clip(rough.logs + change, LEAST_LOG, MOST_LOG)))


def _even(grid: Grid) -> Rough:
    """Factors of one over the part's rectangle."""
    inside = slice(MARGIN_CELLS, -MARGIN_CELLS)
    ends = [(float(axis.edges[inside][0]), float(axis.edges[inside][-1])) for axis in (grid.along, grid.across)]
    (x0, x1), (y0, y1) = reversed(ends) if grid.swapped else ends
    side = np.sqrt((x1 - x0) * (y1 - y0) / TILES)
    return Rough((x0, y0), (x1, y1), np.zeros((max(1, round((x1 - x0) / side)), max(1, round((y1 - y0) / side)))))


def _shares(solution: Solution, shapes: LocalShapes | None) -> tuple[Array, Array]:
    """Energy of the fitted spline over φ in each cell, and the effective parameters there.

    These are what the prior expects of the energy less what the posterior leaves unknown of it.
    """
    grid, prior = solution.equations.grid, solution.prior
    factor = prior.smoothing * (1.0 if prior.rough is None else prior.rough.on(grid))
    inverse = solution.factor.inverse_band
    gain = np.empty((0, 0)) if solution.border is None else solution.border.gain
    known = Covariance.of(grid, inverse, solution.border, shapes, gain).band
    before = pinned(grid, prior).inverse_band / prior.smoothing
    own = cell_energies(grid, prior.smooth_length, outer(solution.coefficients)) / solution.dispersion
    return factor * own, factor * cell_energies(grid, prior.smooth_length, before - known)


def _blurred(tiles: Array) -> Array:
    """Each tile with half of its neighbours'."""
    wide = np.pad(tiles, 1)
    wide = wide[1:-1] + (wide[:-2] + wide[2:]) / 2
    return np.asarray(wide[:, 1:-1] + (wide[:, :-2] + wide[:, 2:]) / 2)
