"""Repeats of one place: pooled scatter, doubled rows, means."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.readings.repeats import combine, disagreeing, doubled_rows, estimate_repeatability, group_places


def test_places_within_the_tolerance_are_one() -> None:
    x = [0.0, 100.0, 0.03, 100.0, 50.0]
    assert group_places(x, [0.0] * 5, 0.05).tolist() == [0, 1, 0, 1, 4]
    assert group_places([], [], 0.05).tolist() == []


def test_pooled_deviation_by_hand() -> None:
    # Squares 2·0.01² and 2·0.02², one degree of freedom each: √((0.0002 + 0.0008)/2) (JCGM 100, 4.2.4).
    result = estimate_repeatability([0, 0, 2, 2, 4], [1.01, 0.99, 2.02, 1.98, 3.0])
    assert result.sd == pytest.approx(np.sqrt(0.0005))
    assert (result.dof, result.places) == (2, 2)


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


def test_mean_of_repeats_and_its_uncertainty() -> None:
    place, is_used = np.array([0, 1, 0, 1, -1]), np.array([1, 1, 1, 1, 0], bool)
    table = np.column_stack([[1.0, 2.0, 3.0, 4.0, 9.0], [0.0, 1.0, 0.0, 1.0, 9.0]])
    out = combine(place, is_used, table, np.full(5, 0.02))
    assert out.rows.tolist() == [0, 1]
    assert out.values.tolist() == [[2.0, 0.0], [3.0, 1.0]]
    # √2 fewer: independent readings (JCGM 100, 4.2.3).
    assert out.u == pytest.approx([0.02 / np.sqrt(2)] * 2)
    assert out.count.tolist() == [2, 2]


def test_without_repeats_nothing_changes() -> None:
    out = combine(np.arange(3), np.ones(3, bool), np.array([3.0, 1.0, 2.0]), np.array([0.1, 0.2, 0.3]))
    assert out.values.tolist() == [3.0, 1.0, 2.0]
    assert out.u == pytest.approx([0.1, 0.2, 0.3])
