"""Keys of the sheets: what each mark means, and the colour scale with its zero."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from floorfit.report.colours import HATCHES, Anchors, colour_map
from floorfit.report.format import Display
from floorfit.report.labels import fitted, printable
from floorfit.report.marks import Marks
from floorfit.report.sheet import ASIDE, INK, draw_arrow, draw_line, mark_scale, on_paper, panel, paper_of, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["colour_key", "floor_entries", "mark_key", "reading_entries"]

Entries = Sequence[tuple[str, str]]


def reading_entries(marks: Marks, display: Display) -> list[tuple[str, str]]:
    """Return what a key says of the marks of readings.

    Parameters
    ----------
    marks : Marks
    display : Display
        Language of the words.
    """
    say = display.words
    if not marks.is_dense:
        return [("used", say("reading used")), ("aside", say("reading set aside"))]
    dense = say("readings used, largest circle: {n}").format(n=int(marks.counts.max()))
    return [("dense", dense), ("aside", say("one or more readings set aside"))]


def floor_entries(display: Display) -> list[tuple[str, str]]:
    """Return what a key says of the hatches of floors."""
    say = display.words
    return [
        ("held", say("pocket held: do not cut")), ("undecided", say("? undecided")),
        ("nonconform", say("! does not conform")),
    ]  # fmt: skip


def mark_key(figure: Figure, entries: Entries, names: list[str], display: Display) -> None:
    """Draw marks with their words, and lines of text under them.

    Parameters
    ----------
    figure : Figure
    entries : sequence of (str, str)
        Mark and its words.
    names : list of str
        Lines under them.
    display : Display
    """
    put(figure, 225, 64, display.words("Key"), 9, bold=True)
    step = min(5.0, 50.0 / max(1, len(entries) + len(names)))
    for k, (mark, words) in enumerate(entries):
        y = 60.5 - step * k
        _mark(figure, mark, y, step)
        put(figure, 239, y - 1.0, fitted(words, 8, 75), 8)
    for k, line in enumerate(names):
        put(figure, 226, 60.5 - step * (len(entries) + k) - 1.0, line, 7.5)


def colour_key(
    figure: Figure,
    anchors: Anchors,
    limits: tuple[float, float],
    title: str,
    words: tuple[str, str],
    *,
    zero: bool,
    decimal: str = ".",
) -> None:
    """Draw a colour scale in the last column of the title block; limits in the unit that the title names.

    Parameters
    ----------
    figure : Figure
    anchors : sequence of (r, g, b)
        Colour scale.
    limits : (float, float)
        Values at its ends.
    title : str
        What is shown, with its unit.
    words : (str, str)
        Of the low and the high end.
    zero : bool
        Whether zero is marked.
    decimal : str
        Sign before decimals.
    """
    put(figure, 319, 64, fitted(title, 9, 90, bold=True), 9, bold=True)
    box = (323.0, 38.0, 80.0, 12.0)
    axes = panel(figure, box)
    axes.imshow(np.linspace(0, 1, 256)[None, :], aspect="auto", extent=(*limits, 0, 1), cmap=colour_map(anchors, "key"))
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    mark_scale(figure, box, limits, "below", most=7, points=8, decimal=decimal)
    if zero:
        axes.axvline(0.0, color=INK, linewidth=2.2)
    put(figure, 323, 53, words[0], 8)
    put(figure, 403, 53, words[1], 8, align="right")


def _mark(figure: Figure, mark: str, y: float, step: float) -> None:
    """Draw a mark at a height, mm of paper: about the middle of the key's first column."""
    from floorfit.report.lettering import write

    if mark in ("used", "best"):
        draw_line(figure, [231], [y], marker="o" if mark == "used" else "D", markersize=4, markerfacecolor="white")
    elif mark == "dense":
        for x, size in ((228.5, 2), (231, 4), (234.5, 7)):
            draw_line(figure, [x], [y], marker="o", markersize=size, markerfacecolor="white", markeredgewidth=0.4)
    elif mark == "aside":
        draw_line(figure, [231], [y], marker="x", markersize=6, markeredgecolor=ASIDE, markeredgewidth=1.4)
    elif mark in (*HATCHES, "outside"):
        _hatched(figure, {**HATCHES, "outside": "xxxx"}[mark], y, 0.72 * step)
    elif mark in ("plus", "zero", "limit"):
        draw_line(figure, [226, 236], [y, y], linewidth=0.6 if mark == "plus" else 1.8)
    elif mark == "nominal":
        draw_line(figure, [226, 236], [y, y], color="#6e6e6e", linewidth=0.8, linestyle=":")
    elif mark == "arrow":
        draw_arrow(figure, (227, y - 1.2), (235, y + 1.2))
    else:
        wide, high = paper_of(figure)
        write(figure, 231 / wide, y / high, printable(mark), 7.5, color=INK, bold=True, ha="center", va="center")


def _hatched(figure: Figure, hatch: str, y: float, height: float) -> None:
    from matplotlib.patches import Rectangle

    box = Rectangle((227, y - height / 2), 8, height, fill=False, hatch=hatch, edgecolor=INK, linewidth=0.8)
    box.set_transform(on_paper(figure))
    figure.add_artist(box)
