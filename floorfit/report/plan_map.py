"""The map of a probing plan: floors, places in their order, the path, and what the readings are expected to tell."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.part.model import Part, Pocket, Ring
from floorfit.report.labels import fitted
from floorfit.report.sheet import INK, PAPER, panel
from floorfit.units import MM_PER_UNIT, Unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["write_plan_map"]

#: The room for the plate on the paper, and for the curve: left, bottom, width, height, mm.
ROOM = (22.0, 90.0, 386.0, 186.0)
CURVE = (30.0, 22.0, 150.0, 50.0)
DPI = 150
PATH, PLACE = "#9a9a9a", "#0b559f"
#: Places up to which each gets its number; of more, every second or third and so on.
NUMBERED = 250


def write_plan_map(part: Part, points: Array, curve: Array, lines: Sequence[str], path: str | Path) -> None:
    """Write the map as PNG, A3 landscape, the plate to scale, in the unit of the part.

    Parameters
    ----------
    part : Part
        Outline and floors.
    points : (n, 2) ndarray, mm
        Places in the order of the path.
    curve : (m, 3) ndarray
        Readings, and mean and largest standard uncertainty of an offset, mm.
    lines : sequence of str
        Facts in words, below the map.
    path : path
        File to write; overwritten.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(PAPER[0] / 25.4, PAPER[1] / 25.4), facecolor="white")
    _text(figure, 12, 284, "Where to take readings", 15, "bold")
    _text(figure, 200, 284, fitted(part.name, 11, 205), 11)
    axes = panel(figure, ROOM)
    _plate(axes, part)
    _places(axes, points / MM_PER_UNIT[part.units])
    # Fewer than four readings leave the plane itself unknown: metres on the axis.
    shown = curve[curve[:, 0] >= 4]
    if len(shown) > 1:
        _curve(panel(figure, CURVE), shown, part.units)
    for k, line in enumerate(lines):
        _text(figure, 205, 68 - 6.5 * k, fitted(line, 10, 205), 10)
    figure.savefig(path, dpi=DPI, format="png", metadata={"Software": None})


def _text(figure: Figure, x: float, y: float, text: str, size: float, weight: str = "normal") -> None:
    from floorfit.report.lettering import write

    write(figure, x / PAPER[0], y / PAPER[1], text, size, color=INK, bold=weight == "bold", va="center")


def _plate(axes: Axes, part: Part) -> None:
    """Outline, floors and their names, as large as the room allows."""
    axes.set_aspect("equal", adjustable="box")
    scale = MM_PER_UNIT[part.units]
    _ring(axes, part.outline, scale, "#efefef", 1.2, 0)
    outline = np.asarray(part.outline, float) / scale
    extent = np.ptp(outline, axis=0)
    paper_per_mm = min(ROOM[2] / extent[0], ROOM[3] / extent[1]) / scale
    for pocket in part.pockets:
        _ring(axes, pocket.boundary, scale, "white", 0.7, 1)
        for island in pocket.islands:
            _ring(axes, island, scale, "#efefef", 0.7, 2)
        _name(axes, pocket, scale, paper_per_mm)
    pad = 0.01 * float(extent.max())
    axes.set_xlim(outline[:, 0].min() - pad, outline[:, 0].max() + pad)
    axes.set_ylim(outline[:, 1].min() - pad, outline[:, 1].max() + pad)
    axes.tick_params(labelsize=7)
    axes.set_xlabel(f"X, {part.units}", size=8)
    axes.set_ylabel(f"Y, {part.units}", size=8)


def _name(axes: Axes, pocket: Pocket, scale: float, paper_per_mm: float) -> None:
    """Write a floor's name inside it where there is room."""
    from floorfit.report.lettering import write

    place = pocket.polygon.representative_point()
    x_min, _, x_max, _ = pocket.polygon.bounds
    room = (x_max - x_min) * paper_per_mm
    if room <= 6.0:
        return
    x, y = place.x / scale, place.y / scale
    text = fitted(pocket.id, 6, 0.8 * room)
    write(axes, x, y, text, 6, color="#6a6a6a", ha="center", va="center", zorder=3)


def _ring(axes: Axes, ring: Ring, scale: float, colour: str, width: float, level: int) -> None:
    from matplotlib.patches import Polygon

    corners = np.asarray(ring, float) / scale
    axes.add_patch(Polygon(corners, closed=True, facecolor=colour, edgecolor=INK, lw=width, zorder=level))


def _places(axes: Axes, points: Array) -> None:
    if len(points) == 0:
        return
    size = 3.2 if len(points) <= NUMBERED else 2.0
    axes.plot(points[:, 0], points[:, 1], "-", color=PATH, lw=0.6, zorder=4)
    axes.plot(points[:, 0], points[:, 1], "o", color=PLACE, ms=size, zorder=5)
    axes.plot(*points[0], "s", color=INK, ms=size + 2, mfc="none", zorder=6)
    step = -(-len(points) // NUMBERED)
    for k, (x, y) in enumerate(points, start=1):
        if k % step == 0 or k == 1:
            axes.annotate(str(k), (x, y), (2, 2), textcoords="offset points", size=5, color=INK, zorder=6)


def _curve(axes: Axes, curve: Array, unit: Unit) -> None:
    """Expected expanded uncertainty, k = 2, against readings; both axes logarithmic."""
    readings = curve[:, 0]
    mean, largest = curve[:, 1:].T / MM_PER_UNIT[unit]
    is_shown = mean > 0
    axes.loglog(readings[is_shown], 2 * largest[is_shown], "-", color=INK, lw=1.2, label="largest of all floors")
    axes.loglog(readings[is_shown], 2 * mean[is_shown], "--", color=PLACE, lw=1.2, label="mean over the floors")
    axes.set_xlabel("readings", size=8)
    axes.set_ylabel(f"expected U of an offset,\nk = 2, {unit}", size=8)
    axes.tick_params(labelsize=7, which="both")
    axes.grid(True, which="major", lw=0.4, color="#d0d0d0")
    axes.legend(fontsize=7, frameon=False)
