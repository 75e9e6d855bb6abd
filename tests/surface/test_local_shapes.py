"""Tables, and shapes that stand beside the spline."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.local_shapes import LocalShapes, Misfit, ShapeTable

RNG = np.random.default_rng(5)
RAMP = ShapeTable((10.0, 20.0), (30.0, 80.0), np.add.outer(np.linspace(1, 2, 5), np.linspace(0, 3, 7)))


def test_bilinear_gives_a_plane_back_and_nothing_outside() -> None:
    # Bilinear interpolation is exact for planes: 1 + (x − 10)/20 + 3 (y − 20)/60 at the nodes.
    shapes = LocalShapes(("ramp",), (RAMP,), np.ones(1), 1.0)
    places = RNG.uniform([10, 20], [30, 80], (50, 2))
    expected = 1 + (places[:, 0] - 10) / 20 + (places[:, 1] - 20) / 20
    assert shapes.total_at(np.array([2.0]), places) == pytest.approx(2 * expected)
    outside = np.array([[9.9, 50.0], [30.1, 50.0], [20.0, 19.9], [20.0, 80.1]])
    assert not shapes.total_at(np.array([2.0]), outside).any()


def test_rectangle_is_the_one_at_places() -> None:
    other = ShapeTable((0.0, 0.0), (25.0, 50.0), RNG.uniform(0, 1, (4, 3)))
    shapes = LocalShapes(
        (
            "a",
            "b",
        ),
        (
            RAMP,
            other,
        ),
        np.ones(2),
        1.0,
    )
    xs, ys = np.linspace(-5, 40, 13), np.linspace(-5, 90, 17)
    places = np.array(np.meshgrid(xs, ys, indexing="ij")).reshape(2, -1).T
    amounts = np.array([0.3, -0.7])
    on_grid = shapes.total_on_grid(amounts, xs, ys).ravel()
    assert on_grid == pytest.approx(shapes.total_at(amounts, places), abs=1e-15)


def test_order_of_places_does_not_matter() -> None:
    shapes = LocalShapes(("ramp",), (RAMP,), np.ones(1))
    places = RNG.uniform([0, 0], [50, 100], (40, 2))
    turned = RNG.permutation(len(places))
    assert (shapes.design(places).toarray()[turned] == shapes.design(places[turned]).toarray()).all()


def test_common_amount_is_shared() -> None:
    # s (μ + z): covariance s sᵀ (κ² + δ), by hand.
    shapes = LocalShapes(
        (
            "a",
            "b",
        ),
        (
            RAMP,
            RAMP,
        ),
        np.array([1.0, 2.0]),
        3.0,
    )
    assert shapes.covariance == pytest.approx(np.array([[10.0, 18.0], [18.0, 40.0]]))


def test_forms_have_nothing_in_common_and_a_root() -> None:
    # Independent of the others and of each other, 0.3 of their shape's size each; U Uᵀ = P for any covariance.
    shapes = LocalShapes(("a", "b"), (RAMP, RAMP), np.array([1.0, 2.0]), 3.0).with_forms()
    expected = np.zeros((8, 8))
    expected[:2, :2] = [[10.0, 18.0], [18.0, 40.0]]
    expected[range(2, 8), range(2, 8)] = np.repeat([0.09, 0.36], 3)
    assert shapes.covariance == pytest.approx(expected)
    root = shapes.root.push(np.eye(8))
    assert root @ root.T == pytest.approx(expected)
    assert shapes.root.pull(np.eye(8)) == pytest.approx(root.T)


def test_no_places() -> None:
    assert LocalShapes(("a",), (RAMP,), np.ones(1), 1.0).design(np.empty((0, 2))).shape == (0, 1)


def test_misfit_is_a_share_of_the_amount_and_nothing_at_the_wall() -> None:
    x = np.linspace(0.0, 1.0, 41)
    table = ShapeTable((0.0, 0.0), (100.0, 100.0), np.outer(4 * x * (1 - x), 4 * x * (1 - x)))
    shapes = LocalShapes(("A",), (table,), np.ones(1), 0.0)
    misfit = Misfit.of(shapes, np.array([-0.1]))
    assert misfit.variance_at([[0.0, 50.0], [100.0, 30.0]]) == pytest.approx(0.0, abs=1e-18)
    assert misfit.variance_at([[50.0, 50.0]]) == pytest.approx(0.0, abs=1e-18)  # the amount itself is fitted
    # Integral over the web of (2 (2s − 1) v)² twice and of (4 v (1 − v))², v = 16 s (1 − s) t (1 − t), by dense sums.
    s, t = np.meshgrid(x, x, indexing="ij")
    v = table.values
    forms = ((4 * s - 2) * v) ** 2 + ((4 * t - 2) * v) ** 2 + (4 * v * (1 - v)) ** 2
    found = misfit.variance_at(100 * np.column_stack([s.ravel(), t.ravel()])).mean()
    assert found == pytest.approx(0.008**2 * forms.mean(), rel=1e-9)
    # Some 5 to 7 % of the amount over a floor.
    assert 0.003 < np.sqrt(found) < 0.008
