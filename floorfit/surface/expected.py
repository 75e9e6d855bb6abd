"""What earlier parts say of this one: a mean warp, and whether a plate agrees with it.

The mean is taken off the readings before the fit and put back after it, so that only what differs from it has to be
found. Whether that is right is decided by the restricted likelihood of the readings with and without it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from threadpoolctl import threadpool_limits

from floorfit.surface.fit import check_places
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.reml import START, assemble, best_prior
from floorfit.surface.robust import robust_weights
from floorfit.surface.spline import Surface

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

__all__ = ["Agreement", "Expected", "agreement"]

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

#: Twice the log of the likelihood ratio from which the mean is used: 6 is a ratio of 20 to 1, "strong" in the scale
#: of Kass & Raftery (J. Am. Stat. Assoc. 90, 773, 1995).
LEAST_GAIN = 6.0

#: Cells of the grid on which the two are compared.
CELLS = 1_200


@dataclass(frozen=True)
class Expected:
    """Mean warp of earlier parts on a rectangular grid.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Nodes, increasing, at least four each way.
    mean : (k, l) ndarray, mm
        Mean warp at the nodes.
    parts : int
        Number of parts behind it.
    source : str
        Where it came from, for messages.
    """

    x: Array
    y: Array
    mean: Array
    parts: int
    source: str = "series"

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Mean warp at plan positions, mm: bicubic between the nodes, straight on beyond them."""
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        cx, cy = np.clip(xs, self.x[0], self.x[-1]), np.clip(ys, self.y[0], self.y[-1])
        spline = self._spline
        beyond = (xs - cx) * spline(cx, cy, dx=1, grid=False) + (ys - cy) * spline(cx, cy, dy=1, grid=False)
        return np.asarray(spline(cx, cy, grid=False) + beyond)

    def added_to(self, surface: Surface) -> Surface:
        """Return a surface with the mean put back: its spline through the Greville places of the same grid."""
        return Surface(surface.grid, surface.coefficients + self.coefficients(surface.grid))

    def coefficients(self, grid: Grid) -> Array:
        """Coefficients of the mean as a spline on a grid, shape ``grid.shape``."""
        along, across = (_greville(axis.knots) for axis in (grid.along, grid.across))
        first, second = np.meshgrid(along, across, indexing="ij")
        values = self.at(second, first) if grid.swapped else self.at(first, second)
        half = np.linalg.solve(grid.along.matrix(along), values)
        return np.asarray(np.linalg.solve(grid.across.matrix(across), half.T).T)

    @cached_property
    def _spline(self) -> RectBivariateSpline:
        from scipy.interpolate import RectBivariateSpline

        return RectBivariateSpline(self.x, self.y, self.mean, kx=3, ky=3, s=0)


@dataclass(frozen=True)
class Agreement:
    """Whether the readings of a plate agree with a mean warp.

    Parameters
    ----------
    gain : float
        Twice the log of the ratio of restricted likelihoods, with the mean over without it.
    is_used : bool
        Whether the gain is at least `LEAST_GAIN`.
    """

    gain: float
    is_used: bool

    @property
    def words(self) -> str:
        """What was found and done, in a sentence."""
        word, done = ("agrees", "it was used") if self.is_used else ("does not agree", "the fit is that without it")
        return f"the plate {word} with the mean warp of earlier parts (2 Δ log L = {self.gain:+.1f}): {done}."


def agreement(points: Array, values: Array, u: Array, expected: Expected, bounds: Bounds) -> Agreement:
    """Compare the likelihood of the readings with and without the mean.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    values, u : (n,) ndarray, mm
        Warp at the places and its standard uncertainty.
    expected : Expected
    bounds : (x_min, y_min, x_max, y_max), mm
        The part's rectangle; places outside widen it.

    Returns
    -------
    Agreement

    Raises
    ------
    NumericalError
        If the places span no plane.

    Notes
    -----
    Both are Gaussian with the same free plane, on the same grid and with the same weights, and each at its own
    likeliest smoothing: the mean only shifts the readings, so the densities compare directly. A reading that either
    fit does not believe counts for neither. With fewer than six readings there is nothing to compare.
    """
    import scipy.linalg  # noqa: F401  its BLAS must be loaded before it can be limited to one thread

    check_places(points)
    if len(values) < 6:
        return Agreement(0.0, False)
    low, high = np.minimum(bounds[:2], points.min(axis=0)), np.maximum(bounds[2:], points.max(axis=0))
    grid = make_grid((*low, *high), float(np.sqrt(np.prod(high - low) / CELLS)))
    plain, shifted = (_without_plane(points, one, u) for one in (values, values - expected.at(*points.T)))
    with threadpool_limits(limits=1, user_api="blas"):
        weights = np.minimum(*(robust_weights(grid, points, one, u).weights for one in (plain, shifted)))
        evidence = [_evidence(grid, points, one, u, weights) for one in (plain, shifted)]
    gain = evidence[0] - evidence[1]
    return Agreement(float(gain), bool(gain >= LEAST_GAIN))


def _evidence(grid: Grid, points: Array, values: Array, u: Array, weights: Array) -> float:
    equations = assemble(grid, points, values, weights / u**2, float(weights.sum()))
    return best_prior(equations, START)[0][2]


def _without_plane(points: Array, values: Array, u: Array) -> Array:
    design = np.column_stack([np.ones(len(values)), points - points.mean(axis=0)])
    plane = np.linalg.lstsq(design / u[:, None], values / u, rcond=None)[0]
    return np.asarray(values - design @ plane)


def _greville(knots: Array) -> Array:
    return np.asarray((knots[1:-3] + knots[2:-2] + knots[3:-1]) / 3)
