"""Conversion at the edges."""

from __future__ import annotations

import math

import numpy as np
import pytest

from floorfit.units import MAD_TO_SD, MM_PER_INCH, MM_PER_UNIT


def test_inch_is_exact() -> None:
    assert MM_PER_INCH == 25.4  # 1959 agreement; NIST SP 811, B.8
    assert MM_PER_UNIT == {"mm": 1.0, "in": 25.4}


@pytest.mark.parametrize(("inch", "mm"), [(0.080, 2.032), (0.005, 0.127), (0.010, 0.254)])
def test_drawing_values(inch: float, mm: float) -> None:
    assert inch * MM_PER_INCH == pytest.approx(mm, rel=1e-15)


def test_round_trip_is_good_to_one_last_place() -> None:
    for value in np.random.default_rng(1).uniform(1e-4, 4000, 1000):
        back = float(value) / MM_PER_INCH * MM_PER_INCH
        assert abs(back - value) <= math.ulp(value)


def test_median_absolute_deviation_of_a_normal_distribution() -> None:
    from scipy.stats import norm

    assert pytest.approx(1 / norm.ppf(0.75), rel=1e-4) == MAD_TO_SD
