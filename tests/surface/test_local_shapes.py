"""Tables, and shapes that stand beside the spline."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.local_shapes import LocalShapes, Table, independent

RNG = np.random.default_rng(5)
RAMP = Table((10.0, 20.0), (30.0, 80.0), np.add.outer(np.linspace(1, 2, 5), np.linspace(0, 3, 7)))


def test_bilinear_gives_a_plane_back_and_nothing_outside() -> None:
    # Bilinear interpolation is exact for planes: 1 + (x − 10)/20 + 3 (y − 20)/60 at the nodes.
    shapes = independent(["ramp"], [RAMP], np.ones(1), 1.0)
    places = RNG.uniform([10, 20], [30, 80], (50, 2))
    expected = 1 + (places[:, 0] - 10) / 20 + (places[:, 1] - 20) / 20
    assert shapes.total_at(np.array([2.0]), places) == pytest.approx(2 * expected)
    outside = np.array([[9.9, 50.0], [30.1, 50.0], [20.0, 19.9], [20.0, 80.1]])
    assert not shapes.total_at(np.array([2.0]), outside).any()


def test_rectangle_is_the_one_at_places() -> None:
    other = Table((0.0, 0.0), (25.0, 50.0), RNG.uniform(0, 1, (4, 3)))
    shapes = independent(["a", "b"], [RAMP, other], np.ones(2), 1.0)
    xs, ys = np.linspace(-5, 40, 13), np.linspace(-5, 90, 17)
    places = np.array(np.meshgrid(xs, ys, indexing="ij")).reshape(2, -1).T
    amounts = np.array([0.3, -0.7])
    on_grid = shapes.total_on_grid(amounts, xs, ys).ravel()
    assert on_grid == pytest.approx(shapes.total_at(amounts, places), abs=1e-15)


def test_order_of_places_does_not_matter() -> None:
    shapes = LocalShapes(("ramp",), (RAMP,), np.eye(1))
    places = RNG.uniform([0, 0], [50, 100], (40, 2))
    turned = RNG.permutation(len(places))
    assert (shapes.design(places).toarray()[turned] == shapes.design(places[turned]).toarray()).all()


def test_common_amount_is_shared() -> None:
    # s (μ + z): covariance s sᵀ (κ² + δ), by hand.
    shapes = independent(["a", "b"], [RAMP, RAMP], np.array([1.0, 2.0]), 3.0)
    assert shapes.covariance == pytest.approx(np.array([[10.0, 18.0], [18.0, 40.0]]))


def test_no_places() -> None:
    assert independent(["a"], [RAMP], np.ones(1), 1.0).design(np.empty((0, 2))).shape == (0, 1)
