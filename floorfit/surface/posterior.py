"""How sure the surface is: exact variances anywhere, and joint samples of the whole of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.surface.blocks import outer
from floorfit.surface.covariance import Covariance
from floorfit.surface.families import NOTHING, Family, placed, slices, within
from floorfit.surface.grid import Band, Grid
from floorfit.surface.local_shapes import LocalShapes, Misfit, together
from floorfit.surface.reml import Equations, Prior, Solution, solve
from floorfit.surface.spline import Surface, middles

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Posterior", "joint_posterior", "mean_of", "mixture"]

#: Solutions with their shares, the best first.
Nodes = list[tuple[Solution, float]]

#: Degrees of freedom of Student's t on rough ground: a factor of its energy is known from some four parameters, as
#: `floorfit.surface.robust.ROUGH_TAIL` has it.
ROUGH_FREEDOM = 4.0
#: What straight breaks over the ribs leave out on a floor, as an amount of its shape: a rib between gives on both sides
#: (plates of the tuning seeds, tests/benchmarks/conditions.py).
BREAK_SHARE = 0.35


@dataclass(frozen=True)
class Error:
    """An error of the surface that is independent of all else.

    Parameters
    ----------
    surface : Surface
        One standard deviation of it, mm.
    draws : (count,) ndarray
        Joint samples of how many.
    is_told : bool
        False for one that the readings cannot show.
    """

    surface: Surface
    draws: Array
    is_told: bool


@dataclass(frozen=True)
class Posterior:
    """Gaussian posterior of the warp, with the smoothing's own uncertainty in the samples.

    Parameters
    ----------
    grid : Grid
    covariance : Covariance
        Noise dispersion, spread of λ and of the shapes' τ included.
    deviations : (nl, ns, count) ndarray, mm
        Joint samples of the coefficients, minus the fitted ones.
    amounts : (K, count) ndarray, mm
        The same of the shapes' amounts; no rows without shapes.
    missed : (3 K, count) ndarray, mm
        Of the misfit's.
    errors : tuple of Error
        What is allowed for besides.
    """

    grid: Grid
    covariance: Covariance
    deviations: Array
    amounts: Array
    missed: Array
    errors: tuple[Error, ...] = ()

    @property
    def count(self) -> int:
        """Number of joint samples."""
        return int(self.deviations.shape[2])

    def std_at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Standard uncertainty of the warp at plan positions, mm.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        flat = self.covariance.at(np.column_stack([xs.ravel(), ys.ravel()]))
        for one in self.errors:
            flat = flat + one.surface.at(xs.ravel(), ys.ravel()) ** 2
        return np.sqrt(np.maximum(flat, 0.0)).reshape(xs.shape)

    def std_on_grid(self, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Standard uncertainty on the rectangle xs × ys, mm, shape (len(xs), len(ys)).

        Parameters
        ----------
        xs, ys : (k,), (l,) array_like, mm
        """
        return self.std_at(np.asarray(xs, float)[:, None], np.asarray(ys, float)[None, :])

    def with_error(self, surface: Surface, seed: int, *, is_told: bool) -> Posterior:
        """Wider by an error that is independent of all else.

        Parameters
        ----------
        surface : Surface
            One standard deviation of it.
        seed : int
            Of the joint samples.
        is_told : bool
            False for one that the readings cannot show.
        """
        before = sum(one.is_told == is_told for one in self.errors)
        own = [2] * is_told + [2 + before] * bool(before)  # draws that no other error has
        draws = np.random.default_rng([seed, self.count, *own]).standard_normal(self.count)
        return replace(self, errors=(*self.errors, Error(surface, draws, is_told)))

    @property
    def told(self) -> Posterior:
        """By the readings alone, without the error that they cannot show."""
        return replace(self, errors=tuple(one for one in self.errors if one.is_told))

    def samples_at(self, points: ArrayLike) -> Array:
        """Joint samples of warp minus fitted warp at points (n, 2) that lie close together, mm, shape (count, n)."""
        return self.samples_over([np.asarray(points, float)])(0)

    def samples_over(self, places: Sequence[Array]) -> Callable[[int], Array]:
        """Joint samples over several groups of places, as `samples_at` for the group of a number.

        Parameters
        ----------
        places : sequence of (n, 2) ndarray, mm
            Those of a group lie close together.
        """
        ends = np.cumsum([0, *(len(group) for group in places)])
        points = np.concatenate([*places])
        (forms, amounts), design_of = self._forms(points), self.grid.designs(points)
        error = np.array([one.surface.at(*points.T) for one in self.errors]).reshape(-1, len(points))
        many = np.array([one.draws for one in self.errors]).reshape(-1, self.count)

        def samples(group: int) -> Array:
            (rows, columns), design = design_of(slice(ends[group], ends[group + 1]))
            here, numbers = _dense(forms, ends[group], ends[group + 1])
            spline = self.deviations[rows, columns].reshape(-1, self.count)
            places = np.concatenate([design, here, error[:, ends[group] : ends[group + 1]].T], axis=1)
            return np.asarray(np.concatenate([spline, amounts[numbers], many]).T @ places.T)

        return samples

    def _forms(self, points: Array) -> tuple[csr_array, Array]:
        """All that stands beside the spline, at points (n, 2), and the joint samples of its amounts."""
        from scipy.sparse import csr_array, hstack

        covariance = self.covariance
        if covariance.shapes is None:
            return csr_array((len(points), 0)), self.amounts
        if covariance.misfit is None:
            return covariance.shapes.design(points), self.amounts
        both = covariance.shapes.design(points), covariance.misfit.shapes.design(points)
        return csr_array(hstack(both, format="csr")), np.concatenate([self.amounts, self.missed])


def _dense(matrix: csr_array, start: int, end: int) -> tuple[Array, Rows]:
    """Rows of a sparse matrix as a dense one of the columns that are not empty in them, and the numbers of these."""
    entries = slice(matrix.indptr[start], matrix.indptr[end])
    numbers, column = np.unique(matrix.indices[entries], return_inverse=True)
    out = np.zeros((end - start, len(numbers)))
    out[np.repeat(np.arange(end - start), np.diff(matrix.indptr[start : end + 1])), column] = matrix.data[entries]
    return out, np.asarray(numbers, np.intp)


def mixture(equations: Equations, priors: Sequence[tuple[Prior, float, float]]) -> list[tuple[Solution, float]]:
    """Solutions whose mixture allows for the spread of λ and of the shape, with their shares; the best first.

    Three-point Gauss–Hermite in log λ at the best shape, and the mode at each other shape that is not unlikely.

    Parameters
    ----------
    equations : Equations
    priors : sequence of (Prior, spread, share)
        Best first; the standard deviation of log λ at each, and how likely each is.
    """
    (best, spread, share), *others = priors
    if spread == 0.0:
        return [(solve(equations, best), 1.0)]
    root = np.sqrt(3.0) * spread
    nodes = [(best, share * 2 / 3)]
    nodes += [(replace(best, smoothing=float(best.smoothing * np.exp(step))), share / 6) for step in (-root, root)]
    nodes += [(prior, part) for prior, _, part in others]
    total = sum(part for _, part in nodes)
    return [(solve(equations, prior), part / total) for prior, part in nodes]


def mean_of(models: Sequence[tuple[float, Nodes]]) -> tuple[Array, Array]:
    """Coefficients and amounts of several models: those of the best estimate of each, by its share."""
    best = [(share, *_estimated(nodes)) for share, nodes in models]
    coefficients, amounts = (sum(one[0] * one[k] for one in best) for k in (1, 2))
    return np.asarray(coefficients), np.asarray(amounts)


def _estimated(nodes: Nodes) -> tuple[Array, Array]:
    """Coefficients and amounts of the best estimate of one model: the first solution's.

    Where some have modes of the whole plate and others have none, or others, they differ by more than the smoothing
    does, and the mean of the mixture is taken.
    """
    if all(solution.prior.modes is None for solution, _ in nodes):
        return nodes[0][0].coefficients, nodes[0][0].amounts
    coefficients = np.sum([share * solution.coefficients for solution, share in nodes], axis=0)
    return coefficients, np.sum([share * solution.amounts for solution, share in nodes], axis=0)


def joint_posterior(
    grid: Grid,
    models: Sequence[tuple[float, Nodes]],
    inverse: Band,
    samples: int,
    seed: int,
    shapes: LocalShapes | None,
    others: Sequence[Family] = (),
) -> Posterior:
    """Mixture of solutions about the mean of the best ones.

    Parameters
    ----------
    grid : Grid
    models : sequence of (share, list of (Solution, share))
        How likely each model is, and in it the smoothings and shapes of the energy; shares add up to 1.
    inverse : Band
        Of the very first one's factor.
    samples, seed : int
    shapes : LocalShapes or None
        What stands beside the spline.
    others : sequence of Family
        Other families of shapes.
    """
    left = 1.0 - sum(one.share for one in others)
    first = [(solution, left * own * share) for own, part in models for solution, share in part]
    families = [Family(shapes or NOTHING, first, left), *others]
    every, starts = together([one.shapes for one in families])
    nodes = [_Node(*one, 0) for one in first]
    for one, start in zip(others, starts[1:], strict=True):
        nodes += [_Node(solution, one.share * own, start) for solution, own in one.nodes]
    mean, typical = mean_of(models)
    shifts = [node.away(mean, typical, every.count) for node in nodes]
    deviations, amounts = _samples(nodes, shifts, samples, seed)
    covariance = within(grid, inverse, families, starts, every)
    squares = np.maximum(np.diag(covariance.amounts), 0.0)
    squares = squares + sum(node.share * placed(node.solution.amounts, node.start, every.count) ** 2 for node in nodes)
    for shift, node in zip(shifts, nodes, strict=True):
        covariance = covariance.spread(*shift, node.share)
    covariance, deviations = _tailed(covariance, deviations, first[0][0], seed)
    if shapes is None:
        return Posterior(grid, covariance, deviations, amounts, np.empty((0, samples)))
    broken = BREAK_SHARE * _broken(grid, nodes, every)
    misfit = Misfit.joined([
        Misfit.of(one.shapes, np.sqrt(squares[own] + one.share * broken[own] ** 2))
        for one, own in zip(families, slices(families, starts), strict=True)
    ])  # fmt: skip
    missed = np.random.default_rng([seed, len(nodes)]).standard_normal((len(misfit.deviation), samples))
    covariance = replace(covariance, misfit=misfit)
    return Posterior(grid, covariance, deviations, amounts, misfit.deviation[:, None] * missed)


@dataclass(frozen=True)
class _Node:
    """A solution with its share, and where the amounts of its family of shapes stand among those of all."""

    solution: Solution
    share: float
    start: int

    def away(self, mean: Array, typical: Array, total: int) -> tuple[Array, Array]:
        """Coefficients and amounts less the best estimates."""
        amounts = placed(self.solution.amounts, self.start, total) - placed(typical, 0, total)
        return self.solution.coefficients - mean, amounts


def _samples(
    nodes: Sequence[_Node], shifts: Sequence[tuple[Array, Array]], samples: int, seed: int
) -> tuple[Array, Array]:
    """Joint samples of coefficients and amounts about the best estimates, by the shares of the nodes."""
    counts = _shared_out(samples, [node.share for node in nodes])

    def drawn(k: int) -> tuple[Array, Array]:
        own, amounts = _drawn(nodes[k].solution, counts[k], np.random.default_rng([seed, k]))
        own += shifts[k][0][:, :, None]
        return own, placed(amounts, nodes[k].start, len(shifts[k][1])) + shifts[k][1][:, None]

    parts = [drawn(k) for k in range(len(nodes))]
    deviations, amounts = (np.concatenate([part[k] for part in parts], axis=-1) for k in (0, 1))
    return deviations, amounts


def _tailed(covariance: Covariance, deviations: Array, best: Solution, seed: int) -> tuple[Covariance, Array]:
    """With Student's t in place of the normal where ground was found rough: how rough is not well known there.

    Nor is it where no reading is near, on a plate that has such places: where the surface is less sure than a reading.
    """
    rough = best.prior.rough
    if rough is None:
        return covariance, deviations
    grid = covariance.grid
    spline = grid.quadratic_at(covariance.band, middles(grid))
    unread = spline / (best.dispersion * best.equations.reading_variance) - 1.0
    share = np.clip(np.maximum(-np.log(rough.at(middles(grid))), unread), 0.0, 1.0).reshape(grid.shape)
    squares = np.random.default_rng([seed, len(share)]).chisquare(ROUGH_FREEDOM, deviations.shape[-1])
    stretched = deviations * (1 + share[:, :, None] * (np.sqrt(ROUGH_FREEDOM / squares) - 1))
    wide = np.sqrt(1 + share * (ROUGH_FREEDOM / (ROUGH_FREEDOM - 2) - 1))
    return replace(covariance, band=covariance.band * outer(wide), cross=covariance.cross * wide), stretched


def _broken(grid: Grid, nodes: Sequence[_Node], shapes: LocalShapes) -> Array:
    """By how much the plate breaks from one side of each shape to the other, mm: second differences over its width."""
    ramps = np.asarray(sum(node.share * _ramps(node.solution) for node in nodes))
    total = np.zeros(shapes.count)
    if not np.any(ramps):
        return total
    low, high = (np.array([getattr(table, end) for table in shapes.tables]) for end in ("low", "high"))
    middle, width = (low + high) / 2, high - low
    for axis in (0, 1):
        step = width * np.eye(2)[axis]
        before, here, after = (grid.at(ramps, middle + k * step) for k in (-1, 0, 1))
        total += (before - 2 * here + after) ** 2
    return np.sqrt(total)


def _ramps(solution: Solution) -> Array | float:
    """Coefficients of what belongs to the plate of what stands beside the surface; 0 where nothing does."""
    border = solution.border
    if border is None or border.columns.lift is None:
        return 0.0
    return np.asarray(np.tensordot(border.slow_error, border.columns.lift, 1))


def _drawn(solution: Solution, count: int, generator: np.random.Generator) -> tuple[Array, Array]:
    """Joint samples of coefficients and amounts about a solution."""
    noise, along = solution.factor.normals(count, generator)
    border = solution.border
    if border is None:
        spread = solution.factor.spread(noise, along)
        spread *= np.sqrt(solution.dispersion)
        return spread, np.empty((0, count))
    amounts, phi = border.draw(count, generator)
    noise *= np.sqrt(phi)
    own, along = amounts[: border.columns.shapes], along * np.sqrt(phi)
    if count < len(amounts):  # fewer samples than shapes: each is solved for itself
        return border.lifted(solution.factor.spread(noise, along, border.pull(amounts)), amounts), own
    spread = solution.factor.spread(noise, along)
    spread -= (border.reached.reshape(len(amounts), -1).T @ amounts).reshape(spread.shape)
    return spread, own


def _shared_out(total: int, shares: list[float]) -> list[int]:
    counts = [int(np.floor(total * share)) for share in shares]
    counts[0] += total - sum(counts)
    return counts
