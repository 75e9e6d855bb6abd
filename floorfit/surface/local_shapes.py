"""Named shapes beside the spline: w = spline + Σ a_k φ_k, each φ a table over a rectangle, the a_k jointly Gaussian.

The surface knows nothing of what they stand for: the dish of a clamped web over one floor, or a mode of a whole plate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["LocalShapes", "Misfit", "Root", "ShapeTable", "together"]

#: Places that are looked up at once: memory stays small for a million.
AT_ONCE = 20_000

#: Standard deviation of what a form leaves out, in units of the shape's own amount, for each of three further forms;
#: over a floor together some 5 to 7 %. A clamped rectangle differs by 1 to 3 % from the forms that are tried; uneven
#: stress and ribs that give make more of it (invented plates of the tuning seeds, tests/benchmarks/conditions.py).
MISFIT_SHARE = 0.08
#: Standard deviation of each of these forms beside the shape's own amount where they are fitted: ribs that twist with
#: their webs bend one by what its neighbours do (invented plates with webs that bend by themselves).
FORM_SHARE = 0.3


@dataclass(frozen=True)
class ShapeTable:
    """A shape on a rectangular lattice: bilinear between the nodes, nothing outside.

    Parameters
    ----------
    low, high : (float, float), mm
        First and last node along X and Y.
    values : (k, m) ndarray
        At the nodes, k along X and m along Y, at least two each way; of the order of one at the highest.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    values: Array


@dataclass(frozen=True)
class _Tables:
    """The nodes of several tables, one after the other, so that places in any of them are evaluated at once."""

    low: Array
    step: Array
    size: Rows
    first: Rows
    values: Array

    @classmethod
    def of(cls, tables: Sequence[ShapeTable]) -> _Tables:
        low, high = (np.array([getattr(one, name) for one in tables], float).reshape(-1, 2) for name in ("low", "high"))
        size = np.array([one.values.shape for one in tables], np.intp).reshape(-1, 2)
        first = np.cumsum(size.prod(axis=1)) - size.prod(axis=1)
        values = np.concatenate([np.empty(0), *(one.values.ravel() for one in tables)])
        return cls(low, (size - 1) / (high - low), size, first, values)

    def at(self, table: Rows, xy: Array) -> Array:
        """Value of table ``table[k]`` at place k inside its rectangle, bilinear between the nodes."""
        s = (xy - self.low[table]) * self.step[table]
        cell = np.clip(s.astype(np.intp), 0, self.size[table] - 2)
        s, wide = s - cell, self.size[table, 1]
        node = self.first[table] + cell[:, 0] * wide + cell[:, 1]
        v = self.values
        near = (1 - s[:, 1]) * v[node] + s[:, 1] * v[node + 1]
        far = (1 - s[:, 1]) * v[node + wide] + s[:, 1] * v[node + wide + 1]
        return np.asarray((1 - s[:, 0]) * near + s[:, 0] * far)


@dataclass(frozen=True)
class Root:
    """``U = D (I + Σ g v vᵀ)``, D the sizes: a root of a covariance with common parts v, applied in K operations.

    Parameters
    ----------
    sizes : (K,) ndarray
    common : (c, K) ndarray
        √g v, at right angles to each other.
    """

    sizes: Array
    common: Array

    def push(self, values: Array) -> Array:
        """U v for v (K, ...)."""
        return np.asarray((self.sizes * self._with_common(values).T).T)

    def pull(self, values: Array) -> Array:
        """Uᵀ v for v (K, ...)."""
        return self._with_common(np.asarray((self.sizes * values.T).T))

    def _with_common(self, values: Array) -> Array:
        return np.asarray(values + self.common.T @ (self.common @ values))


@dataclass(frozen=True)
class LocalShapes:
    """Shapes with the Gaussian that their amounts come from before any reading.

    Parameters
    ----------
    names : tuple of str
        What each stands for.
    tables : tuple of ShapeTable
    sizes : (K,) ndarray
        How far each is expected to go beside the others.
    common : float or (c, K) ndarray
        How much of it may be common to all, in units of what is each one's own: the amounts are ``s_k (c_k μ + z_k)``
        about zero (an expected amount is taken off the readings before, see `floorfit.surface.expected`), μ (c,) and z
        standard normal, up to a factor that the likelihood of the readings finds. Further forms are not counted in K.
    forms : int
        How many of them, the last ones, are further forms of the others; nothing is common to these.
    is_loose : bool
        Whether what they stand for may give way to its neighbours, so that further forms are to be tried.
    power : float
        To which a form that is the same for all families was raised.
    """

    names: tuple[str, ...]
    tables: tuple[ShapeTable, ...]
    sizes: Array
    common: float | Array = 0.0
    forms: int = 0
    is_loose: bool = False
    power: float = 1.0

    @property
    def covariance(self) -> Array:
        """P, of the amounts up to that factor, (K, K)."""
        alike = self.sizes * self._alike
        return np.asarray(np.diag(self.sizes**2) + alike.T @ alike)

    @property
    def root(self) -> Root:
        """U with ``U Uᵀ = P``."""
        _, lengths, across = np.linalg.svd(self._alike, full_matrices=False)
        return Root(self.sizes, np.sqrt(np.sqrt(1 + lengths**2) - 1)[:, None] * across)

    @property
    def _alike(self) -> Array:
        """What is common of each shape, in units of its size, (c, K)."""
        common = np.atleast_2d(self.common)
        alike = np.zeros((len(common), self.count))
        alike[:, : self.count - self.forms] = common
        return alike

    @property
    def count(self) -> int:
        """Number of shapes, K."""
        return len(self.tables)

    def design(self, points: ArrayLike) -> csr_array:
        """Value of each shape at points (n, 2), shape (n, K), sparse. Cost: sorting, and the places in each table."""
        from scipy.sparse import csr_array

        row, table, value, count = self._entries(points)
        return csr_array((value, (row, table)), shape=(count, self.count))

    def _entries(self, points: ArrayLike) -> tuple[Rows, Rows, Array, int]:
        """Place, shape and value, wherever that is not zero, and the number of places."""
        xy = np.asarray(points, float).reshape(-1, 2)
        pieces = [self._few(xy[first : first + AT_ONCE], first) for first in range(0, max(len(xy), 1), AT_ONCE)]
        row, table, value = (np.concatenate(one) for one in zip(*pieces, strict=True))
        return row, table, value, len(xy)

    def _few(self, xy: Array, start: int) -> tuple[Rows, Rows, Array]:
        """The same for a few places, of which the first is the ``start``-th of all."""
        (low, high), order = self._boxes, np.argsort(xy[:, 0], kind="stable")
        first = np.searchsorted(xy[order, 0], low[:, 0])
        count = np.searchsorted(xy[order, 0], high[:, 0], side="right") - first
        table = np.repeat(np.arange(self.count), count)
        row = order[np.arange(len(table)) + np.repeat(first - np.cumsum(count) + count, count)]
        inside = (xy[row, 1] >= low[table, 1]) & (xy[row, 1] <= high[table, 1])
        row, table = row[inside], table[inside]
        value = self._all.at(table, xy[row])
        held = value != 0.0
        return row[held] + start, table[held], value[held]

    @cached_property
    def _boxes(self) -> tuple[Array, Array]:
        corners = [(table.low, table.high) for table in self.tables]
        low, high = np.array(corners, float).reshape(-1, 2, 2).transpose(1, 0, 2)
        return low, high

    @cached_property
    def _all(self) -> _Tables:
        return _Tables.of(self.tables)

    def with_forms(self) -> LocalShapes:
        """With three further forms of each, see `Misfit`, to be fitted."""
        more, sizes = self.leaning, np.concatenate([self.sizes, np.repeat(FORM_SHARE * self.sizes, 3)])
        names, tables = self.names + more.names, self.tables + more.tables
        return LocalShapes(names, tables, sizes, self.common, more.count, power=self.power)

    @cached_property
    def leaning(self) -> LocalShapes:
        """Three further forms of each that is no such form itself, see `Misfit`."""
        own = self.count - self.forms
        tables = [other for table in self.tables[:own] for other in _leaning(table)]
        names = [name for name in self.names[:own] for _ in range(3)]
        return LocalShapes(tuple(names), tuple(tables), np.ones(len(tables)))

    def total_at(self, amounts: Array, points: ArrayLike) -> Array:
        """Sum of amounts times shapes at points (n, 2), mm.

        Parameters
        ----------
        amounts : (K,) ndarray, mm
        points : (n, 2) array_like, mm
        """
        row, table, value, count = self._entries(points)
        return np.asarray(np.bincount(row, value * amounts[table], count), float)

    def total_on_grid(self, amounts: Array, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Sum of amounts times shapes on the rectangle xs × ys, mm, shape (len(xs), len(ys)).

        Parameters
        ----------
        amounts : (K,) ndarray, mm
        xs, ys : (k,), (l,) array_like, mm
        """
        places = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1)
        return self.total_at(amounts, places).reshape(places.shape[:2])


@dataclass(frozen=True)
class Misfit:
    """What a shape of fixed form leaves out: three more forms each, in size a share of its amount, unseen by the fit.

    Parameters
    ----------
    shapes : LocalShapes
        Each shape leaning along X, along Y, and fuller or sharper; at most about one.
    deviation : (3 K,) ndarray, mm
        Standard deviation of the amount of each.
    """

    shapes: LocalShapes
    deviation: Array

    @classmethod
    def of(cls, shapes: LocalShapes, amounts: Array) -> Misfit:
        """Misfit of shapes that were fitted with amounts (K,), mm.

        Parameters
        ----------
        shapes : LocalShapes
        amounts : (K,) ndarray, mm
        """
        further = shapes.leaning
        return cls(further, np.repeat(MISFIT_SHARE * np.abs(amounts), 3)[: further.count])

    @classmethod
    def joined(cls, parts: Sequence[Misfit]) -> Misfit:
        """Several side by side."""
        every, _ = together([one.shapes for one in parts])
        return cls(every, np.concatenate([one.deviation for one in parts]))

    def variance_at(self, points: ArrayLike) -> Array:
        """Variance at places (n, 2), mm²."""
        return np.asarray(self.squares_at(points).sum(axis=1), dtype=np.float64).ravel()

    def squares_at(self, points: ArrayLike) -> csr_array:
        """What each form adds to the variance at places (n, 2), mm², shape (n, 3 K), sparse."""
        design = self.shapes.design(points)
        design.data = (design.data * self.deviation[design.indices]) ** 2
        return design


def together(families: Sequence[LocalShapes]) -> tuple[LocalShapes, list[int]]:
    """All shapes of several families side by side, and the number of the first of each.

    Parameters
    ----------
    families : sequence of LocalShapes
        One at least; what is common to each is lost.
    """
    starts = np.cumsum([0, *(one.count for one in families)])[:-1].tolist()
    if len(families) == 1:
        return families[0], starts
    names, tables = (tuple(x for one in families for x in getattr(one, key)) for key in ("names", "tables"))
    return LocalShapes(names, tables, np.concatenate([one.sizes for one in families])), starts


def _leaning(table: ShapeTable) -> list[ShapeTable]:
    """The table times −2…2 along X, along Y, and ``4 v (1 − v)``."""
    v = table.values
    along, across = (4 * np.arange(size) / (size - 1) - 2 for size in v.shape)
    forms = (v * along[:, None], v * across[None, :], 4 * v * np.maximum(1 - v, 0.0))
    return [ShapeTable(table.low, table.high, form) for form in forms]
