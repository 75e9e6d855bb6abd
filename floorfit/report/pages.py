"""Second and third sheet: webs before and after against tolerance, and the uncertainty of the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.record import Record
from floorfit.report.bands import Sheet, lay_bands
from floorfit.report.colours import DIVERGING, SEQUENTIAL
from floorfit.report.keys import colour_key, mark_key
from floorfit.report.labels import fitted
from floorfit.report.layers import (
    View,
    contour_lines,
    draw_floors,
    draw_outlines,
    draw_outside,
    draw_plates,
    draw_readings,
    draw_suggestions,
    draw_warp_like,
    levels_for,
    open_band,
)
from floorfit.report.names import Lines, label_floors, uncertainty_lines, web_lines
from floorfit.report.plan_view import Plan, layer, web_position
from floorfit.report.sheet import AREA, blank_sheet, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from floorfit.report.plan_view import Floor

__all__ = ["number_key", "uncertainty_figure", "web_figure"]

#: Ends of the colour scale of webs: half a tolerance beyond each limit.
_BEYOND = 2.0

_TITLE = 8.0


def web_figure(record: Record, plan: Plan) -> Figure:
    """Return the second sheet: the web of each floor before and after, coloured by its place in the tolerance.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : Plan
        The same run as a drawing sees it.

    Returns
    -------
    Figure
    """
    figure = blank_sheet(record, plan, "Web thickness against tolerance", "2 of 3")
    titles = ("before: finished at the nominal floor Z", "after: with the offsets")
    numbered: list[Floor] = []
    for half, title, after in zip(_halves(plan), titles, (False, True), strict=True):
        put(figure, half.left + 11, half.bottom + half.height - 4, f"Web {title}, {plan.display.unit}", 10, bold=True)
        room = Sheet(half.left, half.bottom, half.width, half.height - _TITLE)
        views = _views(figure, plan, room)
        numbered += _web_panel(figure, record, views, after)
    entries = [
        ("held", "pocket held: do not cut"), ("outside", "outside the limits"), ("limit", "at a limit"),
        ("1.98", f"least and greatest web, {plan.display.unit}, where there is room"),
    ]  # fmt: skip
    mark_key(figure, entries, number_key(sorted(set(numbered), key=lambda floor: floor.index)))
    title = "place of the web between its limits"
    colour_key(figure, DIVERGING, (-_BEYOND, _BEYOND), title, ("-1: lower limit", "+1: upper limit"), zero=True)
    return figure


def uncertainty_figure(record: Record, plan: Plan) -> Figure:
    """Return the third sheet: expanded uncertainty of the warp, and where another reading would help most.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : Plan
        The same run as a drawing sees it.

    Returns
    -------
    Figure
    """
    small = plan.display.small
    figure = blank_sheet(record, plan, "Uncertainty of the warp, and where another reading would help", "3 of 3")
    views = _views(figure, plan, AREA)
    for view in views:
        draw_outlines(view, hatch_held=True)
        draw_readings(view, record)
        draw_suggestions(view)
    numbered = label_floors(views, record.readings, uncertainty_lines)
    _uncertainty_field(figure, record, views)
    for view in views:
        draw_plates(figure, view)
    entries = [
        ("used", "reading used"), ("aside", "reading set aside"), ("best", "another reading would help most here"),
        ("held", "pocket held: do not cut"), ("plus", f"contour of the uncertainty, {small}"),
        ("12", f"bold: uncertainty of the offset, k = 2, {small}"),
    ]  # fmt: skip
    mark_key(figure, entries, number_key(numbered))
    return figure


def number_key(numbered: Sequence[Floor]) -> list[str]:
    """Return what a key says of floors that carry a number in place of their name."""
    if len(numbered) > 3:
        return ["#n: the n-th pocket of the part file (name too long here)"]
    return [fitted(f"#{floor.index + 1} = {floor.id}", 7.5, 86) for floor in numbered]


def _halves(plan: Plan) -> tuple[Sheet, Sheet]:
    """Return room for two drawings: above each other for a wide plate, beside each other for a tall one."""
    x0, y0, x1, y1 = plan.bounds
    if x1 - x0 >= 1.2 * (y1 - y0):
        half = AREA.height / 2
        return (Sheet(AREA.left, AREA.bottom + half, AREA.width, half), Sheet(AREA.left, AREA.bottom, AREA.width, half))
    half = AREA.width / 2
    return (Sheet(AREA.left, AREA.bottom, half, AREA.height), Sheet(AREA.left + half, AREA.bottom, half, AREA.height))


def _views(figure: Figure, plan: Plan, room: Sheet) -> list[View]:
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], room)
    return [open_band(figure, band, plan, scale) for band in bands]


def _web_panel(figure: Figure, record: Record, views: Sequence[View], after: bool) -> list[Floor]:
    grid = record.map
    lines: Lines = web_lines(after)
    for view in views:
        draw_outlines(view, hatch_held=True)
        if grid is not None:
            web: NDArray[np.float64] = layer(grid.web_after_mm if after else grid.web_before_mm)
            place = web_position(record, web)
            draw_floors(view, grid, place, DIVERGING, (-_BEYOND, _BEYOND))
            draw_outside(view, grid, place)
    numbered = label_floors(views, None, lines)
    for view in views:
        draw_plates(figure, view)
    return numbered


def _uncertainty_field(figure: Figure, record: Record, views: Sequence[View]) -> None:
    display = views[0].plan.display
    grid = record.map
    if grid is None:
        put(figure, 320, 62, "No surface could be fitted: no uncertainty is shown.", 9, bold=True)
        return
    expanded = 2 * layer(grid.warp_u_mm)
    low, high = float(np.nanmin(expanded)), float(np.nanmax(expanded))
    step, levels = levels_for(expanded, display.small_per_mm, lines=7)
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    for view in views:
        draw_warp_like(view, grid, expanded, SEQUENTIAL, (low, max(high, low + 1e-9)))
        contour_lines(view, grid, expanded, levels, sign=False, decimals=decimals)
    factor = display.small_per_mm
    limits = (low * factor, max(high, low + 1e-9) * factor)
    title = f"uncertainty of the warp, k = 2, {display.small}"
    colour_key(figure, SEQUENTIAL, limits, title, ("well known", "less known"), zero=False)
