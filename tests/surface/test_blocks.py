"""The block factor against dense algebra of numpy and against LAPACK's band factor."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cholesky_banded

from floorfit.errors import NumericalError
from floorfit.surface.blocks import Factor, Rights, as_sparse, factorise, outer, product
from floorfit.surface.grid import Grid, make_grid
from floorfit.surface.spline import plane_coefficients

RNG = np.random.default_rng(3)


def _problem(cell: float) -> tuple[Grid, np.ndarray, np.ndarray]:
    grid = make_grid((0.0, 0.0, 8.0, 5.0), cell)
    points = RNG.uniform([0, 0], [8, 5], (80, 2))
    band = grid.normal(points, np.ones(80)) + 0.1 * grid.energy()
    return grid, band, _dense(band)


def _dense(band: np.ndarray) -> np.ndarray:
    _, nl, _, ns = band.shape
    out = np.zeros((nl, ns, nl, ns))
    for d in range(4):
        for e in range(-3, 4):
            i = np.arange(nl - d)[:, None]
            j = np.arange(max(0, -e), ns - max(0, e))[None, :]
            out[i + d, j + e, i, j] = out[i, j, i + d, j + e] = band[d, : nl - d, e + 3, j[0]].T
    return out.reshape(nl * ns, nl * ns)


#: Cells that leave 0, 1 and 2 columns over when the columns are put in blocks of three.
CASES = pytest.mark.parametrize("cell", [2.0, 1.5, 1.2])


@CASES
def test_solve_and_determinant(cell: float) -> None:
    grid, band, dense = _problem(cell)
    factor = factorise(band)
    right = RNG.normal(size=(3, *grid.shape))
    expected = np.linalg.solve(dense, right.reshape(3, -1).T).T.reshape(right.shape)
    # Condition number times rounding: the margin's wide cells make it 1e8 or so.
    scale = abs(expected).max()
    assert np.allclose(factor.solve_many(right), expected, atol=1e-7 * scale)
    assert np.allclose(factor.solve(right[0]), expected[0], atol=1e-7 * scale)
    assert factor.log_determinant() == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9)


@CASES
def test_determinant_is_that_of_lapack_band_factor(cell: float) -> None:
    grid, band, dense = _problem(cell)
    width = 3 * grid.shape[1] + 3
    packed = np.zeros((width + 1, len(dense)))
    for k in range(width + 1):
        packed[k, : len(dense) - k] = np.diag(dense, -k)
    root = cholesky_banded(packed, lower=True)
    assert factorise(band).log_determinant() == pytest.approx(2 * np.log(root[0]).sum(), rel=1e-10)


@CASES
def test_inverse_band(cell: float) -> None:
    _, band, dense = _problem(cell)
    inverse = np.linalg.inv(dense)
    got = _dense(factorise(band).inverse_band)
    kept = _dense(np.ones_like(band)) > 0
    assert np.allclose(got[kept], inverse[kept], atol=1e-7 * abs(inverse).max())


def test_samples_have_the_inverse_as_covariance() -> None:
    _, band, dense = _problem(2.0)
    count = 20_000
    drawn = factorise(band).draw(count, np.random.default_rng(5)).reshape(-1, count).T
    inverse = np.linalg.inv(dense)
    scale = np.sqrt(np.diag(inverse))
    got = (drawn.T @ drawn / count) / np.outer(scale, scale)
    # Standard error of a correlation is at most 1/√count, of a variance √2 times that; 5 of them.
    assert abs(got - inverse / np.outer(scale, scale)).max() < 5 * np.sqrt(2 / count)
    assert abs(drawn.mean(axis=0) / scale).max() < 5 / np.sqrt(count)


def test_same_generator_same_samples() -> None:
    factor = factorise(_problem(2.0)[1])
    first, second = (factor.draw(2, np.random.default_rng(9)) for _ in range(2))
    assert np.array_equal(first, second)


def test_energy_alone_fixes_no_surface() -> None:
    grid = make_grid((0.0, 0.0, 8.0, 5.0), 2.0)
    with pytest.raises(NumericalError, match="do not fix a surface"):
        factorise(-grid.energy())


def _freed(cell: float) -> tuple[Grid, np.ndarray, Factor, np.ndarray]:
    """Grid, energy S, the factor of N + S' and N + S' itself, dense, with S' made as its definition says."""
    grid = make_grid((0.0, 0.0, 8.0, 5.0), cell)
    normal = grid.normal(RNG.uniform([0, 0], [8, 5], (80, 2)), np.ones(80))
    energy = 0.1 * grid.energy(tension=0.7)
    tilts = np.array([plane_coefficients(grid, np.eye(3)[k]) for k in (1, 2)])
    s, x = _dense(energy), tilts.reshape(2, -1).T
    without = s - s @ x @ np.linalg.solve(x.T @ s @ x, x.T @ s)
    return grid, without, factorise(normal + energy).free(normal, energy, tilts), _dense(normal) + without


@CASES
def test_freed_factor_solves_and_has_the_determinant(cell: float) -> None:
    grid, _, factor, dense = _freed(cell)
    right = RNG.normal(size=(3, *grid.shape))
    expected = np.linalg.solve(dense, right.reshape(3, -1).T).T.reshape(right.shape)
    assert np.allclose(factor.solve_many(right), expected, atol=1e-7 * abs(expected).max())
    assert factor.log_determinant() == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9)


@CASES
def test_freed_inverse_band(cell: float) -> None:
    grid, _, factor, dense = _freed(cell)
    inverse, got = np.linalg.inv(dense), _dense(factor.inverse_band)
    kept = _dense(np.ones((4, grid.shape[0], 7, grid.shape[1]))) > 0
    assert np.allclose(got[kept], inverse[kept], atol=1e-7 * abs(inverse).max())


def test_freed_samples_have_the_inverse_as_covariance() -> None:
    _, _, factor, dense = _freed(2.0)
    count = 20_000
    drawn = factor.draw(count, np.random.default_rng(5)).reshape(-1, count).T
    inverse = np.linalg.inv(dense)
    scale = np.sqrt(np.diag(inverse))
    got = (drawn.T @ drawn / count - inverse) / np.outer(scale, scale)
    # Standard error of a correlation is at most 1/√count, of a variance √2 times that; 5 of them.
    assert abs(got).max() < 5 * np.sqrt(2 / count)


def test_freed_energy_has_the_planes_and_nothing_else_for_nothing() -> None:
    grid, without, _, _ = _freed(1.5)
    values = np.linalg.eigvalsh(without)
    assert (abs(values) < 1e-9 * values[-1]).sum() == 3
    plane = plane_coefficients(grid, np.array([0.3, -1.0, 2.0])).ravel()
    assert plane @ without @ plane == pytest.approx(0.0, abs=1e-9)


def test_tension_adds_the_integral_of_the_squared_slope() -> None:
    # w = x y over the whole grid: bending 2 w_xy² = 2, slope w_x² + w_y² = x² + y² (by hand).
    grid = make_grid((0.0, 0.0, 8.0, 5.0), 1.0)
    x_coefficients, y_coefficients = (plane_coefficients(grid, np.eye(3)[k]) for k in (1, 2))
    product_xy = x_coefficients * y_coefficients
    (x0, x1), (y0, y1) = ((axis.edges[0], axis.edges[-1]) for axis in (grid.along, grid.across))
    area = (x1 - x0) * (y1 - y0)
    slope = (x1**3 - x0**3) / 3 * (y1 - y0) + (y1**3 - y0**3) / 3 * (x1 - x0)
    got = float(np.vdot(product_xy, product(grid.energy(tension=0.5), product_xy[None])[0]))
    assert got == pytest.approx(2 * area + slope / 0.5**2, rel=1e-9)


def test_product_and_outer_are_the_dense_ones() -> None:
    grid, _, _, _ = _freed(1.2)
    band = grid.energy(tension=2.0)
    vectors = RNG.normal(size=(2, *grid.shape))
    expected = (vectors.reshape(2, -1) @ _dense(band)).reshape(vectors.shape)
    assert np.allclose(product(band, vectors), expected, atol=1e-10 * abs(expected).max())
    assert np.allclose(as_sparse(band).toarray(), _dense(band), rtol=1e-12, atol=0)  # both halves, but for rounding
    kept = _dense(np.ones_like(band)) > 0
    flat = vectors[0].ravel()
    assert np.allclose(_dense(outer(vectors[0]))[kept], np.outer(flat, flat)[kept])


@CASES
def test_loosened_factor_adds_directions_to_the_prior(cell: float) -> None:
    """N + S' with S' = (S⁻¹ + M Mᵀ)⁻¹ made as it is written, and |N + S'| |S| / |S'|."""
    grid = make_grid((0.0, 0.0, 8.0, 5.0), cell)
    normal = grid.normal(RNG.uniform([0, 0], [8, 5], (80, 2)), np.ones(80))
    energy = 0.1 * grid.energy(tension=0.7) + outer(np.zeros(grid.shape))
    energy[0, :, 3] += 0.05
    many = RNG.normal(size=(2, *grid.shape))
    s, m = _dense(energy), many.reshape(2, -1).T
    loose = np.linalg.inv(np.linalg.inv(s) + m @ m.T)
    dense = _dense(normal) + loose
    factor = factorise(normal + energy).loosened(normal, many)
    right = RNG.normal(size=(3, *grid.shape))
    expected = np.linalg.solve(dense, right.reshape(3, -1).T).T.reshape(right.shape)
    assert np.allclose(factor.solve_many(right), expected, atol=1e-6 * abs(expected).max())
    logs = [np.linalg.slogdet(one)[1] for one in (dense, s, loose)]
    assert factor.log_determinant() == pytest.approx(logs[0] + logs[1] - logs[2], rel=1e-8)
    # One after the other is both at once.
    twice = factorise(normal + energy).loosened(normal, many[:1]).loosened(normal, many[1:])
    assert np.allclose(twice.solve_many(right), expected, atol=1e-6 * abs(expected).max())
    assert twice.log_determinant() == pytest.approx(factor.log_determinant(), rel=1e-8)


@CASES
def test_samples_less_a_solution_are_that(cell: float) -> None:
    grid, _, factor, _ = _freed(cell)
    right = RNG.normal(size=(4, *grid.shape))
    (x, along), (same, too) = (factor.normals(4, np.random.default_rng(6)) for _ in range(2))
    plain, less = factor.spread(x, along), factor.spread(same, too, right)
    expected = plain - factor.solve_many(right).transpose(1, 2, 0)
    assert np.allclose(less, expected, atol=1e-7 * abs(expected).max())


@CASES
def test_products_with_the_inverse_of_right_sides_that_begin_anywhere(cell: float) -> None:
    grid, _, factor, dense = _freed(cell)
    many = RNG.normal(size=(5, *grid.shape))
    for one, first in zip(many, (4, 0, 3, grid.shape[0] - 1, 1), strict=True):
        one[:first] = 0.0
    one = RNG.normal(size=grid.shape)
    g, r = many.reshape(5, -1).T, one.ravel()
    solved = np.linalg.solve(dense, np.column_stack([g, r]))
    pairs, with_one, own = factor.inner(Rights.of(one, many))
    scale = abs(solved).max() * max(abs(g).max(), abs(r).max())
    assert np.allclose(pairs, g.T @ solved[:, :5], atol=1e-6 * scale)
    assert np.allclose(with_one, g.T @ solved[:, 5], atol=1e-6 * scale) and own == pytest.approx(
        r @ solved[:, 5], rel=1e-6
    )


@pytest.mark.parametrize(("column", "block"), [(0, 1), (2, 1), (3, 2), (6, 3)])
def test_the_block_that_fixes_nothing_is_named(column: int, block: int) -> None:
    """Three columns to a block: a unit matrix with one entry below 0, at the end of a column."""
    band = np.zeros((4, 7, 7, 5))
    band[0, :, 3] = 1.0
    band[0, column, 3, -1] = -1.0
    with pytest.raises(NumericalError, match=f"at block {block} of 3"):
        factorise(band)
