"""Keys of the sheets: what each mark means, and the colour scale with its zero."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from floorfit.report.colours import HATCHES, Anchors, colour_map
from floorfit.report.format import Display
from floorfit.report.labels import fitted, printable
from floorfit.report.marks import Marks
from floorfit.report.sheet import ASIDE, INK, mark_scale, panel, put

if TYPE_CHECKING:
    from matplotlib.axes import Axes
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
    axes = panel(figure, (224, 11, 14, 52))
    axes.set_axis_off()
    axes.set_xlim(0, 14)
    axes.set_ylim(0, 52)
    for k, (mark, words) in enumerate(entries):
        y = 49.5 - step * k
        _mark(axes, mark, y, step)
        put(figure, 239, 11 + y - 1.0, fitted(words, 8, 75), 8)
    for k, line in enumerate(names):
        put(figure, 226, 11 + 49.5 - step * (len(entries) + k) - 1.0, line, 7.5)


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


def _mark(axes: Axes, mark: str, y: float, step: float) -> None:
    from matplotlib.patches import Rectangle

    from floorfit.report.lettering import write

    if mark in ("used", "best"):
        shape = "o" if mark == "used" else "D"
        axes.plot([7], [y], shape, markersize=4, markerfacecolor="white", markeredgecolor=INK)
    elif mark == "dense":
        axes.scatter([4.5, 7, 10.5], [y] * 3, s=[4, 16, 49], facecolors="white", edgecolors=INK, linewidths=0.4)
    elif mark == "aside":
        axes.plot([7], [y], marker="x", markersize=6, markeredgecolor=ASIDE, markeredgewidth=1.4, linestyle="none")
    elif mark in (*HATCHES, "outside"):
        box = ((3, y - 0.36 * step), 8, 0.72 * step)
        hatch = {**HATCHES, "outside": "xxxx"}[mark]
        axes.add_patch(Rectangle(*box, fill=False, hatch=hatch, edgecolor=INK, linewidth=0.8))
    elif mark in ("plus", "zero", "limit"):
        axes.plot([2, 12], [y, y], color=INK, linewidth=0.6 if mark == "plus" else 1.8)
    elif mark == "nominal":
        axes.plot([2, 12], [y, y], color="#6e6e6e", linewidth=0.8, linestyle=":")
    elif mark == "arrow":
        axes.annotate("", (11, y + 1.2), (3, y - 1.2), arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.0})
    else:
        write(axes, 7, y, printable(mark), 7.5, color=INK, bold=True, ha="center", va="center")
