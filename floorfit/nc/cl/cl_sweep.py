"""What a file leaves of each floor: the cutter swept along every motion, on a grid of places over the floor.

For the proof alone, from what the second reader heard; it shares no code with the rule, the reader or the writer. At a
place in plan the end of a cutter is as low as the lower of its flat, a disc in space, and its rounded corner, taken as
the ball of the corner on that side of the axis: exact at the place that touches, and for an upright cutter all over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

__all__ = ["FloorGrid", "Samples", "sample", "swept_heights"]

#: Places of the grid for one radius of the cutter, and greatest number of places along one side.
_CELLS, _MOST_CELLS = 5, 300
#: Samples taken at once.
_CHUNK = 20_000


@dataclass(frozen=True)
class Samples:
    """Places of a cutter: tip, axis, radius and corner radius, mm; motion that each belongs to."""

    tip: NDArray[np.float64]
    axis: NDArray[np.float64]
    radius: NDArray[np.float64]
    corner: NDArray[np.float64]


@dataclass(frozen=True)
class FloorGrid:
    """Places over one floor.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Lines of the grid.
    inside : (k, l) ndarray of bool
        Which places lie in the polygon.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    inside: NDArray[np.bool_]

    @classmethod
    def over(cls, polygon: Polygon, radius: float) -> FloorGrid:
        """Grid over a polygon for a cutter of a radius."""
        x0, y0, x1, y1 = polygon.bounds
        cell = max(radius / _CELLS, max(x1 - x0, y1 - y0) / _MOST_CELLS)
        x, y = (np.linspace(a, b, max(int(np.ceil((b - a) / cell)), 2) + 1) for a, b in ((x0, x1), (y0, y1)))
        shapely.prepare(polygon)
        return cls(x, y, shapely.contains_xy(polygon, *np.meshgrid(x, y, indexing="ij")))

    @property
    def cell(self) -> float:
        """The larger distance of two lines, mm."""
        return float(max(self.x[1] - self.x[0], self.y[1] - self.y[0]))


def sample(
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    axes: tuple[NDArray[np.float64], NDArray[np.float64]],
    size: NDArray[np.float64],
    step: float,
) -> Samples:
    """Places along straight motions, at most ``step`` apart in plan; start, end (m, 3), size (m, 2): radius, corner."""
    length = np.hypot(*(end - start)[:, :2].T)
    count = np.maximum(np.ceil(length / step), 1).astype(int)
    row = np.repeat(np.arange(len(start)), count)
    at = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + 1) / count[row]
    tip = start[row] + at[:, None] * (end - start)[row]
    axis = axes[0][row] + at[:, None] * (axes[1] - axes[0])[row]
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    return Samples(tip, axis, size[row, 0], size[row, 1])


def swept_heights(samples: Samples, grid: FloorGrid) -> NDArray[np.float64]:
    """Lowest height of the cutter over every place of a grid, (k, l), mm; infinite where it never is."""
    out = np.full(grid.inside.size, np.inf)
    for first in range(0, len(samples.tip), _CHUNK):
        some = slice(first, first + _CHUNK)
        _sweep(samples.tip[some], samples.axis[some], samples.radius[some], samples.corner[some], grid, out)
    return out.reshape(grid.inside.shape)


def _sweep(
    tip: NDArray[np.float64],
    axis: NDArray[np.float64],
    radius: NDArray[np.float64],
    corner: NDArray[np.float64],
    grid: FloorGrid,
    out: NDArray[np.float64],
) -> None:
    reach = float(radius.max())
    hx, hy = grid.x[1] - grid.x[0], grid.y[1] - grid.y[0]
    nx, ny = int(reach / hx) + 1, int(reach / hy) + 1
    i0 = np.rint((tip[:, 0] - grid.x[0]) / hx).astype(int)
    j0 = np.rint((tip[:, 1] - grid.y[0]) / hy).astype(int)
    for di in range(-nx, nx + 1):
        i = i0 + di
        inside = (i >= 0) & (i < len(grid.x))
        for dj in range(-ny, ny + 1):
            if np.hypot((abs(di) - 0.5) * hx, (abs(dj) - 0.5) * hy) > reach + hx + hy:
                continue
            j = j0 + dj
            some = np.flatnonzero(inside & (j >= 0) & (j < len(grid.y)))
            if len(some):
                dx, dy = grid.x[i[some]] - tip[some, 0], grid.y[j[some]] - tip[some, 1]
                low = tip[some, 2] + _end_height(dx, dy, axis[some], radius[some], corner[some])
                np.minimum.at(out, i[some] * len(grid.y) + j[some], low)


def _end_height(
    dx: NDArray[np.float64],
    dy: NDArray[np.float64],
    axis: NDArray[np.float64],
    radius: NDArray[np.float64],
    corner: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Height of the end over the tip at (dx, dy) from the tip, mm; infinite beyond it."""
    flat = radius - corner
    # The flat: the plane through the tip, square to the axis, as far as the ring of the corner.
    disc = -(axis[:, 0] * dx + axis[:, 1] * dy) / axis[:, 2]
    far = np.sqrt(dx**2 + dy**2 + disc**2)
    out = np.where(far <= flat + 1e-9, disc, np.inf)
    rounded = np.flatnonzero(corner > 0)
    if len(rounded):
        a, r, e = axis[rounded], corner[rounded], flat[rounded]
        qx, qy = dx[rounded] - r * a[:, 0], dy[rounded] - r * a[:, 1]
        qz = -(a[:, 0] * qx + a[:, 1] * qy) / a[:, 2]
        share = np.divide(e, np.sqrt(qx**2 + qy**2 + qz**2), out=np.zeros_like(e), where=e > 0)
        share = np.where(np.isfinite(share), share, 0.0)
        away = (qx - share * qx) ** 2 + (qy - share * qy) ** 2
        ball = r * a[:, 2] + share * qz - np.sqrt(np.maximum(r**2 - away, 0.0))
        out[rounded] = np.minimum(out[rounded], np.where(away <= r**2, ball, np.inf))
    return out
