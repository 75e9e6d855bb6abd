import numpy as np
import pytest
from scipy.stats import linregress

from floorfit.verify.charts import D2, control_chart, trend

# Individuals chart of flow rates in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; from memory.
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_published_example_of_an_individuals_chart() -> None:
    chart = control_chart(FLOW)
    assert chart.mean == pytest.approx(50.81)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (chart.upper, chart.lower) == pytest.approx((55.8041, 45.8159), abs=1e-4)  # printed to four decimals
    assert not chart.signals.any()


def test_factors() -> None:
    # ISO 7870-2 and any SPC table for ranges of two: 3/d2 = 2.66, D4 = 3.267; d2 = 2/√π, d3 = √(2 − 4/π)
    chart = control_chart([0.0, 1.0, 0.0, 1.0])
    assert chart.upper - chart.mean == pytest.approx(2.66, abs=0.001)
    assert chart.range_upper == pytest.approx(1 + 3 * np.sqrt(2 - 4 / np.pi) / (2 / np.sqrt(np.pi)), abs=0.001)


def test_sigma_from_moving_ranges_is_that_of_white_noise() -> None:
    values = np.random.default_rng(2).normal(5.0, 0.3, 4000)
    # relative error 0.83/√4000 = 1.3 %; four of it
    assert control_chart(values).mean_range / D2 == pytest.approx(0.3, rel=0.05)


def test_a_jump_is_a_signal() -> None:
    values = np.random.default_rng(3).normal(0, 0.01, 30)
    values[20] += 0.2
    chart = control_chart(values)
    assert chart.signals[20] and chart.range_signals[20] and chart.range_signals[21]


@pytest.mark.parametrize("values", [(), (1.0,), (2.0, 2.0, 2.0)])
def test_little_or_flat_data(values: tuple[float, ...]) -> None:
    chart = control_chart(values)
    assert not chart.signals.any() and not chart.range_signals.any() and len(chart.ranges) == len(values)


def test_trend_is_the_least_squares_line() -> None:
    values = 0.002 * np.arange(12) + np.random.default_rng(4).normal(0, 0.003, 12)
    found, known = trend(values), linregress(np.arange(12), values)  # scipy as the independent code
    assert found.slope == pytest.approx(known.slope) and found.u == pytest.approx(known.stderr)


def test_drift_is_recovered_at_the_stated_rate() -> None:
    generator, held = np.random.default_rng(8), 0
    for _ in range(200):
        low, high = trend(0.001 * np.arange(15) + generator.normal(0, 0.005, 15)).limits
        held += low <= 0.001 <= high
    assert 184 <= held <= 196  # 92 to 98 %


def test_missing_values_keep_their_step() -> None:
    values = np.array([0.0, np.nan, 2.0, 3.0, np.nan, 5.0])
    assert trend(values).slope == pytest.approx(1.0)
    assert np.isnan(trend([1.0, 2.0]).slope) and not trend([1.0, 2.0]).is_seen


@pytest.mark.parametrize("count", range(3, 12))
def test_values_all_alike_have_no_drift(count: int) -> None:
    # Definition: the slope of a constant is 0. The mean of alike numbers is off by rounding: np.mean([0.1] * 3) > 0.1.
    for value in (0.1, -0.007, 0.3, 12.7):
        found = trend([value] * count)
        assert (found.slope, found.u) == (0.0, 0.0) and not found.is_seen
