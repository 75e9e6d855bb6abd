import numpy as np
import pytest

from floorfit.verify.bias import common_bias, pockets_apart, student_factor


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


@pytest.mark.parametrize(
    ("pockets", "per_pocket", "scatter"),
    [(9, 6, 0.0), (9, 3, 0.03), (9, 6, 0.01), (5, 4, 0.01), (3, 6, 0.0), (3, 6, 0.01), (18, 4, 0.01), (9, 1, 0.02)],
)
def test_bias_interval_covers_as_stated(pockets: int, per_pocket: int, scatter: float) -> None:
    """A 95 % interval covers in 95 % of repetitions (JCGM 100:2008, G.1.3): not fewer than chance allows at 1 %."""
    from scipy.stats import binom

    generator, runs = np.random.default_rng(pockets + per_pocket), 200
    group, u = np.repeat(np.arange(pockets), per_pocket), np.full(pockets * per_pocket, 0.010)
    hits = 0
    for _ in range(runs):
        own = generator.normal(0.0, scatter, pockets)
        found = common_bias(0.02 + own[group] + generator.normal(0.0, u), group, u)
        hits += abs(found.value - 0.02) <= found.factor * found.u
    assert hits >= binom.ppf(0.01, runs, 0.95)


def test_what_all_predictions_share_widens_the_interval() -> None:
    """Independent parts add in squares (JCGM 100:2008, 5.1.2)."""
    group, u = np.repeat(np.arange(6), 4), np.full(24, 0.010)
    values = np.random.default_rng(2).normal(0.0, 0.010, 24)
    alone, shared = common_bias(values, group, u), common_bias(values, group, u, shared_u=0.004)
    assert shared.u == pytest.approx(np.hypot(alone.u, 0.004))
