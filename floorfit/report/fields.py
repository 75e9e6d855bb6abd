"""Fields on a band of the plate: coloured layer, contour lines with values, outlines, readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.record import WebMap
from floorfit.report.bands import Band, Sheet, lay_bands
from floorfit.report.colours import HATCHES, Anchors, colour_map, standing
from floorfit.report.labels import Placer, box_at, text_size, touch
from floorfit.report.marks import Marks
from floorfit.report.plan_view import PlanView
from floorfit.report.sheet import ASIDE, INK, mark_scale, panel

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch

__all__ = [
    "View", "contour_lines", "decimals_of", "draw_layer", "draw_outlines", "draw_outside", "draw_plates",
    "draw_readings", "draw_suggestions", "levels_for", "open_band", "open_bands",
]  # fmt: skip


#: Contour labels, points.
CONTOUR_POINTS = 6.5

#: Diameter of the mark of a reading; of the square with most of them where a mark stands for several. Points.
SINGLE, FULLEST = 2.6, 7.0


@dataclass(frozen=True)
class View:
    """One band opened for drawing: axes in the part's unit, and the paper it takes."""

    band: Band
    axes: Axes
    plan: PlanView
    placer: Placer
    scale: float

    def paper(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return the place on paper, mm, of a place on the part, mm.

        Parameters
        ----------
        x_mm, y_mm : float, mm
            Place on the part.
        """
        left, bottom, _, _ = self.band.box
        return (left + (x_mm - self.band.bounds[0]) * self.scale, bottom + (y_mm - self.band.bounds[1]) * self.scale)

    def holds(self, x_mm: float, y_mm: float) -> bool:
        """Whether a place on the part lies in this band; each place lies in one band only.

        Parameters
        ----------
        x_mm, y_mm : float, mm
            Place on the part.
        """
        x0, y0, x1, y1 = self.band.bounds
        return x0 <= x_mm < x1 and y0 <= y_mm < y1

    def units(self, mm: Array) -> Array:
        """Return lengths in the part's unit."""
        return np.asarray(mm * self.plan.display.per_mm)


def open_band(figure: Figure, band: Band, plan: PlanView, scale: float) -> View:
    """Add axes for a band: equal scale, coordinates in the part's unit, broken ends marked.

    Parameters
    ----------
    figure : Figure
    band : Band
        Part of the plate that the axes show.
    plan : PlanView
    scale : float
        Paper per part.
    """
    left, bottom, width, height = band.box
    axes = panel(figure, band.box)
    per_mm, sign = plan.display.per_mm, plan.display.decimal
    x0, y0, x1, y1 = (value * per_mm for value in band.bounds)
    axes.set_xlim(x0, x1)
    axes.set_ylim(y0, y1)
    axes.set_autoscale_on(False)
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    mark_scale(figure, band.box, (x0, x1), "below", most=max(3, int(width / 35)), points=7, decimal=sign)
    mark_scale(figure, band.box, (y0, y1), "left", most=max(2, int(height / 22)), points=7, decimal=sign)
    for spine in axes.spines.values():
        spine.set(visible=False)
    _mark_breaks(axes, band)
    return View(band, axes, plan, Placer((left, bottom, left + width, bottom + height)), scale)


def open_bands(figure: Figure, plan: PlanView, room: Sheet) -> list[View]:
    """Cut the plate into bands that fill a room best, and add axes for each.

    Parameters
    ----------
    figure : Figure
    plan : PlanView
    room : Sheet
        Where on the paper.
    """
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], room)
    return [open_band(figure, band, plan, scale) for band in bands]


def levels_for(layer: Array, per_mm: float, *, lines: int = 12) -> tuple[float, Array]:
    """Return a round contour step and the levels that a layer spans, in the part's unit.

    Parameters
    ----------
    layer : (r, c) ndarray, mm
        NaN where empty.
    per_mm : float
        Units in a millimetre.
    lines : int
        About how many levels.

    Returns
    -------
    (float, (k,) ndarray)
        Step and levels in the unit; the step is 1, 2 or 5 times a power of ten.
    """
    low, high = float(np.nanmin(layer)) * per_mm, float(np.nanmax(layer)) * per_mm
    raw = max(high - low, 1e-9) / lines
    power = 10.0 ** np.floor(np.log10(raw))
    step = float(next(m * power for m in (1, 2, 5, 10) if m * power >= raw * (1 - 1e-9)))
    return step, np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step + 0.0  # no negative zero


def decimals_of(step: float) -> int:
    """Return the decimals that multiples of a round step need."""
    return max(0, -int(np.floor(np.log10(step) + 1e-9)))


def draw_layer(
    view: View, grid: WebMap, layer: Array, anchors: Anchors, limits: tuple[float, float], rings: list[Array]
) -> None:
    """Colour a layer, clipped to rings; nothing where it is empty.

    Parameters
    ----------
    view : View
    grid : WebMap
        Its nodes.
    layer : (r, c) ndarray
        NaN where there is nothing.
    anchors : sequence of (r, g, b)
        Colour scale.
    limits : (float, float)
        Values at the ends of the scale, in the unit of the layer.
    rings : list of (n, 2) ndarray, mm
        What it is clipped to: the part's outline, or floors.
    """
    if np.isnan(layer).all():
        return
    clip = _rings(view, rings, fill=False, linewidth=0)
    (x, half_x), (y, half_y) = ((nodes, _half_step(nodes)) for nodes in (grid.x_mm, grid.y_mm))
    extent = view.units(np.array([x[0] - half_x, x[-1] + half_x, y[0] - half_y, y[-1] + half_y]))
    image = view.axes.imshow(
        np.float32(_filled(layer)), origin="lower", extent=tuple(extent), aspect="auto", interpolation="bilinear",
        cmap=colour_map(anchors, "layer"), vmin=limits[0], vmax=limits[1], zorder=1,
    )  # fmt: skip
    image.set_clip_path(clip)


def draw_outlines(view: View) -> None:
    """Draw the part's outline, the floors and their islands; hatches say held, undecided, not conforming."""
    shown = [floor for floor in view.plan.floors if touch(floor.bounds, view.band.bounds)]
    common = {"edgecolor": INK, "linewidth": 0.8}
    _rings(view, [view.plan.outline], fill=False, zorder=5, edgecolor=INK, linewidth=1.2)
    _rings(view, [floor.boundary for floor in shown], fill=False, zorder=5, **common)
    for name, hatch in HATCHES.items():
        rings = [f.boundary for f in shown if standing(f.decision.action, f.decision.verdict) == name]
        _rings(view, rings, fill=False, zorder=5, hatch=hatch, **common)
    # An island may be a floor of its own: a pad.
    own = {floor.boundary.tobytes() for floor in shown}
    islands = [ring for floor in shown for ring in floor.islands if ring.tobytes() not in own]
    _rings(view, islands, facecolor="white", zorder=5.5, **common)


def draw_readings(view: View, marks: Marks) -> None:
    """Draw readings used as open circles, larger where one stands for more, and those set aside as crosses.

    Parameters
    ----------
    view : View
    marks : Marks
    """
    x0, y0, x1, y1 = view.band.bounds
    inside = (marks.used >= (x0, y0)).all(axis=1) & (marks.used <= (x1, y1)).all(axis=1)
    places, shares = view.units(marks.used[inside]), marks.shares[inside]
    sizes, width = (FULLEST * np.sqrt(shares), 0.4) if marks.is_dense else (np.full(len(places), SINGLE), 0.5)
    sizes = np.round(sizes, 1)
    for size in np.unique(sizes):  # marks of one size are stamped, each size drawn once
        view.axes.plot(*places[sizes == size].T, marker="o", linestyle="none", zorder=6, markersize=size,
                       markerfacecolor="white", markeredgecolor=INK, markeredgewidth=width)  # fmt: skip
    small = 3.0 if marks.is_dense else 5.5
    view.axes.plot(*view.units(marks.aside).T, marker="x", linestyle="none", zorder=7, markersize=small,
                   markeredgecolor=ASIDE, markeredgewidth=1.4)  # fmt: skip


def draw_suggestions(view: View) -> None:
    """Draw a diamond where another reading would help a floor most."""
    view.axes.plot(*view.units(view.plan.suggestions).T, marker="D", markersize=5, markerfacecolor="white",
                   markeredgecolor=INK, markeredgewidth=1.1, linestyle="none", zorder=7.7)  # fmt: skip


def draw_outside(view: View, grid: WebMap, place: Array) -> None:
    """Hatch where a web lies beyond its limits, and draw the limit as a line; places as `thinness` gives.

    Parameters
    ----------
    view : View
    grid : WebMap
        Its nodes.
    place : (r, c) ndarray
        -1 at the upper limit, +1 at the lower.
    """
    beyond = np.abs(np.where(np.isnan(place), 0.0, place))
    if beyond.max() <= 1 or min(place.shape) < 2:
        return
    x, y = (view.units(values) for values in (grid.x_mm, grid.y_mm))
    shown = np.ma.masked_invalid(np.abs(place))
    top = float(beyond.max()) + 1
    view.axes.contourf(x, y, shown, levels=[1, top], colors="none", hatches=["xxxx"], zorder=3)
    view.axes.contour(x, y, shown, levels=[1], colors=INK, linewidths=1.4, zorder=4)


def draw_plates(figure: Figure, view: View) -> None:
    """Lighten the ground under every text of a band, in one piece for all of them.

    Parameters
    ----------
    figure : Figure
    view : View
        Its texts stand already.
    """
    boxes = np.array(view.placer.taken, dtype=float).reshape(-1, 4)
    plates = [np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) for x0, y0, x1, y1 in boxes / 25.4]
    _patch(view, plates, facecolor="white", alpha=0.72, linewidth=0, zorder=7.5, transform=figure.dpi_scale_trans)


def contour_lines(view: View, grid: WebMap, layer: Array, levels: Array, *, sign: bool, decimals: int = 0) -> None:
    """Draw contour lines of a layer in the part's unit: zero thick, minus dashed, values where there is room.

    Parameters
    ----------
    view : View
    grid : WebMap
        Its nodes.
    layer : (r, c) ndarray, mm
    levels : (k,) ndarray
        In the part's unit.
    sign : bool
        Whether values above zero get a plus.
    decimals : int
    """
    if len(levels) == 0 or min(layer.shape) < 2:
        return
    x, y = (view.units(values) for values in (grid.x_mm, grid.y_mm))
    lengths = layer * view.plan.display.per_mm
    widths = [1.8 if level == 0 and sign else 0.6 for level in levels]
    styles = ["--" if level < 0 else "-" for level in levels]
    drawn = view.axes.contour(x, y, np.ma.masked_invalid(lengths), levels=levels, colors=INK, linewidths=widths,
                              linestyles=styles, zorder=4)  # fmt: skip
    for level, lines in zip(drawn.levels, drawn.allsegs, strict=True):
        text = view.plan.display.plain(float(level), decimals, sign=sign)
        for line in lines:
            _write_along(view, line / view.plan.display.per_mm, text)


def _write_along(view: View, line: Array, text: str) -> None:
    """Write a contour's value at free places along it, at most one in 60 mm of paper."""
    if len(line) < 2:
        return
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))]) * view.scale
    size = text_size(text, CONTOUR_POINTS)
    last = -60.0
    at = np.arange(4.0, length[-1], 2.0)
    x, y = (np.interp(at, length, along).tolist() for along in line.T)
    for along, place in zip(at.tolist(), zip(x, y, strict=True), strict=True):
        if along - last < 60.0 or not view.holds(*place):
            continue
        if view.placer.claim(box_at(view.paper(*place), size)):
            _contour_text(view, place, text)
            last = along


def _contour_text(view: View, place: tuple[float, float], text: str) -> None:
    from floorfit.report.lettering import write

    x, y = (at * view.plan.display.per_mm for at in place)
    write(view.axes, x, y, text, CONTOUR_POINTS, color=INK, ha="center", va="center", zorder=8, gid="contour")


def _half_step(nodes: Array) -> float:
    return float(nodes[-1] - nodes[0]) / (len(nodes) - 1) / 2 if len(nodes) > 1 else 0.5


def _filled(values: Array, *, rounds: int = 3) -> Array:
    """Continue a layer a few cells over its edge, so that the clipped picture has no gap there."""
    filled = values
    for _ in range(rounds):
        empty = np.isnan(filled)
        if not empty.any():
            break
        ring = np.pad(filled, 1, constant_values=np.nan)
        rows, columns = values.shape
        shifts = [ring[j : j + rows, i : i + columns] for j in range(3) for i in range(3) if (j, i) != (1, 1)]
        known = [~np.isnan(shift) for shift in shifts]
        count = np.sum(known, axis=0)
        total = np.sum([np.where(k, shift, 0.0) for k, shift in zip(known, shifts, strict=True)], axis=0)
        filled = np.where(empty & (count > 0), total / np.maximum(count, 1), filled)
    return filled


def _rings(view: View, rings: list[Array], **style: object) -> PathPatch | None:
    """Add closed rings, mm, as one patch; None where there are none."""
    return _patch(view, [view.units(ring) for ring in rings], **style)


def _patch(view: View, rings: list[Array], **style: object) -> PathPatch | None:
    """The same in the coordinates that are drawn in."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    if not rings:
        return None
    closed = [Path(np.concatenate([ring, ring[:1]]), closed=True) for ring in rings]
    patch = PathPatch(Path.make_compound_path(*closed), **style)
    view.axes.add_artist(patch)  # `add_patch` would look for limits, corner by corner
    return patch


def _mark_breaks(axes: Axes, band: Band) -> None:
    sides = ("left", "right") if axes.bbox.width >= axes.bbox.height else ("bottom", "top")
    for side, is_end in zip(sides, (band.is_first, band.is_last), strict=True):
        if not is_end:
            axes.spines[side].set(visible=True, linewidth=1.6, color=INK, linestyle=(0, (6, 2, 1, 2)))
