"""How sure: against the kriging standard error, and samples against exact variances."""

from __future__ import annotations

import numpy as np
import pytest
from reference_values import BOWED, BOWED_KNOWN_NOISE, SEVEN, SEVEN_FITS, SEVEN_PLACES

from floorfit.surface import Fit, fit_surface
from floorfit.surface.grid import make_grid
from floorfit.surface.posterior import mixture
from floorfit.surface.reml import Prior, assemble

EIGHT_PI = 8 * np.pi
PLACES = BOWED_KNOWN_NOISE["places"]


@pytest.fixture(scope="module")
def bowed() -> Fit:
    smoothing = 1 / (EIGHT_PI * BOWED_KNOWN_NOISE["tau2"])
    return fit_surface(
        BOWED[:, :2], BOWED[:, 2], 0.02, bounds=(0, 0, 1200, 500), smoothing=smoothing, robust=False, samples=1000
    )


def test_standard_deviation_is_the_kriging_one(bowed: Fit) -> None:
    # mpmath, thin-plate kriging with the noise known; a 12 mm grid on readings 220 mm apart gives it to 0.2 %. A basis
    # of one function a reading is too sure by a factor of up to 2.9 here.
    assert bowed.posterior.std_at(*PLACES.T) == pytest.approx(BOWED_KNOWN_NOISE["se"], rel=0.005)


def test_prediction_and_effective_parameters_with_known_noise(bowed: Fit) -> None:
    # Margin of three lengths instead of the whole plane: 0.001 mm at the corner, a fortieth of the standard error.
    assert bowed.surface.at(*PLACES.T) == pytest.approx(BOWED_KNOWN_NOISE["at"], abs=0.001)
    assert bowed.effective_parameters == pytest.approx(BOWED_KNOWN_NOISE["edf"], abs=0.02)
    assert bowed.dispersion == 1.0


def test_samples_scatter_as_the_exact_variance_says(bowed: Fit) -> None:
    drawn = bowed.posterior.samples_at(PLACES)
    assert drawn.shape == (bowed.posterior.count, 4) == (1000, 4)
    # Relative standard error of a standard deviation from n samples is 1/√(2n) (JCGM 100, E.4.3); 5 of them.
    assert drawn.std(axis=0) == pytest.approx(bowed.posterior.std_at(*PLACES.T), rel=5 / np.sqrt(2000))
    assert abs(drawn.mean(axis=0) / BOWED_KNOWN_NOISE["se"]).max() < 5 / np.sqrt(1000)


def test_rectangle_of_deviations_is_the_one_at_places(bowed: Fit) -> None:
    xs, ys = [100.0, 600.0], [30.0, 250.0, 470.0]
    grid = bowed.posterior.std_on_grid(xs, ys)
    assert grid.shape == (2, 3)
    assert grid[1, 2] == pytest.approx(float(bowed.posterior.std_at(600.0, 470.0)), rel=1e-12)


@pytest.mark.parametrize("smoothing", [0.5, 5.0])
def test_kriging_identity_on_seven_points(smoothing: float) -> None:
    # Thin-plate smoothing is the limit of universal kriging (Wahba 1990 §2.4): standard error σ √(bᵀ A⁻¹ b).
    known = SEVEN_FITS[smoothing]
    fit = fit_surface(
        SEVEN[:, :2], SEVEN[:, 2], 1.0, bounds=(0, 0, 8.5, 5), smoothing=smoothing / EIGHT_PI, robust=False, samples=2
    )
    sigma = np.sqrt(smoothing * known["tau2"])
    got = sigma * fit.posterior.std_at(*SEVEN_PLACES[[0, 3]].T)
    assert got == pytest.approx(known["se"], rel=0.001)
    # At a reading the posterior variance is σ² A_ii (Wahba 1983): the leverage of reading 5.
    assert fit.posterior.std_at(5.0, 2.5) ** 2 == pytest.approx(fit.loo.leverage[4], rel=1e-6)


def test_uncertainty_does_not_vanish_where_reml_alone_says_so() -> None:
    # The same readings with nothing given but the noise: free REML reports 6e-8 mm. At a reading of u = 0.02 mm that
    # 24 others surround, anything under a quarter of u or over it would be a claim that nobody could defend.
    fit = fit_surface(BOWED[:, :2], BOWED[:, 2], 0.02, bounds=(0, 0, 1200, 500))
    deviation = fit.posterior.std_at(*PLACES.T)
    assert (deviation > 0.005).all()
    assert deviation[3] < 0.02
    assert deviation[2] > deviation[0]  # beyond the last readings less is known than between them
    truth = np.array([0.0, 0.282684, 0.572218])  # w = 0.4 u² + 0.15 v² + 0.05 u v, by hand
    assert abs((fit.surface.at(*PLACES[:3].T) - truth) / deviation[:3]).max() < 3


def test_smoothing_spread_widens_the_interval(bowed: Fit) -> None:
    fit = fit_surface(BOWED[:, :2], BOWED[:, 2], 0.02, bounds=(0, 0, 1200, 500), robust=False, cell_mm=20.0)
    known = fit_surface(
        BOWED[:, :2], BOWED[:, 2], 0.02, bounds=(0, 0, 1200, 500), robust=False, cell_mm=20.0, samples=2,
        smoothing=fit.smoothing, smooth_length_mm=fit.smooth_length,
    )  # fmt: skip
    x, y = np.meshgrid(np.linspace(20, 1180, 30), np.linspace(20, 480, 12))
    assert fit.smoothing_spread > 0
    assert bowed.smoothing_spread == 0
    # An outer product is added to the covariance: nowhere narrower, but for rounding.
    assert (fit.posterior.std_at(x, y) >= known.posterior.std_at(x, y) * (1 - 1e-9)).all()


def test_mixture_over_the_smoothing_has_the_moments_of_a_gaussian() -> None:
    # Three-point Gauss-Hermite (Abramowitz and Stegun 1964, 25.4.46): exact up to the fifth moment.
    grid = make_grid((0, 0, 1200, 500), 100.0)
    equations = assemble(grid, BOWED[:, :2], BOWED[:, 2], np.full(len(BOWED), 1 / 0.02**2), float(len(BOWED)))
    smoothing, spread = 1e6, 0.4
    pairs = mixture(equations, [(Prior(smoothing), spread, 1.0)])
    steps = np.log([solution.prior.smoothing / smoothing for solution, _ in pairs])
    shares = np.array([share for _, share in pairs])
    assert shares.sum() == pytest.approx(1)
    expected = [0.0, spread**2, 0.0, 3 * spread**4, 0.0]
    assert [float(shares @ steps**k) for k in range(1, 6)] == pytest.approx(expected, abs=1e-12)
