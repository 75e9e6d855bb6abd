import re
from functools import cache

import numpy as np
import pytest
import record_factory
from drawn_text import overlaps, texts, with_gid, words_of

from floorfit.report.map import number_key, uncertainty_figure, web_figure
from floorfit.report.plan_view import plan_of

MAKERS = [record_factory.frame, record_factory.inch_part, record_factory.long_part, record_factory.odd_names,
          record_factory.no_surface]  # fmt: skip


@cache
def figure_of(draw, make):
    """A sheet of an invented record, drawn once for all who only read it."""
    record = make()
    return draw(record, plan_of(record))


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("draw", [web_figure, uncertainty_figure])
def test_no_text_covers_another(make, draw) -> None:
    assert overlaps(figure_of(draw, make)) == []


def labels(figure) -> list[tuple[str, list[str]]]:
    """Names with the numbers written under each, in the order of drawing."""
    found: list[tuple[str, list[str]]] = []
    for word in words_of(figure):
        if word.gid == "pocket":
            found.append((word.text, []))
        elif word.gid == "number":
            found[-1][1].append(word.text)
    return [(name, [n for n in numbers if n != "hold"]) for name, numbers in found]


@pytest.mark.parametrize("make, scale", [(record_factory.frame, 1.0), (record_factory.inch_part, 1 / 25.4)])
def test_webs_are_those_of_the_record(make, scale) -> None:
    record = make()
    by_id = {decision.pocket: decision for decision in record.decisions}
    seen = 0
    for name, numbers in labels(figure_of(web_figure, make)):
        decision = by_id[name]
        ends = [(decision.web_before_min_mm, decision.web_before_max_mm)]
        ends.append((decision.web_after_min_mm, decision.web_after_max_mm))
        if numbers:
            digits = len(numbers[0].partition(".")[2])
            values = [float(number) for number in numbers]
            # Half of the last digit printed, and the rounding of one product.
            room = 0.5 * 10**-digits * (1 + 1e-9)
            assert any(
                a is not None and abs(values[0] - a * scale) <= room and abs(values[1] - b * scale) <= room
                for a, b in ends
            )
            seen += 1
    assert seen >= len(record.decisions)


def test_uncertainties_are_those_of_the_record() -> None:
    record = record_factory.frame()
    figure = figure_of(uncertainty_figure, record_factory.frame)
    numbers = [float(number) for number in with_gid(figure, "number")]
    expected = [d.offset_u_mm for d in record.decisions if d.offset_u_mm is not None]
    # Two significant digits of values between 0.010 and 0.099: half of the second.
    assert sorted(numbers) == pytest.approx(sorted(expected), abs=0.0005)


def test_suggested_places_are_marked() -> None:
    record = record_factory.frame()
    figure = figure_of(uncertainty_figure, record_factory.frame)
    drawn = [line for axes in figure.axes for line in axes.lines if line.get_marker() == "D" and axes.axison]
    places = np.column_stack(drawn[0].get_data())
    expected = [d.suggestion_mm for d in record.decisions if d.suggestion_mm is not None]
    assert np.array_equal(places, np.array(expected))


def test_contours_lie_within_the_uncertainty() -> None:
    record = record_factory.frame()
    values = [float(text) for text in with_gid(figure_of(uncertainty_figure, record_factory.frame), "contour")]
    expanded = 2 * np.array(record.map.warp_u_mm, dtype=float)
    assert values and min(values) >= expanded.min() and max(values) <= expanded.max()


def test_sheets_without_a_surface_say_so() -> None:
    figure = figure_of(uncertainty_figure, record_factory.no_surface)
    said = " ".join(text.get_text() for text, _ in texts(figure))
    assert "No surface could be fitted" in said


def test_key_names_few_numbers_and_explains_many() -> None:
    plan = plan_of(record_factory.frame())
    floors, show = plan.floors, plan.display
    assert [re.split(" = ", line) for line in number_key(floors[:2], show)] == [["#1", "P01"], ["#2", "P02"]]
    assert len(number_key(floors, show)) == 1
