"""The deviation map: one sheet with the warp of the underside, and two more with webs and uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.record import Record
from floorfit.report.bands import lay_bands
from floorfit.report.colours import DIVERGING
from floorfit.report.keys import colour_key, map_key
from floorfit.report.labels import printable
from floorfit.report.layers import (
    View,
    contour_lines,
    draw_outlines,
    draw_plates,
    draw_readings,
    draw_warp_like,
    levels_for,
    open_band,
)
from floorfit.report.names import label_floors, map_lines
from floorfit.report.pages import number_key, uncertainty_figure, web_figure
from floorfit.report.plan_view import Plan, layer, plan_of
from floorfit.report.sheet import AREA, blank_sheet, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["load", "map_figure", "write_pdf", "write_png"]

#: Pixels per inch of the PNG: 6 point text is 12 pixels high on it, A3 some 2500 wide.
DPI = 150

PAGES = 3


def write_png(record: Record, folder: str | Path) -> None:
    """Write ``deviation_map.png``, the map alone, into a folder.

    Parameters
    ----------
    record : Record
        A run; everything drawn comes from it.
    folder : path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.

    Notes
    -----
    The same record gives the same bytes with the same version of matplotlib.
    """
    with _drawing():
        figure = map_figure(record)
        compress = {"compress_level": 2}
        figure.savefig(Path(folder) / "deviation_map.png", dpi=DPI, metadata={"Software": None}, pil_kwargs=compress)


def write_pdf(record: Record, folder: str | Path) -> None:
    """Write ``deviation_map.pdf``: the map, webs against tolerance, uncertainty, a page each.

    Parameters
    ----------
    record : Record
        A run; everything drawn comes from it.
    folder : path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    plan = plan_of(record)
    nothing = {"CreationDate": None, "Producer": None, "Creator": "floorfit"}
    with _drawing(), PdfPages(Path(folder) / "deviation_map.pdf", metadata=nothing) as pdf:
        for page in (map_figure, web_figure, uncertainty_figure):
            pdf.savefig(page(record, plan))


def load() -> None:
    """Load the drawing library, so that the first page does not wait for it."""
    import matplotlib.backends.backend_pdf
    import matplotlib.figure  # noqa: F401

    printable("floor")


def _drawing() -> AbstractContextManager[None]:
    from matplotlib import rc_context

    return rc_context({"hatch.linewidth": 0.6})


def map_figure(record: Record, plan: Plan | None = None) -> Figure:
    """Return the map as a figure: A3 landscape, the plate to scale, title block.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.
    plan : Plan, optional
        The same run as a drawing sees it; made from the record when left out.

    Returns
    -------
    Figure
    """
    plan = plan_of(record) if plan is None else plan
    figure = blank_sheet(record, plan, "Deviation map: warp of the underside and Z offsets", f"1 of {PAGES}")
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], AREA)
    views = [open_band(figure, band, plan, scale) for band in bands]
    for view in views:
        draw_outlines(view, hatch_held=True)
        draw_readings(view, record)
    numbered = label_floors(views, record.readings, map_lines)
    _field(figure, record, views)
    for view in views:
        draw_plates(figure, view)
    map_key(figure, number_key(numbered), plan.display)
    return figure


def _field(figure: Figure, record: Record, views: Sequence[View]) -> None:
    display = views[0].plan.display
    grid = record.map
    if grid is None:
        put(figure, 320, 62, "No surface could be fitted: no warp is shown.", 9, bold=True)
        return
    warp = layer(grid.warp_mm)
    top = max(float(np.nanmax(np.abs(warp))), 1e-6)
    step, levels = levels_for(warp, display.small_per_mm)
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    for view in views:
        draw_warp_like(view, grid, warp, DIVERGING, (-top, top))
        contour_lines(view, grid, warp, levels, sign=True, decimals=decimals)
    words = ("low: web thick", "high: web thin")
    limit = top * display.small_per_mm
    colour_key(figure, DIVERGING, (-limit, limit), f"warp of the underside, {display.small}", words, zero=True)
