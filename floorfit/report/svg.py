"""Small drawings inside the page: one for each pocket, and the whole plate for paper."""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

from floorfit.record import ReadingsRecord, Record, WebMap
from floorfit.report.bands import Band, Sheet, lay_bands
from floorfit.report.colours import DIVERGING, rgb
from floorfit.report.plan_view import Floor, Plan, layer, shortened

__all__ = ["plan_svg", "png_bytes", "pocket_svg"]

#: More readings than this are thinned out in a drawing; those set aside are always drawn.
_MOST_MARKS = 1_500

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Frame:
    """From the part (mm, Y up) to a drawing (Y down): one scale, so that shapes keep their form."""

    bounds: Bounds
    left: float
    top: float
    scale: float

    def at(self, points: Array) -> Array:
        x = self.left + (points[..., 0] - self.bounds[0]) * self.scale
        y = self.top + (self.bounds[3] - points[..., 1]) * self.scale
        return np.stack([x, y], axis=-1)

    def path(self, ring: Array) -> str:
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in self.at(ring)) + "Z"


def pocket_svg(record: Record, floor: Floor, warp_limit: float, readings: NDArray[np.intp]) -> Markup:
    """Draw one pocket: warp, outline, islands, its readings, the place where another reading would help.

    Parameters
    ----------
    record : Record
        A run.
    floor : Floor
        The pocket.
    warp_limit : float
        Warp in mm at the ends of the colour scale, the same for every pocket.
    readings : (k,) ndarray of int
        Rows of the readings to draw.

    Returns
    -------
    Markup
        An ``<svg>`` of at most 260 by 180 pixels.
    """
    x0, y0, x1, y1 = floor.bounds
    pad = 0.06 * max(x1 - x0, y1 - y0)
    bounds = (x0 - pad, y0 - pad, x1 + pad, y1 + pad)
    scale = min(260 / (bounds[2] - bounds[0]), 180 / (bounds[3] - bounds[1]))
    frame = _Frame(bounds, 0.0, 0.0, scale)
    size = ((bounds[2] - bounds[0]) * scale, (bounds[3] - bounds[1]) * scale)
    body = [
        *_raster(frame, record.map, bounds, warp_limit, frame.path(floor.boundary), f"c{floor.index}"),
        *_shape(frame, floor, "held"),
        *_marks(frame, record.readings, readings, 3.2),
        *_suggestion(frame, floor),
    ]
    return _svg(size, "px", body, f"pocket {shortened(floor.id, 60)}")


def plan_svg(record: Record, plan: Plan, warp_limit: float) -> Markup:
    """Draw the whole plate for paper, 180 mm wide, a long one in bands: warp, floors, names, readings."""
    sheet = Sheet(0.0, 0.0, 180.0, 150.0)
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], sheet)
    top = max(band.box[1] + band.box[3] for band in bands)
    low = min(band.box[1] for band in bands)
    body = [piece for k, band in enumerate(bands) for piece in _band(record, plan, band, scale, top, warp_limit, k)]
    return _svg((180.0, top - low), "mm", body, "plan of the part")


def png_bytes(colours: NDArray[np.uint8]) -> bytes:
    """Return an (r, c, 3) picture as a PNG file (ISO/IEC 15948), the same bytes every time."""
    rows, columns, _ = colours.shape
    lines = np.concatenate([np.zeros((rows, 1), np.uint8), colours.reshape(rows, -1)], axis=1)
    header = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(lines.tobytes(), 9)), (b"IEND", b""))
    body = b"".join(struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in chunks)
    return b"\x89PNG\r\n\x1a\n" + body


def _svg(size: tuple[float, float], unit: str, body: list[str], label: str) -> Markup:
    width, height = size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(label)}" width="{width:.1f}{unit}" '
        f'height="{height:.1f}{unit}" viewBox="0 0 {width:.1f} {height:.1f}">'
    )
    return Markup(head + "".join(body) + "</svg>")


def _band(record: Record, plan: Plan, band: Band, scale: float, top: float, limit: float, number: int) -> Iterator[str]:
    left, bottom, width, height = band.box
    frame = _Frame(band.bounds, left, top - bottom - height, scale)
    clip = f"b{number}"
    x, y = left, top - bottom - height
    yield f'<clipPath id="{clip}"><rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"/></clipPath>'
    yield f'<g clip-path="url(#{clip})" stroke-width=".25">'
    yield from _raster(frame, record.map, band.bounds, limit, frame.path(plan.outline), f"o{number}")
    yield f'<path d="{frame.path(plan.outline)}" fill="none" stroke="#1a1a1a" stroke-width=".4"/>'
    for floor in plan.floors:
        yield from _shape(frame, floor, "held-fine")
    yield from _marks(frame, record.readings, np.arange(len(record.readings.used)), 0.5)
    yield "</g>"
    yield from _names(frame, plan, band)


def _names(frame: _Frame, plan: Plan, band: Band) -> Iterator[str]:
    x0, y0, x1, y1 = band.bounds
    for floor in plan.floors:
        if not (x0 <= floor.label_at[0] < x1 and y0 <= floor.label_at[1] < y1):
            continue
        x, y = frame.at(np.array(floor.label_at))
        room = (floor.bounds[2] - floor.bounds[0]) * frame.scale
        text = shortened(floor.id, max(2, int(room / 1.1)))
        size = min(3.2, 1.6 * room / max(len(text), 3), 0.8 * (floor.bounds[3] - floor.bounds[1]) * frame.scale)
        yield (
            f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" font-size="{size:.2f}" text-anchor="middle" fill="#111" '
            f'stroke="#fff" stroke-width=".5" paint-order="stroke">{escape(text)}</text>'
        )


def _raster(
    frame: _Frame, grid: WebMap | None, bounds: Bounds, limit: float, clip_path: str, clip: str
) -> Iterator[str]:
    """Draw the cells of the warp in a rectangle, clipped to a shape; nothing where there is no map."""
    if grid is None:
        return
    x, y = np.array(grid.x_mm), np.array(grid.y_mm)
    i, j = _window(x, bounds[0], bounds[2]), _window(y, bounds[1], bounds[3])
    warp = layer(grid.warp_mm[j])[:, i]
    if min(warp.shape) < 2:
        return
    colours = rgb(DIVERGING, (warp / limit + 1) / 2)[::-1]
    data = base64.b64encode(png_bytes(colours)).decode("ascii")
    step_x, step_y = (x[-1] - x[0]) / (len(x) - 1), (y[-1] - y[0]) / (len(y) - 1)
    corner = frame.at(np.array([x[i][0] - step_x / 2, y[j][-1] + step_y / 2]))
    size = np.array([len(x[i]) * step_x, len(y[j]) * step_y]) * frame.scale
    yield f'<clipPath id="{clip}"><path d="{clip_path}"/></clipPath><g clip-path="url(#{clip})"><image '
    yield f'x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{size[0]:.1f}" height="{size[1]:.1f}" '
    yield f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/></g>'


def _window(nodes: Array, low: float, high: float) -> slice:
    first = max(int(np.searchsorted(nodes, low)) - 1, 0)
    return slice(first, min(int(np.searchsorted(nodes, high)) + 1, len(nodes)))


def _shape(frame: _Frame, floor: Floor, pattern: str) -> Iterator[str]:
    if floor.decision.action == "hold":
        yield f'<path d="{frame.path(floor.boundary)}" fill="url(#{pattern})" stroke="none"/>'
    yield f'<path d="{frame.path(floor.boundary)}" fill="none" stroke="#1a1a1a"/>'
    for island in floor.islands:
        yield f'<path d="{frame.path(island)}" fill="#fff" stroke="#1a1a1a"/>'


def _marks(frame: _Frame, readings: ReadingsRecord, rows: NDArray[np.intp], size: float) -> Iterator[str]:
    stride = max(1, -(-len(rows) // _MOST_MARKS))
    for k in (k for place, k in enumerate(rows) if place % stride == 0 or not readings.used[k]):
        x, y = frame.at(np.array([readings.x_mm[k], readings.y_mm[k]]))
        if readings.used[k]:
            yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:.2f}" fill="#fff" stroke="#1a1a1a"/>'
        else:
            a = 1.3 * size
            cross = f"M{x - a:.1f} {y - a:.1f}L{x + a:.1f} {y + a:.1f}M{x - a:.1f} {y + a:.1f}L{x + a:.1f} {y - a:.1f}"
            yield f'<path d="{cross}" stroke="#a3123a" stroke-width="{0.6 * size:.2f}"/>'


def _suggestion(frame: _Frame, floor: Floor) -> Iterator[str]:
    if floor.decision.suggestion_mm is not None:
        x, y = frame.at(np.array(floor.decision.suggestion_mm))
        diamond = f"M{x:.1f} {y - 5:.1f}L{x + 5:.1f} {y:.1f}L{x:.1f} {y + 5:.1f}L{x - 5:.1f} {y:.1f}Z"
        yield f'<path d="{diamond}" fill="#fff" stroke="#1a1a1a" stroke-width="1.5"/>'
