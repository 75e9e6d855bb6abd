"""Limits by region: each region of a floor is judged by its own, over its own places."""

from __future__ import annotations

from dataclasses import replace
from inspect import signature

import numpy as np
import pytest
import shapely
from finished_webs import finished_readings, rough_readings, small_part
from known_warp import FLOOR, floor_at, rectangle
from scipy.optimize import differential_evolution
from scipy.stats import norm

from floorfit.decision.candidates import best_candidate, best_height, minimax_plane
from floorfit.decision.settings import DecisionSettings
from floorfit.part import Tolerance
from floorfit.part.lattice import floor_points
from floorfit.part.model import LocalLimits
from floorfit.recording import make_record
from floorfit.run import Settings, correct
from floorfit.verify import verify

EVERYWHERE = rectangle(-80, -60, 160, 120)
LEFT = rectangle(-80, -60, 80, 120)
WARPS = {
    "flat": lambda x, y: 0.0 * x,
    "slope": lambda x, y: 4e-4 * x,
    "bowl": lambda x, y: 0.5e-5 * (x**2 + y**2),
    "saddle": lambda x, y: 1e-5 * x * y + 0.05,
}


def with_regions(*regions):
    return replace(FLOOR, tolerances=regions)


def least_margin(floor, offset):
    lower, upper = floor.pocket.tolerance_at(*floor.points.T)
    deviation = offset - floor.mean
    return float(np.minimum(deviation - lower, upper - deviation).min())


@pytest.mark.parametrize("warp", WARPS)
@pytest.mark.parametrize("most", ["shift", "tilt", "follow"])
def test_one_region_over_all_is_the_floors_own_tolerance(warp, most):
    """Whatever the floor's own: -0.03 to 0.07 all over is -0.03 to 0.07."""
    one = Tolerance(-0.03, 0.07)
    settings = DecisionSettings(most=most)
    plain = best_candidate(floor_at(WARPS[warp], pocket=replace(FLOOR, tolerance=one)), settings)
    region = best_candidate(floor_at(WARPS[warp], pocket=with_regions((EVERYWHERE, one))), settings)
    assert region.action == plain.action
    # Solutions of a linear programme need not be one; what they are worth is.
    assert region.chances.conform == pytest.approx(plain.chances.conform, abs=0.01)
    assert region.plane[0] == pytest.approx(plain.plane[0], abs=2e-4)


@pytest.mark.parametrize("warp", WARPS)
def test_shift_has_the_greatest_least_margin(warp):
    """Against the heights tried one by one, 1 µm apart."""
    floor = floor_at(WARPS[warp], pocket=with_regions((LEFT, Tolerance(-0.02, 0.05))))
    found = best_height(floor.mean, floor.limits, "middle")
    tried = [least_margin(floor, height) for height in np.arange(-0.3, 0.3, 1e-3)]
    assert least_margin(floor, found) >= max(tried) - 1e-12


@pytest.mark.parametrize("warp", WARPS)
def test_tilt_has_the_greatest_least_margin(warp):
    """Against a general-purpose global search (Storn and Price 1997, as scipy has it)."""
    floor = floor_at(
        WARPS[warp],
        pocket=with_regions((LEFT, Tolerance(-0.02, 0.05)), (rectangle(20, 20, 30, 30), Tolerance(0.0, 0.03))),
    )
    plane, outside = minimax_plane(floor.points, floor.mean, floor.limits)
    mine = least_margin(floor, plane[0] + floor.points @ plane[1:])
    assert mine == pytest.approx(-outside, abs=1e-9)
    bounds = [(-0.2, 0.2), (-2e-3, 2e-3), (-2e-3, 2e-3)]
    drawn = {"rng" if "rng" in signature(differential_evolution).parameters else "seed": np.random.default_rng(1)}
    best = differential_evolution(
        lambda p: -least_margin(floor, p[0] + floor.points @ p[1:]), bounds, maxiter=150, **drawn
    )
    assert mine >= -best.fun - 1e-9


def test_chance_of_two_regions_has_a_closed_form():
    """Flat floor, one error all over: it conforms where both regions do (JCGM 106 with their common band)."""
    pocket, sd = with_regions((LEFT, Tolerance(-0.02, 0.05))), 0.015
    found = best_candidate(floor_at(WARPS["flat"], sd=sd, pocket=pocket), DecisionSettings(most="shift"))
    # Common band -0.02 to 0.05; its middle 0.015, half width 0.035.
    assert found.plane[0] == pytest.approx(0.015, abs=2e-3)
    assert found.chances.conform == pytest.approx(2 * norm.cdf(0.035 / sd) - 1, abs=0.02)


def test_a_small_region_is_judged_on_its_own_places():
    """A pad of 2 mm square among places 10 mm apart: its limits count, on it and nowhere else."""
    pad = rectangle(31, 17, 2, 2)
    pocket = with_regions((pad, Tolerance(0.04, 0.06)))
    inside = [limit for limit in pocket.tolerance_at(*floor_points(pocket).T)[0] if limit > 0]
    assert len(inside) >= 20
    found = best_candidate(floor_at(WARPS["flat"], sd=1e-4, pocket=pocket), DecisionSettings())
    assert found.plane[0] == pytest.approx(0.05, abs=1e-6)


def test_limits_on_one_side_by_region():
    """Left no thinner than nominal, right no thicker than +0.02, nothing else asked: 0.01 is the middle."""
    limits = LocalLimits(np.array([0.0, -np.inf]), np.array([np.inf, 0.02]))
    assert best_height(np.zeros(2), limits, "middle") == pytest.approx(0.01)
    one_side = LocalLimits(np.array([0.03, -0.1]), np.array([np.inf, np.inf]))
    assert best_height(np.zeros(2), one_side, "middle") == pytest.approx(0.03)


@pytest.fixture(scope="module")
def job():
    """A plate whose first floor may be ± 0.15 on the left and -0.02 to 0.1 on the right half."""
    part = small_part()
    first = part.pockets[0]
    (x0, y0, x1, y1) = first.polygon.bounds
    right = rectangle((x0 + x1) / 2, y0, (x1 - x0) / 2, y1 - y0)
    split = replace(first, tolerances=((right, Tolerance(-0.02, 0.10)),))
    part = replace(part, pockets=(split, *part.pockets[1:]))
    return part, correct(part, rough_readings(part), Settings())


def test_a_whole_run_judges_by_region(job):
    part, record = job[0], make_record(job[1])
    one, others = record.decisions[0], record.decisions[1:]
    plain = make_record(correct(small_part(), rough_readings(small_part()), Settings()))
    assert others == plain.decisions[1:]  # fitted anew: limits do not enter a fit
    # The tightest is shown: 2 mm - 0.02 and + 0.10.
    assert (one.web_lower_limit_mm, one.web_upper_limit_mm) == pytest.approx((1.98, 2.10))
    assert any("limits by region" in note for note in one.notes)
    assert one.offset_mm > plain.decisions[0].offset_mm + 0.02
    here = record.map.pocket == 0
    x, y = np.meshgrid(record.map.x_mm, record.map.y_mm)
    lower, upper = part.pockets[0].tolerance_at(x[here], y[here])
    web = record.map.web_after_mm[here] - 2.0
    np.testing.assert_allclose(record.map.margin_mm[here], np.minimum(web - lower, upper - web), atol=2e-6)


def test_limits_that_share_nothing_hold_the_floor(job, monkeypatch):
    part, run = job
    monkeypatch.setattr("floorfit.surface.fit_surface", lambda *_, **__: run.fit)
    first = part.pockets[0]
    away = replace(first, tolerances=((first.tolerances[0][0], Tolerance(-0.4, -0.3)),))
    found = correct(replace(part, pockets=(away, *part.pockets[1:])), rough_readings(part), Settings())
    assert (found.decisions[0].action, found.decisions[0].reason.code) == ("hold", "tolerance")


def test_verify_judges_by_region(job):
    """A web 0.05 thin is inside on the left half (± 0.15) and outside on the right (-0.02)."""
    part, record = job[0], make_record(job[1])
    readings = finished_readings(record)
    thick = readings.thickness.copy()
    first = part.pockets[0]
    rows = shapely.contains_xy(first.polygon, readings.x, readings.y)
    thick[rows] = 1.95
    found = verify(record, replace(readings, thickness=thick))
    on_right = rows & (readings.x > np.mean(first.polygon.bounds[::2]))
    assert set(np.array(found.readings.verdict)[rows & ~on_right]) == {"conform"}
    assert "conform" not in set(np.array(found.readings.verdict)[on_right])
    assert found.floors[0].verdict != "conform"
