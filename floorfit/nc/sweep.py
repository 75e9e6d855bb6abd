"""What a file leaves of each floor: the cutter swept along every motion, on a grid of places over the floor.

For the proof alone, from what the second reader heard; it shares no code with the rule, the reader or the writer. At a
place in plan the end of a cutter is as low as the lower of its flat, a disc in space, and its rounded corner, taken as
the ball of the corner on that side of the axis: exact at the place that touches, and for an upright cutter all over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from floorfit.arrays import Array, Flags, Rows, counted

__all__ = ["FloorGrid", "Samples", "end_height", "sample", "swept_heights"]

#: Places of the grid for one radius of the cutter, and greatest number of places along one side.
_CELLS, _MOST_CELLS = 4, 300
#: Least distance of two lines, mm.
_LEAST_MM = 0.5
#: Samples taken at once.
_CHUNK = 500


@dataclass(frozen=True)
class Samples:
    """Places of a cutter: tip, axis, radius and corner radius, mm."""

    tip: Array
    axis: Array
    radius: Array
    corner: Array

    def below(self, top: float) -> Samples:
        """Those whose end comes below a height, mm."""
        lean = np.hypot(self.axis[:, 0], self.axis[:, 1])
        return self.at(self.tip[:, 2] - self.radius * lean <= top)

    def at(self, rows: Rows | Flags) -> Samples:
        """Some of them."""
        return Samples(self.tip[rows], self.axis[rows], self.radius[rows], self.corner[rows])

    def and_also(self, more: Samples) -> Samples:
        """These and others."""
        return Samples(*(np.concatenate([getattr(one, name) for one in (self, more)]) for name in self.__dict__))

    def lowest(self, cell: float) -> Samples:
        """The lowest of those that stand in one cell of a grid, with one axis and one cutter."""
        order = np.argsort(self.tip[:, 2], kind="stable")
        parts = [self.tip[order, 0] / cell, self.tip[order, 1] / cell]
        parts += [1000 * self.axis[order, 0], 1000 * self.axis[order, 1], 1000 * self.radius[order]]
        key, size = np.zeros(len(order), dtype=np.int64), 1
        for part in (*parts, 1000 * self.corner[order]):
            whole = np.rint(part).astype(np.int64)
            whole -= whole.min(initial=0)
            most = int(whole.max(initial=0)) + 1
            if size * most >= 1 << 62:
                key = np.unique(key, return_inverse=True)[1].reshape(-1)
                size = int(key.max(initial=0)) + 1
            key, size = key * most + whole, size * most
        return self.at(order[np.unique(key, return_index=True)[1]])


@dataclass(frozen=True)
class FloorGrid:
    """Places over one floor: middles of even cells.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Lines of the grid.
    inside : (k, l) ndarray of bool
        Which places lie in the polygon.
    """

    x: Array
    y: Array
    inside: Flags

    @classmethod
    def over(cls, polygon: Polygon, radius: float) -> FloorGrid:
        """Grid over a polygon for a cutter of a radius, which may be infinite.

        Parameters
        ----------
        polygon : Polygon
            In plan, mm.
        radius : float, mm
            Of the cutter.
        """
        x0, y0, x1, y1 = polygon.bounds
        cell = max(radius / _CELLS, max(x1 - x0, y1 - y0) / _MOST_CELLS, _LEAST_MM)
        cell = min(cell, x1 - x0, y1 - y0)
        ends = (np.linspace(a, b, max(int(np.ceil((b - a) / cell)), 2) + 1) for a, b in ((x0, x1), (y0, y1)))
        x, y = (0.5 * (one[1:] + one[:-1]) for one in ends)
        return cls(x, y, shapely.contains_xy(polygon, *np.meshgrid(x, y, indexing="ij")))

    def places(self) -> Array:
        """All places, (k l, 2), mm, in the order of ``inside``."""
        return np.column_stack([one.ravel() for one in np.meshgrid(self.x, self.y, indexing="ij")])

    @property
    def area(self) -> float:
        """Area of one cell, mm²."""
        return float((self.x[1] - self.x[0]) * (self.y[1] - self.y[0]))

    @property
    def cell(self) -> float:
        """The larger distance of two lines, mm."""
        return float(max(self.x[1] - self.x[0], self.y[1] - self.y[0]))


def sample(start: Array, end: Array, axes: tuple[Array, Array], size: Array, step: Array, rise: float) -> Samples:
    """Places along straight motions, at most ``step`` apart in plan, and ``rise`` in height where a pass climbs.

    Start, end (m, 3), size (m, 2): radius, corner, step (m,). Steeper than 1 in 2 is a ramp and no pass.
    """
    length = np.hypot(*(end - start)[:, :2].T)
    climb = np.minimum(np.abs(end - start)[:, 2], 0.5 * length)
    # Rounded, so that a motion and the same one higher up are divided alike.
    count = np.maximum(np.ceil(np.round(np.maximum(length / step, climb / rise), 6)), 1).astype(int)
    row, index = counted(count)
    at = (index + 1) / count[row]
    tip = start[row] + at[:, None] * (end - start)[row]
    axis = axes[0][row] + at[:, None] * (axes[1] - axes[0])[row]
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    return Samples(tip, axis, size[row, 0], size[row, 1])


def swept_heights(samples: Samples, grid: FloorGrid) -> Array:
    """Lowest height of the cutter over every place of a grid, (k, l), mm; infinite where it never is.

    Parameters
    ----------
    samples : Samples
        Places of the cutter.
    grid : FloorGrid
    """
    hx, hy = float(grid.x[1] - grid.x[0]), float(grid.y[1] - grid.y[0])
    reach = float(samples.radius.max(initial=0.0))
    nx, ny = int(reach / hx) + 2, int(reach / hy) + 2
    # A margin round the grid takes what falls outside, so that nothing has to be asked in the loop.
    wide = np.full((len(grid.x) + 4 * nx, len(grid.y) + 4 * ny), np.inf)
    i = np.rint((samples.tip[:, 0] - grid.x[0]) / hx).astype(int)
    j = np.rint((samples.tip[:, 1] - grid.y[0]) / hy).astype(int)
    near = np.flatnonzero((i >= -nx) & (i < len(grid.x) + nx) & (j >= -ny) & (j < len(grid.y) + ny))
    leaning = np.hypot(samples.axis[near, 0], samples.axis[near, 1]) > 1e-6
    for some in (near[leaning], near[~leaning]):
        for first in range(0, len(some), _CHUNK):
            rows = some[first : first + _CHUNK]
            place = (i[rows] + 2 * nx) * wide.shape[1] + j[rows] + 2 * ny
            off = np.column_stack([i[rows] * hx + grid.x[0], j[rows] * hy + grid.y[0]]) - samples.tip[rows, :2]
            _sweep(samples, rows, place, off, (hx, hy, nx, ny, wide.shape[1]), wide.reshape(-1))
    return np.asarray(wide[2 * nx : 2 * nx + len(grid.x), 2 * ny : 2 * ny + len(grid.y)])


def _sweep(
    samples: Samples, rows: Rows, place: Rows, off: Array, steps: tuple[float, float, int, int, int], out: Array
) -> None:
    hx, hy, nx, ny, width = steps
    z, axis, radius, corner = (one[rows] for one in (samples.tip[:, 2], samples.axis, samples.radius, samples.corner))
    upright = bool(np.hypot(axis[:, 0], axis[:, 1]).max(initial=0.0) <= 1e-6)
    reach = float(radius.max(initial=0.0))
    # A flat end covers what is nearer than its rim by half of a cell's diagonal wherever in its cell it stands.
    is_flat = upright and not corner.any()
    sure = float(radius.min(initial=np.inf)) - 0.5 * float(np.hypot(hx, hy)) - 1e-9 if is_flat else -1.0
    ways = np.stack(np.meshgrid(np.arange(-nx, nx + 1), np.arange(-ny, ny + 1))).reshape(2, -1)
    far = np.hypot(ways[0] * hx, ways[1] * hy)
    inner, rim = ways[:, far <= sure], ways[:, (far > sure) & (far <= reach + 0.8 * (hx + hy))]
    np.minimum.at(out, (place + (inner[0] * width + inner[1])[:, None]).ravel(), np.tile(z, inner.shape[1]))
    dx, dy = off[:, 0] + rim[0][:, None] * hx, off[:, 1] + rim[1][:, None] * hy
    end = _upright_height(dx, dy, radius, corner) if upright else end_height(dx, dy, axis, radius, corner)
    np.minimum.at(out, (place + (rim[0] * width + rim[1])[:, None]).ravel(), (z + end).ravel())


def _upright_height(dx: Array, dy: Array, radius: Array, corner: Array) -> Array:
    """As `end_height`, with the axis along Z."""
    away = np.sqrt(dx * dx + dy * dy)
    if not corner.any():
        return np.where(away <= radius, 0.0, np.inf)
    over = np.clip(away - (radius - corner), 0.0, corner)
    return np.where(away <= radius, corner - np.sqrt(corner * corner - over * over), np.inf)


def end_height(dx: Array, dy: Array, axis: Array, radius: Array, corner: Array) -> Array:
    """Height of the end over the tip at (dx, dy) from the tip, mm; infinite beyond it."""
    flat = radius - corner
    # The flat: the plane through the tip, square to the axis, as far as the ring of the corner.
    disc = -(axis[:, 0] * dx + axis[:, 1] * dy) / axis[:, 2]
    far = np.sqrt(dx**2 + dy**2 + disc**2)
    out = np.where(far <= flat + 1e-9, disc, np.inf)
    rounded = np.flatnonzero(corner > 0)
    if len(rounded):
        a, r, e = axis[rounded], corner[rounded], flat[rounded]
        qx, qy = dx[..., rounded] - r * a[:, 0], dy[..., rounded] - r * a[:, 1]
        qz = -(a[:, 0] * qx + a[:, 1] * qy) / a[:, 2]
        size = np.sqrt(qx**2 + qy**2 + qz**2)
        share = np.divide(e, size, out=np.zeros_like(size), where=size > 0)
        away = (qx - share * qx) ** 2 + (qy - share * qy) ** 2
        ball = r * a[:, 2] + share * qz - np.sqrt(np.maximum(r**2 - away, 0.0))
        out[..., rounded] = np.minimum(out[..., rounded], np.where(away <= r**2, ball, np.inf))
    return out
