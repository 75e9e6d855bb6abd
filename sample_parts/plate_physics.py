"""Warp of a pocketed plate by plate bending under released residual stress: the truth that splines are tried on.

A Kirchhoff plate (orthotropic, rigidity varying over the plan, free edges) takes the deflection w that minimises

    1/2 ∬ (κ − κ0)ᵀ C (κ − κ0) dx dy − ∬ q w dx dy,      κ = (w_xx, w_yy, 2 w_xy)

where κ0 is the curvature that each small piece would take if it were cut free (its released residual stress)
and C its bending rigidity. Solved by finite elements: rectangles of F. K. Bogner, R. L. Fox & L. A. Schmit (1965;
bicubic Hermite, C1) on a tensor mesh whose lines follow the rib faces. No smoothing spline and no code of the
package is involved. scikit-fem has the same element, but in powers of the plan coordinates, which loses all digits
on a plate of metres with cells of millimetres; the tests compare the two where both can work.

What is simplified, and why it does no harm to a truth surface:

* A rib is a strip of the plate whose bending rigidity is that of the whole section of rib and web about their
  common neutral axis, and whose twist rigidity is that of a narrow bar (G H b³ / 3, Timoshenko & Goodier).
* Membrane forces are left out: the warp is small against the height of the ribs.
* The stress is released at once; no order of cuts.

Lengths in mm, stresses in MPa, forces in N. Z up, out of the pockets; w > 0 where the plate stands high.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: 7050 plate: 10.3e3 ksi (MMPDS-01, table 3.7.4.0(b1)); Poisson's ratio as usually printed with it.
E_MPA = 71000.0
NU = 0.33


@dataclass(frozen=True)
class Section:
    """Layers of material in a section, each ``(z_low, z_high, width)``, mm; widths are relative for a plate."""

    layers: tuple[tuple[float, float, float], ...]

    def moments(self) -> tuple[float, float, float]:
        """Area, height of the centroid, and second moment about it."""
        z0, z1, b = np.array(self.layers, float).T
        area = float(np.sum(b * (z1 - z0)))
        centre = float(np.sum(b * (z1**2 - z0**2)) / 2 / area)
        second = float(np.sum(b * ((z1 - centre) ** 3 - (z0 - centre) ** 3)) / 3)
        return area, centre, second


def released_curvature(
    section: Section, stress: Callable[[Array], Array], *, e_mpa: float = E_MPA, nu: float = NU
) -> float:
    """Curvature w_xx that a section takes when it is cut free with an equal biaxial locked-in stress.

    The strain that restores zero force and zero moment is linear over the height, so
    w_xx = (1 − ν) ∫ σ (z − z̄) dA / (E I). For a plain plate this is R. G. Treuting & W. T. Read's relation
    (J. Appl. Phys. 22, 130, 1951): 12 (1 − ν) M / (E t³).
    """
    _, centre, second = section.moments()
    nodes, weights = np.polynomial.legendre.leggauss(12)
    moment = 0.0
    for low, high, width in section.layers:
        z = low + (high - low) * (nodes + 1) / 2
        moment += width * (high - low) / 2 * float(np.sum(weights * stress(z) * (z - centre)))
    return (1 - nu) * moment / (e_mpa * second)


def parabolic_stress(s_mpa: float, blank: float, skim: float = 0.0) -> Callable[[Array], Array]:
    """Rolled and stretched plate: σ = s (1 − 12 ζ²/h²), −2s at the skins, +s in the middle; z = 0 at ``skim``."""

    def stress(z: Array) -> Array:
        zeta = z + skim - blank / 2
        return s_mpa * (1 - 12 * zeta**2 / blank**2)

    return stress


@dataclass(frozen=True)
class Rigidity:
    """Bending rigidities at points, N·mm: M_x = d11 κ_x + d12 κ_y, M_xy = d66 · 2 w_xy."""

    d11: Array
    d22: Array
    d12: Array
    d66: Array


def plate_rigidity(thickness: ArrayLike, *, e_mpa: float = E_MPA, nu: float = NU) -> Rigidity:
    """Rigidity of an isotropic plate, D = E t³ / (12 (1 − ν²)), at each thickness."""
    d = np.asarray(e_mpa * np.asarray(thickness, float) ** 3 / (12 * (1 - nu**2)))
    return Rigidity(d, d, nu * d, (1 - nu) / 2 * d)


def rib_rigidity(second: float, width: float, height: float, *, e_mpa: float = E_MPA, nu: float = NU) -> Rigidity:
    """Rigidity of a rib strip: bending E I / b both ways, twist of a narrow bar G H b² / 12."""
    bend = np.asarray(e_mpa * second / width)
    twist = np.asarray(e_mpa / (2 * (1 + nu)) * height * width**2 / 12)
    return Rigidity(bend, bend, np.zeros(()), twist)


@dataclass(frozen=True)
class Deflection:
    """A deflection on a tensor mesh: bicubic Hermite between nodes, so nothing is lost of the finite elements.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Mesh lines.
    w, w_x, w_y, w_xy : (k, l) ndarray
        Deflection and derivatives at the nodes.
    """

    x: Array
    y: Array
    w: Array
    w_x: Array
    w_y: Array
    w_xy: Array

    def __call__(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Deflection at plan positions, mm; any shape, broadcast together; the last cell is continued outside."""
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        i, hx, bx = _hermite(self.x, xs)
        j, hy, by = _hermite(self.y, ys)
        total = np.zeros(xs.shape)
        for di in (0, 1):
            for dj in (0, 1):
                node = (i + di, j + dj)
                along = bx[2 * di] * self.w[node] + bx[2 * di + 1] * hx * self.w_x[node]
                across = bx[2 * di] * self.w_y[node] + bx[2 * di + 1] * hx * self.w_xy[node]
                total += by[2 * dj] * along + by[2 * dj + 1] * hy * across
        return total

    def scaled(self, factor: float) -> Deflection:
        """The same shape, larger: the problem is linear in the stress."""
        return Deflection(self.x, self.y, *(factor * a for a in (self.w, self.w_x, self.w_y, self.w_xy)))

    def plus(self, other: Deflection) -> Deflection:
        """Sum of two deflections on one mesh."""
        pairs = zip(self._values(), other._values(), strict=True)
        return Deflection(self.x, self.y, *(a + b for a, b in pairs))

    def _values(self) -> tuple[Array, Array, Array, Array]:
        return self.w, self.w_x, self.w_y, self.w_xy


def _hermite(lines: Array, values: Array) -> tuple[NDArray[np.intp], Array, tuple[Array, Array, Array, Array]]:
    """Cell, its length, and the cubic Hermite functions (value, slope at the left end; at the right end)."""
    i = np.clip(np.searchsorted(lines, values, side="right") - 1, 0, len(lines) - 2)
    h = lines[i + 1] - lines[i]
    s = (values - lines[i]) / h
    return i, h, ((1 + 2 * s) * (1 - s) ** 2, s * (1 - s) ** 2, s**2 * (3 - 2 * s), s**2 * (s - 1))


@dataclass(frozen=True)
class PlateModel:
    """Meshed plate: mesh lines, and how stiff it is at each plan position.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Mesh lines; put one on each rib face.
    rigidity : callable (x, y) -> Rigidity
    """

    x: Array
    y: Array
    rigidity: Callable[[Array, Array], Rigidity]


@dataclass(frozen=True)
class Load:
    """What bends the plate: released curvature (κ0_x, κ0_y) in 1/mm, pressure upwards in N/mm², or both."""

    curvature: Callable[[Array, Array], tuple[Array, Array]] | None = None
    pressure: Callable[[Array, Array], Array] | None = None


def deflect(
    model: PlateModel, load: Load, *, support: str | Callable[[Array, Array], NDArray[np.bool_]] = "datum"
) -> Deflection:
    """Solve the plate.

    Parameters
    ----------
    model : PlateModel
    load : Load
    support : {"datum", "simple", "clamped"} or callable (x, y) -> bool
        ``datum``: free, rigid motion taken out at three nodes (both corners of the left end, the middle of the
        right one); ``simple`` and ``clamped``: all four edges; a callable: clamped at the nodes where it is true.

    Returns
    -------
    Deflection
    """
    cells = _Cells(model.x, model.y)
    rigidity = model.rigidity(cells.px, cells.py)
    numbers = _numbers(~_fixed(model.x, model.y, support))
    unknowns = numbers[cells.i, cells.j, cells.kind]
    answer = _solve_banded(cells.stiffness(rigidity), cells.right_side(rigidity, load), unknowns)
    fields = np.where(numbers >= 0, answer[numbers], 0.0)
    return Deflection(model.x, model.y, *fields.transpose(2, 0, 1))


class _Cells:
    """The cells of a tensor mesh with their 16 Hermite functions at 4 × 4 Gauss points (exact for even webs)."""

    def __init__(self, x: Array, y: Array) -> None:
        px, wx, hx = _along(x)
        py, wy, hy = _along(y)
        nx, ny = len(x) - 1, len(y) - 1
        self.shape = (nx * ny, 16)
        self.px, self.py = (_per_cell(np.broadcast_to(p, (nx, ny, 4, 4))) for p in (px[:, None, :, None], py[:, None]))
        self.weight = _per_cell(np.einsum("ig,jh->ijgh", wx, wy))
        self.value, self.xx, self.yy, self.xy = (
            np.einsum("iga,jhb->ijghab", hx[m], hy[n]).reshape(*self.shape, 16)
            for m, n in ((0, 0), (2, 0), (0, 2), (1, 1))
        )
        a, b = np.divmod(np.arange(16), 4)
        self.i = np.repeat(np.arange(nx), ny)[:, None] + a // 2
        self.j = np.tile(np.arange(ny), nx)[:, None] + b // 2
        self.kind = np.broadcast_to(a % 2 + 2 * (b % 2), self.shape)

    def stiffness(self, r: Rigidity) -> Array:
        """Matrices of the cells, (cells, 16, 16)."""
        w = self.weight
        mx = (w * r.d11)[..., None] * self.xx + (w * r.d12)[..., None] * self.yy
        my = (w * r.d12)[..., None] * self.xx + (w * r.d22)[..., None] * self.yy
        mxy = (4 * w * r.d66)[..., None] * self.xy
        pairs = ((self.xx, mx), (self.yy, my), (self.xy, mxy))
        return sum(curvature.transpose(0, 2, 1) @ moment for curvature, moment in pairs)

    def right_side(self, r: Rigidity, load: Load) -> Array:
        """Load vectors of the cells, (cells, 16)."""
        total = np.zeros(self.shape)
        if load.curvature:
            kx, ky = load.curvature(self.px, self.py)
            total += np.einsum("eq,eqk->ek", self.weight * (r.d11 * kx + r.d12 * ky), self.xx)
            total += np.einsum("eq,eqk->ek", self.weight * (r.d12 * kx + r.d22 * ky), self.yy)
        if load.pressure:
            total += np.einsum("eq,eqk->ek", self.weight * load.pressure(self.px, self.py), self.value)
        return total


def _per_cell(values: Array) -> Array:
    return values.reshape(-1, 16)


def _along(lines: Array) -> tuple[Array, Array, tuple[Array, Array, Array]]:
    """Gauss points and weights of the cells along one axis, and the Hermite functions there with derivatives."""
    nodes, weights = np.polynomial.legendre.leggauss(4)
    h = np.diff(lines)[:, None]
    s = np.broadcast_to((nodes + 1) / 2, (len(h), 4))
    one = np.ones_like(s)
    value = ((1 + 2 * s) * (1 - s) ** 2, h * s * (1 - s) ** 2, s**2 * (3 - 2 * s), h * s**2 * (s - 1))
    slope = (6 * s * (s - 1) / h, (1 - s) * (1 - 3 * s), 6 * s * (1 - s) / h, s * (3 * s - 2))
    curve = ((12 * s - 6) / h**2, (6 * s - 4) / h, (6 - 12 * s) / h**2, (6 * s - 2) / h)
    functions = tuple(np.stack([f * one for f in group], axis=-1) for group in (value, slope, curve))
    return lines[:-1, None] + h * s, h * weights / 2, functions


def _fixed(x: Array, y: Array, support: str | Callable[[Array, Array], NDArray[np.bool_]]) -> NDArray[np.bool_]:
    """Which of w, w_x, w_y, w_xy is held at zero, (k, l, 4)."""
    fixed = np.zeros((len(x), len(y), 4), dtype=bool)
    ends_x, ends_y = [0, -1], [0, -1]
    if callable(support):
        fixed[support(*np.meshgrid(x, y, indexing="ij"))] = True
    elif support == "datum":
        fixed[[0, 0, -1], [0, -1, len(y) // 2], 0] = True
    elif support == "simple":
        fixed[ends_x, :, 0] = fixed[ends_x, :, 2] = True
        fixed[:, ends_y, 0] = fixed[:, ends_y, 1] = True
    elif support == "clamped":
        fixed[ends_x] = fixed[:, ends_y] = True
    else:
        raise ValueError(f"support is {support!r}: use datum, simple or clamped.")
    return fixed


def _numbers(free: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Numbers of the unknowns, node by node along the side with fewer lines (a narrow band); −1 where held."""
    swap = free.shape[0] < free.shape[1]
    order = free.transpose(1, 0, 2) if swap else free
    count = np.where(order, np.cumsum(order).reshape(order.shape) - 1, -1)
    return count.transpose(1, 0, 2) if swap else count


def _solve_banded(matrices: Array, sides: Array, unknowns: NDArray[np.int64]) -> Array:
    """Cholesky in the band, scaled to unit diagonal first: slopes and heights differ by orders of magnitude."""
    from scipy.linalg import solveh_banded

    row = np.broadcast_to(unknowns[:, :, None], matrices.shape)
    col = np.broadcast_to(unknowns[:, None, :], matrices.shape)
    kept = (col >= 0) & (row >= col)
    row, col, values = row[kept], col[kept], matrices[kept]
    n, height = int(unknowns.max()) + 1, int((row - col).max()) + 1
    band = np.bincount((row - col) * n + col, values, height * n).reshape(height, n)
    right = np.bincount(unknowns[unknowns >= 0], sides[unknowns >= 0], n)
    scale = 1 / np.sqrt(band[0])
    for k in range(height):
        band[k, : n - k] *= scale[k:] * scale[: n - k]
    return np.asarray(scale * solveh_banded(band, scale * right, lower=True))


def mesh_lines(edges: Sequence[float], step: float, least: int = 1) -> Array:
    """Mesh lines through all ``edges``, no further apart than ``step`` and ``least`` cells where wider than 12 mm."""
    lines = [float(edges[0])]
    for low, high in pairwise(edges):
        count = max(1 if high - low <= 12 else least, int(np.ceil((high - low) / step)))
        lines += [float(v) for v in np.linspace(low, high, count + 1)[1:]]
    return np.array(lines)
