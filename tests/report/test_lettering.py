"""Words stand where matplotlib's own text stands: another layout of the same font, by others."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from matplotlib import rc_context
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from floorfit.report.lettering import DrawnWord, Words, extent

LINES = ["P0104", "shift -0.322", "Web after: 1.953…2.047 mm", "Größe µm ≤ 0.1", "שלום 12", "ñ á"]


def line(text: str, points: float, *, bold: bool = False, ha: str = "left", va: str = "baseline") -> Words:
    """One line at the middle of what it is written on."""
    words = Words()
    words.words.append(DrawnWord((0.5, 0.5), text, points, "black", bold, ha, va))
    return words


def ink(artist: Artist) -> np.ndarray:
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
    own = ink(line(text, 9, ha=ha, va=va))
    theirs = ink(Text(0.5, 0.5, text, size=9, ha=ha, va=va, parse_math=False))
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


def pdf_of(artist: Artist) -> bytes:
    """A page with one artist, not compressed."""
    figure, out = Figure((3, 1)), io.BytesIO()
    artist.set_transform(figure.transFigure)
    figure.add_artist(artist)
    with rc_context({"pdf.compression": 0}):
        figure.savefig(out, format="pdf")
    return out.getvalue()


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize(("ha", "va"), [("left", "baseline"), ("center", "center"), ("right", "top")])
def test_a_pdf_has_the_line_as_text_where_matplotlib_puts_it(ha: str, va: str, bold: bool) -> None:
    own = pdf_of(line("P0104 (µ)", 9, bold=bold, ha=ha, va=va))
    theirs = pdf_of(Text(0.5, 0.5, "P0104 (µ)", size=9, weight="bold" if bold else "normal", ha=ha, va=va))
    # ISO 32000-1, 9.4.2 and 8.3.4: Td moves to the place of a line, cm to that of all that follows.
    (place,) = re.findall(rb"([\d.]+) ([\d.]+) Td\s*\(P0104 \\\(\xb5\\\)\) Tj", own)
    (expected,) = re.findall(rb"1 0 -?0 1 ([\d.]+) ([\d.]+) cm\s*BT", theirs)
    # Two parts in a hundred of a width of some 50 points for kerning, in height a point of rounding.
    assert np.array(place, float) == pytest.approx(np.array(expected, float), abs=1.0)
    fonts = (re.findall(rb"/FontName /(\S+)", page) for page in (own, theirs))
    assert next(fonts) == next(fonts)


def test_a_pdf_has_each_piece_of_a_line_beside_the_one_before() -> None:
    page = pdf_of(line("1.95…2.05", 9))
    starts = {text: float(x) for x, text in re.findall(rb"([\d.]+) [\d.]+ Td\s*\((\S+)\) Tj", page)}
    between = starts[b"2.05"] - starts[b"1.95"]
    assert between == pytest.approx(0.09 * extent("1.95…", bold=False)[0], abs=0.01)


def test_fonts_of_another_kind_are_left_to_matplotlib() -> None:
    # Signs of a composite font have two bytes (ISO 32000-1, 9.7.4): a string of one byte a sign would be other signs.
    with rc_context({"pdf.fonttype": 42}):
        page = pdf_of(line("P0104", 9))
    assert b"(P0104) Tj" not in page
    assert b"(P0104) Tj" in pdf_of(line("P0104", 9))
