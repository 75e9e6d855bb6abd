"""Second and third sheet: webs before and after against tolerance, and the uncertainty of the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.record import Record
from floorfit.report.bands import Sheet, lay_bands
from floorfit.report.colours import AMOUNT, WEB
from floorfit.report.fields import (
    View,
    contour_lines,
    decimals_of,
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
from floorfit.report.format import Display
from floorfit.report.keys import colour_key, floor_entries, mark_key, reading_entries
from floorfit.report.labels import fitted
from floorfit.report.marks import reading_marks
from floorfit.report.names import Lines, label_floors, uncertainty_lines, web_lines
from floorfit.report.plan_view import PlanView, layer, thinness
from floorfit.report.sheet import AREA, blank_sheet, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from floorfit.report.plan_view import DrawnFloor


__all__ = ["number_key", "uncertainty_figure", "web_figure"]

#: Ends of the colour scale of webs: half a tolerance beyond each limit.
_BEYOND = 2.0

_TITLE = 8.0


def web_figure(record: Record, plan: PlanView) -> Figure:
    """Return the second sheet: the web of each floor before and after, coloured by its place in the tolerance.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : PlanView
        The same run as a drawing sees it.

    Returns
    -------
    Figure
    """
    show = plan.display
    say = show.words
    figure = blank_sheet(record, plan, say("Web thickness against tolerance"), "2 / 3")
    titles = (say("Web before: finished at the nominal floor Z"), say("Web after: with the offsets"))
    numbered: list[DrawnFloor] = []
    for half, title, after in zip(_halves(plan), titles, (False, True), strict=True):
        put(figure, half.left + 11, half.bottom + half.height - 4, f"{title}, {show.unit}", 10, bold=True)
        room = Sheet(half.left, half.bottom, half.width, half.height - _TITLE)
        views = _views(figure, plan, room)
        numbered += _web_panel(figure, record, views, after)
    entries = [
        *floor_entries(show), ("outside", say("outside the limits")), ("limit", say("at a limit")),
        ("1.98".replace(".", show.decimal), say("least and greatest web, where there is room")),
    ]  # fmt: skip
    mark_key(figure, entries, number_key(sorted(set(numbered), key=lambda floor: floor.index), show), show)
    words = (say("-1: upper limit, thick"), say("+1: lower limit, thin"))
    colour_key(figure, WEB, (-_BEYOND, _BEYOND), say("place of the web between its limits"), words, zero=True,
               decimal=show.decimal)  # fmt: skip
    return figure


def uncertainty_figure(record: Record, plan: PlanView) -> Figure:
    """Return the third sheet: expanded uncertainty of the warp, and where another reading would help most.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : PlanView
        The same run as a drawing sees it.

    Returns
    -------
    Figure
    """
    show = plan.display
    say, unit = show.words, show.unit
    title = say("Uncertainty of the warp, and where another reading would help")
    figure = blank_sheet(record, plan, title, "3 / 3")
    views = _views(figure, plan, AREA)
    marks = reading_marks(record.readings, plan)
    for view in views:
        draw_outlines(view)
        draw_readings(view, marks)
        draw_suggestions(view)
    numbered = label_floors(views, marks, uncertainty_lines)
    _uncertainty_field(figure, record, views)
    for view in views:
        draw_plates(figure, view)
    entries = [
        *reading_entries(marks, show), ("best", say("another reading would help most here")), *floor_entries(show),
        ("plus", say("contour of the uncertainty, {unit}").format(unit=unit)),
        ("0.012".replace(".", show.decimal), say("uncertainty of the offset, k = 2, {unit}").format(unit=unit)),
    ]  # fmt: skip
    mark_key(figure, entries, number_key(numbered, show), show)
    return figure


def number_key(numbered: Sequence[DrawnFloor], display: Display) -> list[str]:
    """Return what a key says of floors that carry a number in place of their name.

    Parameters
    ----------
    numbered : sequence of Floor
        Those that carry a number.
    display : Display
    """
    if len(numbered) > 3:
        return [display.words("#n: the n-th pocket of the part file (name too long here)")]
    return [fitted(f"#{floor.index + 1} = {floor.id}", 7.5, 86) for floor in numbered]


def _halves(plan: PlanView) -> tuple[Sheet, Sheet]:
    """Return room for two drawings: above each other for a wide plate, beside each other for a tall one."""
    x0, y0, x1, y1 = plan.bounds
    if x1 - x0 >= 1.2 * (y1 - y0):
        half = AREA.height / 2
        return (Sheet(AREA.left, AREA.bottom + half, AREA.width, half), Sheet(AREA.left, AREA.bottom, AREA.width, half))
    half = AREA.width / 2
    return (Sheet(AREA.left, AREA.bottom, half, AREA.height), Sheet(AREA.left + half, AREA.bottom, half, AREA.height))


def _views(figure: Figure, plan: PlanView, room: Sheet) -> list[View]:
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], room)
    return [open_band(figure, band, plan, scale) for band in bands]


def _web_panel(figure: Figure, record: Record, views: Sequence[View], after: bool) -> list[DrawnFloor]:
    grid = record.map
    lines: Lines = web_lines(after)
    for view in views:
        draw_outlines(view)
        if grid is not None:
            web: Array = layer(grid.web_after_mm if after else grid.web_before_mm)
            place = thinness(record, web)
            draw_floors(view, grid, place, WEB, (-_BEYOND, _BEYOND))
            draw_outside(view, grid, place)
    numbered = label_floors(views, None, lines)
    for view in views:
        draw_plates(figure, view)
    return numbered


def _uncertainty_field(figure: Figure, record: Record, views: Sequence[View]) -> None:
    show = views[0].plan.display
    say, grid = show.words, record.map
    if grid is None:
        put(figure, 320, 62, say("No surface could be fitted: no uncertainty is shown."), 9, bold=True)
        return
    expanded = 2 * layer(grid.warp_u_mm)
    low, high = float(np.nanmin(expanded)), float(np.nanmax(expanded))
    high = max(high, low + 1e-9)
    step, levels = levels_for(expanded, show.per_mm, lines=7)
    for view in views:
        draw_warp_like(view, grid, expanded, AMOUNT, (low, high))
        contour_lines(view, grid, expanded, levels, sign=False, decimals=decimals_of(step))
    limits = (low * show.per_mm, high * show.per_mm)
    title = say("uncertainty of the warp, k = 2, {unit}").format(unit=show.unit)
    words = (say("well known"), say("less known"))
    colour_key(figure, AMOUNT, limits, title, words, zero=False, decimal=show.decimal)
