"""Cholesky factor of a band matrix over the grid: packed as LAPACK finds it, in dense blocks once they are asked for.

Three neighbouring columns of coefficients make a block, so that bicubic B-splines couple a block to its
neighbours only. BLAS then works on dense blocks: many right-hand sides at once, and the blocks of the inverse
that variances need (K. Takahashi, J. Fagan, M.-S. Chin, PICA Conf. 1973), neither of which a packed banded
factor offers; to find it takes a third of the time that blocks do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import NumericalError
from floorfit.surface.grid import Band

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

__all__ = ["Factor", "Rights", "as_sparse", "factorise", "outer", "outer_sum", "product"]

#: Coefficient columns in a block: the reach of a cubic B-spline.
COLUMNS = 3


@dataclass(frozen=True)
class Factor:
    """``A = L Lᵀ`` with L block bidiagonal.

    Parameters
    ----------
    packed : (b + 4, K b) ndarray
        Diagonals of L, the main one first, as LAPACK packs them, for K whole blocks of b = 3 ns; what is past A is that
        of a unit matrix.
    shape : (int, int)
        Coefficients along and across.
    freed : (count, nl, ns) ndarray
        Vectors k; what is solved, drawn and inverted is then the matrix with inverse ``A⁻¹ + Σ k kᵀ``, see `free`.
    freed_log_determinant : float
        By how much the log determinant differs for it.
    """

    packed: Array
    shape: tuple[int, int]
    freed: Array = field(default_factory=lambda: np.empty((0, 0, 0)))
    freed_log_determinant: float = 0.0

    def free(self, normal: Band, energy: Band, directions: Array) -> Factor:
        """Factor of ``N + S'`` from that of ``A = N + S``, where S' costs nothing along the directions.

        Parameters
        ----------
        normal, energy : Band
            N and S.
        directions : (count, nl, ns) ndarray
            X, along which N and S are positive definite. ``S' = S − S X (Xᵀ S X)⁻¹ Xᵀ S``.

        Notes
        -----
        With ``Z = X − A⁻¹ N X`` and ``G = Xᵀ N Z`` the inverse is ``A⁻¹ + Z G⁻¹ Zᵀ`` and the determinant
        ``|A| |G| / |Xᵀ S X|`` (M. A. Woodbury 1950; generalised least squares for the directions).
        """
        held = np.einsum("aij,bij->ab", directions, product(energy, directions))
        return self._freed(normal, directions, 0.0, -float(np.linalg.slogdet(held)[1]))

    def loosened(self, normal: Band, directions: Array) -> Factor:
        """Factor of ``N + (S⁻¹ + M Mᵀ)⁻¹`` from that of ``A = N + S``: directions M added to the prior covariance.

        Parameters
        ----------
        normal : Band
            N.
        directions : (count, nl, ns) ndarray
            M, each one standard deviation long.

        Notes
        -----
        With ``Z = M − A⁻¹ N M`` and ``G = I + Mᵀ N Z`` the inverse is ``A⁻¹ + Z G⁻¹ Zᵀ``; the determinant is that of
        the readings' covariance, ``|A| |G|`` beside the same ``|S|`` (M. A. Woodbury 1950).
        """
        return self._freed(normal, directions, 1.0, 0.0)

    def _freed(self, normal: Band, directions: Array, own: float, held: float) -> Factor:
        """With ``A⁻¹ + Z G⁻¹ Zᵀ`` for an inverse, ``G = own I + Xᵀ N Z``; ``held`` goes into the log determinant."""
        pulled = product(normal, directions)
        beyond = directions - self.solve_many(pulled)
        inner = own * np.eye(len(directions)) + np.einsum("aij,bij->ab", pulled, beyond)
        lower = np.linalg.cholesky(inner)
        change = self.freed_log_determinant + 2 * np.log(np.diag(lower)).sum() + held
        freed = np.linalg.solve(lower, beyond.reshape(len(directions), -1)).reshape(beyond.shape)
        both = np.concatenate([self.freed.reshape(-1, *self.shape), freed])
        return replace(self, freed=np.asarray(both), freed_log_determinant=float(change))

    def log_determinant(self) -> float:
        """Return log |A|."""
        return float(2 * np.log(self.packed[0]).sum()) + self.freed_log_determinant

    def solve(self, right: Array) -> Array:
        """Solve ``A x = right`` for one right-hand side (nl, ns)."""
        from scipy.linalg.lapack import dpbtrs

        full = np.zeros(self.packed.shape[1])
        full[: right.size] = right.ravel()
        out = np.asarray(dpbtrs(self.packed, full, lower=1)[0][: right.size].reshape(self.shape))
        return out + np.tensordot(np.tensordot(self.freed, right, 2), self.freed, 1) if len(self.freed) else out

    def solve_many(self, right: Array) -> Array:
        """Solve for many right-hand sides (count, nl, ns) at once."""
        x = _in_blocks(right)
        self._forward(x)
        self._backward(x)
        out = self._trimmed(x)
        if len(self.freed):
            out += np.tensordot(np.tensordot(right, self.freed, ((1, 2), (1, 2))), self.freed, 1)
        return out

    def inner(self, rights: Rights) -> tuple[Array, Array, float]:
        """Return ``Gᵀ A⁻¹ G``, ``Gᵀ A⁻¹ r`` and ``rᵀ A⁻¹ r`` for G (count, nl, ns) and r (nl, ns): half a solve.

        Cheaper where many are local: L⁻¹ leaves nothing above the first entry of each.
        """
        x, begun = rights.blocks.copy(), rights.begun
        self._forward(x, begun)
        total = np.zeros((x.shape[1], x.shape[1]))
        for some, count in zip(x, begun, strict=True):
            total[:count, :count] += some[:count] @ some[:count].T
        back = np.argsort(rights.order)
        total = total[np.ix_(back, back)]
        if len(self.freed):
            shares = np.tensordot(np.concatenate([rights.one[None], rights.many]), self.freed, ((1, 2), (1, 2)))
            total += shares @ shares.T
        return total[1:, 1:], total[1:, 0], float(total[0, 0])

    def draw(self, count: int, generator: np.random.Generator) -> Array:
        """Draw ``count`` joint samples (nl, ns, count) of a Gaussian with zero mean and precision A.

        Parameters
        ----------
        count : int
            Samples.
        generator : numpy.random.Generator
        """
        return self.spread(*self.normals(count, generator))

    def normals(self, count: int, generator: np.random.Generator) -> tuple[Array, Array]:
        """Draw what `spread` makes samples of: standard normals for L, in blocks, and for what is freed.

        Parameters
        ----------
        count : int
            Samples.
        generator : numpy.random.Generator
        """
        width = COLUMNS * self.shape[1]
        x = generator.standard_normal((self.packed.shape[1] // width, width, count))
        return x, generator.standard_normal((len(self.freed), count))

    def spread(self, x: Array, along: Array, right: Array | None = None) -> Array:
        """Samples with covariance A⁻¹ from standard normals, (nl, ns, count); less ``A⁻¹ right`` of each.

        Parameters
        ----------
        x, along : ndarray
            From `normals`; x is overwritten.
        right : (count, nl, ns) ndarray, optional
            A right-hand side for each sample: half the cost of a solve of its own.
        """
        from scipy.linalg.blas import dtrsm

        if right is not None:
            pulled = _in_blocks(right)
            self._forward(pulled)
            x -= pulled.transpose(0, 2, 1)
            if len(self.freed):
                along = along - np.tensordot(self.freed, right, ((1, 2), (1, 2)))
        lower, links = self._blocks
        for k in range(len(x) - 1, -1, -1):
            if k < len(x) - 1:
                x[k] -= links[k] @ x[k + 1]
            x[k] = dtrsm(1.0, lower[k].T, x[k].T, side=1, lower=1, overwrite_b=1).T
        out = x.reshape(len(x) * COLUMNS, self.shape[1], x.shape[2])[: self.shape[0]]
        return out + np.tensordot(self.freed, along, (0, 0)) if len(self.freed) else out

    @cached_property
    def inverse_band(self) -> Band:
        """Return the band of ``A⁻¹``: exact covariances of neighbouring coefficients; found once."""
        from scipy.linalg.lapack import dtrtri

        (lower, links), ns = self._blocks, self.shape[1]
        count = len(lower)
        band = np.zeros((4, count * COLUMNS + COLUMNS, 7, ns))
        covariance = np.empty(0)
        for k in range(count - 1, -1, -1):
            root = dtrtri(lower[k].T, lower=1)[0]
            own = root.T @ root
            if k < count - 1:
                gain = links[k].T @ root
                cross = -covariance @ gain
                own = own - gain.T @ cross
                _unpack(band, k, cross, ns, step=1)
            covariance = (own + own.T) / 2
            _unpack(band, k, covariance, ns, step=0)
        band = band[:, : self.shape[0]]
        return band + outer_sum(self.freed, self.freed) if len(self.freed) else band

    @cached_property
    def _blocks(self) -> tuple[Array, Array]:
        """Transposed blocks of L, each (K, b, b): those of the diagonal, and those under it."""
        reach, width = len(self.packed), COLUMNS * self.shape[1]
        count, room = self.packed.shape[1] // width, 2 * width + COLUMNS
        dense = np.zeros((count, width * room))
        # A column of L in a row of its own, each one further to the right than the one before.
        steps = (dense.strides[0], (room + 1) * dense.itemsize, dense.itemsize)
        columns = np.lib.stride_tricks.as_strided(dense, (count, width, reach), steps)
        columns[:] = self.packed.T.reshape(count, width, reach)
        rows = dense.reshape(count, width, room)
        return np.ascontiguousarray(rows[:, :, :width]), rows[:, :, width : 2 * width]

    def _forward(self, x: Array, begun: Rows | None = None) -> None:
        """L⁻¹ in place; of block k only the first ``begun[k]`` rows, which holds the others of before."""
        from scipy.linalg.blas import dtrsm

        lower, links = self._blocks
        count = np.full(len(x), x.shape[1]) if begun is None else begun
        for k, own in enumerate(lower):
            here = x[k, : count[k]]
            if k:
                here[: count[k - 1]] -= x[k - 1, : count[k - 1]] @ links[k - 1]
            here[:] = dtrsm(1.0, own.T, here.T, lower=1, overwrite_b=1).T

    def _backward(self, x: Array) -> None:
        from scipy.linalg.blas import dtrsm

        lower, links = self._blocks
        last = len(lower) - 1
        for k in range(last, -1, -1):
            if k < last:
                x[k] -= x[k + 1] @ links[k].T
            x[k] = dtrsm(1.0, lower[k].T, x[k].T, lower=1, trans_a=1, overwrite_b=1).T

    def _trimmed(self, x: Array) -> Array:
        blocks, count, width = x.shape
        full = x.transpose(1, 0, 2).reshape(count, blocks * COLUMNS, width // COLUMNS)
        return np.ascontiguousarray(full[:, : self.shape[0]])


@dataclass(frozen=True)
class Rights:
    """Right-hand sides as `Factor.inner` wants them, for any factor over the grid.

    Parameters
    ----------
    one : (nl, ns) ndarray
    many : (count, nl, ns) ndarray
    blocks : (blocks, 1 + count, b) ndarray
        All of them, those first that begin first.
    begun : (blocks,) ndarray of int
        How many of them begin in this block or before.
    order : (1 + count,) ndarray of int
    """

    one: Array
    many: Array
    blocks: Array
    begun: Rows
    order: Rows

    @classmethod
    def of(cls, one: Array, many: Array) -> Rights:
        """Sort them by the first block in which they are not zero, ``one`` before all.

        Parameters
        ----------
        one : (nl, ns) ndarray
        many : (count, nl, ns) ndarray
        """
        x = _in_blocks(np.concatenate([one[None], many]))
        first = x.any(axis=2).argmax(axis=0)
        first[0] = 0
        order = np.argsort(first, kind="stable")
        begun = np.searchsorted(first[order], np.arange(len(x)), side="right")
        return cls(one, many, np.ascontiguousarray(x[:, order]), begun, order)


def _in_blocks(values: Array) -> Array:
    """Turn (count, nl, ns) into blocks (K, count, b); the padding solves to itself."""
    count, nl, ns = values.shape
    blocks = -(-nl // COLUMNS)
    full = np.zeros((blocks, count, COLUMNS, ns))
    for k in range(COLUMNS):
        some = values[:, k::COLUMNS]
        full[: some.shape[1], :, k] = some.transpose(1, 0, 2)
    return full.reshape(blocks, count, COLUMNS * ns)


def product(band: Band, vectors: Array) -> Array:
    """Return ``A v`` (count, nl, ns) for many coefficient arrays and a symmetric A given as a band.

    Parameters
    ----------
    band : Band
        Symmetric.
    vectors : (count, nl, ns) ndarray
    """
    nl, ns = vectors.shape[1:]
    out = np.zeros(vectors.shape)
    for d, e, here, there in _couplings(nl, ns):
        entries = band[d, here[0], e + 3, here[1]]
        out[:, *here] += entries * vectors[:, *there]
        if d:
            out[:, *there] += entries * vectors[:, *here]
    return out


def as_sparse(band: Band) -> csr_matrix:
    """Return the band as a sparse matrix over the flattened coefficients: faster than `product` for many vectors."""
    from scipy.sparse import csr_matrix

    nl, ns = band.shape[1], band.shape[3]
    number = np.arange(nl * ns).reshape(nl, ns)
    rows, columns, entries = [], [], []
    for d, e, here, there in _couplings(nl, ns):
        values = band[d, here[0], e + 3, here[1]].ravel()
        for a, b in ((here, there), (there, here))[: 2 if d else 1]:
            rows.append(number[a].ravel())
            columns.append(number[b].ravel())
            entries.append(values)
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_matrix((np.concatenate(entries), where), shape=(nl * ns, nl * ns))


def outer(vector: Array) -> Band:
    """Band of ``v vᵀ``."""
    return outer_sum(vector[None], vector[None])


def outer_sum(first: Array, second: Array) -> Band:
    """Band of ``Σ a_k b_kᵀ`` for two (count, nl, ns), where the whole is symmetric.

    Parameters
    ----------
    first, second : (count, nl, ns) ndarray
        a and b.
    """
    nl, ns = first.shape[1:]
    band = np.zeros((4, nl, 7, ns))
    a, b = (np.ascontiguousarray(many.transpose(1, 2, 0)) for many in (first, second))
    for d, e, here, there in _couplings(nl, ns):
        band[d, here[0], e + 3, here[1]] = np.einsum("ijk,ijk->ij", a[here], b[there])
    return band


def _couplings(nl: int, ns: int) -> Iterator[tuple[int, int, tuple[slice, slice], tuple[slice, slice]]]:
    """Each diagonal (d, e) of a band with the coefficients that it couples: these, and those (d, e) further on."""
    for d in range(4):
        for e in range(-3, 4):
            here = slice(0, nl - d), slice(max(0, -e), ns - max(0, e))
            yield d, e, here, (slice(d, nl), slice(max(0, e), ns - max(0, -e)))


def factorise(band: Band) -> Factor:
    """Cholesky factor of a symmetric positive definite band.

    Parameters
    ----------
    band : (4, nl, 7, ns) ndarray
        The matrix, see `floorfit.surface.grid`.

    Returns
    -------
    Factor

    Raises
    ------
    NumericalError
        If the matrix is not positive definite: too few or badly placed readings for the smoothing.

    Notes
    -----
    About ``m b²`` operations and ``m b`` numbers for m unknowns and blocks of b = 3 ns.
    """
    from scipy.linalg.lapack import dpbtrf

    nl, ns = band.shape[1], band.shape[3]
    width, count = COLUMNS * ns, -(-nl // COLUMNS)
    packed = np.zeros((count * COLUMNS, ns, width + 4))
    packed[nl:, :, 0] = 1.0
    for d, e, here, _ in _couplings(nl, ns):
        if d * ns + e >= 0:
            packed[*here, d * ns + e] += band[d, here[0], e + 3, here[1]]
    lower, fault = dpbtrf(packed.reshape(count * width, -1).T, lower=1, overwrite_ab=1)
    if fault:
        raise NumericalError(
            f"the normal matrix is not positive definite at block {(fault - 1) // width + 1} of {count}: "
            "the readings do not fix a surface. Take readings in more places."
        )
    return Factor(lower, (nl, ns))


@lru_cache(maxsize=8)
def _places(ns: int, step: int) -> tuple[Rows, Rows]:
    """Flat places in a dense block (k + step, k), and where their numbers stand in ``band[:, 3k:3k+3]``."""
    width = COLUMNS * ns
    d, c, e, j = np.meshgrid(np.arange(4), np.arange(COLUMNS), np.arange(-3, 4), np.arange(ns), indexing="ij")
    row = c + d - step * COLUMNS
    held = (row >= 0) & (row < COLUMNS) & (j + e >= 0) & (j + e < ns)
    target = (row * ns + j + e) * width + c * ns + j
    source = ((d * COLUMNS + c) * 7 + e + 3) * ns + j
    return target[held], source[held]


def _unpack(band: Band, k: int, block: Array, ns: int, *, step: int) -> None:
    """Write the entries of dense block (k + step, k) that the band keeps."""
    target, source = _places(ns, step)
    columns = np.zeros(4 * COLUMNS * 7 * ns)
    columns[source] = block.reshape(-1)[target]
    band[:, k * COLUMNS : (k + 1) * COLUMNS] += columns.reshape(4, COLUMNS, 7, ns)
