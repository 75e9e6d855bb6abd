"""Every reason of the contract, the signs, and what stands in a row of the table."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from known_warp import FLOOR, known_fit, known_webs, one_pocket_part, rectangle

from floorfit.decision import Decision, DecisionSettings, Reason, decide, hold_all, verdict_of
from floorfit.decision.candidates import best_candidate
from floorfit.decision.decide import _offset_deviation, _suggestion, hold_some
from floorfit.decision.floor_warp import FloorWarp
from floorfit.part import Pocket, Tolerance
from floorfit.part.lattice import floor_points, grid_spacing

FIRM = 1e-5


def decide_one(
    warp, *, pocket: Pocket = FLOOR, sd: float = FIRM, used: int = 7, given: int = 7, **settings
) -> Decision:
    available, common_u = settings.pop("available", None), settings.pop("common_u", 0.0)
    part = one_pocket_part(pocket)
    webs, posterior = known_webs(warp, available), known_fit(warp, sd).posterior
    return decide(part, webs, posterior, [used], [given], DecisionSettings(**settings), common_u=common_u)[0]


# --- signs (contract) ---------------------------------------------------------------------------------------------


def test_plate_high_thin_web_floor_raised() -> None:
    # Floor roughed at 2.500, reading 2.420, underside 0: w = +0.080; web at nominal 1.920; dz = +0.080 gives 2.000.
    got = decide_one(lambda x, y: 2.500 - 2.420 - 0.0)
    assert got.action == "shift"
    assert got.correction.offset == pytest.approx(0.080, abs=1e-9)
    assert (got.web_before_min_mm, got.web_before_max_mm) == pytest.approx((1.920, 1.920), abs=1e-9)
    assert (got.web_after_min_mm, got.web_after_max_mm) == pytest.approx((2.000, 2.000), abs=1e-9)
    assert (got.verdict, str(got.reason)) == ("conform", "")


def test_plate_low_floor_lowered() -> None:
    got = decide_one(lambda x, y: -0.080)
    assert got.correction.offset == pytest.approx(-0.080, abs=1e-9)
    assert got.web_before_max_mm == pytest.approx(2.080, abs=1e-9)


def test_web_is_web_plus_offset_less_warp_everywhere() -> None:
    got = decide_one(lambda x, y: 0.05 + 4e-4 * x)
    assert got.action == "shift"
    # w spans ± 0.032 about 0.05 over the floor, not only at readings.
    assert (got.web_before_min_mm, got.web_before_max_mm) == pytest.approx((1.918, 1.982), abs=1e-9)
    assert (got.web_after_min_mm, got.web_after_max_mm) == pytest.approx((1.968, 2.032), abs=1e-9)
    assert got.margin_mm == pytest.approx(0.1 - 0.032, abs=1e-9)
    assert (got.web_lower_limit_mm, got.web_upper_limit_mm) == pytest.approx((1.9, 2.1))


def test_tilt_has_the_slopes_of_the_warp_and_its_offset_at_the_centroid() -> None:
    pocket = replace(FLOOR, boundary=((-80, -60), (80, -60), (80, 60)))
    got = decide_one(lambda x, y: 0.05 + 1.5e-3 * x - 1e-3 * y, pocket=pocket)
    assert got.action == "tilt"
    assert got.correction.slope == pytest.approx((1.5e-3, -1e-3), abs=1e-8)
    cx, cy = pocket.centroid
    assert got.correction.offset == pytest.approx(0.05 + 1.5e-3 * cx - 1e-3 * cy, abs=1e-8)
    assert (got.web_after_min_mm, got.web_after_max_mm) == pytest.approx((2, 2), abs=1e-6)


def _bent(x, y):
    return 0.02 + 3e-5 * (x**2 + y**2)


def test_follow_is_bilinear_to_two_micrometres() -> None:
    got = decide_one(_bent)
    assert got.action == "follow"
    x, y = np.random.default_rng(1).uniform([-80, -60], [80, 60], (3000, 2)).T
    assert abs(got.correction.at(x, y) - _bent(x, y)).max() < 0.002  # contract
    assert got.correction.offset == pytest.approx(0.02, abs=1e-9)
    assert got.correction.slope == (0.0, 0.0)


def test_part_whose_shift_cannot_conform_and_tilt_can_is_sent_to_tilt() -> None:
    got = decide_one(lambda x, y: 2e-3 * x)
    assert (got.action, got.verdict) == ("tilt", "conform")


def test_sloped_floor_is_judged_by_local_deviation() -> None:
    flat = decide_one(lambda x, y: 0.05 + 4e-4 * x)
    slope = decide_one(lambda x, y: 0.05 + 4e-4 * x, pocket=replace(FLOOR, slope=(0.02, -0.01)))
    for name in ("action", "web_before_min_mm", "web_before_max_mm", "web_after_min_mm", "web_after_max_mm", "verdict"):
        assert getattr(slope, name) == pytest.approx(getattr(flat, name))
    assert slope.correction.offset == pytest.approx(flat.correction.offset, abs=1e-12)


def test_underside_at_another_level_changes_nothing_but_z() -> None:
    pocket = replace(FLOOR, floor_z=17.0, underside_z=15.0)
    assert decide_one(lambda x, y: 0.08, pocket=pocket).correction.offset == pytest.approx(0.08, abs=1e-9)


def test_island_is_not_floor() -> None:
    # The warp is wild on the island only.
    pocket = replace(FLOOR, islands=(rectangle(-20, -20, 40, 40),))
    got = decide_one(lambda x, y: np.where((abs(x) < 19) & (abs(y) < 19), 5.0, 0.08), pocket=pocket)
    assert got.correction.offset == pytest.approx(0.08, abs=1e-9)


# --- reasons --------------------------------------------------------------------------------------------------------


def _is_held(got: Decision, code: str, verdict: str) -> None:
    assert got.action == "hold"
    assert got.reason.code == code
    assert got.verdict == verdict
    assert len(got.reason.words) > 20
    assert np.isnan(got.correction.offset)
    assert (got.offset_mm, got.web_after_min_mm, got.web_after_max_mm) == (None, None, None)


def test_no_readings() -> None:
    got = decide_one(lambda x, y: 0.0, used=0, given=0)
    _is_held(got, "no-readings", "undecided")
    assert "no reading lies on this floor" in got.reason.words
    assert got.suggestion_mm is not None
    assert "set aside" in decide_one(lambda x, y: 0.0, used=0, given=4).reason.words


def test_no_surface_holds_all() -> None:
    part = replace(one_pocket_part(), pockets=(FLOOR, replace(FLOOR, id="P2")))
    first, second = hold_all(part, [2, 0], "all readings lie in one line.")
    _is_held(first, "too-few-readings", "undecided")
    _is_held(second, "no-readings", "undecided")
    assert first.web_lower_limit_mm == pytest.approx(1.9)


def test_outside_readings() -> None:
    _is_held(decide_one(lambda x, y: 0.0, sd=0.2), "outside-readings", decide_one(lambda x, y: 0.0, sd=0.2).verdict)
    assert decide_one(lambda x, y: 0.0, sd=0.2).verdict != "conform"


@pytest.mark.parametrize("sign", [1, -1])
def test_over_limit(sign: int) -> None:
    got = decide_one(lambda x, y: sign * 2.5, available=lambda x, y: 0.0)
    _is_held(got, "over-limit", "undecided")
    assert ("-2.500" in got.reason.words) == (sign < 0)
    assert decide_one(lambda x, y: sign * 0.3, limit=0.2, available=lambda x, y: 0.0).action == "hold"
    assert decide_one(lambda x, y: sign * 0.3, limit=0.4, available=lambda x, y: 0.0).action == "shift"


def test_no_stock() -> None:
    # Roughing left 0.5 − 0.65: the web is 1.85 whatever is cut, under its limit of 1.9.
    got = decide_one(lambda x, y: 0.65)
    _is_held(got, "no-stock", "nonconform")
    assert "0.050 mm under its limit" in got.reason.words


def test_cutter_adds_no_metal() -> None:
    # 0.5 of stock and w = 0.55: the floor wanted lies 0.05 above what is left; the web is 1.95, and that conforms.
    got = decide_one(lambda x, y: 0.55)
    assert got.action == "shift"
    assert got.web_after_min_mm == pytest.approx(1.95, abs=1e-9)
    assert got.verdict == "conform"
    assert any("roughing already went 0.050 mm below" in note for note in got.notes)


def test_web_before_is_not_more_than_roughing_left() -> None:
    got = decide_one(lambda x, y: 0.0, available=lambda x, y: -0.53)
    assert got.web_before_max_mm == pytest.approx(1.97, abs=1e-9)


def test_thin_chip_is_noted() -> None:
    assert any("may rub" in note for note in decide_one(lambda x, y: 0.48).notes)
    assert decide_one(lambda x, y: 0.0).notes == ()


def test_over_stock() -> None:
    got = decide_one(lambda x, y: 0.0, max_cut=0.4)
    _is_held(got, "over-stock", "undecided")
    assert "0.500 mm of metal" in got.reason.words
    assert decide_one(lambda x, y: 0.0, max_cut=0.6).action == "shift"


def test_tolerance_cannot_be_met() -> None:
    got = decide_one(_bent, most="shift")
    _is_held(got, "tolerance", "nonconform")
    assert "tilt" in got.reason.words
    assert "follow" in decide_one(_bent, most="tilt").reason.words


def test_limit_within_the_uncertainty_is_undecided_and_says_where_to_read() -> None:
    got = decide_one(lambda x, y: 0.07 / 80 * x, sd=0.03, most="shift")
    assert got.verdict == "undecided"
    assert got.reason.code == "tolerance"
    assert "two more readings near (" in got.reason.words


@pytest.mark.parametrize(("height", "aside"), [(120.0, 8.0), (24.0, 8.0), (12.0, 5.4)])
def test_one_more_reading_is_asked_for_away_from_the_walls(height: float, aside: float) -> None:
    # The warp is known less and less towards the wall at the right. A probe cannot stand at a wall (its radius): the
    # place is 8 mm off all of them, or 0.45 of a narrow floor's width, and as far to the right as a lattice tells.
    pocket = replace(FLOOR, boundary=rectangle(-80, -height / 2, 160, height))
    points = floor_points(pocket)
    samples = 1e-5 * np.linspace(-1, 1, 41)[:, None] * (100 + points[:, 0])
    floor = FloorWarp(pocket, points, samples.mean(axis=0), np.full(len(points), 0.5), samples, pocket.tolerance)
    x, y = _suggestion(floor)
    assert 80 - aside - grid_spacing(pocket) <= x <= 80 - aside + 1e-9
    assert abs(y) <= height / 2 - aside + 1e-9


def test_limits_that_are_met_exactly_hold_nothing() -> None:
    # "Largest" and "most" are themselves allowed. An offset of 0.25, and 0.5 of stock: exact in binary.
    assert decide_one(lambda x, y: 0.25, limit=0.25).action == "shift"
    assert decide_one(lambda x, y: 0.0, max_cut=0.5).action == "shift"
    assert decide_one(lambda x, y: -0.25, limit=0.25).action == "shift"  # 0.75 of metal: stock and limit


@pytest.mark.parametrize(("tolerance", "warp"), [(Tolerance(-0.1, 0.1), 0.0), (Tolerance(-0.1, None), 0.56)])
def test_share_of_the_width_or_a_length_is_the_most_that_may_be_unsure(tolerance: Tolerance, warp: float) -> None:
    # A quarter of 0.2, or 0.05 mm where there is one limit (settings). Neither floor is sure to conform: one rises by
    # 0.14 over its length, of the other roughing left only 0.04 above the limit.
    floor = replace(FLOOR, tolerance=tolerance)
    codes = [
        decide_one(
            lambda x, y: warp + (0.07 / 80 * x if warp == 0 else 0 * x), pocket=floor, sd=sd, most="shift"
        ).reason.code
        for sd in (0.045, 0.055)
    ]
    assert codes == ["tolerance", "outside-readings"]


@pytest.mark.parametrize(("chip", "is_told"), [(0.04, True), (0.06, False)])
def test_chip_is_thin_below_a_twentieth_of_a_millimetre(chip: float, is_told: bool) -> None:
    assert any("may rub" in note for note in decide_one(lambda x, y: 0.5 - chip).notes) == is_told


def test_first_reason_is_the_one_given_and_codes_are_those_of_the_contract() -> None:
    codes = {
        decide_one(warp, **more).reason.code
        for warp, more in [
            (lambda x, y: 0.0, {"used": 0, "given": 0}),
            (lambda x, y: 0.0, {"sd": 0.2}),
            (lambda x, y: -2.5, {}),
            (lambda x, y: 0.65, {}),
            (lambda x, y: 0.0, {"max_cut": 0.4}),
            (_bent, {"most": "shift"}),
            (lambda x, y: 0.0, {}),
        ]
    }
    assert codes == {"no-readings", "outside-readings", "over-limit", "no-stock", "over-stock", "tolerance", ""}


# --- verdicts -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probability", "verdict"),
    [(1.0, "conform"), (0.95, "conform"), (0.9499, "undecided"), (0.0501, "undecided"), (0.05, "nonconform")],
)
def test_verdict_is_mirrored_about_a_half(probability: float, verdict: str) -> None:
    # ISO 14253-1:2017: between the reduced and the enlarged limits neither is proved.
    assert verdict_of(probability, 0.95) == verdict


@pytest.mark.parametrize("samples", [400, 500, 1000])
def test_mirror_is_exact_for_shares_of_samples(samples: int) -> None:
    # With k of n samples at the level k/n a floor conforms; n − k of n is the mirror image (JCGM 106:2012, 8.3).
    for k in range(samples // 2 + 1, samples):
        level = float(f"{k / samples:.4f}")
        assert verdict_of(k / samples, level) == "conform"
        assert verdict_of((samples - k) / samples, level) == "nonconform"
        assert verdict_of((samples - k + 1) / samples, level) == "undecided"


def test_uncertainty_of_an_offset_is_expanded_by_two() -> None:
    # A shared error of 0.004 mm is the whole uncertainty of a shift (JCGM 100, 6.2: U = k u).
    assert decide_one(lambda x, y: 0.05, sd=0.004).offset_u_mm == pytest.approx(0.008, rel=0.01)


def test_uncertainty_of_an_offset_is_about_the_offset() -> None:
    # Samples that stand 0.003 mm higher at one end than the estimate, all of them: none differs from another, yet the
    # offset is wrong by half of that. Root mean square error, not standard deviation
    # (JCGM 100:2008, F.2.4.5: what is known of an error and not corrected belongs in the uncertainty).
    pocket = FLOOR
    points = floor_points(pocket)
    mean = np.zeros(len(points))
    raised = np.where(points[:, 0] == points[:, 0].max(), 0.003, 0.0)
    floor = FloorWarp(pocket, points, mean, np.full(len(points), np.inf), np.tile(raised, (50, 1)), pocket.tolerance)
    shift = best_candidate(floor, DecisionSettings(most="shift"))
    assert _offset_deviation(floor, shift) == pytest.approx(0.0015, rel=1e-6)


def test_shared_uncertainty_does_not_average_out() -> None:
    got = decide_one(lambda x, y: 0.05, sd=0.003, common_u=0.004)
    # Root sum of squares of independent parts; 2000 samples know a deviation to 1.6 %, 4 of them.
    assert got.offset_u_mm == pytest.approx(2 * 0.005, rel=0.065)


def test_one_sided_tolerance_has_one_limit() -> None:
    got = decide_one(lambda x, y: 0.08, pocket=replace(FLOOR, tolerance=Tolerance(-0.1, None)))
    assert got.web_upper_limit_mm is None
    assert (got.verdict, got.thick_probability) == ("conform", 0.0)


def test_order_is_the_part_s_and_same_seed_same_numbers() -> None:
    part = replace(one_pocket_part(), pockets=tuple(replace(FLOOR, id=f"P{k}") for k in range(3)))
    webs, posterior = known_webs(lambda x, y: 4e-4 * x), known_fit(lambda x, y: 4e-4 * x, 0.01).posterior
    one, two = (decide(part, webs, posterior, [3] * 3, [3] * 3, DecisionSettings(), common_u=0.01) for _ in range(2))
    assert [decision.pocket for decision in one] == ["P0", "P1", "P2"]
    assert one == two


def test_held_for_lost_readings_keeps_what_is_known() -> None:
    decided = decide_one(lambda x, y: 0.05 + 0 * x)
    (held,) = hold_some([decided], {0: "three of seven were set aside"})
    assert (held.action, held.verdict, held.offset_mm) == ("hold", "undecided", None)
    assert held.reason == Reason("too-few-readings", "three of seven were set aside")
    assert held.web_before_min_mm == decided.web_before_min_mm
    assert held.offset_u_mm == decided.offset_u_mm
    assert hold_some([decided], {}) == (decided,)
