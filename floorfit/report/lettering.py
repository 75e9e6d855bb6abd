"""Words on figures, each sign measured and outlined once: laying out every text anew took most of a drawing's time."""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.colors import to_rgba
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["DrawnWord", "extent", "write"]

#: Size at which signs are measured, points.
_SIZE = 100.0


class DrawnWord(Text):
    """One line of text without markup. Letters that join or run to the left are laid out by matplotlib, as any text."""

    def draw(self, renderer: Any, *args: Any, **kwargs: Any) -> None:
        """Draw it: as outlines into pixels, as text into anything else."""
        text, bold = self.get_text(), self.get_fontweight() == "bold"
        if not text or not self.get_visible() or self.get_rotation() or not _is_plain(text):
            super().draw(renderer, *args, **kwargs)
            return
        share = float(self.get_fontsize()) / _SIZE * renderer.points_to_pixels(1.0)
        x, y = self._base_line(text, bold, share)
        gc, is_pixels = renderer.new_gc(), isinstance(renderer, RendererAgg)
        if is_pixels:
            gc.set_linewidth(0.0)
            place = Affine2D().scale(share).translate(x, y)
            renderer.draw_path(gc, _outline(text, bold), place, to_rgba(self.get_color()))
        else:
            gc.set_foreground(self.get_color())
            font = self.get_fontproperties()
            renderer.draw_text(gc, x, y, text, font, 0.0, ismath=False, mtext=self)
        gc.restore()
        self.stale = False

    def _base_line(self, text: str, bold: bool, share: float) -> tuple[float, float]:
        """Left end of the base line, in pixels."""
        x, y = self.get_transform().transform(self.get_position())
        high, below = _line_height(bold)
        across = {"left": 0.0, "center": 0.5, "right": 1.0}[self.get_horizontalalignment()]
        up = {"baseline": 0.0, "bottom": -below, "center": high / 2 - below, "top": high - below}
        width = _width(text, bold)
        return float(x - across * width * share), float(y - up[self.get_verticalalignment()] * share)


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
    **more: Any,
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
    **more
        Further properties of the artist (``zorder``, ``gid``).
    """
    transform = home.transData if hasattr(home, "transData") else home.transSubfigure
    word = DrawnWord(
        x, y, text, size=points, weight="bold" if bold else "normal", color=color, ha=ha, va=va, parse_math=False,
        transform=transform, clip_on=False, **more,
    )  # fmt: skip
    home.add_artist(word)


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
def _font(bold: bool) -> FontProperties:
    return FontProperties(size=_SIZE, weight="bold" if bold else "normal")


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
def _sign(sign: str, bold: bool) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    vertices, codes = text_to_path.get_text_path(_font(bold), sign, ismath=False)
    return np.asarray(vertices, float).reshape(-1, 2), np.asarray(codes, np.uint8)
