"""Words stand where matplotlib's own text stands: another layout of the same font, by others."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from floorfit.report.lettering import DrawnWord, extent

LINES = ["P0104", "shift -0.322", "Web after: 1.953…2.047 mm", "Größe µm ≤ 0.1", "שלום 12", "ñ á"]


def ink(artist: Text) -> np.ndarray:
    """Columns and rows of the first and last dark pixel, 200 dots an inch."""
    figure = Figure((3, 1), dpi=200)
    canvas = FigureCanvasAgg(figure)
    artist.set_transform(figure.transFigure)
    figure.add_artist(artist)
    canvas.draw()
    rows, columns = np.nonzero(np.asarray(canvas.buffer_rgba())[:, :, 0] < 128)
    return np.array([columns.min(), columns.max(), rows.min(), rows.max()])


@pytest.mark.parametrize("text", LINES)
@pytest.mark.parametrize(("ha", "va"), [("left", "baseline"), ("center", "center"), ("right", "top")])
def test_ink_is_where_matplotlib_puts_it(text: str, ha: str, va: str) -> None:
    how = {"size": 9, "ha": ha, "va": va, "parse_math": False}
    own, theirs = (ink(kind(0.5, 0.5, text, **how)) for kind in (DrawnWord, Text))
    # A pixel of rounding and hinting at each end, and some kerning: 1 % of the width.
    assert np.abs(own - theirs).max() <= 2 + 0.01 * np.ptp(theirs[:2])


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("text", LINES)
def test_width_is_that_of_matplotlib(text: str, bold: bool) -> None:
    figure = Figure((30, 3), dpi=72)
    box = Text(0, 0, text, size=100, weight="bold" if bold else "normal", parse_math=False, figure=figure)
    theirs = box.get_window_extent(FigureCanvasAgg(figure).get_renderer()).width
    # Kerning draws some pairs together by up to a tenth of a letter, of some fifteen.
    assert extent(text, bold=bold)[0] == pytest.approx(theirs, rel=0.02)
