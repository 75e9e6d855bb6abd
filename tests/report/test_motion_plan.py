"""The picture in plan: it draws what it is given, the same bytes each time."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from nc_cases import PART

from floorfit.report.format import Writing
from floorfit.report.language import language
from floorfit.report.motion_plan import draw_plan, write_plan_picture

START = np.array([[10.0, 10.0], [10.0, 20.0], [150.0, 10.0]])
MOTION = SimpleNamespace(start=START, end=START + np.array([30.0, 0.0]), status=np.array([0, 1, 2]))


def left(name: str, high: float) -> SimpleNamespace:
    return SimpleNamespace(pocket=name, high_mm=high, where_high=(20.0, 20.0))


def test_each_kind_of_motion_has_its_lines_and_its_number():
    axis = draw_plan(PART, MOTION, [], "a $title$").axes[0]
    drawn = [np.array(one.get_segments()) for one in axis.collections]
    assert [len(one) for one in drawn] == [1, 1, 1]
    assert np.allclose(drawn[1][0], [[10, 20], [40, 20]])
    words = [text.get_text() for text in axis.get_legend().get_texts()]
    assert words == ["untouched (1)", "moved with its floor (1)", "lifted clear (1)"]


def test_what_is_left_is_marked_from_two_hundredths():
    axis = draw_plan(PART, MOTION, [left("A", 0.019), left("B", 0.3)], "t").axes[0]
    assert [text.get_text() for text in axis.texts if text.get_text().startswith("+")] == ["+0.300"]


def test_nothing_to_draw_and_odd_names(tmp_path):
    nothing = SimpleNamespace(start=np.zeros((0, 2)), end=np.zeros((0, 2)), status=np.zeros(0, int))
    for name in ("a.png", "b.png"):
        write_plan_picture(PART, nothing, [left("$x_$", 1.0)], "<b>$x_$\n" + "y" * 200, tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_it_is_drawn_in_the_units_and_words_of_the_shop():
    """1 in is 25.4 mm (international inch)."""
    axis = draw_plan(PART, MOTION, [left("B", 0.254)], "t", Writing("in", language("de"), ",")).axes[0]
    assert axis.get_xlabel() == "X, in"
    assert np.allclose(np.array(axis.collections[1].get_segments())[0] * 25.4, [[10, 20], [40, 20]])
    assert axis.get_legend().get_texts()[1].get_text() == "mit dem Boden bewegt (1)"
    assert [text.get_text() for text in axis.texts if text.get_text().startswith("+")] == ["+0,0100"]
