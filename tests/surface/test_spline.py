"""The surface as an object: planes are exact."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.grid import make_grid
from floorfit.surface.spline import Surface, plane_coefficients

PLANE = np.array([0.3, 1e-3, -2e-3])


@pytest.mark.parametrize("bounds", [(0, 0, 1200, 500), (0, 0, 500, 1200), (1e6, -2e6, 1e6 + 1200, -2e6 + 500)])
def test_plane_is_reproduced(bounds: tuple[float, float, float, float]) -> None:
    grid = make_grid(bounds, 40.0)
    surface = Surface(grid, plane_coefficients(grid, PLANE))
    rng = np.random.default_rng(1)
    x, y = rng.uniform([bounds[0], bounds[1]], [bounds[2], bounds[3]], (200, 2)).T
    expected = PLANE[0] + PLANE[1] * x + PLANE[2] * y
    # A linear function's coefficients are its values at the Greville abscissae (M. J. Marsden 1970): exact but for
    # rounding; at 2e6 mm from the origin the plane is 5e3 mm high, and 1e-12 of that is rounding.
    assert abs(surface.at(x, y) - expected).max() < max(1e-9, 4e-12 * abs(expected).max())


def test_shapes_follow_the_question() -> None:
    grid = make_grid((0, 0, 8, 5), 1.0)
    surface = Surface(grid, plane_coefficients(grid, PLANE))
    assert surface.at(1.0, 2.0).shape == ()
    assert surface.at([1.0, 2.0], 3.0).shape == (2,)
    assert surface.at(np.zeros((2, 3)), np.zeros((2, 3))).shape == (2, 3)
    assert surface.at([], []).shape == (0,)
    assert surface.on_grid([0.0, 1.0], [2.0, 3.0, 4.0]).shape == (2, 3)
