"""An energy that counts more in one place than in another, and its share in each cell of the grid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.surface.grid import BENDING, CHANGE, Band, Grid

__all__ = ["Rough", "cell_energies", "local_energy"]


@dataclass(frozen=True, eq=False)
class Rough:
    """Factor of the energy by place; its log is bilinear between the middles of tiles, and even beyond them.

    Parameters
    ----------
    low, high : (float, float), mm
        Corners of the rectangle that the tiles share out evenly.
    logs : (k, m) ndarray
        Log of the factor in each tile, k along X and m along Y.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    logs: Array

    def on(self, grid: Grid) -> Array:
        """Factor of each cell of a grid, (cells along, cells across)."""
        x, y = _middles(grid)
        (i, s), (j, t) = (_between(v, self.low[k], self.high[k], self.logs.shape[k]) for k, v in enumerate((x, y)))
        first = (1 - s)[:, None] * self.logs[i] + s[:, None] * self.logs[np.minimum(i + 1, len(self.logs) - 1)]
        factor = np.exp((1 - t) * first[:, j] + t * first[:, np.minimum(j + 1, first.shape[1] - 1)])
        return np.asarray(factor.T if grid.swapped else factor)

    def at(self, points: Array) -> Array:
        """Factor at places (n, 2)."""
        (i, s), (j, t) = (_between(points[:, k], self.low[k], self.high[k], self.logs.shape[k]) for k in (0, 1))
        k, m = (np.minimum(index + 1, size - 1) for index, size in zip((i, j), self.logs.shape, strict=True))
        logs = self.logs
        found = (1 - s) * ((1 - t) * logs[i, j] + t * logs[i, m]) + s * ((1 - t) * logs[k, j] + t * logs[k, m])
        return np.asarray(np.exp(found))

    def tiles(self, grid: Grid, cells: Array) -> Array:
        """Sum of a number of each cell (cells along, cells across) over each tile, the margin in the nearest one.

        Parameters
        ----------
        grid : Grid
        cells : (cells along, cells across) ndarray
        """
        x, y = _middles(grid)
        i, j = (_tile(v, self.low[k], self.high[k], self.logs.shape[k]) for k, v in enumerate((x, y)))
        out = np.zeros(self.logs.shape)
        np.add.at(out, (i[:, None], j[None, :]), cells.T if grid.swapped else cells)
        return out


def _middles(grid: Grid) -> tuple[Array, Array]:
    """Middles of the cells along X and along Y."""
    along, across = ((axis.edges[1:] + axis.edges[:-1]) / 2 for axis in (grid.along, grid.across))
    return (across, along) if grid.swapped else (along, across)


def _tile(places: Array, low: float, high: float, count: int) -> Rows:
    return np.clip(((places - low) / (high - low) * count).astype(np.intp), 0, count - 1)


def _between(places: Array, low: float, high: float, count: int) -> tuple[Rows, Array]:
    """Tile whose middle lies before each place, and how far it is to the next, 0 to 1."""
    at = np.clip((places - low) / (high - low) * count - 0.5, 0, count - 1)
    k = np.minimum(at.astype(np.intp), max(count - 2, 0))
    return k, at - k


def local_energy(grid: Grid, smooth_length: float, rough: Rough) -> Band:
    """Band of ``∬ f(x, y) (bending + smooth_length² change)``, f even over each cell; planes cost nothing.

    Parameters
    ----------
    grid : Grid
    smooth_length : float, mm
        As in `Grid.energy`.
    rough : Rough
        f.
    """
    band = np.zeros((4, grid.along.size, 7, grid.across.size))
    factor = rough.on(grid)[:, :, None]
    for a, c, kernel in _kernels(grid, smooth_length):
        _scatter(grid, band, a, c, factor * kernel)
    return band


def cell_energies(grid: Grid, smooth_length: float, matrix: Band) -> Array:
    """Trace of a symmetric matrix times the energy of each cell alone, (cells along, cells across).

    Parameters
    ----------
    grid : Grid
    smooth_length : float, mm
    matrix : Band
        ``v vᵀ`` gives the energy of v; a covariance gives what is expected of a Gaussian.
    """
    out = np.zeros((grid.along.cells, grid.across.cells))
    for a, c, kernel in _kernels(grid, smooth_length):
        part = sum(kernel[:, :, k] * matrix[where] for k, where in enumerate(_places(grid, a, c)))
        out += part if a == c else 2 * part
    return out


def _kernels(grid: Grid, smooth_length: float) -> Iterator[tuple[int, int, Array]]:
    """Energy of each cell between the functions a and c along and all 4 × 4 across, (along, across, 16); c >= a."""
    terms = [*BENDING, *((p, q, smooth_length**2 * factor) for p, q, factor in CHANGE if smooth_length)]
    along = [grid.along.local_gram(k) for k in range(4)]
    across = [grid.across.local_gram(k).reshape(-1, 16) for k in range(4)]
    short = np.stack([across[q] for _, q, _ in terms])
    for a in range(4):
        for c in range(a, 4):
            long = np.stack([factor * along[p][:, a, c] for p, _, factor in terms])
            yield a, c, np.tensordot(long, short, (0, 0))


def _places(grid: Grid, a: int, c: int) -> Iterator[tuple[int, slice, int, slice]]:
    """Where the band holds the coupling of functions a and c along with each of the 4 × 4 across."""
    for b in range(4):
        for d in range(4):
            yield c - a, slice(a, a + grid.along.cells), d - b + 3, slice(b, b + grid.across.cells)


def _scatter(grid: Grid, band: Band, a: int, c: int, local: Array) -> None:
    for k, where in enumerate(_places(grid, a, c)):
        band[where] += local[:, :, k]
