import pytest
import record_factory
from drawn_text import texts
from matplotlib.lines import Line2D

from floorfit.report.colours import WEB
from floorfit.report.format import display_for
from floorfit.report.keys import colour_key, floor_entries, mark_key, reading_entries
from floorfit.report.marks import reading_marks
from floorfit.report.plan_view import plan_of
from floorfit.report.sheet import blank_sheet


@pytest.fixture
def figure():
    record = record_factory.frame()
    return blank_sheet(record, plan_of(record), "A title", "1 of 1")


def test_zero_is_marked_in_the_colour_scale(figure) -> None:
    colour_key(figure, WEB, (-150.0, 150.0), "warp, µm", ("low", "high"), zero=True)
    axes = figure.axes[-1]
    assert [list(line.get_xdata()) for line in axes.lines] == [[0.0, 0.0]]
    assert "warp, µm" in {text.get_text() for text, _ in texts(figure)}


def test_key_explains_every_mark_with_its_unit(figure) -> None:
    record, show = record_factory.frame(), display_for("in")
    marks = reading_marks(record.readings, plan_of(record))
    mark_key(figure, [*floor_entries(show), *reading_entries(marks, show)], ["#7 = a long name"], show)
    said = " ".join(text.get_text() for text, _ in texts(figure))
    for words in ("reading used", "reading set aside", "held", "undecided", "does not conform", "#7 = a long name"):
        assert words in said
    markers = {line.get_marker() for line in figure.findobj(Line2D)}
    assert {"o", "x"} <= markers
