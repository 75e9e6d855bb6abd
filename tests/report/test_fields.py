import numpy as np
import pytest
import record_factory
from hypothesis import given
from hypothesis import strategies as st

from floorfit.report.bands import lay_bands
from floorfit.report.fields import draw_readings, levels_for, open_band
from floorfit.report.marks import reading_marks
from floorfit.report.plan_view import plan_of
from floorfit.report.sheet import AREA, blank_sheet


@given(st.floats(-10, 10), st.floats(1e-4, 10))
def test_levels_are_round_multiples_within_the_layer(low: float, span: float) -> None:
    layer = np.array([[low, low + span]])
    step, levels = levels_for(layer, 1000.0)
    mantissa = step / 10.0 ** np.floor(np.log10(step * (1 + 1e-9)))
    assert round(mantissa, 6) in (1, 2, 5)
    assert np.allclose(levels / step, np.round(levels / step), atol=1e-6)  # rounding of a quotient
    assert 4 <= len(levels) <= 14
    assert levels.min() >= 1000 * low - 1e-6 and levels.max() <= 1000 * (low + span) + 1e-6


def test_flat_layer_has_at_most_one_level() -> None:
    assert len(levels_for(np.zeros((3, 3)), 1000.0)[1]) <= 1


def test_zero_level_has_no_sign() -> None:
    levels = levels_for(np.array([[-0.0004, 0.0213]]), 1000.0)[1]
    assert 0.0 in levels and not np.signbit(levels).any()


def view_of(record):
    plan = plan_of(record)
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], AREA)
    figure = blank_sheet(record, plan, "A title", "1 of 1")
    return [open_band(figure, band, plan, scale) for band in bands]


def test_paper_places_agree_with_the_axes() -> None:
    view = view_of(record_factory.inch_part())[0]
    at = view.axes.transData.transform((10.0, 5.0)) / view.axes.figure.dpi * 25.4
    assert view.paper(254.0, 127.0) == pytest.approx(tuple(at), abs=1e-6)  # rounding, mm of paper


def test_each_place_lies_in_one_band() -> None:
    views = view_of(record_factory.long_part())
    assert len(views) > 1
    for x in np.linspace(0, 8000, 401):
        assert sum(view.holds(float(x), 600.0) for view in views) == 1


def test_used_and_set_aside_differ_by_shape_and_colour() -> None:
    record = record_factory.frame()
    view = view_of(record)[0]
    draw_readings(view, reading_marks(record.readings, view.plan))
    used, aside = view.axes.lines[-2:]
    assert len(used.get_xdata()) == record.readings.used.count(True)
    assert len(aside.get_xdata()) == record.readings.used.count(False)
    assert used.get_marker() != aside.get_marker()
    assert used.get_markeredgecolor() != aside.get_markeredgecolor()
