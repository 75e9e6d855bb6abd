"""Words on figures, each sign measured and outlined once: laying out every text anew took most of a drawing's time."""

from __future__ import annotations

import re
import unicodedata
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

__all__ = ["DrawnWord", "extent", "write"]

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


class DrawnWord(Artist):
    """One line of text without markup, see `write`. Letters that join or run to the left are laid out by matplotlib."""

    zorder = Text.zorder

    def __init__(
        self, x: float, y: float, text: str, points: float, *, color: str, bold: bool = False,
        ha: str = "left", va: str = "baseline",
    ) -> None:  # fmt: skip
        """Keep what `write` was given."""
        super().__init__()
        self.place, self.text, self.points, self.color = (x, y), text, points, color
        self.bold, self.ha, self.va = bold, ha, va

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        """Leave it whole: axes clip what is added to them."""

    def as_text(self) -> Text:
        """Return the same line as matplotlib lays it out."""
        weight = "bold" if self.bold else "normal"
        text = Text(
            *self.place, self.text, size=self.points, weight=weight, color=self.color, ha=self.ha, va=self.va,
            parse_math=False, transform=self.get_transform(), gid=self.get_gid(),
        )  # fmt: skip
        if (home := self.get_figure(root=False)) is not None:
            text.set_figure(home)
        return text

    def draw(self, renderer: Any) -> None:
        """Draw it: as outlines into pixels, as text into anything else."""
        self.stale = False
        if not self.text or not self.get_visible():
            return
        if not _is_plain(self.text):
            self.as_text().draw(renderer)
            return
        share = self.points / _SIZE * renderer.points_to_pixels(1.0)
        x, y = self._base_line(share)
        gc, held = renderer.new_gc(), _held(renderer)
        if held is not None:
            gc.set_foreground(self.color)
            for piece in _RUNS.findall(self.text):
                if piece[0] in _ONE_BYTE:
                    _as_it_is(renderer, held, gc, (x, y), piece, self)
                else:
                    renderer.draw_text(gc, x, y, piece, _font(self.bold, self.points), 0.0, ismath=False)
                x += _width(piece, self.bold) * share
        elif isinstance(renderer, RendererAgg):
            pixels: Any = renderer
            gc.set_linewidth(0.0)
            place = Affine2D().scale(share).translate(x, y)
            pixels.draw_path(gc, _outline(self.text, self.bold), place, to_rgba(self.color))
        else:
            gc.set_foreground(self.color)
            renderer.draw_text(gc, x, y, self.text, _font(self.bold, self.points), 0.0, ismath=False)
        gc.restore()

    def _base_line(self, share: float) -> tuple[float, float]:
        """Left end of the base line, in pixels."""
        x, y = self.get_transform().transform(self.place)
        high, below = _line_height(self.bold)
        across = {"left": 0.0, "center": 0.5, "right": 1.0}[self.ha]
        up = {"baseline": 0.0, "bottom": -below, "center": high / 2 - below, "top": high - below}
        return float(x - across * _width(self.text, self.bold) * share), float(y - up[self.va] * share)


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
    word = DrawnWord(x, y, text, points, color=color, bold=bold, ha=ha, va=va)
    word.set_transform(home.transData if hasattr(home, "transData") else home.transSubfigure)
    word.zorder = zorder
    word.set_gid(gid)
    home.add_artist(word)


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


def _as_it_is(renderer: Any, held: _Held, gc: Any, at: tuple[float, float], text: str, word: DrawnWord) -> None:
    """Write it into a PDF as one string: the signs follow each other by their widths, as they are measured here."""
    from matplotlib.backends.backend_pdf import pdfRepr

    file, font, signs = renderer.file, _face(word.bold), held.signs[word.bold]
    if not signs.issuperset(text):
        for sign in sorted(set(text) - signs):
            file._character_tracker.track(font, sign)
        signs.update(text)
    renderer.check_gc(gc, gc.get_rgb())
    written: Any = pdfRepr
    if word.bold not in held.names:
        held.names[word.bold] = written(file.fontName(font.fname))
    shown = written(text.encode("latin-1"))
    file.write(b"BT %b %.2f Tf %.3f %.3f Td %b Tj ET\n" % (held.names[word.bold], word.points, *at, shown))


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
