"""What earlier parts say of this one: a mean warp, shapes of the differences, and whether a plate agrees.

The mean, and as much of each shape as the readings ask for, is taken off them before the fit and put back after it,
so that only what differs from it has to be found. Whether that is right is decided by the restricted likelihood of
the readings with and without it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.one_thread import one_thread
from floorfit.surface.cell_width import cell_of
from floorfit.surface.given import Box, check_places, enclosing, flattened
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.reml import Equations, Prior, Solution, assemble
from floorfit.surface.robust import robust_weights
from floorfit.surface.search import LIKELY, best_prior, best_smoothing
from floorfit.surface.spline import Surface, greville

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

__all__ = ["Agreement", "Expected", "agreement"]


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
    shapes : tuple of (k, l) ndarray, mm
        Leading shapes of the parts' differences from the mean, each one standard deviation high.
    identity : mapping of str to str
        What the parts have in common: part number, revision, side.
    """

    x: Array
    y: Array
    mean: Array
    parts: int
    source: str = "series"
    shapes: tuple[Array, ...] = ()
    identity: Mapping[str, str] = field(default_factory=dict)

    def with_scores(self, scores: Array) -> Expected:
        """Return the mean of a part whose first shapes have these scores: mean plus the sum of scores times shapes."""
        mean = self.mean + sum((c * shape for c, shape in zip(scores, self.shapes, strict=False)), np.zeros(1))
        return replace(self, mean=np.asarray(mean), shapes=())

    def shapes_at(self, points: Array) -> Array:
        """Shapes at places (n, 2), mm, shape (n, shapes)."""
        each = [replace(self, mean=shape, shapes=()).at(*points.T) for shape in self.shapes]
        return np.column_stack(each) if each else np.empty((len(points), 0))

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Mean warp at plan positions, mm: bicubic between the nodes, straight on beyond them.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        cx, cy = np.clip(xs, self.x[0], self.x[-1]), np.clip(ys, self.y[0], self.y[-1])
        spline = self._spline
        beyond = (xs - cx) * spline(cx, cy, dx=1, grid=False) + (ys - cy) * spline(cx, cy, dy=1, grid=False)
        return np.asarray(spline(cx, cy, grid=False) + beyond)

    def added_to(self, surface: Surface) -> Surface:
        """Return a surface with the mean put back: its spline through the Greville places of the same grid."""
        return replace(surface, coefficients=surface.coefficients + self.coefficients(surface.grid))

    def coefficients(self, grid: Grid) -> Array:
        """Coefficients of the mean as a spline on a grid, shape ``grid.shape``."""
        along, across = (greville(axis.knots) for axis in (grid.along, grid.across))
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
    """Whether the readings of a plate agree with what is expected.

    Parameters
    ----------
    gain : float
        Twice the log of the ratio of restricted likelihoods, with the expectation over without it.
    used : Expected or None
        What to take off the readings: the mean, with the scores of the shapes in it; None where the gain is under
        `LEAST_GAIN`.
    scores : tuple of float
        Of the shapes, in standard deviations; empty where the mean alone is likelier.
    """

    gain: float
    used: Expected | None = None
    scores: tuple[float, ...] = ()

    @property
    def is_used(self) -> bool:
        """Whether the expectation is to be used."""
        return self.used is not None

    @property
    def words(self) -> str:
        """What was found and done, in a sentence."""
        word, done = ("agrees", "it was used") if self.is_used else ("does not agree", "the fit is that without it")
        if self.scores and self.is_used:
            done = f"{done} with {len(self.scores)} of its shapes"
        return f"the plate {word} with the mean warp of earlier parts (2 Δ log L = {self.gain:+.1f}): {done}."


def agreement(points: Array, values: Array, u: Array, expected: Expected, bounds: Box) -> Agreement:
    """Compare the likelihood of the readings with and without the expectation.

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
    All are Gaussian with the same free plane, on the same grid and with the same weights, and each at its own
    likeliest smoothing: the mean only shifts the readings, so the densities compare directly. The scores of the shapes
    are standard normal beforehand and integrated out. A reading that a fit does not believe counts for none. With
    fewer than six readings there is nothing to compare.
    """
    check_places(points)
    if len(values) < 6:
        return Agreement(0.0)
    box = enclosing(bounds, points)
    grid = make_grid(box, cell_of(box, CELLS))
    plain, shifted = (flattened(points, one, u) for one in (values, values - expected.at(*points.T)))
    with one_thread():
        weights = np.minimum(*(robust_weights(grid, points, one, u).weights for one in (plain, shifted)))
        data = _Weighed(grid, points, weights / u**2, float(weights.sum()))
        base, mean = (data.best(one) for one in (plain, shifted))
        told = [(base[2] - mean[2], np.empty(0))]
        shapes = expected.shapes_at(points)
        for count in range(1, shapes.shape[1] + 1):
            told.append(_with_shapes(data, shifted, shapes[:, :count], mean, base[2]))
    gain, scores = max(told, key=lambda one: one[0])
    if gain < LEAST_GAIN:
        return Agreement(float(gain))
    used = expected.with_scores(scores) if len(scores) else replace(expected, shapes=())
    return Agreement(float(gain), used, tuple(scores.tolist()))


@dataclass(frozen=True)
class _Weighed:
    """Places with their weights over u² on a grid, and the sum of the robust weights."""

    grid: Grid
    points: Array
    weights: Array
    count: float

    def of(self, values: Array) -> Equations:
        """What values at the places add up to."""
        return assemble(self.grid, self.points, values, self.weights, self.count)

    def best(self, values: Array, start: Prior = LIKELY) -> tuple[Solution, float, float]:
        """Likeliest smoothing and smoothness length: solution, spread and evidence."""
        return best_prior(self.of(values), start)[0]


def _with_shapes(
    data: _Weighed, values: Array, shapes: Array, start: tuple[Solution, float, float], base: float
) -> tuple[float, Array]:
    """Gain with the shapes' scores integrated out, and their best values.

    At a smoothing the readings' precision with the spline integrated out is ``R = W − W B (N + λ S)⁻¹ Bᵀ W``, the
    scores are ``(Φᵀ R Φ + I)⁻¹ Φᵀ R y`` and what they add is ``cᵀc + log |Φᵀ R Φ + I|`` (Gaussian integral).
    """
    solution = start[0]
    for _ in range(2):
        scores, _ = _scored(data, values, shapes, solution)
        solution, _ = best_smoothing(data.of(values - shapes @ scores), solution.prior, step=1.0)
    scores, added = _scored(data, values, shapes, solution)
    evidence = data.best(values - shapes @ scores, solution.prior)[2]
    return base - evidence - added, scores


def _scored(data: _Weighed, values: Array, shapes: Array, solution: Solution) -> tuple[Array, float]:
    """Best scores at one smoothing, and what they add to the evidence."""
    right = np.array([data.grid.right_side(data.points, data.weights * one) for one in shapes.T])
    solved = solution.factor.solve_many(right)
    weighed = shapes * data.weights[:, None]
    inner = shapes.T @ weighed - np.einsum("aij,bij->ab", right, solved)
    own = weighed.T @ values - np.einsum("aij,ij->a", solved, data.grid.right_side(data.points, data.weights * values))
    normal = inner / solution.dispersion + np.eye(len(inner))
    scores = np.linalg.solve(normal, own / solution.dispersion)
    return scores, float(scores @ scores) + float(np.linalg.slogdet(normal)[1])
