"""Contours of curved floors as drawn: light dots without numbers, so that nobody takes them for warp."""

from __future__ import annotations

import numpy as np

from floorfit.arrays import Array
from floorfit.part.model import Pocket
from floorfit.record import Record
from floorfit.report.fields import View, levels_for
from floorfit.report.format import Display

__all__ = ["curved_floors", "draw_nominal", "height_step", "nominal_entries"]

#: Places along the longer side of a floor at which heights are asked.
_PLACES = 48
#: A line is white with grey dots, so that it shows on blue and on yellow: colour, width (points) and style of both.
_STROKES = (("#ffffff", 0.8, "-"), ("#6e6e6e", 0.6, ":"))


def curved_floors(record: Record) -> tuple[Pocket, ...]:
    """Return the floors of a run that are not one plane.

    Parameters
    ----------
    record : Record
    """
    if not any("floor" in pocket for pocket in record.part["pockets"]):
        return ()
    return tuple(pocket for pocket in record.nominal().pockets if pocket.floor)


def height_step(floors: tuple[Pocket, ...], per_mm: float) -> float:
    """Return the round step of height between two lines, in the part's unit; 0 without floors.

    Parameters
    ----------
    floors : tuple of Pocket
    per_mm : float
        Units in a millimetre.
    """
    if not floors:
        return 0.0
    z = [np.ravel(_heights(pocket)[2]) for pocket in floors]
    return levels_for(np.concatenate(z), per_mm, lines=16)[0]


def draw_nominal(view: View, floors: tuple[Pocket, ...], step: float) -> None:
    """Draw lines of equal height on curved floors, each within its outline.

    Parameters
    ----------
    view : View
    floors : tuple of Pocket
    step : float
        Of height, in the part's unit.
    """
    from matplotlib.patches import Polygon

    for pocket in floors:
        x, y, z = _heights(pocket)
        z = z * view.plan.display.per_mm
        levels = np.arange(np.ceil(z.min() / step), np.floor(z.max() / step) + 1) * step
        if not len(levels):
            continue
        edge = Polygon(view.units(np.array(pocket.boundary)), transform=view.axes.transData)
        for colour, width, style in _STROKES:
            lines = view.axes.contour(
                view.units(x), view.units(y), z, levels=levels, colors=colour, linewidths=width, linestyles=style,
                alpha=0.7, zorder=3,
            )  # fmt: skip
            lines.set_clip_path(edge)
            lines.set_gid("nominal")


def nominal_entries(step: float, show: Display) -> list[tuple[str, str]]:
    """Return what the key says of these lines; nothing where there are none.

    Parameters
    ----------
    step : float
        As of `height_step`.
    show : Display
    """
    if not step:
        return []
    text = show.words("height of the floor as drawn, every {step} {unit}: no warp")
    return [("nominal", text.format(step=f"{step:g}".replace(".", show.decimal), unit=show.unit))]


def _heights(pocket: Pocket) -> tuple[Array, Array, Array]:
    x0, y0, x1, y1 = pocket.polygon.bounds
    cell = max(x1 - x0, y1 - y0) / _PLACES
    x, y = (np.linspace(a, b, max(int(np.ceil((b - a) / cell)), 2) + 1) for a, b in ((x0, x1), (y0, y1)))
    return x, y, pocket.floor_at(*np.meshgrid(x, y))
