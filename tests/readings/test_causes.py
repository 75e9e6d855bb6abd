"""The causes that are tried on a job, found by name on invented plates of other physics than the surface."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import floorfit

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_parts"))

from random_plates import random_plate
from random_readings import take_readings


@pytest.fixture(scope="module")
def job():
    plate = random_plate(3, 960.0, 480.0, 4, 3)
    return plate.part, take_readings(plate, 103).readings


@pytest.fixture(scope="module")
def clean(job) -> floorfit.Result:
    """The run of the readings as they are."""
    return floorfit.correct(*job, floorfit.Settings(z_u=0.002))


def _codes(result: floorfit.Result) -> dict[str, str]:
    return {one.code: one.text for one in result.findings if one.code.startswith("shared-")} | (
        {} if result.conforms else {"exit 1": ""}
    )


def test_clean_readings_raise_nothing(clean):
    assert not [code for code in _codes(clean) if code.startswith("shared-")]


@pytest.mark.parametrize(("share", "way"), [(0.03, "too high"), (-0.03, "too low")])
def test_a_wrong_velocity_is_found_by_the_webs_thickness(job, share: float, way: str):
    """Reading t (1 + share): a velocity set too high by the share (ASTM E797, 4.1: t = v TOF/2)."""
    part, readings = job
    spoiled = replace(readings, thickness=readings.thickness * (1 + share))
    found = _codes(floorfit.correct(part, spoiled, floorfit.Settings(z_u=0.002)))
    assert way in found["shared-velocity"] and "step block" in found["shared-velocity"]
    assert "exit 1" in found


@pytest.mark.parametrize("size", [-0.12, 0.09])
def test_a_drift_that_the_fit_allows_for_is_told_with_its_size(job, size: float):
    part, readings = job
    spoiled = replace(readings, thickness=readings.thickness - size * np.linspace(0, 1, len(readings)))
    result = floorfit.correct(part, spoiled, floorfit.Settings(z_u=0.002))
    assert result.fit is not None and result.fit.models[0].in_order is not None
    (found,) = result.systematic
    assert found.kind == "drift" and abs(found.effect - size) <= 3 * found.u < 0.075


def test_the_whole_part_is_likelier_to_fail_than_any_pocket(clean):
    """P(all) <= min P (probability of an intersection), and not below 1 − Σ (1 − P) (Bonferroni)."""
    chances = np.array([one.conformance_probability for one in clean.decisions])
    if all(one.action != "hold" for one in clean.decisions):
        assert 1 - (1 - chances).sum() - 1e-12 <= clean.part_probability <= chances.min() + 1e-12
