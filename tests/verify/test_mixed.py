import numpy as np
import pytest

from floorfit.verify.mixed import dispersion_of, fit_grouped


def balanced(groups: int, each: int, between: float, seed: int):
    generator = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), each)
    values = 0.02 + generator.normal(0, between, groups)[group] + generator.normal(0, 0.01, groups * each)
    return values, group


@pytest.mark.parametrize("seed", range(5))
def test_balanced_groups_have_the_closed_form(seed: int) -> None:
    # One-way random effects with known noise, balanced: the REML estimate is var(means) − u²/n, the mean is the grand
    # mean, its variance var(means)/k (Searle, Casella & McCulloch 1992, ch. 3; derived for a known σ²).
    values, group = balanced(10, 6, 0.03, seed)
    found = fit_grouped(np.ones((60, 1)), values, group, np.full(60, 0.01))
    means = values.reshape(10, 6).mean(axis=1)
    # 1e-3 relative: the search for τ stops at 1e-5 of its logarithm, its square root at a flat optimum
    assert found.between == pytest.approx(np.sqrt(means.var(ddof=1) - 0.01**2 / 6), rel=1e-3)
    assert found.beta[0] == pytest.approx(values.mean(), rel=1e-9)
    assert found.covariance[0, 0] == pytest.approx(means.var(ddof=1) / 10, rel=2e-3)


def test_same_as_dense_least_squares() -> None:
    generator = np.random.default_rng(3)
    group = np.array([0, 0, 1, 1, 1, 2, 3, 3, 3, 3, 4, 4, 5, 5, 5, 6])
    design = np.column_stack([np.ones(16), generator.normal(size=16)])
    u = generator.uniform(0.005, 0.02, 16)
    values = generator.normal(0, 0.03, 7)[group] + generator.normal(0, u)
    found = fit_grouped(design, values, group, u)
    dense = np.diag(u**2) + found.between**2 * (group[:, None] == group[None, :])
    inverse = np.linalg.inv(dense)
    covariance = np.linalg.inv(design.T @ inverse @ design)
    assert found.covariance == pytest.approx(covariance, rel=1e-8)
    assert found.beta == pytest.approx(covariance @ design.T @ inverse @ values, rel=1e-8)
    effects = found.between**2 * np.eye(7)[group].T @ inverse @ (values - design @ found.beta)
    assert found.effects == pytest.approx(effects, rel=1e-7)


def test_equal_groups_have_no_spread() -> None:
    values, group = np.tile([0.01, -0.01], 8), np.repeat(np.arange(8), 2)
    assert fit_grouped(np.ones((16, 1)), values, group, np.full(16, 0.01)).between == 0.0


def test_noise_is_never_below_what_is_stated() -> None:
    group = np.repeat(np.arange(4), 3)
    assert dispersion_of(np.zeros(12), group, np.full(12, 0.01)) == 1.0
    # within groups ±0.03 about the mean: Σ e²/(n − k) = 4 · 2 · 0.03²/(12 − 4) = 0.03², nine times 0.01²
    assert dispersion_of(np.tile([-0.03, 0.0, 0.03], 4), group, np.full(12, 0.01)) == pytest.approx(9.0)
