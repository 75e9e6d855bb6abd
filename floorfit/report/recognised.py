"""Picture of what was recognised in a model: numbered floors with their webs, and faces that were not taken."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.path import Path as Outline

    from floorfit.cad.extracted import Extraction, Floor, RejectedFace
    from floorfit.part.model import Ring

__all__ = ["picture_figure", "write_picture"]

_DPI = 150
#: Longest side of the sheet, inches.
_LONG_SIDE = 15.0
#: Faces with these codes are drawn with a thin line only: nothing about them looks like a floor.
_PLAIN = ("no-wall",)


def write_picture(extraction: Extraction, path: str | Path) -> None:
    """Write the picture as PNG.

    Parameters
    ----------
    extraction : Extraction
    path : path
        File to write.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    figure = picture_figure(extraction)
    figure.savefig(path, dpi=_DPI, format="png", metadata={"Software": None})


def picture_figure(extraction: Extraction) -> Figure:
    """Draw outline, floors (filled, with id and web) and doubtful faces (hatched, with the reason's code)."""
    from matplotlib.figure import Figure

    x0, y0, x1, y1 = extraction.part.bounds
    wide, tall = max(x1 - x0, 1e-6), max(y1 - y0, 1e-6)
    scale = _LONG_SIDE / max(wide, tall)
    figure = Figure(figsize=(max(wide * scale, 5.0) + 1.2, max(tall * scale, 2.5) + 1.6), layout="constrained")
    axes = figure.add_subplot()
    _draw(axes, extraction, scale)
    return figure


def _draw(axes: Axes, extraction: Extraction, scale: float) -> None:
    part = extraction.part
    unit_mm = MM_PER_UNIT[part.units]
    outline = np.array([*part.outline, part.outline[0]]) / unit_mm
    axes.plot(outline[:, 0], outline[:, 1], color="black", linewidth=1.2)
    for face in extraction.rejected:
        _left_out(axes, face, unit_mm)
    places = 3 if part.units == "mm" else 4
    for floor in extraction.floors:
        _floor(axes, floor, unit_mm, scale, places)
    axes.set_aspect("equal")
    axes.set_xlabel(f"X ({part.units})")
    axes.set_ylabel(f"Y ({part.units})")
    axes.set_title(_title(extraction), fontsize=10, loc="left", parse_math=False)


def _title(extraction: Extraction) -> str:
    part = extraction.part
    name = "".join(c if c.isprintable() else " " for c in part.name)
    name = name if len(name) <= 80 else name[:79] + "…"
    dashed = "; dashed: outline at the wall" if any(f.fillet_radius for f in extraction.floors) else ""
    return (
        f"{name}\n{len(extraction.floors)} floors, id over web thickness ({part.units}); "
        f"faces not taken: {len(extraction.rejected)}, hatched where walled, dotted without walls{dashed}"
    )


def _floor(axes: Axes, floor: Floor, unit_mm: float, scale: float, places: int) -> None:
    from matplotlib.patches import PathPatch

    path = _path([floor.foot, *floor.foot_islands], unit_mm)
    axes.add_artist(PathPatch(path, facecolor="#cfe0f0", edgecolor="#1f4e79", linewidth=0.8))
    if floor.fillet_radius > 0.0:
        wall = _path([floor.wall, *floor.wall_islands], unit_mm)
        axes.add_artist(PathPatch(wall, facecolor="none", edgecolor="#1f4e79", linewidth=0.5, linestyle="--"))
    x, y, half = _label_place(floor)
    webs = (floor.web_min, floor.web_max) if floor.underside else (floor.web,)
    text = f"{floor.id}\n" + "…".join(f"{web / unit_mm:.{places}f}" for web in webs)
    points = float(np.clip(half * 2.0 * scale * 72.0 / 4.5, 3.5, 10.0))
    axes.text(x / unit_mm, y / unit_mm, text, ha="center", va="center", fontsize=points, parse_math=False)


def _label_place(floor: Floor) -> tuple[float, float, float]:
    """A place well inside a floor, and how far it is from the edge there, mm."""
    import shapely

    polygon = shapely.Polygon(floor.foot, floor.foot_islands)
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=max(polygon.length / 200.0, 1e-3))
    x, y = circle.coords[0]
    return float(x), float(y), float(circle.length)


def _left_out(axes: Axes, face: RejectedFace, unit_mm: float) -> None:
    """A face that was not taken: its rings, and the code of the reason."""
    from matplotlib.patches import PathPatch

    plain = face.code in _PLAIN and not face.is_walled
    if face.outline:
        path = _path([face.outline, *face.holes], unit_mm)
        line = {"edgecolor": "#808080", "linewidth": 0.4, "linestyle": ":", "zorder": 0.5}
        hatched = {"edgecolor": "#8a5a00", "linewidth": 0.6, "hatch": "////"}
        axes.add_artist(PathPatch(path, facecolor="none", **(line if plain else hatched)))
    x, y = face.place[0] / unit_mm, face.place[1] / unit_mm
    box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.7 if plain else 1.0}
    colour = "#606060" if plain else "black"
    axes.text(x, y, face.code, ha="center", va="center", fontsize=5 if plain else 7, color=colour, bbox=box)


def _path(rings: list[Ring], unit_mm: float) -> Outline:
    """One compound path of closed rings; holes are cut out because they run the other way."""
    from matplotlib.path import Path as Outline

    closed = [Outline(np.array([*ring, ring[0]]) / unit_mm, closed=True) for ring in rings]
    return Outline.make_compound_path(*closed)
