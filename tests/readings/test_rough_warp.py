"""The rough warp: exact for polynomials, and not dragged by gross errors."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.readings.rough_warp import LEAST_SCALE_MM, fit_rough_warp


def places(n: int = 120) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.random.default_rng(1).uniform((0, 0), (4000, 1200), (n, 2)).T
    return x, y


def cubic(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    u, v = x / 2000 - 1, y / 600 - 1
    return 1.5 * u**2 - 0.4 * u**3 + 0.3 * u * v + 0.2


def test_polynomial_is_reproduced_under_a_fifth_of_gross_errors() -> None:
    x, y = places()
    w = cubic(x, y)
    spoilt = w.copy()
    spoilt[::5] -= 2.5
    rough = fit_rough_warp(x, y, spoilt)
    # The errors weigh nothing; 1e-4: the ridge of 1e-9 and the least weight of 1e-12 left to them.
    assert rough.trend(x, y) == pytest.approx(w, abs=1e-4)
    assert rough.scale == LEAST_SCALE_MM


def test_local_median_leaves_out_the_place_itself() -> None:
    x, y = places()
    w = np.zeros(120)
    w[7] = 3.0
    assert fit_rough_warp(x, y, w).local(x[7:8], y[7:8])[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_few_to_know_a_scale(n: int) -> None:
    rough = fit_rough_warp(np.arange(n), np.zeros(n), np.full(n, 0.3))
    assert not np.isfinite(rough.scale) or n >= 3
    assert rough.local([5.0], [5.0]).shape == (1,)


def test_places_on_a_line_give_a_constant() -> None:
    x = np.arange(30.0)
    assert fit_rough_warp(x, 2 * x, np.zeros(30)).degree == 0
