"""Repeats of one place: pooled scatter, doubled rows, means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import small_part

from floorfit.readings.observations import Observations, readings_from_arrays
from floorfit.readings.repeats import (
    MOST_VISITS,
    change_on_return,
    combine,
    disagreeing,
    doubled_rows,
    estimate_repeatability,
    group_sites,
    two_levels,
)
from floorfit.readings.warp import observe


def test_places_within_the_tolerance_are_one() -> None:
    x = [0.0, 100.0, 0.03, 100.0, 50.0]
    assert group_sites(x, [0.0] * 5, 0.05).tolist() == [0, 1, 0, 1, 4]
    assert group_sites([], [], 0.05).tolist() == []


def test_pooled_deviation_by_hand() -> None:
    # Squares 2·0.01² and 2·0.02², one degree of freedom each: √((0.0002 + 0.0008)/2) (JCGM 100, 4.2.4).
    result = estimate_repeatability([0, 0, 2, 2, 4], [1.01, 0.99, 2.02, 1.98, 3.0])
    assert result.sd == pytest.approx(np.sqrt(0.0005))
    assert result.dof == 2


def test_pooled_deviation_agrees_with_analysis_of_variance() -> None:
    # Residual mean square of a one-way layout, with numpy as the independent reckoner.
    rng = np.random.default_rng(1)
    values = rng.normal(0, 0.01, (20, 4))
    expected = np.sqrt(np.mean(np.var(values, axis=1, ddof=1)))
    result = estimate_repeatability(np.repeat(np.arange(20), 4), values.ravel())
    assert result.sd == pytest.approx(expected, rel=1e-12)


def test_without_repeats_there_is_no_estimate() -> None:
    result = estimate_repeatability([0, 1], [1.0, 2.0])
    assert np.isnan(result.sd)
    assert result.dof == 0


def test_doubled_row_points_to_the_earlier_one() -> None:
    columns = [np.array([1.0, 2.0, 1.0, 1.0]), np.array(["A", "B", "A", "C"])]
    assert doubled_rows(np.array([0, 1, 0, 0]), columns).tolist() == [-1, -1, 0, -1]


def test_blank_equals_blank() -> None:
    columns = [np.array([np.nan, np.nan, 1.0, 1.0])]
    assert doubled_rows(np.array([0, 0, 2, 3]), columns).tolist() == [-1, 0, -1, -1]


def test_of_three_repeats_the_far_one_is_wrong() -> None:
    values = np.array([0.10, 0.11, 0.40])
    out = disagreeing(np.zeros(3, int), values, np.zeros(3), np.full(3, 0.01))
    assert np.isnan(out[:2]).all()
    assert out[2] == pytest.approx(0.105)


@pytest.mark.parametrize(("around", "wrong"), [(0.1, [1]), (0.4, [0]), (0.25, [0, 1])])
def test_of_two_repeats_the_readings_around_decide(around: float, wrong: list[int]) -> None:
    out = disagreeing(np.zeros(2, int), np.array([0.1, 0.4]), np.full(2, around), np.full(2, 0.01))
    assert np.flatnonzero(np.isfinite(out)).tolist() == wrong


def test_honest_repeats_agree() -> None:
    rng = np.random.default_rng(2)
    place = np.repeat(np.arange(300) * 3, 3)
    out = disagreeing(place, rng.normal(0, 0.01, 900), np.zeros(900), np.full(900, 0.01))
    assert np.isnan(out).all()


def _seen(site: list[int], warp: list[float], u: list[float]) -> Observations:
    """Readings of one floor at (warp, 0), with sites and uncertainties as given; −1 for one set aside."""
    values = np.array(warp)
    blank = observe(small_part.part(), readings_from_arrays(values, 0 * values, values))
    reason = np.array(["" if one >= 0 else "blank: set aside" for one in site], object)
    return replace(blank, site=np.array(site, np.intp), warp=values, u=np.array(u), reason=reason)


def test_mean_of_repeats_and_its_uncertainty() -> None:
    out = combine(_seen([0, 1, 0, 1, -1], [1.0, 2.0, 3.0, 4.0, 9.0], [0.02] * 5))
    assert out.rows.tolist() == [0, 1]
    assert out.warp.tolist() == out.points[:, 0].tolist() == [2.0, 3.0]
    # √2 fewer: independent readings (JCGM 100, 4.2.3).
    assert out.u == pytest.approx([0.02 / np.sqrt(2)] * 2)


def test_without_repeats_nothing_changes() -> None:
    out = combine(_seen([0, 1, 2], [3.0, 1.0, 2.0], [0.1, 0.2, 0.3]))
    assert out.warp.tolist() == [3.0, 1.0, 2.0]
    assert out.u == pytest.approx([0.1, 0.2, 0.3])


def test_site_of_every_row() -> None:
    seen = _seen([0, 1, 0, 1, -1, 5], [1.0] * 6, [0.02] * 6)
    assert combine(seen).of_row.tolist() == [0, 1, 0, 1, -1, 2]


def test_a_place_that_is_read_again_after_another_is_visited_twice() -> None:
    """A drift shows in what a place reads at two times (analysis of covariance); what is read at once averages out."""
    seen = _seen([0, 0, 2, 0, -1, 2], [1.0, 3.0, 5.0, 4.0, 9.0, 6.0], [0.02] * 6)
    out = combine(seen, np.arange(6.0))
    assert out.rows.tolist() == [0, 2, 3, 5] and out.of_row.tolist() == [0, 0, 1, 2, -1, 3]
    assert out.warp.tolist() == [2.0, 5.0, 4.0, 6.0]
    assert out.u == pytest.approx(0.02 / np.sqrt([2, 1, 1, 1]))
    # All visits to a place are at one place: two of them span no line.
    assert out.points[:, 0].tolist() == pytest.approx([8 / 3, 5.5, 8 / 3, 5.5])
    # In the order that a column states: 0, 0, 0 and 2, 2.
    assert combine(seen, np.array([0.0, 1.0, 5.0, 2.0, 3.0, 6.0])).rows.tolist() == [0, 2]


def test_visits_too_many_to_be_told_apart_are_one() -> None:
    count = MOST_VISITS + 2
    seen = _seen([0, 1] * (count // 2), [1.0, 2.0] * (count // 2), [0.02] * count)
    assert combine(seen, np.arange(float(count))).rows.tolist() == [0, 1]


def test_change_on_return_is_the_median_and_covers_as_stated() -> None:
    """Median of differences of Gaussian readings: standard deviation √2 σ √(π/2n), within k = 2 in 95 % of trials."""
    rng, inside = np.random.default_rng(7), 0
    for _ in range(300):
        warp = rng.normal(0.0, 0.010, 24) + np.repeat([0.0, 0.03], 12)
        change, u, count = change_on_return(_seen(list(range(12)) * 2, warp, [0.01] * 24), np.arange(24.0), 0.010)
        inside += abs(change - 0.03) < 2 * u
        assert count == 12
    assert 0.92 <= inside / 300 <= 0.99  # 5 σ of 300 trials; the median of twelve is a little better than of many
    # Read twice at once is no return.
    assert change_on_return(_seen([0, 0, 2, 2], [1.0, 2.0, 3.0, 4.0], [0.01] * 4), np.arange(4.0), 0.01)[2] == 0


def test_gaussian_values_stand_on_no_two_levels() -> None:
    """Cut at their mean, halves of a Gaussian are √(8/π) σ apart, and scatter by σ √(1 − 2/π) (half normal)."""
    apart, share, scatter = two_levels(np.random.default_rng(3).normal(0.0, 0.01, 20_000))
    assert apart == pytest.approx(0.01 * np.sqrt(8 / np.pi), rel=0.02)
    assert scatter == pytest.approx(0.01 * np.sqrt(1 - 2 / np.pi), rel=0.02)
    assert share == pytest.approx(0.5, abs=0.05)


def test_two_levels_are_found_with_their_distance_and_share() -> None:
    """Two Gaussians six σ apart: one in 740 of each lies beyond the middle (tables of the normal distribution)."""
    rng = np.random.default_rng(5)
    values = rng.normal(0.0, 0.01, 3_000) + 0.06 * (np.arange(3_000) % 4 == 0)
    apart, share, scatter = two_levels(values)
    assert apart == pytest.approx(0.06, rel=0.02) and share == pytest.approx(0.25, abs=0.01)
    assert scatter == pytest.approx(0.01, rel=0.05)
