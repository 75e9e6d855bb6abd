"""Kriging variances against published and dense answers."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.planning.kriging import Posterior, Prior, make_prior

#: 24 places on a plate of 1200 × 500 mm, gauge 0.02 mm, surface variance by REML with that noise: kriging standard
#: errors worked out with 30 digits, and by mgcv (S. N. Wood, J. R. Statist. Soc. B 65, 95, 2003) at the reading.
GRID = np.array([(x, y) for y in (40, 180, 320, 460) for x in (50, 270, 490, 710, 930, 1150)], float)
TAU2 = 6.17709637821e-8
STANDARD_ERRORS = {
    (600.0, 250.0): 0.0325936126257,
    (160.0, 110.0): 0.0337783894319,
    (1190.0, 490.0): 0.0388471494727,
    (50.0, 40.0): 0.0191247717415,
}


def prior() -> Prior:
    return make_prior(0.0, 0.0, 1200.0, 500.0, TAU2)


def read_all(targets: np.ndarray) -> Posterior:
    posterior = Posterior(prior(), GRID, targets, np.eye(len(targets)), len(GRID) + 1)
    for index in range(len(GRID)):
        posterior.add(index, 0.02**2, np.ones(len(targets)))
        if index % 5 == 4:
            posterior.settle()
    return posterior


def test_reading_by_reading_gives_the_kriging_errors() -> None:
    posterior = read_all(np.array(list(STANDARD_ERRORS)))
    # 1e-5: the drift's prior is wide, not infinite, and single precision is kept between settlings.
    assert np.sqrt(posterior.sum_variance) == pytest.approx(list(STANDARD_ERRORS.values()), rel=1e-5)
    assert np.sqrt(posterior.variance[0]) == pytest.approx(0.0191247717415, rel=1e-5)


def test_all_readings_at_once_give_the_same() -> None:
    targets = np.array(list(STANDARD_ERRORS))
    posterior = Posterior(prior(), targets, targets, np.eye(4), 2)
    posterior.add_known(GRID, np.full(24, 0.02**2))
    assert np.sqrt(posterior.variance) == pytest.approx(list(STANDARD_ERRORS.values()), rel=1e-5)
    # One more reading on top of a known one halves its variance's inverse: 1/v' = 1/v + 1/u².
    before = posterior.variance[3]
    posterior.add(3, 0.02**2, np.ones(4))
    # 1e-6: variances of 1e-4 mm² are what is left of 1e4 mm² in float64.
    assert posterior.variance[3] == pytest.approx(1.0 / (1.0 / before + 1.0 / 0.02**2), rel=1e-6)


def test_what_a_reading_changes_is_told() -> None:
    targets = np.array(list(STANDARD_ERRORS))
    posterior = read_all(targets)
    weights = np.array([1.0, 2.0, 0.5, 1.0])
    before = posterior.settle().astype(float)
    taken = posterior.add(7, 0.02**2, weights)
    assert posterior.settle() == pytest.approx(before - np.outer(taken.sums, taken.row), abs=1e-9)
    assert taken.cross == pytest.approx((weights * taken.sums) @ before, abs=1e-9)


def test_choice_of_the_pins_does_not_matter() -> None:
    # Theorem: the intrinsic random function knows no origin (G. Matheron, Adv. Appl. Prob. 5, 439, 1973).
    other = Prior(np.array([[100.0, 400.0], [1100.0, 450.0], [700.0, 20.0]]), TAU2)
    targets = np.array(list(STANDARD_ERRORS))
    posterior = Posterior(other, targets, targets, np.eye(4), 1)
    posterior.add_known(GRID, np.full(24, 0.02**2))
    assert np.sqrt(posterior.variance) == pytest.approx(list(STANDARD_ERRORS.values()), rel=1e-5)


def test_part_far_from_the_origin() -> None:
    # The same plate 100 m away; 1e-4: float64 keeps 1e-11 of coordinates, and the drift's variance is 1e4 mm².
    away = np.array([1e5, -1e5])
    far = make_prior(away[0], away[1], away[0] + 1200.0, away[1] + 500.0, TAU2)
    targets = np.array(list(STANDARD_ERRORS)) + away
    posterior = Posterior(far, targets, targets, np.eye(4), 1)
    posterior.add_known(GRID + away, np.full(24, 0.02**2))
    assert np.sqrt(posterior.variance) == pytest.approx(list(STANDARD_ERRORS.values()), rel=1e-4)
