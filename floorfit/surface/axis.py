"""One direction of the tensor grid: cells, cubic B-splines as local polynomials, and their Gram matrices."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows

__all__ = ["Axis", "make_axis", "window"]

#: Cells that a margin adds outside the part on each side, each longer than the one before by one factor. Duchon
#: (1977) takes the energy over the whole plane; a margin of three lengths brings a rectangle to within 2 µm of that
#: for five cells a side, however much is smoothed (measured: a margin of one width leaves 40 µm at the edge).
MARGIN_CELLS = 5


@dataclass(frozen=True)
class Axis:
    """Cubic B-splines over ``cells`` intervals; basis k lives on cells k - 3 to k.

    Parameters
    ----------
    edges : (cells + 1,) ndarray, mm
        Cell borders, increasing; simple interior knots.
    """

    edges: Array

    @property
    def cells(self) -> int:
        """Number of cells."""
        return len(self.edges) - 1

    @property
    def size(self) -> int:
        """Number of B-splines: cells + 3."""
        return self.cells + 3

    @cached_property
    def knots(self) -> Array:
        """Knot vector of length size + 4: the edges, and three more beyond each end at the last spacing."""
        first, last = self.edges[1] - self.edges[0], self.edges[-1] - self.edges[-2]
        steps = np.arange(1, 4)
        low, high = self.edges[0] - first * steps[::-1], self.edges[-1] + last * steps
        return np.concatenate([low, self.edges, high])

    @cached_property
    def widths(self) -> Array:
        """Cell widths, mm."""
        return np.diff(self.edges)

    @cached_property
    def polynomials(self) -> Array:
        """Coefficients (cells, 4, 4): basis c + k on cell c is ``sum_p P[c, k, p] s**p``, s in [-1/2, 1/2]."""
        nodes = np.array([-0.45, -0.15, 0.15, 0.45])
        places = (self.edges[:-1] + self.edges[1:])[:, None] / 2 + self.widths[:, None] * nodes
        values = _cubics(self.knots, places)
        inverse = np.linalg.inv(np.vander(nodes, 4, increasing=True))
        return np.asarray(np.einsum("pn,cnk->ckp", inverse, values))

    @cached_property
    def products(self) -> Array:
        """Coefficients (cells, 4, 4, 7) of the products of two basis functions on each cell."""
        first = self.polynomials
        out = np.zeros((self.cells, 4, 4, 7))
        for p in range(4):
            for q in range(4):
                out[..., p + q] += first[:, :, None, p] * first[:, None, :, q]
        return out

    def gram(self, order: int) -> Array:
        """Band (4, size) of the Gram matrix of the basis' derivatives: ``[d, k]`` couples k and k + d.

        Parameters
        ----------
        order : {0, 1, 2, 3}
            Order of the derivative.
        """
        local, band = self.local_gram(order), np.zeros((4, self.size))
        for a in range(4):
            for b in range(a, 4):
                band[b - a, a : a + self.cells] += local[:, a, b]
        return band

    def local_gram(self, order: int) -> Array:
        """What each cell adds to `gram`, (cells, 4, 4): of the four functions that live on it."""
        derived = self.polynomials
        for _ in range(order):
            derived = derived[..., 1:] * np.arange(1, derived.shape[-1])
        powers = np.arange(derived.shape[-1])
        total = powers[:, None] + powers[None, :]
        moments = np.where(total % 2 == 0, 2 * 0.5 ** (total + 1) / (total + 1), 0.0)
        local = np.einsum("cap,pq,cbq->cab", derived, moments, derived)
        return np.asarray(local * self.widths[:, None, None] ** (1 - 2 * order))

    def locate(self, places: ArrayLike) -> tuple[Rows, Array]:
        """Return the cell of each place and the local coordinate s in it; the end cells reach to infinity."""
        x = np.asarray(places, float)
        cell = np.clip(np.searchsorted(self.edges, x, side="right") - 1, 0, self.cells - 1)
        return cell, (x - self.edges[cell]) / self.widths[cell] - 0.5

    def basis(self, places: ArrayLike) -> tuple[Rows, Array]:
        """Return the first basis index (n,) and the four values (n, 4) at each place."""
        cell, s = self.locate(places)
        table = self.polynomials[cell]
        values = table[..., 3]
        for power in (2, 1, 0):
            values = values * s[:, None] + table[..., power]
        return cell, values

    def matrix(self, places: ArrayLike) -> Array:
        """Dense design matrix (n, size) at the places: for tensor grids, where n is a few hundred."""
        cell, values = self.basis(places)
        return _spread(cell, values, self.size)


def window(cell: Rows, values: Array) -> tuple[slice, Array]:
    """The basis functions that some places (n,) touch, and the dense values of those, from `Axis.basis`."""
    touched = slice(cell.min(), cell.max() + 4)
    return touched, _spread(cell - touched.start, values, touched.stop - touched.start)


def make_axis(low: float, high: float, cell: float, reach: float) -> Axis:
    """Cover [low, high] with equal cells of about ``cell`` and add a growing margin on both sides.

    Parameters
    ----------
    low, high : float, mm
        Ends of the part; high > low.
    cell : float, mm
        Wanted cell width; at least two cells are made.
    reach : float, mm
        Length of the margin on each side.
    """
    count = max(2, int(np.ceil((high - low) / cell - 1e-9)))
    inner = np.linspace(low, high, count + 1)
    steps = np.cumsum((high - low) / count * _growth(reach * count / (high - low)) ** np.arange(1, MARGIN_CELLS + 1))
    return Axis(np.concatenate([low - steps[::-1], inner, high + steps]))


def _spread(cell: Rows, values: Array, size: int) -> Array:
    """Four values a row, from column ``cell`` on, among zeros."""
    out = np.zeros((len(cell), size))
    np.put_along_axis(out, cell[:, None] + np.arange(4), values, axis=1)
    return out


def _cubics(knots: Array, places: Array) -> Array:
    """Values (cells, n, 4) of the cubic B-splines on each cell at places (cells, n) in it.

    Recursion over the degree (M. G. Cox, J. Inst. Math. Appl. 10, 134, 1972; C. de Boor, J. Approx. Theory 6, 1972).
    """
    here = np.arange(3, len(places) + 3)
    values = [np.ones(places.shape)]
    for degree in range(1, 4):
        higher = [np.zeros(places.shape) for _ in range(degree + 1)]
        for k, value in enumerate(values):
            low, high = knots[here + k + 1 - degree][:, None], knots[here + k + 1][:, None]
            higher[k] += (high - places) / (high - low) * value
            higher[k + 1] += (places - low) / (high - low) * value
        values = higher
    return np.stack(values, axis=-1)


def _growth(ratio: float) -> float:
    """Factor g >= 1 with ``g + g² + … = ratio``, for a margin of so many first cells: the one root above zero."""
    if ratio <= MARGIN_CELLS:
        return 1.0
    roots = np.roots([1.0] * MARGIN_CELLS + [-ratio])
    return float(roots[np.isreal(roots)].real.max())
