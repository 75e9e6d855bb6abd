"""Warps from plate theory, read with noise, recovered: truths that no spline has drawn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from physics import Load, PlateModel, Section, deflect, parabolic_stress, plate_rigidity, released_curvature

from floorfit.surface import fit_surface

BOUNDS = (0.0, 0.0, 1200.0, 500.0)
NOISE = 0.010
Warp = Callable[[np.ndarray, np.ndarray], np.ndarray]


def _released(stress: float, left: float) -> Warp:
    """Uniform curvature of a 50 mm plate cut down to ``left`` (R. G. Treuting & W. T. Read 1951)."""
    kappa = released_curvature(Section(((0.0, left, 1.0),)), parabolic_stress(stress, 50.0), e_mpa=71700.0)
    return lambda x, y: kappa / 2 * ((x - 600) ** 2 + (y - 250) ** 2)


def _under_pressure(support: str, height: float) -> Warp:
    """Plate held on four sides under uniform load, scaled to ``height`` in the middle.

    The solver meets Timoshenko & Woinowsky-Krieger 1959, tables 8 and 35, to 2e-5 (tests/test_physics.py).
    """
    model = PlateModel(np.linspace(0, 1200, 31), np.linspace(0, 500, 16), lambda x, y: plate_rigidity(np.ones_like(x)))
    shape = deflect(model, Load(pressure=lambda x, y: np.ones_like(x)), support=support)
    return shape.scaled(height / float(shape(600.0, 250.0)))


TRUTHS = {
    "released stress, edges high": _released(10.0, 2.0),
    "released stress, edges low": _released(-5.0, 20.0),
    "simply supported under load": _under_pressure("simple", 0.6),
    "clamped under load": _under_pressure("clamped", -0.4),
}


def _readings(truth: Warp, count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    points = rng.uniform(BOUNDS[:2], BOUNDS[2:], (count, 2))
    return points, truth(*points.T) + rng.normal(0.0, NOISE, count)


def _best_dense(points: np.ndarray, values: np.ndarray, xs: np.ndarray, ys: np.ndarray, truth: Warp) -> float:
    from scipy.interpolate import RBFInterpolator

    places = np.column_stack([xs.ravel(), ys.ravel()])
    models = (RBFInterpolator(points, values, smoothing=s) for s in np.geomspace(1e1, 1e7, 25))
    return min(float(np.sqrt(np.mean((model(places) - truth(*places.T)) ** 2))) for model in models)


@pytest.mark.parametrize("name", TRUTHS)
def test_warp_is_recovered_better_than_it_was_read(name: str) -> None:
    truth = TRUTHS[name]
    points, values = _readings(truth, 150, 4)
    fit = fit_surface(points, values, NOISE, bounds=BOUNDS, smallest_mm=120.0)
    xs, ys = np.meshgrid(np.linspace(60, 1140, 40), np.linspace(40, 460, 20), indexing="ij")
    error = fit.surface.at(xs, ys) - truth(xs, ys)
    rms = float(np.sqrt(np.mean(error**2)))
    # Better than one reading; and no worse than 1.05 times the dense thin-plate spline of scipy with the best of all
    # smoothings, found with the truth in hand.
    assert rms < NOISE
    assert rms < 1.05 * _best_dense(points, values, xs, ys, truth)
    deviation = fit.posterior.std_at(xs, ys)
    # Nominal 95 %; errors hang together over the plate, so one plate tells only that they are not far too narrow.
    assert np.mean(abs(error) <= 1.96 * deviation) > 0.85


@pytest.mark.parametrize("name", TRUTHS)
def test_bad_readings_do_not_bend_it(name: str) -> None:
    truth = TRUTHS[name]
    points, values = _readings(truth, 150, 4)
    clean = fit_surface(points, values, NOISE, bounds=BOUNDS, smallest_mm=120.0)
    spoilt = values.copy()
    spoilt[::15] += np.where(np.arange(10) % 2, 0.3, -0.5)
    fit = fit_surface(points, spoilt, NOISE, bounds=BOUNDS, smallest_mm=120.0)
    xs, ys = np.meshgrid(np.linspace(60, 1140, 40), np.linspace(40, 460, 20), indexing="ij")
    rms = [float(np.sqrt(np.mean((f.surface.at(xs, ys) - truth(xs, ys)) ** 2))) for f in (clean, fit)]
    # 7 % of the readings are lost: 1.04 times by their number; where they stood the surface has less to hold on to.
    assert rms[1] < 1.3 * rms[0] + 0.0005
    assert (fit.weights[::15] < 0.1).all()
