"""The law of the web: closed forms, and one number in every place that shows it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import small_part
from known_warp import FLOOR, known_webs

import floorfit
from floorfit.folder import write
from floorfit.part import Tolerance
from floorfit.part.lattice import floor_points
from floorfit.record import Record, read_record
from floorfit.recording import make_record
from floorfit.result import Result
from floorfit.verify.predicted import Prediction
from floorfit.web import depth_of_cut, left_after, margin

# Stock of the floor is 0.5 mm. A web is what stands between the floor that was cut and the underside; a cutter takes
# metal away and adds none (geometry).


@pytest.mark.parametrize(("offset", "after"), [(0.1, 0.02), (0.58, 0.50), (0.7, 0.50), (-0.2, -0.28)])
def test_a_cut_leaves_the_offset_less_the_warp_and_never_more_than_there_was(offset: float, after: float) -> None:
    # Underside at +0.08; Z of the rough floor was measured, its whole stock of 0.5 still stands on the web.
    webs = known_webs(lambda x, y: 0.08, available=lambda x, y: 0.0)
    assert webs.after(FLOOR, offset, 0.0, 0.0) == pytest.approx(after, abs=1e-12)
    assert depth_of_cut(offset, 0.08, 0.5) == pytest.approx(0.5 - (offset - 0.08), abs=1e-12)


def test_a_floor_as_programmed_has_lost_the_warp() -> None:
    # Rough floor at 2.5, underside at 0.4: 2.1 of metal, so 0.1 more than the nominal web of 2.
    webs = known_webs(lambda x, y: 0.4)
    assert webs.left(FLOOR, 0.0, 0.0) == pytest.approx(0.1)
    assert webs.after(FLOOR, 0.0, 0.0, 0.0) == pytest.approx(-0.4)
    assert webs.after(FLOOR, 0.4, 0.0, 0.0) == pytest.approx(0.0)
    assert webs.after(FLOOR, 0.9, 0.0, 0.0) == pytest.approx(0.1)


def test_a_common_bias_moves_what_is_cut_and_not_what_roughing_left() -> None:
    plain, biased = known_webs(lambda x, y: 0.1), known_webs(lambda x, y: 0.1, bias=0.03)
    assert biased.aimed(0.0, 0.0) == pytest.approx(0.07)
    assert biased.after(FLOOR, 0.07, 0.0, 0.0) == pytest.approx(0.0)
    assert biased.left(FLOOR, 0.0, 0.0) == plain.left(FLOOR, 0.0, 0.0)


def test_margin_is_the_distance_to_the_nearer_limit() -> None:
    assert margin(Tolerance(-0.1, 0.2), [0.0, 0.15, -0.3]) == pytest.approx([0.1, 0.05, -0.2])
    assert margin(Tolerance(None, 0.2), [0.0, 0.3]) == pytest.approx([0.2, -0.1])
    assert np.isinf(margin(Tolerance(None, None), 5.0))


def test_cut_webs_of_samples_are_broadcast() -> None:
    samples = np.array([[0.0, 0.1], [0.2, 0.3]])
    assert left_after(0.2, samples, [0.15, 0.05]) == pytest.approx(np.array([[0.15, 0.05], [0.0, -0.1]]))


# --- one number everywhere ----------------------------------------------------------------------------------------


def _bowl(x, y):  # type: ignore[no-untyped-def]
    return small_part.plane(x, y) + 8e-6 * ((x - 100) ** 2 + (y - 90) ** 2)


FIRST = ("shift", 0.3)


@cache
def _result(stock: float, has_z: bool, most: str, tolerance: float) -> Result:
    """Floors roughed ``stock`` above nominal where Z was measured, or roughed true on the warped plate."""
    part = small_part.part(web_tolerance=[-tolerance, tolerance], finish_stock=stock)
    x, y = small_part.places()
    w = _bowl(x, y)
    # The plate moved after roughing and took the floor with it (Z = 2 + stock + w), or stood so already.
    thickness = 2.0 + stock - (0.0 * w if has_z else w)
    z = 2.0 + stock + w if has_z else None
    readings = floorfit.readings_from_arrays(x, y, thickness, z=z)
    stated = {} if has_z else {"floor_z": "as-programmed", "moved_u": 0.0}
    with pytest.MonkeyPatch.context() as patch:
        if (most, tolerance) != FIRST:  # limits, and what a floor may get, do not enter the fit: it is made once
            fit = _result(stock, has_z, *FIRST).fit
            patch.setattr("floorfit.surface.fit_surface", lambda *_, **__: fit)
        return floorfit.correct(part, readings, floorfit.Settings.of(most=most, **stated))


CASES = [
    (stock, has_z, most, tolerance)
    for stock, has_z in ((0.02, True), (0.12, True), (0.5, True), (0.12, False))  # below, about, above the offsets
    for most, tolerance in (FIRST, ("tilt", 0.1), ("follow", 0.04), ("shift", 0.01))
]


@pytest.mark.parametrize(("stock", "has_z", "most", "tolerance"), CASES)
def test_table_map_record_and_verify_say_the_same_web(
    stock: float, has_z: bool, most: str, tolerance: float, tmp_path: Path
) -> None:
    result = _result(stock, has_z, most, tolerance)
    write(result, tmp_path / "job", pictures=False)
    record = read_record(tmp_path / "job")
    prediction = Prediction.of(record)
    assert record.map is not None
    xs, ys = np.meshgrid(record.map.x_mm, record.map.y_mm)
    index = np.array(record.map.pocket)
    for k, (pocket, decision) in enumerate(zip(result.part.pockets, result.decisions, strict=True)):
        points = floor_points(pocket)
        here = prediction.deviation(k, *points.T)
        layer = "web_before_mm" if decision.action == "hold" else "web_after_mm"
        drawn = np.array(getattr(record.map, layer), float)[index == k]
        said = pocket.web + prediction.deviation(k, xs[index == k], ys[index == k])
        # Layers of the map are kept to a nanometre; the follow grid interpolates within 2 µm (contract).
        close = 0.002 if decision.action == "follow" else 2e-6
        assert np.abs(drawn - said).max() <= close
        row = (decision.web_before_min_mm, decision.web_before_max_mm) if decision.action == "hold" else (
            decision.web_after_min_mm, decision.web_after_max_mm
        )  # fmt: skip
        assert row == pytest.approx((pocket.web + here.min(), pocket.web + here.max()), abs=close)
        if decision.action != "hold":
            assert decision.margin_mm == pytest.approx(float(margin(pocket.tolerance, here).min()), abs=close)


def test_the_cases_reach_every_action() -> None:
    actions = {one.action for case in CASES for one in _result(*case).decisions}
    assert actions == {"shift", "tilt", "follow", "hold"}


@pytest.mark.parametrize("has_z", [True, False])
def test_a_plate_cut_exactly_as_decided_shows_no_bias(has_z: bool) -> None:
    # The finished web is what left_after gives with the true warp; verify must find nothing to correct.
    result = _result(0.12, has_z, "tilt", 0.2)
    x, y = small_part.places()
    thickness = np.empty(len(x))
    for pocket, decision in zip(result.part.pockets, result.decisions, strict=True):
        x0, y0, x1, y1 = pocket.polygon.bounds
        rows = (x > x0) & (x < x1) & (y > y0) & (y < y1)
        w = _bowl(x[rows], y[rows])
        left = 0.12 - (0.0 * w if has_z else w)
        offset = decision.correction.at(x[rows], y[rows])
        thickness[rows] = 2.0 + np.minimum(offset - w, left)
    assert (np.abs([one.correction.offset for one in result.decisions]) > 0.12).any()
    found = floorfit.verify(make_record(result), floorfit.readings_from_arrays(x, y, thickness))
    assert abs(found.bias.value) < 0.001


def test_old_records_do_not_say_what_roughing_left() -> None:
    record = make_record(_result(0.12, True, "tilt", 0.2))
    assert record.surface is not None
    old = record.model_copy(update={"surface": record.surface.model_copy(update={"available_mm": None})})
    webs = Prediction.of(old).webs
    assert webs is not None
    assert not webs.is_left_known
    assert webs.after(replace(FLOOR, finish_stock=0.0), 9.0, 50.0, 50.0) == pytest.approx(
        9.0 - webs.warp.at(50.0, 50.0)
    )


def test_records_with_the_keys_of_0_1_0_read() -> None:
    document = make_record(_result(0.12, True, "shift", 0.3)).model_dump(mode="json")
    surface = document["surface"]
    surface["reach_mm"], surface["noise_inflation"] = surface.pop("smooth_length_mm"), surface.pop("dispersion")
    read = Record.model_validate(document).surface
    assert read is not None
    assert (read.smooth_length_mm, read.dispersion) == (surface["reach_mm"], surface["noise_inflation"])
