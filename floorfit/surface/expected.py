"""What earlier parts say of this one: a mean warp, shapes of the differences, and whether a plate agrees.

The mean is taken off the readings before the fit and put back after it, so that only what differs from it has to be
found; the shapes are likely beside the spline. Whether that is right is decided by the restricted likelihood of the
readings with and without it.
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
from floorfit.surface.modes import Modes
from floorfit.surface.reml import assemble
from floorfit.surface.robust import robust_weights
from floorfit.surface.search import LIKELY, best_prior
from floorfit.surface.spline import Surface, greville

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

    from floorfit.surface.fit import Fit

__all__ = ["Agreement", "Expected", "agreement", "mean_share"]


#: Twice the log of the likelihood ratio from which the mean is used: 6 is a ratio of 20 to 1, "strong" in the scale
#: of Kass & Raftery (J. Am. Stat. Assoc. 90, 773, 1995).
LEAST_GAIN = 6.0

#: Share of the variance of the parts' own surfaces that they have in common, so that more parts do not lessen it: where
#: parts bend alike, what their readings leave out is alike too, the more the nearer the places. On invented plates that
#: are read anywhere it is a quarter; our choice covers their webs, and those of plates read at the same places.
COMMON = 0.5

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
    u : (k, l) ndarray or None, mm
        Standard uncertainty of a part's own surface at the nodes, root mean square over the parts; None where it is not
        known.
    """

    x: Array
    y: Array
    mean: Array
    parts: int
    source: str = "series"
    shapes: tuple[Array, ...] = ()
    identity: Mapping[str, str] = field(default_factory=dict)
    u: Array | None = None

    @property
    def modes(self) -> Modes | None:
        """The shapes as the fit takes them, for a part beside the mean of the others; None without shapes.

        The mean of n parts is off by a share of 1/√n of what each differs by.
        """
        if not self.shapes:
            return None
        return Modes(self.x, self.y, np.sqrt(1 + 1 / self.parts) * np.array(self.shapes))

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

    def added_to(self, fit: Fit, seed: int) -> Fit:
        """Return a fit with the mean put back: its spline through the Greville places of the same grid.

        It is as sure as the mean is, beside the fit of what differs from it.

        Parameters
        ----------
        fit : Fit
            Of what differs from the mean.
        seed : int
            Of the joint samples.
        """
        surface, posterior = fit.surface, fit.posterior
        own = replace(surface, coefficients=surface.coefficients + self.coefficients(surface.grid))
        if self.u is not None:
            mean_u = np.sqrt(mean_share(self.parts)) * self.u
            error = Surface(surface.grid, replace(self, mean=mean_u).coefficients(surface.grid))
            posterior = posterior.with_error(error, seed, is_told=True)
        return replace(fit, surface=own, posterior=posterior)

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
        What to take off the readings, with its shapes where these make it likelier; None where the gain is under
        `LEAST_GAIN`.
    """

    gain: float
    used: Expected | None = None

    @property
    def is_used(self) -> bool:
        """Whether the expectation is to be used."""
        return self.used is not None

    @property
    def words(self) -> str:
        """What was found and done, in a sentence."""
        word, done = ("agrees", "it was used") if self.is_used else ("does not agree", "the fit is that without it")
        if self.used is not None and self.used.shapes:
            done = f"{done} with {len(self.used.shapes)} of its shapes"
        return f"the plate {word} with the mean warp of earlier parts (2 Δ log L = {self.gain:+.1f}): {done}."


def mean_share(parts: int) -> float:
    """Share of the variance of one part's surface that the mean of several has.

    Examples
    --------
    >>> mean_share(1), mean_share(10)
    (1.0, 0.55)
    """
    return COMMON + (1 - COMMON) / parts


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
    likeliest smoothing: the mean only shifts the readings, so the densities compare directly. How far a part goes along
    each shape is standard normal beforehand and integrated out. A reading that a fit does not believe counts for none.
    With fewer than six readings there is nothing to compare.
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
        base, alone = data.evidence(plain), data.evidence(shifted)
        beside = np.inf if expected.modes is None else data.evidence(shifted, expected.modes.placed_on(grid))
    gain = float(base - min(alone, beside))
    if gain < LEAST_GAIN:
        return Agreement(gain)
    return Agreement(gain, expected if beside < alone else replace(expected, shapes=()))


@dataclass(frozen=True)
class _Weighed:
    """Places with their weights over u² on a grid, and the sum of the robust weights."""

    grid: Grid
    points: Array
    weights: Array
    count: float

    def evidence(self, values: Array, known: Modes | None = None) -> float:
        """Twice the negative log of that of values at the places, at the likeliest smoothing."""
        equations = assemble(self.grid, self.points, values, self.weights, self.count)
        return best_prior(equations, replace(LIKELY, known=known))[0][2]
