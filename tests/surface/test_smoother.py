"""What a fit makes of other values of the same places."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface import Fit, fit_surface

BOX = (0.0, 0.0, 1200.0, 500.0)
U = np.full(160, 0.010)


@pytest.fixture(scope="module")
def places() -> np.ndarray:
    return np.random.default_rng(8).uniform(BOX[:2], BOX[2:], (160, 2))


@pytest.fixture(scope="module")
def values(places: np.ndarray) -> np.ndarray:
    """A bow, a twist and noise of what is stated; three of them bad."""
    x, y = places.T
    out = 0.4 * (x / 1200) ** 2 + 0.2 * x * y / 6e5 + np.random.default_rng(9).normal(0, 0.010, 160)
    out[:3] += 0.2
    return np.asarray(out)


@pytest.fixture(scope="module")
def fit(places: np.ndarray, values: np.ndarray) -> Fit:
    return fit_surface(places, values, U, bounds=BOX)


def test_asked_anew_of_the_same_values_it_stays_where_it_is(fit: Fit, places: np.ndarray, values: np.ndarray) -> None:
    """The mode of the likelihood is where it was; the search stops within 0.1 of it in log λ, which is far less than
    the readings know of it, and moves the surface by far less than a reading's noise."""
    again = fit.smoother.anew(places, values, U)
    assert np.abs(again.weights - fit.weights).max() < 0.02
    assert np.log(again.solution.prior.smoothing / fit.smoothing) == pytest.approx(0.0, abs=fit.smoothing_spread)
    column = values[:, None]
    assert np.abs(again.followed(places, column, U) - fit.smoother.followed(places, column, U)).max() < 0.001


def test_what_was_set_aside_counts_again_once_its_error_is_taken_off(
    fit: Fit, places: np.ndarray, values: np.ndarray
) -> None:
    assert (fit.weights[:3] < 0.1).all()
    mended = values - np.where(np.arange(160) < 3, 0.2, 0.0)
    assert (fit.smoother.anew(places, mended, U).weights[:3] > 0.9).all()


def test_it_is_linear_and_gives_planes_back(fit: Fit, places: np.ndarray) -> None:
    """A smoother of fixed smoothing and weights is a matrix, and a plane costs no energy (Wahba 1990)."""
    rng = np.random.default_rng(1)
    one, two = rng.normal(size=(2, 160, 1))
    both = fit.smoother.followed(places, 2 * one - 3 * two, U)
    assert both == pytest.approx(2 * fit.smoother.followed(places, one, U) - 3 * fit.smoother.followed(places, two, U))
    plane = 0.3 + places @ np.array([[1e-4], [-2e-4]])
    assert fit.smoother.followed(places, plane, U) == pytest.approx(plane, abs=1e-9)
