"""Pictures of a verification and of a series: plans to scale, readable in grey."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.part.model import Part
from floorfit.report.colours import AMOUNT, WEB, colour_map
from floorfit.report.format import Display
from floorfit.report.labels import printable
from floorfit.report.sheet import INK
from floorfit.verify.release import draw_floors, proved_sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from floorfit.verify.charts import Chart
    from floorfit.verify.proved import Verification

__all__ = ["chart_figure", "field_figure", "png_of", "verification_figure"]

#: Pixels per inch.
DPI = 120
#: Most names that are written into floors; beyond it the table names them.
MOST_NAMES = 60


def verification_figure(found: Verification, show: Display) -> Figure:
    """Plan with measured less predicted at every reading, and the verdict of every floor.

    Parameters
    ----------
    found : Verification
    show : Display
        Unit, language and decimal sign.
    """
    say, proof = show.words, found.readings
    difference = (proof.deviation - proof.predicted) * show.per_mm
    rows = np.flatnonzero(np.isfinite(difference) & proof.is_used)
    top = max(float(np.abs(difference[rows]).max()) if len(rows) else 0.0, 1e-3 * show.per_mm)
    figure, axes = _plan(
        found.part, say("Finished webs: {sentence}").format(sentence=proved_sentence(found, show)), show
    )
    marks = {"conform": "", "undecided": "?", "nonconform": "!", "not-read": "–"}
    draw_floors(axes, found, "#f3f3f1", show.per_mm)
    for pocket, floor in zip(found.part.pockets, found.floors, strict=True):
        if len(found.floors) <= MOST_NAMES or floor.verdict != "conform":
            x, y = pocket.polygon.representative_point().coords[0]
            name = f"{marks[floor.verdict]} {printable(pocket.id)[:12]}".strip()
            axes.text(
                x * show.per_mm, y * show.per_mm, name, size=7, color=INK, ha="center", va="center", parse_math=False,
                bbox={"facecolor": "white", "alpha": 0.75, "linewidth": 0, "pad": 1}, zorder=4,
            )  # fmt: skip
    drawn = axes.scatter(
        found.x[rows] * show.per_mm, found.y[rows] * show.per_mm, c=-difference[rows], s=26, vmin=-top, vmax=top,
        cmap=colour_map(WEB, "difference"), edgecolors=INK, linewidths=0.6, zorder=3,
    )  # fmt: skip
    bar = figure.colorbar(drawn, ax=axes, shrink=0.8, pad=0.02)
    bar.set_label(say("predicted less measured, {unit} (plus: web thinner)").format(unit=show.unit))
    return figure


def field_figure(
    part: Part, title: str, x: Array, y: Array, values: Array, words: str, show: Display, *, is_signed: bool
) -> Figure:
    """Plan with a field over the part.

    Parameters
    ----------
    part : Part
    title : str
    x, y : (k,), (l,) ndarray, mm
        Nodes.
    values : (k, l) ndarray, mm
        NaN outside the outline.
    words : str
        What the colours mean; the unit is added.
    show : Display
    is_signed : bool
        Whether zero lies in the middle of the colours.
    """
    field = values.T * show.per_mm
    top = max(float(np.nanmax(np.abs(field))), 1e-9)
    figure, axes = _plan(part, title, show)
    drawn = axes.pcolormesh(
        x * show.per_mm, y * show.per_mm, field, cmap=colour_map(WEB if is_signed else AMOUNT, "field"),
        vmin=-top if is_signed else 0.0, vmax=top, shading="nearest", rasterized=True,
    )  # fmt: skip
    if np.ptp(field[np.isfinite(field)]) > 1e-6 * top:
        axes.contour(x * show.per_mm, y * show.per_mm, field, levels=8, colors=INK, linewidths=0.5)
    for pocket in part.pockets:
        for ring in (pocket.boundary, *pocket.islands):
            axes.fill(*np.array(ring).T * show.per_mm, facecolor="none", edgecolor=INK, linewidth=0.6)
    figure.colorbar(drawn, ax=axes, shrink=0.8, pad=0.02).set_label(f"{words}, {show.unit}")
    return figure


def chart_figure(chart: Chart, labels: Sequence[str], title: str, show: Display) -> Figure:
    """Individuals above, moving ranges below, with their limits; crosses are signals.

    Parameters
    ----------
    chart : Chart
    labels : sequence of str
        One for each value: the job.
    title : str
    show : Display
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 4.2), facecolor="white", layout="constrained")
    figure.suptitle(printable(title), size=11, parse_math=False)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(2, 1))
    order = np.arange(1.0, len(chart.values) + 1)
    levels = np.array([[chart.lower, chart.mean, chart.upper], [np.nan, chart.mean_range, chart.range_upper]])
    _line(upper, order, chart.values * show.per_mm, chart.signals, levels[0] * show.per_mm)
    _line(lower, order, chart.ranges * show.per_mm, chart.range_signals, levels[1] * show.per_mm)
    say = show.words
    upper.set_ylabel(say("value, {unit}").format(unit=show.unit))
    lower.set_ylabel(say("moving range, {unit}").format(unit=show.unit))
    words = say("job in order of time, {first} to {last}")
    lower.set_xlabel(words.format(first=labels[0][:12], last=labels[-1][:12]) if labels else say("job"))
    return figure


def png_of(figure: Figure) -> bytes:
    """A figure as PNG; the same figure gives the same bytes."""
    out = BytesIO()
    figure.savefig(out, format="png", dpi=DPI, metadata={"Software": None})
    return out.getvalue()


def _plan(part: Part, title: str, show: Display) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    x0, y0, x1, y1 = (edge * show.per_mm for edge in part.bounds)
    share = min(max((y1 - y0) / (x1 - x0), 0.2), 2.0)
    figure = Figure(figsize=(10, 2.0 + 8 * share), facecolor="white", layout="constrained")
    axes = figure.subplots()
    axes.set_title(printable(title), size=11, parse_math=False)
    axes.set_aspect("equal")
    axes.set_xlim(x0 - 0.01 * (x1 - x0), x1 + 0.01 * (x1 - x0))
    axes.set_ylim(y0 - 0.02 * (y1 - y0), y1 + 0.02 * (y1 - y0))
    axes.set_xlabel(f"X, {show.unit}")
    axes.set_ylabel(f"Y, {show.unit}")
    outline = np.array(part.outline) * show.per_mm
    axes.fill(*outline.T, facecolor="white", edgecolor=INK, linewidth=1.0, zorder=0)
    return figure, axes


def _line(axes: Axes, order: Array, values: Array, signals: Flags, levels: Array) -> None:
    axes.plot(order, values, color=INK, linewidth=0.8, marker="o", markersize=3)
    axes.plot(order[signals], values[signals], linestyle="none", marker="x", markersize=9, markeredgewidth=2, color=INK)
    for level, style in zip(levels, ("--", "-", "--"), strict=True):
        if np.isfinite(level):
            axes.axhline(level, color="#555", linewidth=0.8, linestyle=style)
