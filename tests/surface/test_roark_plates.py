"""Handbook plates under load, read with noise: the surface finds the deflection that the table prints.

Roark's Formulas for Stress and Strain, 7th ed., table 11.4, cases 1a and 1b: rectangular plate, all edges simply
supported, ν = 0.3, ``y = α q b⁴ / (E t³)`` under a uniform load and ``y = α W b² / (E t³)`` under a central force, b
the shorter side. The whole shape is Navier's double series (Timoshenko & Woinowsky-Krieger 1959, §30 and §34).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from floorfit.surface import Fit, fit_surface

NOISE = 0.010
E_MPA, NU, THICK, SHORT = 71700.0, 0.3, 2.0, 400.0
RIGIDITY = E_MPA * THICK**3 / (12 * (1 - NU**2))
ODD = np.arange(1, 120, 2)
Warp = Callable[[np.ndarray, np.ndarray], np.ndarray]

#: Longer over shorter side: α as printed.
UNIFORM = {1.0: 0.0444, 1.2: 0.0616, 1.4: 0.0770, 2.0: 0.1110, 3.0: 0.1335, 5.0: 0.1417}
FORCE = {1.0: 0.1267, 1.4: 0.1621, 2.0: 0.1805}
PRESSURE, WEIGHT = 1.0e-4, 2.0  # N/mm² and N: 0.2 to 0.6 mm in the middle


@dataclass(frozen=True)
class Loaded:
    """A plate, its deflection in the middle by the table, and by the series everywhere."""

    name: str
    length: float
    printed: float
    warp: Warp

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return (0.0, 0.0, self.length, SHORT)


def _series(length: float, load: np.ndarray) -> Warp:
    m, n = ODD[:, None], ODD[None, :]
    terms = load / (np.pi**4 * RIGIDITY * ((m / length) ** 2 + (n / SHORT) ** 2) ** 2)

    def warp(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        sx, sy = (np.sin(np.pi * ODD * np.asarray(v, float)[..., None] / s) for v, s in ((x, length), (y, SHORT)))
        return np.einsum("...m,mn,...n->...", sx, terms, sy)

    return warp


def _uniform(ratio: float) -> Loaded:
    length = ratio * SHORT
    warp = _series(length, 16 * PRESSURE / (np.pi**2 * ODD[:, None] * ODD[None, :]))
    printed = UNIFORM[ratio] * PRESSURE * SHORT**4 / (E_MPA * THICK**3)
    return Loaded(f"uniform, {ratio}", length, printed, warp)


def _force(ratio: float) -> Loaded:
    length = ratio * SHORT
    sign = np.sin(ODD * np.pi / 2)
    warp = _series(length, 4 * WEIGHT / (length * SHORT) * sign[:, None] * sign[None, :])
    printed = FORCE[ratio] * WEIGHT * SHORT**2 / (E_MPA * THICK**3)
    return Loaded(f"force, {ratio}", length, printed, warp)


PLATES = [_uniform(ratio) for ratio in UNIFORM] + [_force(ratio) for ratio in FORCE]


@pytest.mark.parametrize("plate", PLATES, ids=lambda plate: plate.name)
def test_series_deflects_as_printed(plate: Loaded) -> None:
    # The printed coefficients are within 0.5 % of the series (the worst at 1.4, an old rounding): 1 %.
    assert float(plate.warp(plate.length / 2, SHORT / 2)) == pytest.approx(plate.printed, rel=0.01)


@pytest.fixture(scope="module", params=PLATES, ids=lambda plate: plate.name)
def read(request: pytest.FixtureRequest) -> tuple[Loaded, Fit]:
    """One reading for each 40 x 40 mm: a pocket of 120 x 100 mm has seven."""
    plate: Loaded = request.param
    x, y = (
        a.ravel()
        for a in np.meshgrid(np.arange(20, plate.length, 40.0), np.arange(20, SHORT, 40.0), indexing="ij")
    )  # fmt: skip
    values = plate.warp(x, y) + np.random.default_rng(21).normal(0, NOISE, len(x))
    return plate, fit_surface(np.column_stack([x, y]), values, NOISE, bounds=plate.bounds)


def test_middle_is_where_the_table_says(read: tuple[Loaded, Fit]) -> None:
    plate, fit = read
    middle = plate.length / 2, SHORT / 2
    # 1 % of the table, and three standard deviations of nine plates.
    allowed = 0.01 * plate.printed + 3 * float(fit.posterior.std_at(*middle))
    assert float(fit.surface.at(*middle)) == pytest.approx(plate.printed, abs=allowed)
    assert float(fit.posterior.std_at(*middle)) < NOISE  # several readings round it: surer than one


def test_whole_plate_is_recovered(read: tuple[Loaded, Fit]) -> None:
    plate, fit = read
    x, y = np.random.default_rng(22).uniform([10, 10], [plate.length - 10, SHORT - 10], (3000, 2)).T
    miss = fit.surface.at(x, y) - plate.warp(x, y)
    # By least squares an rms error of σ √(p / n): p is what the surface used. 1.3 times, since p holds noise alone and
    # not what smoothing takes off the top; 6 % of the plate lies outside the readings. Under a force the bending
    # moment has no bound, and no smooth surface follows its peak: 1.6 times.
    share = np.sqrt(fit.effective_parameters / len(fit.residuals))
    assert np.sqrt(np.mean(miss**2)) < (1.3 if plate.name.startswith("uniform") else 1.6) * share * NOISE
    assert np.sqrt(np.mean(miss**2)) < 0.6 * NOISE
    # Nominal 95 %. Errors of neighbours hang together over some 100 mm: 16 to 80 independent ones, standard error 0.054
    # to 0.024, three of them.
    patches = max(16.0, plate.length * SHORT / 1e4)
    covered = np.mean(np.abs(miss) <= 1.96 * fit.posterior.std_at(x, y))
    assert covered > 0.95 - 3 * np.sqrt(0.95 * 0.05 / patches)


def test_supports_stay_where_they_are(read: tuple[Loaded, Fit]) -> None:
    # Simply supported: no deflection all along the edges, 20 mm beyond the last readings.
    plate, fit = read
    along, across = np.linspace(0, plate.length, 60), np.linspace(0, SHORT, 40)
    edges = [(along, 0.0), (along, SHORT), (0.0, across), (plate.length, across)]
    off = [np.abs(fit.surface.at(x, y)) / fit.posterior.std_at(x, y) for x, y in edges]
    assert np.mean(np.concatenate(off) <= 1.96) > 0.8  # nominal 95 %, of some 30 independent places
