"""The tensor grid: where a place lies, what readings add up to, the bending energy, and evaluation.

Matrices over the grid are kept as a *band*: an array (4, nl, 7, ns) whose entry ``[d, i, e + 3, j]`` couples
the coefficient (i, j) with (i + d, j + e), i along the long side, j along the short side, d = 0..3, e = -3..3.

Readings enter through weighted moments of their local coordinates. A product of two cubics is of degree six, so
49 moments a cell hold all that a million readings say about the normal matrix (a sufficient statistic).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.surface.axis import Axis, make_axis, window

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["BENDING", "CHANGE", "STRETCHING", "Band", "Grid", "make_grid"]

#: Symmetric matrix over the grid, see the module's text.
Band = Array

#: Rows handled at once; bounds the memory at a million readings.
CHUNK = 200_000

#: Integrands of energies: orders of the derivatives along and across, and a factor.
BENDING = ((2, 0, 1.0), (1, 1, 2.0), (0, 2, 1.0))
CHANGE = ((3, 0, 1.0), (2, 1, 3.0), (1, 2, 3.0), (0, 3, 1.0))
STRETCHING = ((1, 0, 1.0), (0, 1, 1.0))

#: Margin round the part, in lengths of its longer side (see `floorfit.surface.axis.MARGIN_CELLS`).
MARGIN_LENGTHS = 3.0


@dataclass(frozen=True)
class Grid:
    """Tensor product of two axes over the part's rectangle.

    Parameters
    ----------
    along : Axis
        Axis of the long side.
    across : Axis
        Axis of the short side.
    swapped : bool
        True where the long side is Y.
    """

    along: Axis
    across: Axis
    swapped: bool

    @property
    def shape(self) -> tuple[int, int]:
        """Coefficients along and across."""
        return self.along.size, self.across.size

    @property
    def unknowns(self) -> int:
        """Number of coefficients."""
        return self.along.size * self.across.size

    def split(self, points: ArrayLike) -> tuple[Array, Array]:
        """Return the coordinates along and across of points (n, 2)."""
        xy = np.asarray(points, float)
        return (xy[:, 1], xy[:, 0]) if self.swapped else (xy[:, 0], xy[:, 1])

    def bases(self, points: ArrayLike) -> tuple[Rows, Array, Rows, Array]:
        """Return cell and four values of the basis along and across, at points (n, 2)."""
        first, second = self.split(points)
        return *self.along.basis(first), *self.across.basis(second)

    def locate(self, points: ArrayLike) -> tuple[Rows, Array, Array]:
        """Return the flat cell index and the two local coordinates of points (n, 2)."""
        first, second = self.split(points)
        i, s = self.along.locate(first)
        j, t = self.across.locate(second)
        return i * self.across.cells + j, s, t

    @cached_property
    def bending(self) -> Band:
        """Band of the bending energy: integral of w_xx² + 2 w_xy² + w_yy² over the grid's rectangle, 1/mm²."""
        return self._energy(BENDING)

    @cached_property
    def bending_change(self) -> Band:
        """Band of the integral of w_xxx² + 3 w_xxy² + 3 w_xyy² + w_yyy²: how fast the curvature changes, 1/mm⁴."""
        return self._energy(CHANGE)

    @cached_property
    def stretching(self) -> Band:
        """Band of the integral of w_x² + w_y²: what a membrane under tension resists."""
        return self._energy(STRETCHING)

    def energy(self, smooth_length: float = 0.0, tension: float = 0.0) -> Band:
        """Bending energy plus ``smooth_length²`` times the energy of its change, plus that of a tension.

        Parameters
        ----------
        smooth_length : float, mm
            s = 0 for the thin-plate spline. Above it, surfaces with structure finer than about ``2π s`` are held less
            likely than a thin-plate spline holds them (spectrum k⁻⁴ / (1 + s² k²)). Both leave planes free.
        tension : float, mm
            0 for none. Else the length ``√(D / T)`` of a plate of stiffness D under a tension T (Franke, Computer
            Aided Geometric Design 2, 87, 1985): structure coarser than about ``2π tension`` is held more likely than a
            thin-plate spline holds it (spectrum 1 / (k² (k² + 1/tension²))), as rough ground has it. A tilted plane
            is then not free.
        """
        band = self.bending if smooth_length == 0.0 else self.bending + smooth_length**2 * self.bending_change
        return band if tension == 0.0 else band + self.stretching / tension**2

    def _energy(self, terms: tuple[tuple[int, int, float], ...]) -> Band:
        a, b = self.along, self.across
        band = np.zeros((4, a.size, 7, b.size))
        for first, second, factor in terms:
            band += factor * a.gram(first)[:, :, None, None] * _both_sides(b.gram(second))[None, None, :, :]
        return band

    def normal(self, points: ArrayLike, weights: Array) -> Band:
        """Band of the normal matrix ``Bᵀ diag(weights) B`` of readings at points (n, 2).

        Cost: 49 weighted counts of n values; memory is bounded by chunks.

        Parameters
        ----------
        points : (n, 2) array_like, mm
        weights : (n,) ndarray
            One over variance, 1/mm².
        """
        return self._band_of(self._moments(points, weights, 7))

    def right_side(self, points: ArrayLike, weighted: Array) -> Array:
        """Return ``Bᵀ weighted`` (nl, ns) for values already multiplied by their weights.

        Parameters
        ----------
        points : (n, 2) array_like, mm
        weighted : (n,) ndarray
            Values times their weights.
        """
        moments = self._moments(points, weighted, 4)
        out = np.zeros(self.shape)
        local = np.einsum("iap,ijpq->ijaq", self.along.polynomials, moments)
        local = np.einsum("jbq,ijaq->ijab", self.across.polynomials, local)
        for a in range(4):
            for b in range(4):
                out[a : a + self.along.cells, b : b + self.across.cells] += local[:, :, a, b]
        return out

    def right_sides(self, points: ArrayLike, rows: Rows, columns: Rows, values: Array, count: int) -> Array:
        """Return ``Bᵀ X`` (count, nl, ns) for a sparse X (n, count) with ``values`` at ``rows`` and ``columns``.

        Parameters
        ----------
        points : (n, 2) array_like, mm
        rows, columns : (m,) ndarray of int
            Place and column of each value.
        values : (m,) ndarray
        count : int
            Columns of X.
        """
        i, bi, j, bj = self.bases(np.asarray(points, float)[rows])
        size = self.across.size
        base = (columns * self.unknowns + i * size + j)[:, None] + np.arange(4)
        out = np.zeros(count * self.unknowns)
        for a in range(4):
            out += np.bincount((base + a * size).ravel(), ((bi[:, a] * values)[:, None] * bj).ravel(), len(out))
        return out.reshape(count, *self.shape)

    def at(self, coefficients: Array, points: ArrayLike) -> Array:
        """Evaluate the spline at points (n, 2): 16 terms each, in chunks.

        Parameters
        ----------
        coefficients : (nl, ns) ndarray, mm
        points : (n, 2) array_like, mm
        """
        xy = np.asarray(points, float)
        out = np.empty(len(xy))
        for start in range(0, len(xy), CHUNK):
            part = slice(start, start + CHUNK)
            out[part] = self._at(coefficients, xy[part])
        return out

    def designs(self, points: ArrayLike) -> Callable[[slice], tuple[tuple[slice, slice], Array]]:
        """Dense designs of groups of points (n, 2), each of points that lie close together.

        Returns
        -------
        callable
            Of a slice of the points: rows and columns of the patch of the coefficient array that they touch, and the
            (n, rows * columns) design.
        """
        i, bi, j, bj = self.bases(points)

        def design(some: slice) -> tuple[tuple[slice, slice], Array]:
            (rows, one), (columns, two) = window(i[some], bi[some]), window(j[some], bj[some])
            return (rows, columns), (one[:, :, None] * two[:, None, :]).reshape(len(one), -1)

        return design

    def matrix(self, points: ArrayLike) -> csr_array:
        """Value of each B-spline at points (n, 2), shape (n, unknowns), sparse: 16 in a row."""
        from scipy.sparse import csr_array

        i, bi, j, bj = self.bases(points)
        rows, columns = i[:, None] + np.arange(4), j[:, None] + np.arange(4)
        flat = rows[:, :, None] * self.across.size + columns[:, None, :]
        values = bi[:, :, None] * bj[:, None, :]
        ends = np.arange(0, 16 * len(i) + 1, 16)
        return csr_array((values.ravel(), flat.ravel(), ends), shape=(len(i), self.unknowns))

    def on_grid(self, coefficients: Array, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Evaluate on the rectangle of places xs × ys, shape (len(xs), len(ys)): two small matrix products.

        Parameters
        ----------
        coefficients : (nl, ns) ndarray, mm
        xs, ys : (k,), (l,) array_like, mm
        """
        first, second = (ys, xs) if self.swapped else (xs, ys)
        values = self.along.matrix(first) @ coefficients @ self.across.matrix(second).T
        return np.asarray(values.T if self.swapped else values)

    def quadratic_at(self, band: Band, points: ArrayLike) -> Array:
        """Return ``b(x)ᵀ C b(x)`` at points (n, 2) for a symmetric C given as a band (variances, leverages).

        Parameters
        ----------
        band : Band
            Symmetric.
        points : (n, 2) array_like, mm
        """
        xy = np.asarray(points, float)
        if len(xy) < self.along.cells * self.across.cells:
            return self._quadratic_at_few(band, xy)
        table = self._cell_polynomials(band)
        out = np.empty(len(xy))
        for start in range(0, len(xy), CHUNK):
            cell, s, t = self.locate(xy[start : start + CHUNK])
            out[start : start + CHUNK] = _horner(table, cell, s, t)
        return out

    def _quadratic_at_few(self, band: Band, points: Array) -> Array:
        """The same, term by term: what is known of every cell is not worth its while for few points."""
        i, bi, j, bj = self.bases(points)
        (nl, ns), (b, d) = self.shape, np.divmod(np.arange(16), 4)
        beside, flat, out = bj[:, b] * bj[:, d], band.ravel(), np.zeros(len(points))
        for a in range(4):
            for c in range(a, 4):
                place = (((c - a) * nl + i + a) * 7 * ns + j)[:, None] + (d - b + 3) * ns + b
                out += (1.0 if a == c else 2.0) * bi[:, a] * bi[:, c] * (beside * flat[place]).sum(axis=1)
        return out

    def each_at(self, many: Array, numbers: Rows, points: Array) -> Array:
        """Evaluate at each of the points one of many splines, (n,).

        Parameters
        ----------
        many : (count, nl, ns) ndarray
            Coefficients.
        numbers : (n,) ndarray of int
            Which spline.
        points : (n, 2) ndarray, mm
        """
        return self._at(many, points, numbers * self.unknowns)

    def _at(self, coefficients: Array, points: Array, start: Rows | int = 0) -> Array:
        i, bi, j, bj = self.bases(points)
        flat = coefficients.ravel()
        base = start + i * self.across.size + j
        out = np.zeros(len(points))
        for a in range(4):
            row = sum(bj[:, b] * flat[base + (a * self.across.size + b)] for b in range(4))
            out += bi[:, a] * row
        return out

    def _moments(self, points: ArrayLike, weights: Array, order: int) -> Array:
        cells = self.along.cells * self.across.cells
        xy = np.asarray(points, float)
        out = np.zeros((order, order, cells))
        for start in range(0, len(xy), CHUNK):
            cell, s, t = self.locate(xy[start : start + CHUNK])
            row = weights[start : start + CHUNK]
            for p in range(order):
                term = row
                for q in range(order):
                    out[p, q] += np.bincount(cell, term, minlength=cells)
                    term = term * t
                row = row * s
        return out.transpose(2, 0, 1).reshape(self.along.cells, self.across.cells, order, order)

    def _band_of(self, moments: Array) -> Band:
        a_cells, b_cells = self.along.cells, self.across.cells
        band = np.zeros((4, self.along.size, 7, self.across.size))
        flat = moments.transpose(0, 2, 1, 3).reshape(a_cells, 7, b_cells * 7)
        short = self.across.products.reshape(b_cells, 16, 7)
        for a in range(4):
            for c in range(a, 4):
                part = np.matmul(self.along.products[:, a, c, None, :], flat).reshape(a_cells, b_cells, 7)
                local = np.matmul(short, part.transpose(1, 2, 0)).reshape(b_cells, 4, 4, a_cells)
                for b in range(4):
                    for d in range(4):
                        band[c - a, a : a + a_cells, d - b + 3, b : b + b_cells] += local[:, b, d].T
        return band

    def _cell_polynomials(self, band: Band) -> Array:
        a_cells, b_cells = self.along.cells, self.across.cells
        out = np.zeros((a_cells, b_cells, 7, 7))
        short = self.across.products.reshape(b_cells, 16, 7)
        local = np.empty((b_cells, a_cells, 16))
        for a in range(4):
            for c in range(a, 4):
                for b in range(4):
                    for d in range(4):
                        local[:, :, 4 * b + d] = band[c - a, a : a + a_cells, d - b + 3, b : b + b_cells].T
                part = np.matmul(local, short).transpose(1, 0, 2)
                factor = 1.0 if a == c else 2.0
                out += factor * self.along.products[:, None, a, c, :, None] * part[:, :, None, :]
        return out.reshape(a_cells * b_cells, 49)


def make_grid(bounds: tuple[float, float, float, float], cell: float) -> Grid:
    """Grid over a rectangle with cells of about ``cell``, the long side first.

    Parameters
    ----------
    bounds : (x_min, y_min, x_max, y_max), mm
    cell : float, mm
    """
    x0, y0, x1, y1 = bounds
    reach = MARGIN_LENGTHS * max(x1 - x0, y1 - y0)
    x_axis, y_axis = make_axis(x0, x1, cell, reach), make_axis(y0, y1, cell, reach)
    swapped = y_axis.size > x_axis.size
    return Grid(y_axis, x_axis, True) if swapped else Grid(x_axis, y_axis, False)


def _both_sides(band: Array) -> Array:
    """Upper band (4, n) of a symmetric matrix as seven diagonals (7, n): ``[e + 3, j]`` couples j and j + e."""
    out = np.zeros((7, band.shape[1]))
    for e in range(4):
        out[3 + e] = band[e]
        out[3 - e, e:] = band[e, : band.shape[1] - e]
    return out


def _horner(table: Array, cell: Rows, s: Array, t: Array) -> Array:
    rows = table[cell]
    out = np.zeros(len(cell))
    for p in range(6, -1, -1):
        inner = rows[:, 7 * p + 6]
        for q in range(5, -1, -1):
            inner = inner * t + rows[:, 7 * p + q]
        out = out * s + inner
    return out
