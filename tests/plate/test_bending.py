"""The plate's own mesh: published deflections, closed forms and the beam limit."""

from __future__ import annotations

import numpy as np
import pytest
from even_plate import even
from reference_values import PLATE_UNDER_PRESSURE

from floorfit.plate.bending import PlateMesh
from floorfit.plate.rigidity import Rigidity

NU = 0.3


def _edge(a: float, b: float, count: int) -> np.ndarray:
    """Places round a rectangle a × b."""
    s, t = np.linspace(0, a, count), np.linspace(0, b, count)
    sides = [(s, 0 * s), (s, 0 * s + b), (0 * t, t), (0 * t + a, t)]
    return np.concatenate([np.stack(side, axis=1) for side in sides])


def _pressure(mesh: PlateMesh, count: int = 120) -> np.ndarray:
    """Right side of a pressure of one over E, as forces in the middles of small squares."""
    x0, y0, x1, y1 = mesh.bounds
    x, y = ((np.arange(count) + 0.5) / count * (b - a) + a for a, b in ((x0, x1), (y0, y1)))
    points = np.array(np.meshgrid(x, y, indexing="ij")).reshape(2, -1).T
    area = (x1 - x0) * (y1 - y0) / count**2
    return mesh.forces(points, np.full((1, len(points)), area))


@pytest.mark.parametrize(("support", "ratio", "alpha"), PLATE_UNDER_PRESSURE)
def test_plate_under_pressure(support: str, ratio: float, alpha: float) -> None:
    side = 100.0
    mesh = PlateMesh((0.0, 0.0, side * ratio, side), even(2.0, (round(14 * ratio), 14), NU))
    held = _edge(side * ratio, side, 141)
    if support == "clamped":  # a second row close by holds the slope
        middle = np.array([side * ratio / 2, side / 2])
        held = np.concatenate([held, middle + (held - middle) * (1 - 1e-3)])
    stiff = 1e4 if support == "simple" else 1e6
    w = mesh.at(mesh.solve(_pressure(mesh), held, stiff), np.array([side * ratio / 2]), np.array([side / 2]))
    got = float(w[0, 0, 0]) * 2.0**3 / (12 * (1 - NU**2)) / side**4
    # Error falls as h⁴ to some 1e-4 at 14 cells a side; the clamp stands 0.05 mm inside the edge, 0.1 % of the span.
    assert got == pytest.approx(alpha, rel=5e-4 if support == "simple" else 6e-3)


def test_free_plate_takes_its_released_curvature_exactly() -> None:
    # A parabola in each direction and a twist: bicubic splines hold them, so that only rounding is left.
    mesh = PlateMesh((10.0, -5.0, 1010.0, 395.0), even(40.0, (9, 5), NU))
    kx, ky, kxy = 8.76e-6, 3.0e-6, -1.1e-6
    one = np.ones((1, 9, 5))
    solved = mesh.solve(mesh.moments(kx * one, ky * one, kxy * one), np.array([[10, -5], [1010, -5], [10, 395.0]]))
    x, y = np.linspace(10, 1010, 23), np.linspace(-5, 395, 11)
    X, Y = np.meshgrid(x, y, indexing="ij")
    left = (mesh.at(solved, x, y)[0] - (kx * X**2 + ky * Y**2) / 2 - kxy * X * Y).ravel()
    planes = np.column_stack([np.ones(X.size), X.ravel(), Y.ravel()])
    assert np.abs(left - planes @ np.linalg.lstsq(planes, left, rcond=None)[0]).max() < 1e-10


def test_uneven_plate_agrees_with_scikit_fem() -> None:
    # scikit-fem 12, Bogner-Fox-Schmit element, the energy written out by hand; rigidity even over each element.
    from skfem import Basis, BilinearForm, ElementQuadBFS, LinearForm, MeshQuad, asm, enforce, solve

    k, m, length, width = 6, 4, 3.0, 2.0
    rng = np.random.default_rng(3)
    d11, d22, d66 = (rng.uniform(1.0, 3.0, (k, m)) for _ in range(3))
    rigidity = Rigidity(d11, d22, 0.3 * np.minimum(d11, d22), d66)
    mesh = PlateMesh((0.0, 0.0, length, width), rigidity)
    kx, ky, kxy = (rng.standard_normal((1, k, m)) for _ in range(3))
    corners = np.array([[0, 0], [length, 0], [0, width]])
    solved = mesh.solve(mesh.moments(kx, ky, kxy), corners)

    def own(values: np.ndarray, at) -> np.ndarray:
        i = np.clip((at.x[0] / length * k).astype(int), 0, k - 1)
        j = np.clip((at.x[1] / width * m).astype(int), 0, m - 1)
        return values[i, j]

    def bent(u, at) -> tuple[np.ndarray, ...]:
        a, r = u.hess, [own(one, at) for one in (rigidity.d11, rigidity.d22, rigidity.d12, rigidity.d66)]
        return r[0] * a[0][0] + r[2] * a[1][1], r[2] * a[0][0] + r[1] * a[1][1], 4 * r[3] * a[0][1]

    @BilinearForm
    def energy(u, v, at):
        moments, b = bent(u, at), v.hess
        return moments[0] * b[0][0] + moments[1] * b[1][1] + moments[2] * b[0][1]

    @LinearForm
    def load(v, at):
        b, r = v.hess, [own(one, at) for one in (rigidity.d11, rigidity.d22, rigidity.d12, rigidity.d66)]
        x, y, xy = (own(one[0], at) for one in (kx, ky, kxy))
        return (r[0] * x + r[2] * y) * b[0][0] + (r[2] * x + r[1] * y) * b[1][1] + 4 * r[3] * xy * b[0][1]

    fine = MeshQuad.init_tensor(np.linspace(0, length, 4 * k + 1), np.linspace(0, width, 4 * m + 1))
    basis = Basis(fine, ElementQuadBFS(), intorder=6)
    nodes = [int(np.argmin(np.sum((fine.p.T - one) ** 2, axis=1))) for one in corners]
    held = basis.nodal_dofs[0, nodes]
    expected = solve(*enforce(asm(energy, basis), asm(load, basis), D=held))[basis.nodal_dofs[0]]
    x, y = np.linspace(0, length, 4 * k + 1), np.linspace(0, width, 4 * m + 1)
    got = mesh.at(solved, x, y)[0]
    place = np.round(np.stack([fine.p[0] / length * 4 * k, fine.p[1] / width * 4 * m])).astype(int)
    planes = np.column_stack([np.ones(len(expected)), *fine.p])
    left = got[place[0], place[1]] - expected
    left = left - planes @ np.linalg.lstsq(planes, left, rcond=None)[0]
    # Splines of one element's width against four finite elements each: the curvature jumps where the rigidity does,
    # which splines with a continuous curvature blur over an element.
    assert np.sqrt(np.mean(left**2)) < 0.06 * np.std(expected)


def test_strip_bends_as_a_beam() -> None:
    # Euler-Bernoulli, P L³ / (48 E I) in the middle between supports: ν = 0, so that the strip is a beam exactly.
    length, width, t = 1000.0, 50.0, 6.0
    mesh = PlateMesh((0.0, 0.0, length, width), even(t, (20, 3), 0.0))
    ends = np.concatenate([[[x, y] for y in np.linspace(0, width, 15)] for x in (0.0, length)])
    middle = np.array([[length / 2, y] for y in np.linspace(0, width, 101)])
    weights = np.full((1, 101), 1 / 100.0)
    weights[0, [0, -1]] /= 2
    w = mesh.at(mesh.solve(mesh.forces(middle, weights), ends, 1e3), np.array([length / 2]), np.array([width / 2]))
    # 20 elements leave 1e-4: the kink of the shear force under the load falls on a line of the mesh.
    assert float(w[0, 0, 0]) == pytest.approx(length**3 / (48 * width * t**3 / 12), rel=1e-3)
