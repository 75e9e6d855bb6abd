"""Warps of bent plates, from handbooks, recovered from noisy readings."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from physics import E_MPA, Load, PlateModel, deflect, plate_rigidity

from floorfit.surface import Fit, fit_surface

NOISE = 0.010
Warp = Callable[[np.ndarray, np.ndarray], np.ndarray]
LENGTH, WIDTH = 600.0, 400.0
ODD = np.arange(1, 60, 2)


def _sine_plate(load: np.ndarray) -> Warp:
    """Simply supported plate by Navier's double series, scaled later."""
    m, n = ODD[:, None], ODD[None, :]
    terms = load / ((m / LENGTH) ** 2 + (n / WIDTH) ** 2) ** 2

    def warp(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        sx, sy = (np.sin(np.pi * ODD * np.asarray(v)[..., None] / s) for v, s in ((x, LENGTH), (y, WIDTH)))
        return np.einsum("...m,mn,...n->...", sx, terms, sy)

    return warp


def _uniform() -> Warp:
    return _sine_plate(1 / (ODD[:, None] * ODD[None, :]))


def _central_force() -> Warp:
    sign = np.sin(ODD * np.pi / 2)
    return _sine_plate(sign[:, None] * sign[None, :])


def _clamped() -> Warp:
    model = PlateModel(
        np.linspace(0, LENGTH, 19), np.linspace(0, WIDTH, 13), lambda x, y: plate_rigidity(np.full_like(x, 2.0), nu=0.3)
    )
    return deflect(model, Load(pressure=lambda x, y: np.full_like(x, 1e-3)), support="clamped")


def _scaled(warp: Warp, centre: float) -> Warp:
    factor = centre / float(warp(np.array(LENGTH / 2), np.array(WIDTH / 2)))
    return lambda x, y: factor * warp(np.asarray(x, float), np.asarray(y, float))


def _bow(curvature: float) -> Warp:
    return lambda x, y: curvature / 2 * ((x - LENGTH / 2) ** 2 + (y - WIDTH / 2) ** 2)


#: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 1959: §30 (uniform load), §34 (central force), §44
#: (clamped); last two: curvature of a plate with a layer under tension cut away (G. G. Stoney 1909, exact form) and of
#: one with parabolic stress cut from 50 to 2 mm (R. G. Treuting & W. T. Read 1951).
TRUTHS = {
    "uniform load": _scaled(_uniform(), 0.3),
    "central force": _scaled(_central_force(), 0.3),
    "clamped": _scaled(_clamped(), 0.3),
    "layer removed": _bow(-8.76046025105e-6),
    "parabolic stress": _bow(2.1529707113e-5),
}


def test_series_have_the_published_centre_deflections() -> None:
    # α in w = α q a⁴/D for b/a = 1.5 is 0.00772402, and in w = α P a²/D 0.01533283 (series recomputed elsewhere):
    # Navier's factors 16 q/(π⁶ D) and 4 P/(π⁴ a b D). 60 terms a side: 1e-5 and 1e-3 of it.
    middle = np.array(LENGTH / 2), np.array(WIDTH / 2)
    assert float(_uniform()(*middle)) * 16 / np.pi**6 / WIDTH**4 == pytest.approx(0.00772402162331, rel=1e-5)
    force = float(_central_force()(*middle)) * 4 / np.pi**4 / (LENGTH * WIDTH) / WIDTH**2
    assert force == pytest.approx(0.01533282662, rel=1e-3)


def test_clamped_plate_has_the_published_centre_deflection() -> None:
    # Same book, table 35, b/a = 1.5: α = 0.00219652 (printed 0.00220). 12 cells on the short side: error falls as h⁴.
    rigidity = E_MPA * 2.0**3 / (12 * (1 - 0.3**2))
    got = float(_clamped()(np.array(LENGTH / 2), np.array(WIDTH / 2))) * rigidity / (1e-3 * WIDTH**4)
    assert got == pytest.approx(0.00219652209, rel=1e-4)


@pytest.fixture(scope="module", params=TRUTHS)
def case(request: pytest.FixtureRequest) -> tuple[str, Warp, Fit]:
    warp = TRUTHS[request.param]
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(20, 580, 13), np.linspace(20, 380, 9), indexing="ij"))
    noise = np.random.default_rng(11).normal(0, NOISE, len(x))
    fit = fit_surface(np.column_stack([x, y]), warp(x, y) + noise, NOISE, bounds=(0, 0, LENGTH, WIDTH))
    return request.param, warp, fit


def test_warp_is_recovered_better_than_one_reading(case: tuple[str, Warp, Fit]) -> None:
    name, warp, fit = case
    x, y = np.random.default_rng(3).uniform([20, 20], [580, 380], (2000, 2)).T
    miss = fit.surface.at(x, y) - warp(x, y)
    # 117 readings on a surface of some 20 parameters: rms σ √(20/117) = 0.4 σ. Under the force the bending moment has
    # no bound, and no smooth surface follows its peak.
    assert np.sqrt(np.mean(miss**2)) < (0.7 if name != "central force" else 0.9) * NOISE
    assert (fit.weights > 0.5).sum() >= 116


def test_stated_uncertainty_covers_the_truth(case: tuple[str, Warp, Fit]) -> None:
    _, warp, fit = case
    x, y = np.random.default_rng(4).uniform([20, 20], [580, 380], (2000, 2)).T
    inside = np.abs(fit.surface.at(x, y) - warp(x, y)) <= 1.96 * fit.posterior.std_at(x, y)
    # Nominal 95 %; errors of one plate hang together over a fifth of it each way, so that about 25 are independent:
    # standard error 0.044, three of them.
    assert inside.mean() > 0.82


def test_sign_of_the_bow(case: tuple[str, Warp, Fit]) -> None:
    # Tension removed on top leaves the edges low, compression removed leaves them high.
    name, warp, fit = case
    bow = lambda w: float(w(20, 20) + w(580, 380)) / 2 - float(w(300, 200))  # noqa: E731
    assert bow(fit.surface.at) == pytest.approx(bow(warp), abs=4 * NOISE)
    if name in {"layer removed", "parabolic stress"}:
        assert (bow(fit.surface.at) > 0) == (name == "parabolic stress")
