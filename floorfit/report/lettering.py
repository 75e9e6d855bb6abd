"""Words on figures, each sign measured and outlined once: laying out every text anew took most of a drawing's time."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.colors import to_rgba
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

from floorfit.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

__all__ = ["DrawnWord", "Words", "extent", "write"]

#: Size at which signs are measured, points.
_SIZE = 100.0

#: Printable signs of one byte (ISO 8859-1), and runs of them and of others.
_ONE_BYTE = frozenset(map(chr, [*range(0x20, 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x100)]))
_RUNS = re.compile("[ -~\xa1-\xac\xae-\xff]+|[^ -~\xa1-\xac\xae-\xff]+")


@dataclass(frozen=True)
class _Held:
    """What a PDF whose fonts have a byte a sign holds by now: signs by weight, and names of its fonts."""

    signs: tuple[set[str], set[str]] = field(default_factory=lambda: (set(), set()))
    names: dict[bool, bytes] = field(default_factory=dict)


_HELD: WeakKeyDictionary[Any, _Held] = WeakKeyDictionary()


@dataclass(frozen=True)
class DrawnWord:
    """One line of text without markup, see `write`; its place in the coordinates of what it is written on."""

    place: tuple[float, float]
    text: str
    points: float
    color: str
    bold: bool = False
    ha: str = "left"
    va: str = "baseline"
    gid: str | None = None


class Words(Artist):
    """All lines of one home at one height of the drawing, drawn in one go.

    Letters that join or run to the left are laid out by matplotlib.
    """

    def __init__(self, zorder: float = Text.zorder) -> None:
        """Hold no line yet."""
        super().__init__()
        self.zorder = zorder
        self.words: list[DrawnWord] = []

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        """Leave them whole: axes clip what is added to them."""

    def as_text(self, word: DrawnWord) -> Text:
        """Return a line as matplotlib lays it out."""
        weight = "bold" if word.bold else "normal"
        text = Text(
            *word.place, word.text, size=word.points, weight=weight, color=word.color, ha=word.ha, va=word.va,
            parse_math=False, transform=self.get_transform(), gid=word.gid,
        )  # fmt: skip
        if (home := self.get_figure(root=False)) is not None:
            text.set_figure(home)
        return text

    def draw(self, renderer: Any) -> None:
        """Draw them: as outlines into pixels, as text into anything else."""
        self.stale = False
        if not self.get_visible():
            return
        lines = [word for word in self.words if word.text and _is_plain(word.text)]
        for word in self.words:
            if word.text and not _is_plain(word.text):
                self.as_text(word).draw(renderer)
        if not lines:
            return
        share = renderer.points_to_pixels(1.0) / _SIZE
        places = self.get_transform().transform([word.place for word in lines])
        placed = [
            (word, _base_line(word, x, y, word.points * share)) for word, (x, y) in zip(lines, places, strict=True)
        ]
        for color in dict.fromkeys(word.color for word in lines):
            _draw(renderer, [one for one in placed if one[0].color == color], color, share)


_Placed = Sequence[tuple[DrawnWord, tuple[float, float]]]


def _base_line(word: DrawnWord, x: float, y: float, share: float) -> tuple[float, float]:
    """Left end of the base line, in pixels, of a line at a place."""
    high, below = _line_height(word.bold)
    across = {"left": 0.0, "center": 0.5, "right": 1.0}[word.ha]
    up = {"baseline": 0.0, "bottom": -below, "center": high / 2 - below, "top": high - below}
    return float(x - across * _width(word.text, word.bold) * share), float(y - up[word.va] * share)


def _draw(renderer: Any, placed: _Placed, color: str, share: float) -> None:
    """Draw lines of one colour."""
    gc, held = renderer.new_gc(), _held(renderer)
    gc.set_foreground(color)
    if held is not None:
        _into_pdf(renderer, held, gc, placed, share)
    elif isinstance(renderer, RendererAgg):
        pixels: Any = renderer
        gc.set_linewidth(0.0)
        for word, at in placed:
            place = Affine2D().scale(word.points * share).translate(*at)
            pixels.draw_path(gc, _outline(word.text, word.bold), place, to_rgba(color))
    else:
        for word, at in placed:
            renderer.draw_text(gc, *at, word.text, _font(word.bold, word.points), 0.0, ismath=False)
    gc.restore()


def _into_pdf(renderer: Any, held: _Held, gc: Any, placed: _Placed, share: float) -> None:
    """Write lines as strings whose signs follow each other by their widths, as they are measured here."""
    strings = []
    for word, (start, y) in placed:
        x = start
        for piece in _RUNS.findall(word.text):
            if piece[0] in _ONE_BYTE:
                strings.append(_string(renderer.file, held, word, (x, y), piece))
            else:
                renderer.draw_text(gc, x, y, piece, _font(word.bold, word.points), 0.0, ismath=False)
            x += _width(piece, word.bold) * word.points * share
    renderer.check_gc(gc, gc.get_rgb())
    renderer.file.write(b"".join(strings))


def write(
    home: Figure | Axes,
    x: float,
    y: float,
    text: str,
    points: float,
    *,
    color: str,
    bold: bool = False,
    ha: str = "left",
    va: str = "baseline",
    zorder: float = Text.zorder,
    gid: str | None = None,
) -> None:
    """Write one line on a figure, in shares of it, or on axes, in their coordinates; no markup is read from it.

    Parameters
    ----------
    home : Figure or Axes
    x, y : float
    text : str
    points : float
        Size of the font.
    color : str
    bold : bool
    ha, va : str
        Where the place is on the text: left, center, right; baseline, bottom, center, top.
    zorder : float
        Among what else is drawn there.
    gid : str, optional
        What it is.
    """
    found = next((one for one in home.artists if isinstance(one, Words) and one.zorder == zorder), None)
    if found is None:
        found = Words(zorder)
        found.set_transform(home.transData if hasattr(home, "transData") else home.transSubfigure)
        home.add_artist(found)
    found.words.append(DrawnWord((x, y), text, points, color, bold, ha, va, gid))


def _held(renderer: Any) -> _Held | None:
    """What a PDF holds whose fonts have a byte a sign (Type 3, as usual), kept as matplotlib 3.10 and 3.11 do."""
    file = getattr(renderer, "file", None)
    if file is None:
        return None
    if file in _HELD:
        return _HELD[file]
    from matplotlib import rcParams
    from matplotlib.backends.backend_pdf import PdfFile

    is_usual = rcParams["pdf.fonttype"] == 3 and not rcParams["pdf.use14corefonts"]
    if not (isinstance(file, PdfFile) and is_usual and hasattr(file, "_character_tracker")):
        return None
    return _HELD.setdefault(file, _Held())


def _string(file: Any, held: _Held, word: DrawnWord, at: tuple[float, float], text: str) -> bytes:
    """Operators that write signs of one byte from a place on (ISO 32000-1, 9.4)."""
    from matplotlib.backends.backend_pdf import pdfRepr

    signs = held.signs[word.bold]
    if not signs.issuperset(text):
        for sign in sorted(set(text) - signs):
            file._character_tracker.track(_face(word.bold), sign)
        signs.update(text)
    written: Any = pdfRepr
    if word.bold not in held.names:
        held.names[word.bold] = written(file.fontName(_face(word.bold).fname))
    shown = written(text.encode("latin-1"))
    return b"BT %b %.2f Tf %.3f %.3f Td %b Tj ET\n" % (held.names[word.bold], word.points, *at, shown)


@cache
def extent(text: str, *, bold: bool) -> tuple[float, float]:
    """Width and height of a line at 100 points, in points.

    Parameters
    ----------
    text : str
    bold : bool
    """
    if not _is_plain(text):
        return _measured(text, bold)[:2]
    return _width(text, bold), max((_height(sign, bold) for sign in set(text)), default=0.0)


@cache
def _width(text: str, bold: bool) -> float:
    return sum(_advance(sign, bold) for sign in text)


def _outline(text: str, bold: bool) -> Path:
    """Outlines of a line at 100 points, from the left end of its base line."""
    at = np.cumsum([0.0, *(_advance(sign, bold) for sign in text)])
    pieces = [_sign(sign, bold) for sign in text]
    vertices = [corners + np.array([x, 0.0]) for (corners, _), x in zip(pieces, at, strict=False)]
    return Path(np.concatenate(vertices), np.concatenate([codes for _, codes in pieces]))


@cache
def _is_plain_sign(sign: str) -> bool:
    joins = unicodedata.combining(sign) or unicodedata.category(sign) in ("Cf", "Mn", "Mc", "Me")
    return not joins and unicodedata.bidirectional(sign) not in ("R", "AL", "AN")


def _is_plain(text: str) -> bool:
    return all(map(_is_plain_sign, text))


@cache
def _font(bold: bool, points: float = _SIZE) -> FontProperties:
    return FontProperties(size=points, weight="bold" if bold else "normal")


@cache
def _face(bold: bool) -> FT2Font:
    return get_font(findfont(_font(bold)))


@cache
def _measured(text: str, bold: bool) -> tuple[float, float, float]:
    found = text_to_path.get_text_width_height_descent(text, _font(bold), ismath=False)
    return (float(found[0]), float(found[1]), float(found[2]))


@cache
def _advance(sign: str, bold: bool) -> float:
    """How far the next sign is on: the width of the sign between two stems, less that of the stems."""
    return _measured(f"H{sign}H", bold)[0] - _measured("HH", bold)[0]


@cache
def _height(sign: str, bold: bool) -> float:
    return _measured(sign, bold)[1]


@cache
def _line_height(bold: bool) -> tuple[float, float]:
    """Height of any line, and how much of it is below the base line: that of a line with l and p."""
    _, high, below = _measured("lp", bold)
    return high, below


@cache
def _sign(sign: str, bold: bool) -> tuple[Array, NDArray[np.uint8]]:
    vertices, codes = text_to_path.get_text_path(_font(bold), sign, ismath=False)
    return np.asarray(vertices, float).reshape(-1, 2), np.asarray(codes, np.uint8)
