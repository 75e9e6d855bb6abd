"""The tensor grid against dense algebra, and its energy against integrals done by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.spline import Surface

BOUNDS = (0.0, 0.0, 8.0, 5.0)
GRID = make_grid(BOUNDS, 2.0)
TALL = make_grid((0.0, 0.0, 5.0, 8.0), 2.0)
RNG = np.random.default_rng(7)
POINTS = RNG.uniform([0, 0], [8, 5], (60, 2))
WEIGHTS = RNG.uniform(0.5, 2.0, 60)


def dense_design(grid: Grid, points: np.ndarray) -> np.ndarray:
    first, second = grid.split(points)
    rows = grid.along.matrix(first)[:, :, None] * grid.across.matrix(second)[:, None, :]
    return rows.reshape(len(points), -1)


def dense_matrix(band: np.ndarray, grid: Grid) -> np.ndarray:
    nl, ns = grid.shape
    out = np.zeros((nl, ns, nl, ns))
    for d in range(4):
        for e in range(-3, 4):
            for i in range(nl - d):
                for j in range(max(0, -e), ns - max(0, e)):
                    out[i + d, j + e, i, j] = out[i, j, i + d, j + e] = band[d, i, e + 3, j]
    return out.reshape(nl * ns, nl * ns)


def coefficients_of(grid: Grid, function: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> np.ndarray:
    """Coefficients of a polynomial of degree three or less, exactly: interpolation at four places a cell."""
    sides = []
    for axis in (grid.along, grid.across):
        nodes = (axis.edges[:-1, None] + np.diff(axis.edges)[:, None] * np.array([0.1, 0.4, 0.6, 0.9])).ravel()
        sides.append((nodes, np.linalg.pinv(axis.matrix(nodes))))
    (a, left), (b, right) = sides
    aa, bb = np.meshgrid(a, b, indexing="ij")
    values = function(bb, aa) if grid.swapped else function(aa, bb)
    return left @ values @ right.T


def quadratic(band: np.ndarray, grid: Grid, c: np.ndarray) -> float:
    return float(c.ravel() @ dense_matrix(band, grid) @ c.ravel())


@pytest.mark.parametrize("grid", [GRID, TALL], ids=["wide", "tall"])
def test_bending_energy_of_polynomials_is_exact(grid: Grid) -> None:
    # ∬ w_xx² + 2 w_xy² + w_yy²: for x²/2 it is the area, for x y twice the area, for a plane nothing (by hand).
    x, y = (grid.across, grid.along) if grid.swapped else (grid.along, grid.across)
    area = np.ptp(x.edges) * np.ptp(y.edges)
    for function, expected in [
        (lambda x, y: x**2 / 2, area),
        (lambda x, y: y**2 / 2, area),
        (lambda x, y: x * y, 2 * area),
        (lambda x, y: (x**2 + y**2) / 2, 2 * area),
        (lambda x, y: 3 + 2 * x - y, 0.0),
    ]:
        got = quadratic(grid.bending, grid, coefficients_of(grid, function))
        assert got == pytest.approx(expected, rel=1e-9, abs=1e-6)  # coefficients reach 1e3 in the margin, squared


def test_energy_of_a_cubic_is_exact() -> None:
    # w = x³/6: w_xx = x, so ∬ x² = [x³/3] times the height.
    (x0, x1), height = GRID.along.edges[[0, -1]], np.ptp(GRID.across.edges)
    c = coefficients_of(GRID, lambda x, y: x**3 / 6 + 0 * y)
    assert quadratic(GRID.bending, GRID, c) == pytest.approx((x1**3 - x0**3) / 3 * height, rel=1e-9)


def test_energy_with_a_reach_adds_the_third_derivatives() -> None:
    # w = x³/6 + x² y/2: w_xxx = 1 and w_xxy = 1, so ∬ 1 + 3 = four times the area; a plane still costs nothing.
    area = np.ptp(GRID.along.edges) * np.ptp(GRID.across.edges)
    c = coefficients_of(GRID, lambda x, y: x**3 / 6 + x**2 * y / 2)
    extra = quadratic(GRID.energy(3.0), GRID, c) - quadratic(GRID.energy(), GRID, c)
    # A difference of two numbers a thousand times larger, from coefficients of 1e5.
    assert extra == pytest.approx(9.0 * 4 * area, rel=1e-6)
    plane = coefficients_of(GRID, lambda x, y: 3 + 2 * x - y)
    assert quadratic(GRID.energy(3.0), GRID, plane) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("grid", [GRID, TALL], ids=["wide", "tall"])
def test_normal_matrix_is_the_dense_one(grid: Grid) -> None:
    points = POINTS[:, ::-1] if grid.swapped else POINTS
    design = dense_design(grid, points)
    dense = design.T @ (WEIGHTS[:, None] * design)
    assert np.allclose(dense_matrix(grid.normal(points, WEIGHTS), grid), dense, atol=1e-12 * abs(dense).max())
    right = design.T @ (WEIGHTS * POINTS[:, 0])
    assert np.allclose(grid.right_side(points, WEIGHTS * POINTS[:, 0]).ravel(), right, atol=1e-12 * abs(right).max())


def test_chunks_add_up(monkeypatch: pytest.MonkeyPatch) -> None:
    whole, right = GRID.normal(POINTS, WEIGHTS), GRID.right_side(POINTS, WEIGHTS)
    c = RNG.normal(size=GRID.shape)
    at, variance = GRID.at(c, POINTS), GRID.quadratic_at(whole, POINTS)
    monkeypatch.setattr("floorfit.surface.grid.CHUNK", 7)
    assert np.allclose(GRID.normal(POINTS, WEIGHTS), whole, atol=1e-12)
    assert np.allclose(GRID.right_side(POINTS, WEIGHTS), right, atol=1e-12)
    assert np.array_equal(GRID.at(c, POINTS), at)
    assert np.array_equal(GRID.quadratic_at(whole, POINTS), variance)


@pytest.mark.parametrize("grid", [GRID, TALL], ids=["wide", "tall"])
def test_rectangle_and_places_agree(grid: Grid) -> None:
    surface = Surface(grid, RNG.normal(size=grid.shape))
    xs, ys = np.linspace(0, 5, 9), np.linspace(0.3, 4.9, 6)
    places = surface.at(xs[:, None], ys[None, :])
    assert places.shape == (9, 6)
    assert np.allclose(surface.on_grid(xs, ys), places, atol=1e-13)
    points = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1).reshape(-1, 2)
    assert np.allclose(dense_design(grid, points) @ surface.coefficients.ravel(), places.ravel(), atol=1e-13)


def test_quadratic_form_at_places_is_the_dense_one() -> None:
    band = GRID.normal(POINTS, WEIGHTS) + GRID.bending
    places = RNG.uniform([0, 0], [8, 5], (2_000, 2))
    design = dense_design(GRID, places)
    expected = np.einsum("ni,ij,nj->n", design, dense_matrix(band, GRID), design)
    for count in (20, len(places)):  # few are summed term by term, many by what is known of each cell
        assert np.allclose(GRID.quadratic_at(band, places[:count]), expected[:count], rtol=1e-10)


def test_designs_on_patches_are_the_dense_one() -> None:
    places = np.array([[3.0, 2.0], [3.5, 2.2], [4.9, 2.9], [7.0, 0.1], [6.5, 0.4]])
    c, design_of = RNG.normal(size=GRID.shape), GRID.designs(places)
    for some in (slice(0, 3), slice(3, 5)):
        (rows, columns), design = design_of(some)
        assert np.allclose(design @ c[rows, columns].ravel(), GRID.at(c, places[some]), atol=1e-14)


def test_long_side_comes_first() -> None:
    assert not GRID.swapped
    assert TALL.swapped
    assert GRID.shape == TALL.shape
    assert GRID.unknowns == GRID.shape[0] * GRID.shape[1]


def test_symmetric_part_has_a_symmetric_grid() -> None:
    assert np.allclose(GRID.along.edges + GRID.along.edges[::-1], 8.0)
