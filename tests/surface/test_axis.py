"""One direction of the grid against scipy's B-splines and against integrals done by Gauss quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from floorfit.surface.axis import MARGIN_CELLS, Axis, make_axis

UNEVEN = Axis(np.array([0.0, 1.0, 2.5, 3.0, 5.0, 9.0]))


def _scipy_design(axis: Axis, x: np.ndarray, order: int = 0) -> np.ndarray:
    columns = [BSpline(axis.knots, np.eye(axis.size)[k], 3).derivative(order)(x) for k in range(axis.size)]
    return np.column_stack(columns)


def test_size_is_cells_and_three() -> None:
    assert (UNEVEN.cells, UNEVEN.size, len(UNEVEN.knots)) == (5, 8, 12)


def test_matrix_is_that_of_scipy() -> None:
    x = np.linspace(0, 9, 101)[:-1]
    assert np.allclose(UNEVEN.matrix(x), _scipy_design(UNEVEN, x), atol=1e-13)  # values up to 1: rounding only


def test_basis_sums_to_one_even_outside() -> None:
    # Partition of unity of B-splines (C. de Boor, A Practical Guide to Splines); outside, the polynomial goes on.
    first, values = UNEVEN.basis([-1.0, 0.0, 2.5, 7.7, 9.0, 10.0])
    assert np.allclose(values.sum(axis=1), 1.0, atol=1e-12)
    assert first.tolist() == [0, 0, 2, 4, 4, 4]


def test_place_on_a_border_belongs_to_the_cell_that_begins_there() -> None:
    cell, s = UNEVEN.locate([1.0, 9.0])
    assert cell.tolist() == [1, 4]
    assert s.tolist() == [-0.5, 0.5]


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_gram_is_the_integral_of_products(order: int) -> None:
    nodes, weights = np.polynomial.legendre.leggauss(4)  # exact to degree 7; a product of cubics has 6
    middle, half = (UNEVEN.edges[:-1] + UNEVEN.edges[1:]) / 2, np.diff(UNEVEN.edges) / 2
    x, w = (middle[:, None] + half[:, None] * nodes).ravel(), (half[:, None] * weights).ravel()
    design = _scipy_design(UNEVEN, x, order)
    dense = design.T @ (w[:, None] * design)
    band = UNEVEN.gram(order)
    for d in range(4):
        got, expected = band[d, : UNEVEN.size - d], np.diag(dense, -d)
        assert np.allclose(got, expected, atol=1e-11 * abs(dense).max())
        assert not band[d, UNEVEN.size - d :].any()


def test_products_are_products() -> None:
    s = np.array([-0.5, -0.2, 0.1, 0.5])
    values = np.polynomial.polynomial.polyval(s, UNEVEN.polynomials[2].T)
    product = np.polynomial.polynomial.polyval(s, np.moveaxis(UNEVEN.products[2], -1, 0))
    assert np.allclose(product, values[:, None] * values[None, :], atol=1e-14)


def test_made_axis_covers_the_part_and_its_margin() -> None:
    axis = make_axis(100.0, 900.0, 50.0, 2400.0)
    inner = axis.edges[MARGIN_CELLS:-MARGIN_CELLS]
    assert np.allclose(inner, np.linspace(100, 900, 17))
    # The growth factor is found by bisection to 2e-12 of itself; seven powers of it are added.
    assert axis.edges[[0, -1]] == pytest.approx([100 - 2400, 900 + 2400], rel=1e-9)
    growth = np.diff(axis.edges)[-MARGIN_CELLS:] / np.diff(axis.edges)[-MARGIN_CELLS - 1 : -1]
    assert np.allclose(growth, growth[0], rtol=1e-9)
    assert growth[0] > 1


def test_made_axis_has_two_cells_at_least_and_never_wider_ones_than_asked() -> None:
    assert make_axis(0.0, 10.0, 100.0, 30.0).cells == 2 + 2 * MARGIN_CELLS
    assert np.diff(make_axis(0.0, 10.0, 3.0, 0.0).edges)[MARGIN_CELLS] == pytest.approx(2.5)
