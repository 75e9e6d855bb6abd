"""The deviation map: the programmer's sheet, and two more with webs and uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.record import Record
from floorfit.report.bands import lay_bands
from floorfit.report.colours import WEB
from floorfit.report.fields import (
    View,
    contour_lines,
    decimals_of,
    draw_outlines,
    draw_plates,
    draw_readings,
    draw_warp_like,
    levels_for,
    open_band,
)
from floorfit.report.format import Display
from floorfit.report.keys import colour_key, floor_entries, mark_key, reading_entries
from floorfit.report.marks import reading_marks
from floorfit.report.names import label_floors, map_lines
from floorfit.report.nominal import curved_floors, draw_nominal, height_step, nominal_entries
from floorfit.report.pages import number_key, uncertainty_figure, web_figure
from floorfit.report.plan_view import PlanView, layer
from floorfit.report.sheet import AREA, blank_sheet, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["DPI", "NOTHING", "drawing", "map_figure", "write_maps"]

#: Pixels per inch of the PNG: 6 point text is 12 pixels high on it, A3 some 2500 wide.
DPI = 150

PAGES = 3

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
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], AREA)
    views = [open_band(figure, band, plan, scale) for band in bands]
    marks = reading_marks(record.readings, plan)
    curved = curved_floors(record)
    step = height_step(curved, show.per_mm)
    for view in views:
        draw_nominal(view, curved, step)
        draw_outlines(view)
        draw_readings(view, marks)
    numbered = label_floors(views, marks, map_lines)
    _field(figure, record, views)
    for view in views:
        draw_plates(figure, view)
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


def _field(figure: Figure, record: Record, views: Sequence[View]) -> None:
    show = views[0].plan.display
    say, grid = show.words, record.map
    if grid is None:
        put(figure, 320, 62, say("No surface could be fitted: no warp is shown."), 9, bold=True)
        return
    warp = layer(grid.warp_mm)
    top = max(float(np.nanmax(np.abs(warp))), 1e-6)
    step, levels = levels_for(warp, show.per_mm)
    for view in views:
        draw_warp_like(view, grid, warp, WEB, (-top, top))
        contour_lines(view, grid, warp, levels, sign=True, decimals=decimals_of(step))
    limit = top * show.per_mm
    words = (say("low: web thick"), say("high: web thin"))
    title = say("warp of the underside, {unit}").format(unit=show.unit)
    colour_key(figure, WEB, (-limit, limit), title, words, zero=True, decimal=show.decimal)
