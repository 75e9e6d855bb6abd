"""The deviation map: the programmer's sheet, and two more with webs and uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.record import Record, WebMap
from floorfit.report import fields
from floorfit.report.bands import Sheet
from floorfit.report.colours import AMOUNT, WEB, Anchors
from floorfit.report.format import Display
from floorfit.report.keys import colour_key, floor_entries, mark_key, reading_entries
from floorfit.report.labels import fitted
from floorfit.report.marks import Marks, reading_marks
from floorfit.report.names import Lines, label_floors, map_lines, uncertainty_lines, web_lines
from floorfit.report.nominal import curved_floors, draw_nominal, height_step, nominal_entries
from floorfit.report.plan_view import DrawnFloor, PlanView, thinness
from floorfit.report.sheet import AREA, blank_sheet, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["DPI", "NOTHING", "drawing", "map_figure", "number_key", "uncertainty_figure", "web_figure", "write_maps"]

#: Pixels per inch of the PNG: 6 point text is 12 pixels high on it, A3 some 2500 wide.
DPI = 150

PAGES = 3

#: Ends of the colour scale of webs: half a tolerance beyond each limit.
_BEYOND = 2.0

_TITLE = 8.0

#: What a PDF says of itself: no date, so that the same record gives the same bytes.
NOTHING = {"CreationDate": None, "Producer": None, "Creator": "floorfit"}


def write_maps(record: Record, plan: PlanView, folder: Path) -> None:
    """Write ``deviation_map.png`` and ``deviation_map.pdf``: map, webs against tolerance, uncertainty, a page each.

    The PNG is the first page of the PDF: it is laid out once and written twice.

    Parameters
    ----------
    record : Record
        A run; everything drawn comes from it.
    plan : PlanView
        The same run as a drawing sees it.
    folder : Path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.

    Notes
    -----
    The same record gives the same bytes with the same version of matplotlib.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    with drawing(), PdfPages(folder / "deviation_map.pdf", metadata=NOTHING) as pdf:
        figure = map_figure(record, plan)
        pdf.savefig(figure)
        figure.savefig(
            folder / "deviation_map.png", dpi=DPI, metadata={"Software": None}, pil_kwargs={"compress_level": 2}
        )
        for page in (web_figure, uncertainty_figure):
            pdf.savefig(page(record, plan))


def drawing() -> AbstractContextManager[None]:
    """Return the settings under which sheets are drawn."""
    from matplotlib import rc_context

    return rc_context({"hatch.linewidth": 0.6})


def map_figure(record: Record, plan: PlanView) -> Figure:
    """Return the map as a figure: A3 landscape, the plate to scale, title block.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.
    plan : PlanView
        The same run as a drawing sees it.

    Returns
    -------
    Figure
    """
    show = plan.display
    title = show.words("Deviation map: what each pocket gets, and the warp of the underside")
    figure = blank_sheet(record, plan, title, f"1 / {PAGES}")
    views = fields.open_bands(figure, plan, AREA)
    curved = curved_floors(record)
    step = height_step(curved, show.per_mm)
    for view in views:
        draw_nominal(view, curved, step)
    unknown = show.words("No surface could be fitted: no warp is shown.")
    marks, numbered = _with_readings(figure, record, views, map_lines, _warp, unknown)
    lines = [*_lines(show), *nominal_entries(step, show)]
    entries = [*_actions(show), *floor_entries(show), *reading_entries(marks, show), *lines]
    mark_key(figure, entries, number_key(numbered, show), show)
    return figure


def _actions(show: Display) -> list[tuple[str, str]]:
    say, unit = show.words, show.unit
    return [
        (say("shift"), say("Z offset of the whole floor, {unit}").format(unit=unit)),
        (say("tilt"), say("Z offset at the centroid, {unit}, and a slope").format(unit=unit)),
        ("arrow", say("way in which a tilted floor rises; {unit} per 100 {unit}").format(unit=unit)),
        (say("follow"), say("least and greatest Z offset of a curved floor")),
    ]


def _lines(show: Display) -> list[tuple[str, str]]:
    say = show.words
    return [
        ("plus", say("contour of the warp, {unit}; dashed below zero").format(unit=show.unit)),
        ("zero", say("zero: the underside is where it should be")),
    ]


def _with_readings(
    figure: Figure,
    record: Record,
    views: Sequence[fields.View],
    lines: Lines,
    field: Callable[[Figure, WebMap, Sequence[fields.View]], None],
    unknown: str,
    *,
    has_suggestions: bool = False,
) -> tuple[Marks, list[DrawnFloor]]:
    """Draw outlines, readings, places of further ones and a field; return marks, and floors named by number."""
    marks = reading_marks(record.readings, views[0].plan)
    for view in views:
        fields.draw_outlines(view)
        fields.draw_readings(view, marks)
        if has_suggestions:
            fields.draw_suggestions(view)
    numbered = label_floors(views, marks, lines)
    if record.map is None:
        put(figure, 320, 62, unknown, 9, bold=True)
    else:
        field(figure, record.map, views)
    for view in views:
        fields.draw_plates(figure, view)
    return marks, numbered


def _warp(figure: Figure, grid: WebMap, views: Sequence[fields.View]) -> None:
    show, warp = views[0].plan.display, grid.warp_mm
    say = show.words
    top = max(float(np.nanmax(np.abs(warp))), 1e-6)
    title = say("warp of the underside, {unit}").format(unit=show.unit)
    words = (say("low: web thick"), say("high: web thin"))
    _field(figure, grid, views, warp, WEB, (-top, top), title, words, is_signed=True)


def _uncertainty(figure: Figure, grid: WebMap, views: Sequence[fields.View]) -> None:
    show, expanded = views[0].plan.display, 2 * grid.warp_u_mm
    say = show.words
    low, high = float(np.nanmin(expanded)), float(np.nanmax(expanded))
    title = say("uncertainty of the warp, k = 2, {unit}").format(unit=show.unit)
    words = (say("well known"), say("less known"))
    _field(figure, grid, views, expanded, AMOUNT, (low, max(high, low + 1e-9)), title, words, is_signed=False)


def _field(
    figure: Figure, grid: WebMap, views: Sequence[fields.View], values: Array, anchors: Anchors,
    limits: tuple[float, float], title: str, words: tuple[str, str], *, is_signed: bool,
) -> None:  # fmt: skip
    """Colour a field between its limits, draw its contours, and say what the colours mean."""
    show = views[0].plan.display
    step, levels = fields.levels_for(values, show.per_mm, lines=12 if is_signed else 7)
    for view in views:
        fields.draw_layer(view, grid, values, anchors, limits, [view.plan.outline])
        fields.contour_lines(view, grid, values, levels, sign=is_signed, decimals=fields.decimals_of(step))
    ends = (limits[0] * show.per_mm, limits[1] * show.per_mm)
    colour_key(figure, anchors, ends, title, words, zero=is_signed, decimal=show.decimal)


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
        views = fields.open_bands(figure, plan, room)
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
    views = fields.open_bands(figure, plan, AREA)
    unknown = say("No surface could be fitted: no uncertainty is shown.")
    marks, numbered = _with_readings(
        figure, record, views, uncertainty_lines, _uncertainty, unknown, has_suggestions=True
    )
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
        return [display.words("#n: the n-th pocket of part file and offsets.csv (no room for its name)")]
    return [fitted(f"#{floor.index + 1} = {floor.id}", 7.5, 86) for floor in numbered]


def _halves(plan: PlanView) -> tuple[Sheet, Sheet]:
    """Return room for two drawings: above each other for a wide plate, beside each other for a tall one."""
    x0, y0, x1, y1 = plan.bounds
    if x1 - x0 >= 1.2 * (y1 - y0):
        half = AREA.height / 2
        return (Sheet(AREA.left, AREA.bottom + half, AREA.width, half), Sheet(AREA.left, AREA.bottom, AREA.width, half))
    half = AREA.width / 2
    return (Sheet(AREA.left, AREA.bottom, half, AREA.height), Sheet(AREA.left + half, AREA.bottom, half, AREA.height))


def _web_panel(figure: Figure, record: Record, views: Sequence[fields.View], after: bool) -> list[DrawnFloor]:
    grid = record.map
    for view in views:
        fields.draw_outlines(view)
        if grid is not None:
            place = thinness(record, grid.web_after_mm if after else grid.web_before_mm)
            floors = [floor.boundary for floor in view.plan.floors]
            fields.draw_layer(view, grid, place, WEB, (-_BEYOND, _BEYOND), floors)
            fields.draw_outside(view, grid, place)
    numbered = label_floors(views, None, web_lines(after))
    for view in views:
        fields.draw_plates(figure, view)
    return numbered
