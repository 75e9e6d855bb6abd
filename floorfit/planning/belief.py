"""What readings leave unknown of a surface, on the fit's own prior, and how each further reading changes it.

The prior is that of `floorfit.surface`: the smoothing spline with its length, and a dish for each web. After a job it
is the job's own fit. Before any reading it is what a fit begins with; the plane, about which nothing is known, is held
at three corners so loosely that it does not matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array
from floorfit.errors import NumericalError
from floorfit.surface.cell_width import cell_of
from floorfit.surface.covariance import Covariance
from floorfit.surface.fit import Fit, fit_surface
from floorfit.surface.given import Box
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.modes import Modes
from floorfit.surface.reml import Prior, Solution, assemble, solve
from floorfit.surface.search import LIKELY, pinned

__all__ = ["Belief", "Change", "Known", "fit_known", "foreseen", "likely_with", "middle_deviation", "unread"]

#: Standard deviation of the warp at the three corners that hold the plane before any reading, mm: a hundred times that
#: of a reading, so that three readings have it down to a ten-thousandth.
CORNER_SD_MM = 1.0
#: Diagonal of a plate below which that is less.
SMALL_MM = 200.0
#: Cells of the grid before any reading: places are 20 to 100 mm apart.
CELLS = 800
#: By how much the smoothing of the spline beside modes is larger than alone (fits of simulated plates: 10 to 60).
REST = 20.0
#: Covariances below this may be kept in single precision, mm²: its rounding is then below 1e-8 mm².
SMALL_MM2 = 0.1
#: Sums that are solved for at once; bounds the memory.
AT_ONCE = 200


@dataclass(frozen=True)
class Known:
    """Readings that exist already.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
        Places.
    warp : (n,) ndarray, mm
        What each says of the underside.
    u : (n,) ndarray, mm
        Standard uncertainties.
    common_u : float, mm
        Standard uncertainty that all readings share: no further reading lowers it.
    """

    points: Array
    warp: Array
    u: Array
    common_u: float = 0.0


def likely_with(modes: Modes | None, bounds: Box) -> Prior:
    """What is likely before any reading: with modes as much warp as without, nearly all of it theirs.

    Parameters
    ----------
    modes : Modes or None
        Of the part's stiffness.
    bounds : (x_min, y_min, x_max, y_max), mm
    """
    if modes is None:
        return LIKELY
    smoothing = REST * LIKELY.smoothing
    return replace(LIKELY, smoothing=smoothing, modes=modes, modes_size=_height(bounds) * float(np.sqrt(1 - 1 / REST)))


def _height(bounds: Box) -> float:
    """Root mean square of a warp without its plane that is likely without modes, mm, from a few hundred draws."""
    grid = _grid(bounds)
    (x0, y0, x1, y1), spread = bounds, np.linspace(0.0, 1.0, 12)
    x, y = np.meshgrid(x0 + (x1 - x0) * spread, y0 + (y1 - y0) * spread, indexing="ij")
    draws = pinned(grid, LIKELY).draw(300, np.random.default_rng(1)).reshape(-1, 300) / np.sqrt(LIKELY.smoothing)
    warps = grid.matrix(np.column_stack([x.ravel(), y.ravel()])) @ draws
    planes = np.linalg.qr(np.column_stack([np.ones(x.size), x.ravel(), y.ravel()]))[0]
    return float(np.sqrt(np.mean((warps - planes @ (planes.T @ warps)) ** 2)))


def _grid(bounds: Box) -> Grid:
    return make_grid(bounds, cell_of(bounds, CELLS))


def unread(bounds: Box, families: Sequence[LocalShapes], prior: Prior = LIKELY) -> Solution:
    """Solution before any reading, with the first of the families of dishes.

    Parameters
    ----------
    bounds : (x_min, y_min, x_max, y_max), mm
    families : sequence of LocalShapes
    prior : Prior
    """
    x0, y0, x1, y1 = bounds
    corners = np.array([[x0, y0], [x1, y0], [(x0 + x1) / 2, y1]])
    # A small plate is stiff beside that: less vague, so that the two can be told apart in sixteen digits.
    weights = np.full(3, (CORNER_SD_MM * min(1.0, np.hypot(x1 - x0, y1 - y0) / SMALL_MM)) ** -2)
    return solve(assemble(_grid(bounds), corners, np.zeros(3), weights, 0.0, families[0]), prior, weak=False)


def fit_known(known: Known, bounds: Box, families: Sequence[LocalShapes], modes: Modes | None = None) -> Fit | None:
    """Fit readings that a job used, as the job did; None where they do not fix a surface.

    Parameters
    ----------
    known : Known
    bounds : (x_min, y_min, x_max, y_max), mm
    families : sequence of LocalShapes
        Dishes of the webs.
    modes : Modes, optional
        Of the part's stiffness.
    """
    try:
        return fit_surface(known.points, known.warp, known.u, bounds=bounds, robust=False, shapes=families, modes=modes)
    except NumericalError:
        return None


def foreseen(fit: Fit, known: Known, points: Array, u_mm: float) -> Known:
    """Readings that are known, and those planned with what the fit expects of them.

    Parameters
    ----------
    fit : Fit
    known : Known
        What it was fitted to.
    points : (n, 2) ndarray, mm
        Places planned.
    u_mm : float, mm
        Standard uncertainty of a reading there.
    """
    expected = fit.surface.at(*points.T)
    u = np.append(known.u, np.full(len(points), u_mm))
    return Known(np.vstack([known.points, points]), np.append(known.warp, expected), u, known.common_u)


class Belief:
    """Variances at places and of sums over places, as readings are added one at a time.

    Kept as the rows of a pivoted Cholesky factor, so that a reading costs one solve and a pass over what is kept.

    Parameters
    ----------
    solution : Solution
        What is believed before.
    shapes : LocalShapes
        Of its border.
    places : (n, 2) ndarray, mm
        Where a reading can be taken.
    targets : (k, 2) ndarray, mm
        Places that the sums are over.
    sums : (f, k) ndarray
        Weights of each sum.
    capacity : int
        Readings that will be added.
    """

    def __init__(
        self, solution: Solution, shapes: LocalShapes, places: Array, targets: Array, sums: Array, capacity: int
    ) -> None:
        """Compute the first covariances; nothing is added yet."""
        grid, border = solution.equations.grid, solution.border
        assert border is not None
        self._solution, self._amounts = solution, border.covariance
        self.dispersion = solution.dispersion
        self._splines, self._shaped = grid.matrix(places), shapes.design(places)
        inverse = solution.factor.inverse_band
        own = Covariance.of(grid, inverse, border, shapes, self._amounts)
        self.variance: Array = self.dispersion * own.at(places)
        self._base, self.sum_variance = self._first(grid.matrix(targets), shapes.design(targets), sums)
        self.rows = np.empty((capacity, len(places)))
        self.sum_rows = np.empty((capacity, len(sums)))
        self.count = 0
        # Covariances of the sums with the places after the first `_settled` readings; single precision serves
        # once the plane is known, and halves the time.
        self._settled = 0

    def _first(self, splines, shaped, sums: Array) -> tuple[NDArray[np.floating], Array]:  # type: ignore[no-untyped-def]
        """Covariance of every sum with every place, and the variance of every sum."""
        base, variance = np.empty((len(sums), self._splines.shape[0])), np.empty(len(sums))
        for start in range(0, len(sums), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            functionals, means = np.asarray(sums[part] @ splines), np.asarray(sums[part] @ shaped)
            base[part], gains, extra = self._covariance(functionals, means)
            variance[part] = self.dispersion * (
                (functionals * gains).sum(axis=1) + (means * extra[:, : means.shape[1]]).sum(axis=1)
            )
        return base, variance

    def _covariance(self, functionals: Array, means: Array) -> tuple[Array, Array, Array]:
        """Covariance of functionals with the places, (p, n), and their gains."""
        shape = self._solution.equations.grid.shape
        gains, extra = self._solution.gains(functionals.reshape(-1, *shape), means, self._amounts)
        flat = gains.reshape(len(functionals), -1)
        found = (
            self.dispersion * np.asarray(self._splines @ flat.T + self._shaped @ extra[:, : self._shaped.shape[1]].T).T
        )
        return found, flat, extra

    def settle(self) -> NDArray[np.floating]:
        """Return the covariance of every sum with the surface at every place, (f, n), mm²; a matrix product."""
        new, kind = slice(self._settled, self.count), self._base.dtype
        if self.count > self._settled:
            self._base -= self.sum_rows[new].T.astype(kind) @ self.rows[new].astype(kind)
        if kind == np.float64 and max(float(self._base.max()), -float(self._base.min())) < SMALL_MM2:
            self._base = self._base.astype(np.float32)
        self._settled = self.count
        return self._base

    def add(self, index: int, noise2: float, weights: Array) -> Change:
        """Take a reading at place ``index``.

        Parameters
        ----------
        index : int
            Into ``places``.
        noise2 : float, mm²
            Variance of the reading.
        weights : (f,) ndarray
            Weights of the sums in ``Change.cross``.

        Returns
        -------
        Change
        """
        n, new = self.count, slice(self._settled, self.count)
        root = np.sqrt(max(float(self.variance[index]), 0.0) + noise2)
        covariance = self._base[:, index].astype(float) - self.rows[new, index] @ self.sum_rows[new]
        sums = covariance / root
        pull = (weights * sums).astype(self._base.dtype)
        lead = np.zeros((2, n))
        lead[0], lead[1, new] = self.rows[:n, index], self.sum_rows[new] @ pull
        product = lead @ self.rows[:n]
        own = self._covariance(self._splines[[index]].toarray(), self._shaped[[index]].toarray())[0][0]
        row = (own - product[0]) / root
        self.rows[n], self.sum_rows[n] = row, sums
        self.variance = self.variance - row**2
        self.sum_variance = self.sum_variance - sums**2
        self.count += 1
        return Change(row, sums, np.asarray(pull @ self._base - product[1], float))


@dataclass(frozen=True)
class Change:
    """What a reading changed: with row l and sums t, every covariance T of a sum with a place falls by t·l.

    Parameters
    ----------
    row : (n,) ndarray, mm
        l: covariance with each place over the reading's standard deviation.
    sums : (f,) ndarray, mm
        t: the same with each sum.
    cross : (n,) ndarray, mm²
        Weighted sum over the sums of t·T before the reading.
    """

    row: Array
    sums: Array
    cross: Array


def middle_deviation(fit: Fit, points: Sequence[Array]) -> Array:
    """Standard deviation, over the joint samples of a fit, of the middle between highest and lowest warp, mm.

    Parameters
    ----------
    fit : Fit
    points : sequence of (k, 2) ndarray, mm
        Places on each floor.
    """
    out = []
    for where in points:
        warp = fit.surface.at(*where.T) + fit.posterior.samples_at(where)
        out.append(((warp.max(axis=1) + warp.min(axis=1)) / 2).std())
    return np.array(out)
