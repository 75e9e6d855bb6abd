"""Keys of the sheets: what each mark means, and the colour scale with its zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from floorfit.report.colours import Anchors, colour_map
from floorfit.report.format import Display
from floorfit.report.labels import printable
from floorfit.report.sheet import INK, mark_scale, panel, put

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["colour_key", "map_key", "mark_key"]


def map_key(figure: Figure, names: list[str], display: Display) -> None:
    """Draw the key of the map in the third column of the title block."""
    entries = [
        ("used", "reading used"),
        ("aside", "reading set aside"),
        ("held", "pocket held: do not cut"),
        ("plus", f"contour of the warp, {display.small}; dashed below zero"),
        ("zero", "zero: the underside is where it should be"),
        ("name", f"bold: offset at the centroid, {display.small}"),
        ("marks", "? undecided   ! does not conform"),
    ]
    mark_key(figure, entries, names)


def mark_key(figure: Figure, entries: list[tuple[str, str]], names: list[str]) -> None:
    """Draw marks with their words, and lines of text under them."""
    put(figure, 225, 64, "Key", 9, bold=True)
    axes = panel(figure, (224, 11, 14, 52))
    axes.set_axis_off()
    axes.set_xlim(0, 14)
    axes.set_ylim(0, 52)
    for k, (mark, words) in enumerate(entries):
        y = 48.5 - 5.0 * k
        _mark(axes, mark, y)
        put(figure, 239, 11 + y - 1.0, words, 8)
    for k, line in enumerate(names):
        put(figure, 226, 11 + 48.5 - 5.0 * len(entries) - 4.2 * k - 1.0, line, 7.5)


def colour_key(
    figure: Figure, anchors: Anchors, limits: tuple[float, float], title: str, words: tuple[str, str], *, zero: bool
) -> None:
    """Draw a colour scale in the last column of the title block; limits in the unit that the title names."""
    put(figure, 319, 64, title, 9, bold=True)
    box = (323.0, 38.0, 80.0, 12.0)
    axes = panel(figure, box)
    axes.imshow(np.linspace(0, 1, 256)[None, :], aspect="auto", extent=(*limits, 0, 1), cmap=colour_map(anchors, "key"))
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    mark_scale(figure, box, limits, "below", most=7, points=8)
    if zero:
        axes.axvline(0.0, color=INK, linewidth=2.2)
    put(figure, 323, 53, words[0], 8)
    put(figure, 403, 53, words[1], 8, align="right")


def _mark(axes: Axes, mark: str, y: float) -> None:
    from matplotlib.patches import Rectangle

    if mark == "used":
        axes.plot([7], [y], marker="o", markersize=4, markerfacecolor="white", markeredgecolor=INK, linestyle="none")
    elif mark == "aside":
        axes.plot([7], [y], marker="x", markersize=6, markeredgecolor="#a3123a", markeredgewidth=1.4, linestyle="none")
    elif mark == "best":
        axes.plot([7], [y], marker="D", markersize=5, markerfacecolor="white", markeredgecolor=INK, linestyle="none")
    elif mark in ("held", "outside"):
        hatch = "////" if mark == "held" else "xxxx"
        axes.add_patch(Rectangle((3, y - 1.6), 8, 3.2, fill=False, hatch=hatch, edgecolor=INK, linewidth=0.8))
    elif mark in ("plus", "zero", "limit"):
        axes.plot([2, 12], [y, y], color=INK, linewidth=0.6 if mark == "plus" else 1.8)
    else:
        text = {"name": "+123", "marks": "?  !"}.get(mark, mark)
        axes.text(7, y, printable(text), size=8, weight="bold", ha="center", va="center", color=INK, parse_math=False)
