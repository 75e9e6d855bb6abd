"""Smoothing by restricted likelihood against dense systems solved elsewhere.

The reference integrates the bending energy over the whole plane, the grid over the part and a margin of three lengths.
On seven points whose heights span 0.7 that leaves at most 0.0005 (measured), however fine the cells.
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_values import BOWED, BOWED_KNOWN_NOISE, SEVEN, SEVEN_REML
from scipy.optimize import minimize_scalar

from floorfit.surface.grid import make_grid
from floorfit.surface.reml import (
    PHI_FREEDOM,
    PHI_SD,
    PRIOR_LOG_MEAN,
    PRIOR_LOG_SD,
    Equations,
    Prior,
    _inflated,
    assemble,
    solve,
)
from floorfit.surface.search import best_prior, best_smoothing

EIGHT_PI = 8 * np.pi  # λ_K of the kernel form r² ln r is 8π times the λ of Σ (z − f)² + λ J (Wahba 1990)


def _equations(data: np.ndarray, bounds: tuple[float, float, float, float], cell: float, u: float) -> Equations:
    points, values = data[:, :2], data[:, 2]
    design = np.column_stack([np.ones(len(data)), points])
    flat = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    return assemble(make_grid(bounds, cell), points, flat, np.full(len(data), u**-2), len(data))


@pytest.fixture(scope="module")
def seven() -> Equations:
    return _equations(SEVEN, (0, 0, 8.5, 5), 0.2, 1.0)


@pytest.fixture(scope="module")
def bowed() -> Equations:
    return _equations(BOWED, (0, 0, 1200, 500), 20.0, 0.02)


def test_free_noise_is_that_of_profiled_reml(seven: Equations) -> None:
    found, _ = best_smoothing(seven, Prior(1.0), weak=False, free=True)
    # The criterion is flat here: two units of log λ change it by 0.5. 0.0005 of height moves its bottom by a tenth.
    assert np.log(found.prior.smoothing * EIGHT_PI) == pytest.approx(np.log(SEVEN_REML["smoothing"]), abs=0.15)
    assert found.dispersion == pytest.approx(SEVEN_REML["noise"], rel=0.05)


def test_profiled_noise_at_given_smoothing(seven: Equations) -> None:
    got = solve(seven, Prior(SEVEN_REML["smoothing"] / EIGHT_PI), weak=False, free=True)
    assert got.dispersion == pytest.approx(SEVEN_REML["noise"], rel=0.01)  # heights to 0.0005 of a spread of 0.2
    # T4 at λ_K = 0.5: σ² = λ τ² = 0.0020649868 (mpmath).
    assert solve(seven, Prior(0.5 / EIGHT_PI), weak=False, free=True).dispersion == pytest.approx(
        0.0020649868, rel=0.01
    )


def test_criterion_differs_between_smoothings_as_published(seven: Equations) -> None:
    # −2 log restricted likelihood at λ_K = 0.5, 5 and the optimum: −0.630835, −1.003841, −1.165601 (mpmath).
    values = [solve(seven, Prior(s / EIGHT_PI), weak=False, free=True).criterion for s in (0.5, 5.0, 19.93628487)]
    # Each is a difference of determinants of 1e3 unknowns; the bounded domain leaves 0.02.
    assert values[1] - values[0] == pytest.approx(-1.003841 + 0.630835, abs=0.03)
    assert values[2] - values[1] == pytest.approx(-1.165601 + 1.003841, abs=0.03)


def test_free_noise_runs_to_zero_smoothing_and_known_noise_does_not(bowed: Equations) -> None:
    # −2 log restricted likelihood falls all the way: −17.71, −60.02, −65.09 at λ_K = e^18.5, e^9.5, e^5 (mpmath; R mgcv
    # agrees on the behaviour). Differences to 0.3: the bounded domain, as above, on 21 degrees of freedom.
    free = [solve(bowed, Prior(np.exp(k) / EIGHT_PI / 0.02**2), weak=False, free=True) for k in (18.5, 9.5, 5.0)]
    assert free[1].criterion - free[0].criterion == pytest.approx(-60.02 + 17.71, abs=0.3)
    assert free[2].criterion - free[1].criterion == pytest.approx(-65.09 + 60.02, abs=0.3)
    assert free[2].dispersion < 0.05  # a fifth of the true noise here, and falling with λ
    held, _ = best_smoothing(bowed, Prior(1e6), weak=False)
    assert held.dispersion == 1.0


def test_known_noise_gives_the_published_surface_variance(bowed: Equations) -> None:
    found, spread = best_smoothing(bowed, Prior(1e6), weak=False)
    # τ² = 1 / (8π λ): to 2 % at a 20 mm grid, a fortieth of its own spread.
    assert 1 / (found.prior.smoothing * EIGHT_PI) == pytest.approx(BOWED_KNOWN_NOISE["tau2"], rel=0.02)
    assert 0.1 < spread < 1.5


def test_mode_does_not_hang_on_the_start(bowed: Equations) -> None:
    # 0.1 in log λ is less than a quarter of its spread: no interval moves by a percent.
    modes = [np.log(best_smoothing(bowed, Prior(start))[0].prior.smoothing) for start in (1e3, 1e9)]
    assert modes[0] == pytest.approx(modes[1], abs=0.1)


def test_best_reach_is_the_likeliest_and_shares_are_ordered(bowed: Equations) -> None:
    found = best_prior(bowed, Prior(1e6, 100.0))
    evidence = [one[2] for one in found]
    assert evidence == sorted(evidence)
    assert len({one[0].prior.smooth_length for one in found}) == len(found)


def test_more_smoothing_leaves_a_greater_misfit(bowed: Equations) -> None:
    freedom = [solve(bowed, Prior(s), weak=False, free=True).dispersion for s in (1e4, 1e6, 1e8)]
    assert freedom == sorted(freedom)


def test_weak_prior_costs_nothing_at_its_mean(bowed: Equations) -> None:
    # A Gaussian prior of log(λ/φ) adds z²: 0 at its mean, 1 one deviation off, 4 two off, the same on both sides.
    for steps in (-2.0, -1.0, 0.0, 1.0):
        prior = Prior(float(np.exp(PRIOR_LOG_MEAN + steps * PRIOR_LOG_SD)))
        plain, weak = solve(bowed, prior, weak=False), solve(bowed, prior)
        z = steps - np.log(plain.dispersion) / PRIOR_LOG_SD
        assert weak.criterion - plain.criterion == pytest.approx(z**2, abs=1e-6)


def test_dispersion_is_the_likeliest_of_the_stated_criterion() -> None:
    # ν log φ + S/φ and the prior of Student's t on log φ ≥ 0: the least of it by scipy's scalar search.
    for freedom, size in ((4.0, 30.0), (40.0, 60.0), (400.0, 2000.0), (400.0, 380.0)):

        def criterion(log_phi: float, freedom: float = freedom, size: float = size) -> float:
            prior = (PHI_FREEDOM + 1) * np.log1p((log_phi / PHI_SD) ** 2 / PHI_FREEDOM)
            return float(freedom * log_phi + size * np.exp(-log_phi) + prior)

        best = min(
            (
                minimize_scalar(criterion, bounds=(low, low + 0.5), method="bounded")
                for low in np.arange(0.0, 4.0, 0.25)
            ),
            key=lambda found: found.fun,
        )
        phi, least = _inflated(np.array([size]), freedom, free=False)
        # A parabola through steps of 0.02 and 0.1: a tenth of a step.
        assert np.log(phi[0]) == pytest.approx(best.x, abs=0.01)
        assert least[0] == pytest.approx(best.fun, abs=0.01)
