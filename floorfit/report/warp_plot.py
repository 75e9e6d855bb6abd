"""The warp on one pair of axes, to look at in a notebook: the sheet's colours without the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from floorfit.record import Record
from floorfit.report.actions import label_of
from floorfit.report.colours import HATCHES, WEB, colour_map, standing
from floorfit.report.marks import reading_marks
from floorfit.report.plan_view import PlanView, plan_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_warp"]


def draw_warp(record: Record, axes: Axes | None = None) -> Axes:
    """Draw warp, floors, readings and what each pocket gets.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.
    axes : matplotlib.axes.Axes, optional
        To draw on; those of a new figure where left out.

    Returns
    -------
    matplotlib.axes.Axes
        Coordinates in the part's unit.
    """
    plan = plan_of(record)
    show, on = plan.display, _new_axes(plan) if axes is None else axes
    if record.map is not None:
        _draw_field(record, plan, on)
    _draw_floors(plan, on)
    marks = reading_marks(record.readings, plan)
    on.plot(*(marks.used.T * show.per_mm), "o", color="black", fillstyle="none", markersize=3, linestyle="none")
    on.plot(*(marks.aside.T * show.per_mm), "x", color="black", markersize=5, linestyle="none")
    on.set(xlabel=f"X, {show.unit}", ylabel=f"Y, {show.unit}", aspect="equal", title=plan.name)
    return on


def _new_axes(plan: PlanView) -> Axes:
    from matplotlib import pyplot

    x0, y0, x1, y1 = plan.bounds
    figure, axes = pyplot.subplots(figsize=(10, float(np.clip(9 * (y1 - y0) / (x1 - x0) + 1.2, 3, 10))))
    figure.set_layout_engine("constrained")
    return axes


def _draw_field(record: Record, plan: PlanView, axes: Axes) -> None:
    assert record.map is not None
    show = plan.display
    x, y = (nodes * show.per_mm for nodes in (record.map.x_mm, record.map.y_mm))
    warp = record.map.warp_mm * show.per_mm
    top = max(float(np.nanmax(np.abs(warp))), 1e-9)
    image = axes.pcolormesh(x, y, warp, cmap=colour_map(WEB, "web"), vmin=-top, vmax=top, shading="nearest")
    axes.figure.colorbar(image, ax=axes, label=f"warp of the underside, {show.unit} (high: web thin)")


def _draw_floors(plan: PlanView, axes: Axes) -> None:
    show = plan.display
    axes.fill(*(plan.outline.T * show.per_mm), fill=False, linewidth=1.2)
    for floor in plan.floors:
        hatch = HATCHES.get(standing(floor.decision.action, floor.decision.verdict))
        axes.fill(*(floor.boundary.T * show.per_mm), fill=False, linewidth=0.8, hatch=hatch)
        for island in floor.islands:
            axes.fill(*(island.T * show.per_mm), facecolor="white", edgecolor="black", linewidth=0.8)
        x, y = (value * show.per_mm for value in floor.label_at)
        words = f"{floor.id}\n{label_of(floor.decision, show).text}"
        axes.annotate(words, (x, y), ha="center", va="center", fontsize=7)
