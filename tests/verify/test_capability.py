import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import nct

from floorfit.part.model import Tolerance
from floorfit.verify.charts import capability, cp_limits, cpk_limits


def sample(mean: float, sd: float, count: int):
    """Values with exactly that mean and standard deviation."""
    x = np.random.default_rng(1).normal(size=count)
    return mean + sd * (x - x.mean()) / x.std(ddof=1)


def test_reference_case() -> None:
    # shared reference values D10: limits 1.9 and 2.1, mean 2.02, sd 0.02: Cp 1.6667, Cpk 1.3333
    found = capability(sample(0.02, 0.02, 30), Tolerance(-0.1, 0.1))
    assert (found.cp, found.cpk) == pytest.approx((5 / 3, 4 / 3))


def test_printed_limits() -> None:
    # Cp 2.29 with n = 20 has limits 1.57 and 3.01: D. C. Montgomery, Introduction to Statistical Quality Control, the
    # example of a confidence interval on Cp; from memory. By hand: √(8.9065/19), √(32.8523/19) times 2.29.
    # Cpk 1.33 with n = 20, by hand only: 1.33 (1 ± 1.96 √(1/(9·20·1.33²) + 1/38)) = 0.883, 1.777.
    assert cp_limits(2.29, 20) == pytest.approx((1.568, 3.011), abs=0.001)
    assert cpk_limits(1.33, 20) == pytest.approx((0.883, 1.777), abs=0.001)


@pytest.mark.parametrize("cpk, count", [(1.0, 25), (1.33, 50), (1.67, 100)])
def test_limits_of_one_side_against_the_noncentral_t(cpk: float, count: int) -> None:
    # With one limit Cpk·3√n is noncentral t with parameter 3√n·Cpk: the exact limits, by scipy.
    t = 3 * np.sqrt(count) * cpk
    exact = [
        brentq(lambda c, tail=tail: nct.cdf(t, count - 1, 3 * np.sqrt(count) * c) - tail, 0.1, 4.0)
        for tail in (0.975, 0.025)
    ]
    # Bissell's is a normal approximation: within 3 % of the exact limits from 25 values on
    assert cpk_limits(cpk, count) == pytest.approx(exact, rel=0.03)


def test_one_limit_and_few_values() -> None:
    found = capability(sample(0.02, 0.02, 30), Tolerance(-0.1, None))
    assert np.isnan(found.cp) and found.cpk == pytest.approx(2.0)
    assert np.isnan(capability([0.01], Tolerance(-0.1, 0.1)).cpk)
    assert np.isnan(capability([0.01, 0.01], Tolerance(-0.1, 0.1)).cpk)


def test_limits_of_cp_hold_at_the_stated_rate() -> None:
    generator, held = np.random.default_rng(3), 0
    for _ in range(200):
        low, high = capability(generator.normal(0.01, 0.02, 25), Tolerance(-0.1, 0.1)).cp_limits
        held += low <= 0.2 / (6 * 0.02) <= high
    assert 184 <= held <= 196  # 92 to 98 %


@pytest.mark.parametrize("value", [0.1, -0.007, 0.3])
def test_values_all_alike_have_no_index(value: float) -> None:
    # Cp = (U − L)/6s has no value at s = 0; numpy's deviation of three alike numbers is 1.7e-17, not 0.
    for count in (2, 3, 7):
        assert np.isnan(capability([value] * count, Tolerance(-0.5, 0.5)).cpk)
