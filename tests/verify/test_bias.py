import numpy as np
import pytest

from floorfit.verify.bias import common_bias, pockets_apart, student_factor


@pytest.mark.parametrize("pockets, each, scatter", [(12, 5, 0.006), (20, 7, 0.004), (6, 6, 0.01)])
def test_limits_hold_the_known_bias_at_the_stated_rate(pockets: int, each: int, scatter: float) -> None:
    generator = np.random.default_rng(11)
    group, held = np.repeat(np.arange(pockets), each), 0
    for _ in range(200):
        own = generator.normal(0, scatter, pockets)
        found = common_bias(0.02 + own[group] + generator.normal(0, 0.01, len(group)), group, np.full(len(group), 0.01))
        low, high = found.limits
        held += low <= 0.02 <= high
    # 92 to 98 %: 95 % ± two standard deviations of 200 draws, √(0.95 · 0.05/200) = 1.5 %
    assert 184 <= held <= 196


def test_limits_are_cautious_where_pockets_do_not_differ() -> None:
    generator = np.random.default_rng(11)
    group, held = np.repeat(np.arange(12), 5), 0
    for _ in range(200):
        low, high = common_bias(0.02 + generator.normal(0, 0.01, 60), group, np.full(60, 0.01)).limits
        held += low <= 0.02 <= high
    # no upper bound: a deviation between pockets cannot be found below 0, so that its estimate is on the safe side
    assert held >= 184


def test_limits_of_the_spread_hold_it() -> None:
    generator = np.random.default_rng(5)
    group, held = np.repeat(np.arange(15), 5), 0
    for _ in range(200):
        values = generator.normal(0, 0.02, 15)[group] + generator.normal(0, 0.01, 75)
        low, high = common_bias(values, group, np.full(75, 0.01)).between_limits
        held += low <= 0.02 <= high
    # at least 92 %: the limits are cautious by construction, so they may hold more often
    assert held >= 184


def test_student_factor() -> None:
    # Student's t, 97.5 % point: 12.706, 2.571 and 2.042 for 1, 5 and 30 degrees of freedom (any table)
    assert [student_factor(dof) for dof in (1, 5, 30)] == pytest.approx([12.7062, 2.5706, 2.0423], abs=5e-5)


def test_a_pocket_cut_wrong_stands_apart() -> None:
    means = np.array([0.02, 0.018, 0.023, 0.021, 0.3, 0.019])
    assert pockets_apart(means, np.full(6, 0.004)).tolist() == [False] * 4 + [True, False]
    assert not pockets_apart(means[2:6], np.full(4, 0.004)).any()  # four are too few to say which is wrong
