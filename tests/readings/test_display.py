"""What the last digit of a gauge rounds off."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.readings.display import coarse_findings, rounded_off
from floorfit.readings.observations import readings_from_arrays

X = np.linspace(0.0, 100.0, 40)


@pytest.mark.parametrize("u", [0.0, 0.01, 0.02])
@pytest.mark.parametrize("step", [0.05, 0.1])
def test_the_mean_of_rounded_readings_is_off_by_no_more(step: float, u: float) -> None:
    """Of a hundred thousand readings of one web, whatever the web; without noise by half a step (JCGM 100, F.2.2.1)."""
    worst = 0.0
    for web in 2.5 + np.linspace(-0.5, 0.5, 21) * step:
        many = web + np.random.default_rng(1).normal(0.0, u, 100_000)
        worst = max(worst, abs(float(np.mean(np.round(many / step) * step)) - web))
    assert worst <= 2 * rounded_off(step, u) + 0.0005
    if u == 0.0:
        assert rounded_off(step, u) == pytest.approx(step / np.sqrt(12)) and worst == pytest.approx(step / 2)


def test_a_coarse_gauge_is_told_and_a_fine_one_is_not() -> None:
    fine = np.round(np.random.default_rng(3).normal(2.5, 0.1, 40), 2)
    (told,) = coarse_findings(readings_from_arrays(X, X, np.round(fine, 1)), 0.01)
    assert "steps of 0.1 mm" in told.text and "--bias-u 0.024" in told.text
    inches = np.round(fine / 25.4, 3) * 25.4
    assert not coarse_findings(readings_from_arrays(X, X, fine), 0.01)
    assert not coarse_findings(readings_from_arrays(X, X, inches, unit="in"), 0.01)
    # One value, or two, are as well webs that do not bend.
    assert not coarse_findings(readings_from_arrays(X, X, np.full(40, 2.5)), 0.01)
