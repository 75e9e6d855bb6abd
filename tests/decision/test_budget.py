"""The plain budget of an offset: parts that add up (JCGM 100:2008, 5.1.2)."""

from __future__ import annotations

import numpy as np
import pytest
from known_warp import FLOOR, one_pocket_part

from floorfit.decision import Decision, DecisionSettings, decide
from floorfit.decision.budget import ReadingNoise, with_budgets
from floorfit.decision.floor_warp import floor_means
from floorfit.surface import Fit, fit_surface
from floorfit.web import Webs

PART = one_pocket_part()
POINTS = np.stack(np.meshgrid([-70.0, 0, 70], [-50.0, 0, 50], indexing="ij"), axis=-1).reshape(-1, 2)
U = np.full(9, 0.010)


@pytest.fixture(scope="module")
def fit() -> Fit:
    values = 0.05 + 1e-4 * POINTS[:, 0] + np.random.default_rng(2).normal(0, 0.010, 9)
    return fit_surface(POINTS, values, U, bounds=PART.bounds)


def _decided(fit: Fit, **noise: float) -> Decision:
    shared = np.hypot(noise.get("calibration_u", 0.0), noise.get("machine_u", 0.0))
    decisions = decide(PART, Webs(fit.surface), fit.posterior, [9], [9], DecisionSettings(), common_u=float(shared))
    return with_budgets(fit, floor_means(PART, Webs(fit.surface)), decisions, ReadingNoise(**noise))[0]


@pytest.mark.parametrize(
    "noise", [{}, {"machine_u": 0.004}, {"calibration_u": 0.003, "machine_u": 0.004}, {"z_share": 0.2}]
)
def test_root_sum_of_squares_is_half_the_expanded_uncertainty(fit: Fit, noise: dict[str, float]) -> None:
    got = _decided(fit, **noise)
    assert all(part >= 0 for part in got.budget_mm.values())
    assert np.sqrt(sum(part**2 for part in got.budget_mm.values())) == pytest.approx(got.offset_u_mm / 2, rel=1e-9)


def test_what_readings_share_stands_as_given(fit: Fit) -> None:
    budget = _decided(fit, calibration_u=0.003, machine_u=0.004).budget_mm
    assert budget["calibration"] == pytest.approx(0.003)
    assert budget["machine Z"] == pytest.approx(0.004)


def test_share_of_the_floor_z(fit: Fit) -> None:
    budget = _decided(fit, z_share=0.2, resolution_share=0.1).budget_mm
    whole = budget["repeatability"] ** 2 + budget["floor Z"] ** 2 + budget["resolution"] ** 2
    assert budget["floor Z"] ** 2 == pytest.approx(0.2 * whole)
    assert budget["resolution"] ** 2 == pytest.approx(0.1 * whole)


def test_repeatability_is_near_that_of_a_mean(fit: Fit) -> None:
    # Nine readings of 0.010: no estimate of a level beats 0.010/3 (JCGM 100, 4.2.3), none is worse than one reading.
    assert 0.010 / 3 * 0.6 < _decided(fit).budget_mm["repeatability"] < 0.010


def test_held_floor_without_readings_has_no_budget(fit: Fit) -> None:
    decisions = decide(PART, Webs(fit.surface), fit.posterior, [0], [0], DecisionSettings())
    assert with_budgets(fit, floor_means(PART, Webs(fit.surface)), decisions, ReadingNoise())[0].budget_mm == {}


def test_floor_id_is_kept(fit: Fit) -> None:
    assert _decided(fit).pocket == FLOOR.id
