from dataclasses import replace

import numpy as np
import pytest
import record_factory
import shapely
from pydantic import TypeAdapter

from floorfit.decision.written_form import JsonArray
from floorfit.record import WebMap
from floorfit.report.plan_view import plain_text, plan_of, thinness, web_scale


@pytest.mark.parametrize("make", [record_factory.frame, record_factory.long_part, record_factory.odd_names])
def test_label_places_lie_on_their_floor(make) -> None:
    for floor in plan_of(make()).floors:
        polygon = shapely.Polygon(floor.boundary, floor.islands)
        assert polygon.contains(shapely.Point(floor.label_at))


def test_inch_part_is_drawn_in_millimetres() -> None:
    plan = plan_of(record_factory.inch_part())
    # 36 by 24 inches are 914.4 by 609.6 mm; tolerance: one rounding of a product.
    assert plan.bounds == pytest.approx((0, 0, 914.4, 609.6), rel=1e-12)


def test_layer_has_nan_where_null() -> None:
    layer = TypeAdapter(JsonArray, config={"arbitrary_types_allowed": True}).validate_python([[1.0, None]])
    assert np.isnan(layer[0]).tolist() == [False, True]


def one_floor(before: float, low: float | None, high: float | None):
    """A record of one flat floor with one web on the map."""
    record = record_factory.frame()
    empty = np.full((1, 2), np.nan)
    webs = np.array([[before, np.nan]]), np.array([[2.0, np.nan]])
    grid = WebMap(np.array([0.0, 1.0]), np.zeros(1), empty, empty, np.array([[0, -1]]), *webs, empty)
    limits = {"web_lower_limit_mm": low, "web_upper_limit_mm": high}
    return record.model_copy(update={"map": grid, "decisions": [replace(record.decisions[0], **limits)]})


def place_of(record) -> float:
    return float(thinness(record, record.map.web_before_mm)[0, 0])


@pytest.mark.parametrize("web, place", [(1.9, 1), (2.0, 0), (2.1, -1)])
def test_thinness_is_one_at_the_limits(web, place) -> None:
    assert place_of(one_floor(web, 1.9, 2.1)) == pytest.approx(place, abs=1e-12)  # rounding of a quotient


@pytest.mark.parametrize("low, high, place", [(1.9, None, 1.0), (None, 2.1, -1.0)])
def test_one_sided_web_is_one_at_its_limit(low, high, place) -> None:
    assert place_of(one_floor(low or high, low, high)) == pytest.approx(place, abs=1e-9)  # differences near 0.1


def test_web_without_limits_is_in_the_middle() -> None:
    record = one_floor(2.3, None, None)
    assert np.isinf(web_scale(record)[0, 1]) and place_of(record) == 0


@pytest.mark.parametrize("make", [record_factory.frame, record_factory.inch_part])
def test_place_and_margin_say_the_same_on_sloped_floors_too(make) -> None:
    record = make()
    assert any(any(pocket["slope"]) for pocket in record.part["pockets"])
    place = thinness(record, record.map.web_after_mm)
    # The margin is measured from the nearer of two limits 0.2 mm apart: margin = 0.1 (1 - |place|).
    assert np.allclose(0.1 * (1 - np.abs(place)), record.map.margin_mm, rtol=0, atol=1e-12, equal_nan=True)


def test_text_is_one_line() -> None:
    assert plain_text("a\n\tb\x00 c\u2028d") == "a b c d"
