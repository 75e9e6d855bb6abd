"""The causes that are tried on a job, found by name on invented plates of other physics than the surface."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import floorfit
from floorfit.part.assign import assign_floors
from floorfit.planning.path import order_there_and_back
from floorfit.readings.causes import columns_to_try, doubted_floors
from floorfit.readings.systematic import Systematic
from floorfit.readings.warp import observe

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


@pytest.fixture(scope="module", params=[0.03, -0.03])
def wrong_velocity(request, job) -> tuple[float, floorfit.Result]:
    """Readings t (1 + share), and the run of them."""
    part, readings = job
    spoiled = replace(readings, thickness=readings.thickness * (1 + request.param))
    return request.param, floorfit.correct(part, spoiled, floorfit.Settings.of(z_u=0.002, limit=5.0))


def _codes(result: floorfit.Result) -> dict[str, str]:
    return {one.code: one.text for one in result.findings if one.code.startswith("shared-")} | (
        {} if result.conforms else {"exit 1": ""}
    )


def test_clean_readings_raise_nothing(clean):
    assert not [code for code in _codes(clean) if code.startswith("shared-")]


def test_a_wrong_velocity_is_found_by_the_webs_thickness(job, wrong_velocity):
    """Reading t (1 + share): a velocity set too high by the share (ASTM E797, 4.1: t = v TOF/2).

    Its size is what it takes of the thickest web, not what webs differ by in it.
    """
    share, result = wrong_velocity
    found = _codes(result)
    (one,) = [one for one in result.systematic if one.kind == "velocity"]
    thickest = max(pocket.web + pocket.finish_stock for pocket in job[0].pockets)
    assert one.size == pytest.approx(abs(one.effect) * thickest)
    assert ("too high" if share > 0 else "too low") in found["shared-velocity"]
    assert "step block" in found["shared-velocity"] and "exit 1" in found


def test_a_floor_whose_readings_are_off_together_is_not_called_conform(job):
    """The web is cut where the readings put it: with all of them 0.25 mm too thick it leaves ±0.1 mm.

    Its own verdict says nothing of that: the surface bends to readings that agree with each other.
    """
    part, readings = job
    here = readings.pocket == part.pockets[4].id
    spoiled = replace(readings, thickness=readings.thickness + 0.25 * here)
    result = floorfit.correct(part, spoiled, floorfit.Settings.of(z_u=0.002, limit=5.0))
    (found,) = [one for one in result.systematic if one.kind == "pocket"]
    assert found.name == part.pockets[4].id
    assert result.decisions[4].action == "hold" and result.decisions[4].verdict != "conform"


def test_a_shared_error_holds_the_floors_that_it_takes_out_of_their_limits(job):
    """A floor is in its limits by its margin: an error of all its readings that is larger takes it out."""
    part = job[0]
    narrow, wide = [0.05] * len(part.pockets), [0.5, None] * len(part.pockets)
    pocket = Systematic("pocket", part.pockets[4].id, "mm", -0.25, 0.02, 0.25, 1e-6)
    assert set(doubted_floors(part, [pocket], narrow)) == {4}
    assert "0.250 mm" in doubted_floors(part, [pocket], narrow)[4]
    assert not doubted_floors(part, [pocket], wide) and not doubted_floors(part, [], narrow)
    # 2 % of the roughed web of 2.5 mm are 0.05 mm: velocity times time of flight (ASTM E797, 4.1).
    velocity = Systematic("velocity", "thickness", "1", 0.02, 0.002, 0.1, 1e-6)
    thick = {k for k, one in enumerate(part.pockets) if 0.02 * (one.web + one.finish_stock) > 0.05}
    assert set(doubted_floors(part, [velocity], narrow)) == thick


def test_no_floor_is_sure_that_a_wrong_velocity_takes_out_of_its_limits(job, wrong_velocity):
    """Readings t (1 + share) put the web off by share times the roughed thickness: t = v TOF/2 (ASTM E797, 4.1)."""
    part, (share, result) = job[0], wrong_velocity
    for pocket, one in zip(part.pockets, result.decisions, strict=True):
        # The share is found to a tenth of itself or so (its stated uncertainty).
        assert not one.is_sure or one.margin_mm > 0.8 * abs(share) * (pocket.web + pocket.finish_stock)


@pytest.mark.parametrize("size", [-0.12, 0.09, 0.3])
def test_a_drift_that_the_fit_allows_for_is_told_with_its_size(job, size: float):
    part, readings = job
    spoiled = replace(readings, thickness=readings.thickness - size * np.linspace(0, 1, len(readings)))
    result = floorfit.correct(part, spoiled, floorfit.Settings(z_u=0.002))
    assert result.fit is not None and result.fit.models[0].in_order is not None
    (found,) = result.systematic
    assert found.kind == "drift" and abs(found.effect - size) <= 3 * found.u < 0.075


@pytest.mark.parametrize("size", [-0.04])
def test_a_step_is_told_with_its_reading_and_size(job, size: float):
    """A zero that was set anew: the mean of what is left changes there (change point, least squares)."""
    part, readings = job
    first = len(readings) // 3
    spoiled = replace(readings, thickness=readings.thickness - size * (np.arange(len(readings)) >= first))
    result = floorfit.correct(part, spoiled, floorfit.Settings(z_u=0.002))
    (found,) = result.systematic
    assert found.kind == "step" and abs(int(found.name) - first - 1) <= 2
    assert abs(found.effect - size) <= 3 * found.u < 0.03
    assert f"from reading {found.name} on" in _codes(result)["shared-step"] and not result.conforms
    # Half of it either way: k = 2 of a rectangular distribution (JCGM 100:2008, 4.3.7).
    assert np.mean([one.offset_u_mm for one in result.decisions]) > 0.95 * 2 * abs(found.effect) / np.sqrt(12)


@pytest.fixture(scope="module")
def plate_again():
    """Readings of a plate, some of them taken again at the end, with the gauge off by a size there."""
    plate = random_plate(6, 1200.0, 500.0, 3, 5)
    readings, settings = take_readings(plate, 106).readings, floorfit.Settings(z_u=0.002)
    clean = floorfit.correct(plate.part, readings, settings)
    good = np.flatnonzero(clean.observations.is_used)

    def made(count: int | None, size: float) -> floorfit.Result:
        again = good[:count]
        rows = np.concatenate([np.arange(len(readings)), again])
        error = np.zeros(len(rows))
        error[len(readings) :] = np.random.default_rng(4).normal(size, 0.010, len(again))
        return floorfit.correct(plate.part, _rows_of(readings, rows, error), settings)

    return clean, made


def test_a_plate_read_again_with_another_zero_lies_between(plate_again):
    """Either time may be right: the mean is half of it off, and k = 2 of its rectangle holds it (JCGM 100, 4.3.7)."""
    clean, made = plate_again
    result = made(None, 0.06)
    (found,) = [one for one in result.systematic if one.kind == "step"]
    assert abs(found.effect + 0.06) < 0.01 and not result.conforms
    middles = np.array([one.centroid_mm for one in result.decisions]).T
    away = result.fit.surface.at(*middles) - clean.fit.surface.at(*middles)
    assert away == pytest.approx(-0.03, abs=0.012)  # thicker read, lower taken
    assert min(one.offset_u_mm for one in result.decisions) >= 2 * 0.06 / np.sqrt(12)
    assert made(None, 0.0).conforms == clean.conforms


@pytest.mark.parametrize(("count", "size", "kinds"), [(3, 0.06, {"return"}), (10, -0.06, {"drift"}), (3, 0.0, set())])
def test_first_places_read_again_tell_a_gauge_that_changed(plate_again, count: int, size: float, kinds: set[str]):
    """What is few beside the others is set aside; but nothing says that the many are right.

    Ten of them pass for a drift. All of what was found may be in the surface, either way: k = 2 of that rectangle
    (JCGM 100:2008, 4.3.7), or of half of it where the surface lies in the middle.
    """
    result = plate_again[1](count, size)
    assert {one.kind for one in result.systematic} == kinds
    for one in result.systematic:
        assert abs(one.effect + size) < 3 * one.u and not result.conforms
        assert min(floor.offset_u_mm for floor in result.decisions) > abs(one.effect) / np.sqrt(3)


def test_two_gauges_on_two_sides_of_the_plate_are_told(job, clean):
    """The readings of half the columns are off together, wherever they stand in the order."""
    part, readings = job
    middle = np.array([one.polygon.centroid.x for one in part.pockets])
    names = {one.id for one, x in zip(part.pockets, middle, strict=True) if x > np.median(middle) + 1}
    beyond = np.array([label in names for label in readings.pocket])
    rows = np.random.default_rng(1).permutation(len(readings))
    spoiled = _rows_of(replace(readings, thickness=readings.thickness + 0.06 * beyond), rows, 0.0)
    result = floorfit.correct(part, spoiled, clean.settings)
    found = {one.kind: one for one in result.systematic}["side"]
    first = next(one for one in part.pockets if one.id == found.name.removeprefix("columns from "))
    assert first.id in names and abs(found.effect + 0.06) < 3 * found.u
    assert "two gauges" in _codes(result)["shared-side"] and not result.conforms
    # Either side may be the wrong one.
    assert all(one.action == "hold" or one.margin_mm >= abs(found.effect) for one in result.decisions)


def test_readings_on_two_levels_are_told(plate_again):
    """Every third 0.08 mm thicker, a half wave of some 40 MHz in aluminium (λ/2 = v/2f, ASTM E797): no scatter.

    The surface follows some of it, so that less than the whole distance is left; never more.
    """
    clean, _ = plate_again
    readings = clean.readings
    on_other = np.random.default_rng(2).random(len(readings)) < 1 / 3
    spoiled = replace(readings, thickness=readings.thickness + 0.08 * on_other)
    result = floorfit.correct(clean.part, spoiled, clean.settings)
    found = {one.kind: one for one in result.systematic}["level"]
    assert 0.04 < found.effect < 0.08 + 3 * found.u and not result.conforms
    assert "two levels" in _codes(result)["shared-level"]
    assert min(one.offset_u_mm for one in result.decisions) > found.effect  # all of it, either way


@pytest.mark.parametrize("way", ["x", "y"])
def test_places_that_are_off_are_found_by_the_slopes_of_the_floors(way: str):
    """A place that is off by d says t + d · slope of a web whose thickness slopes: geometry.

    Webs' own dishes follow some of it where floors curve.
    """
    folder = Path(__file__).resolve().parents[2] / "sample_parts" / "lofted_rib"
    part, readings = floorfit.read_part(folder / "part.json"), floorfit.read_readings(folder / "readings.csv")
    result = floorfit.correct(part, replace(readings, **{way: getattr(readings, way) + 8.0}))
    found = {(one.kind, one.name): one for one in result.systematic}["place", way]
    assert 4.0 < found.effect < 8.0 + 3 * found.u and not result.conforms
    assert f"off along {way.upper()}" in _codes(result)["shared-place"]
    # Right ones say nothing of that, and flat floors cannot.
    assert not [one for one in floorfit.correct(part, readings).systematic if one.kind == "place"]


def test_places_at_walls_and_on_ribs_put_all_places_in_doubt(plate_again):
    clean, _ = plate_again
    moved = replace(clean.readings, x=clean.readings.x + 15.0)
    result = floorfit.correct(clean.part, moved, clean.settings)
    assert "places-off" in result.unsettled and not result.conforms
    assert "places-off" not in clean.unsettled


def test_a_drift_hides_pocket_by_pocket_and_not_there_and_back(job, clean):
    """Analysis of covariance: what goes with the order is known the better, the less of it goes with the place.

    So the second way leaves nothing to be told, and a drift of what the first could not tell apart is found by it.
    """
    part, readings = job
    (hidden,) = [one.text for one in clean.findings if one.code == "drift-hidden"]
    size = float(re.search(r"up to ([0-9.]+) mm", hidden)[1])
    assert size > clean.settings.systematic
    rows = order_there_and_back(np.column_stack([readings.x, readings.y]), readings.pocket)
    drift = -size * np.linspace(0, 1, len(rows))
    told = [
        floorfit.correct(part, _rows_of(readings, rows, one), clean.settings) for one in (np.zeros(len(rows)), drift)
    ]
    assert not [one for result in told for one in result.findings if one.code == "drift-hidden"]
    assert [one.kind for one in told[1].systematic] == ["drift"] and not told[0].systematic
    # What could be hidden is in the uncertainty: the first way's is larger, of the same readings.
    assert np.mean([one.offset_u_mm for one in clean.decisions]) > 1.1 * np.mean(
        [one.offset_u_mm for one in told[0].decisions]
    )


def _rows_of(readings: floorfit.Readings, rows: np.ndarray, error: np.ndarray) -> floorfit.Readings:
    names = ("x", "y", "z", "pocket", "u", "temperature", "tof", "line")
    columns = {name: getattr(readings, name)[rows] for name in names}
    return replace(readings, **columns, thickness=readings.thickness[rows] + error)


def test_the_whole_part_is_likelier_to_fail_than_any_pocket(clean):
    """P(all) <= min P (probability of an intersection), and not below 1 − Σ (1 − P) (Bonferroni)."""
    chances = np.array([one.conformance_probability for one in clean.decisions])
    if all(one.action != "hold" for one in clean.decisions):
        assert 1 - (1 - chances).sum() - 1e-12 <= clean.part_probability <= chances.min() + 1e-12


def test_a_row_keeps_its_kind_whatever_its_pockets_are_called(job):
    """Ids are free words (the part file): that of a row's first pocket says nothing of what is tried."""
    part, readings = job
    named = replace(part, pockets=(replace(part.pockets[0], id="A from B"), *part.pockets[1:]))
    floor = assign_floors(named, readings.x, readings.y)
    kinds = {
        one.name: one.kind for one in columns_to_try(named, observe(named, readings, floor), np.ones(len(floor), bool))
    }
    assert kinds["row of A from B"] == "row" and kinds["A from B"] == "pocket"
