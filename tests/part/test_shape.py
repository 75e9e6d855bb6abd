"""Heights by region against closed forms, and against scipy's own interpolation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from floorfit.part.shape import HeightGrid, Patch, heights, slopes

RNG = np.random.default_rng(3)


def grid_of(function, origin=(10.0, -5.0), step=(4.0, 2.5), shape=(9, 13)):
    x = origin[0] + step[0] * np.arange(shape[1])
    y = origin[1] + step[1] * np.arange(shape[0])
    z = function(*np.meshgrid(x, y))
    return HeightGrid(origin, step, tuple(map(tuple, z.tolist()))), x, y, z


def test_grid_is_bilinear_as_scipy_has_it():
    grid, x, y, z = grid_of(lambda a, b: np.sin(a / 9) * np.cos(b / 7))
    a, b = RNG.uniform(x[0], x[-1], 200), RNG.uniform(y[0], y[-1], 200)
    expected = RegularGridInterpolator((y, x), z)(np.column_stack([b, a]))
    np.testing.assert_allclose(grid.at(a, b), expected, atol=1e-12)


def test_a_bilinear_function_is_kept_everywhere_with_its_slope():
    grid, *_ = grid_of(lambda a, b: 2 + 0.1 * a - 0.2 * b + 0.01 * a * b)
    a, b = RNG.uniform(-40, 120, 100), RNG.uniform(-60, 60, 100)  # also far outside
    np.testing.assert_allclose(grid.at(a, b), 2 + 0.1 * a - 0.2 * b + 0.01 * a * b, atol=1e-10)
    expected = np.column_stack([0.1 + 0.01 * b, -0.2 + 0.01 * a])
    np.testing.assert_allclose(grid.slope_at(a, b), expected, atol=1e-11)


SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


def test_the_last_region_counts_and_the_nearest_where_there_is_none():
    far = tuple((x + 30.0, y) for x, y in SQUARE)
    inner = ((2.0, 2.0), (4.0, 2.0), (4.0, 4.0), (2.0, 4.0))
    patches = (Patch(SQUARE, (0.0, 0.0, 1.0)), Patch(far, (30.0, 0.0, 2.0), (0.5, 0.0)), Patch(inner, (0.0, 0.0, 7.0)))
    x, y = np.array([1.0, 3.0, 36.0, 12.0, 28.0]), np.array([1.0, 3.0, 5.0, 5.0, 5.0])
    np.testing.assert_allclose(heights(patches, x, y), [1.0, 7.0, 5.0, 1.0, 1.0])
    np.testing.assert_allclose(slopes(patches, x, y)[:, 0], [0.0, 0.0, 0.5, 0.0, 0.5])


def test_a_patch_without_region_holds_everywhere():
    patches = (Patch((), (0.0, 0.0, 3.0)), Patch(SQUARE, (0.0, 0.0, 4.0)))
    assert heights(patches, np.array([5.0, 500.0]), np.array([5.0, 5.0])) == pytest.approx([4.0, 3.0])
