"""Where a cutter touches a floor, and what the floor's offset is to that cutter.

A zone is one floor to one cutter: the floor's polygon grown by the cutter's radius, and over it the *lift*, the height
that the tip must gain so that the whole end of the cutter stays on or above the corrected floor:

    lift(x, y) = max over the floor under the end of (S + dz - height) - N

with S the nominal floor, dz its offset, height the cutter's end, and N the tip's height on the nominal floor. For a
shift that is dz; for a tilt it adds the difference of the two contacts (a flat end: radius times slope); for a surface
it is the grey dilation of dz by the cutter's end (Serra 1982, Image Analysis and Mathematical Morphology, ch. XII).
A curved floor has another N at every place: N and the lift are then taken from the floor's heights under the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from floorfit.decision.decision import FollowGrid
from floorfit.nc.cutter import Cutter
from floorfit.nc.floor_bands import MARGIN_MM, CutFloor

__all__ = ["TOUCH_MM", "Zone", "Zones", "zones_for"]

#: A cutter nearer to a floor than its radius less this touches it, mm: the decimals of a programme. Own choice.
TOUCH_MM = 0.01
#: Cells of a surface for one radius of the cutter. At 6 the rim of the disc is met within a twelfth of the radius.
_CELLS = 6
#: Places of the tip taken at once where the floor's heights under the whole end are asked.
_CHUNK = 20_000
#: Polygons this near to each other leave no metal between them, mm.
_SEAM_MM = 0.05
#: The axis along Z, within this share of its length (0.1 degree gives 0.0000015).
_UPRIGHT = 1e-7


@dataclass(frozen=True)
class Zone:
    """One floor as one cutter meets it.

    Parameters
    ----------
    floor : CutFloor
        The floor.
    cutter : Cutter
        The cutter.
    """

    floor: CutFloor
    cutter: Cutter

    @cached_property
    def region(self) -> BaseGeometry:
        """Where the cutter's axis stands when it touches the floor; prepared."""
        return _grown(self.floor.pocket.polygon, max(self.cutter.radius - TOUCH_MM, MARGIN_MM))

    @cached_property
    def inside(self) -> BaseGeometry:
        """Where the tip is over the floor: the polygon grown by the margin; prepared."""
        return _grown(self.floor.pocket.polygon, MARGIN_MM)

    @cached_property
    def most(self) -> float:
        """Greatest lift that can occur with an upright axis, mm."""
        return self.floor.dz_range[1] + self._extra + 1e-9

    @cached_property
    def _extra(self) -> float:
        """What the end of an upright cutter adds on a tilted floor, mm; no less than that on a curved one."""
        nominal, added = self.floor.pocket.slope, self.floor.correction.slope
        if self.floor.is_shaped:
            return self.cutter.radius * float(np.hypot(*added))
        both = (nominal[0] + added[0], nominal[1] + added[1])
        return self.cutter.over_slope(both) - self.cutter.over_slope(nominal)

    def contact(self, xy: NDArray[np.float64], axis: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the tip over the nominal floor when the end touches it, (n,), mm.

        Parameters
        ----------
        xy : (n, 2) ndarray, mm
            Places of the tip.
        axis : (n, 3) ndarray
            Unit vectors.
        """
        if self.floor.is_shaped:
            return self._standing(xy, axis, corrected=False)
        slope = self.floor.pocket.slope
        out = np.full(len(axis), self.cutter.over_slope(slope))
        leaning = np.flatnonzero(axis[:, 2] < 1.0 - _UPRIGHT)
        out[leaning] = self.cutter.contact(axis[leaning], slope)
        return out

    def lift(self, xy: NDArray[np.float64], axis: NDArray[np.float64]) -> NDArray[np.float64]:
        """Lift at places of the axis (n, 2), mm; minus infinity where the end stays above the floor's own edge.

        Parameters
        ----------
        xy : (n, 2) ndarray, mm
            Places of the axis.
        axis : (n, 3) ndarray
            Unit vectors.
        """
        at, away = self._nearest(xy)
        leaning = axis[:, 2] < 1.0 - _UPRIGHT
        if self._dilated is not None:
            out = self._dilated.at(at[:, 0], at[:, 1])
        else:
            out = self.floor.dz(at) + self._extra
            if self.floor.correction.action == "tilt" and not self.floor.is_shaped:
                out[leaning] += self._tilted(axis[leaning])
        some = np.flatnonzero(self._is_uneven | leaning & (self.floor.correction.grid is not None))
        out[some] = self._standing(xy[some], axis[some], corrected=True) - self.contact(xy[some], axis[some])
        high = self.cutter.height(np.minimum(away, self.cutter.radius))
        high[leaning] = 0.0
        return np.where(out > 0, np.where(out > high, out - high, -np.inf), out)

    @property
    def _is_uneven(self) -> bool:
        """Whether the corrected floor is another shape than the nominal one, and no plane."""
        return self.floor.is_shaped and self.floor.correction.action != "shift"

    def _tilted(self, axis: NDArray[np.float64]) -> NDArray[np.float64]:
        """What a tilt of a plane floor adds to a leaning end, beyond what it adds to an upright one, (n,), mm."""
        nominal, added = self.floor.pocket.slope, self.floor.correction.slope
        both = (nominal[0] + added[0], nominal[1] + added[1])
        return self.cutter.contact(axis, both) - self.cutter.contact(axis, nominal) - self._extra

    def _standing(self, xy: NDArray[np.float64], axis: NDArray[np.float64], *, corrected: bool) -> NDArray[np.float64]:
        """Height of the tip over the nominal floor when the end touches that floor, or the corrected one, (n,), mm."""
        out = np.zeros(len(xy))
        pocket = self.floor.pocket
        for first in range(0, len(xy), _CHUNK):
            some = slice(first, first + _CHUNK)
            x, y = xy[some].T
            end = self.cutter.places(axis[some], pocket.slope_at(x, y))
            at = (x[:, None] + end[..., 0], y[:, None] + end[..., 1])
            z = pocket.floor_at(*at) - end[..., 2]
            z += self.floor.correction.at(*at) if corrected else 0.0
            out[some] = z.max(axis=1) - pocket.floor_at(x, y)
        return out

    def most_standing(self, low: NDArray[np.float64], high: NDArray[np.float64], axis: NDArray[np.float64]) -> float:
        """Greatest Z of the tip over a box in plan with the end on the nominal floor, or a little more, mm.

        Parameters
        ----------
        low, high : (2,) ndarray, mm
            Corners of the box.
        axis : (3,) ndarray
            Unit vector.
        """
        if not self.floor.is_shaped:
            return self.floor.z_range[1] + float(self.contact(low[None], axis[None])[0])
        bounds = np.array(self.region.bounds)
        lines = (np.linspace(max(low[k], bounds[k]), min(high[k], bounds[2 + k]), 21) for k in (0, 1))
        xy = np.column_stack([one.ravel() for one in np.meshgrid(*lines)])
        z = self.floor.pocket.floor_at(*xy.T) + self.contact(xy, np.broadcast_to(axis, (len(xy), 3)))
        # Between the lines it may be higher by less than one step of them, and no higher than the floor's top.
        return min(float(z.max() + np.ptp(z) / 20), max(self.floor.z_range[1], float(z.max())))

    def _nearest(self, xy: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Nearest places of the floor, and how far away they are."""
        away = np.zeros(len(xy))
        polygon = self.floor.pocket.polygon
        shapely.prepare(polygon)
        out = np.flatnonzero(~shapely.intersects_xy(polygon, xy[:, 0], xy[:, 1]))
        if not len(out):
            return xy, away
        lines = shapely.shortest_line(polygon, shapely.points(xy[out]))
        ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
        at = xy.copy()
        at[out] = ends[:, 0]
        away[out] = np.hypot(*(ends[:, 0] - ends[:, 1]).T)
        return at, away

    @cached_property
    def _dilated(self) -> FollowGrid | None:
        """The surface dilated by the cutter's end, on a grid over a plane floor; None without a surface."""
        grid = None if self.floor.is_shaped else self.floor.correction.grid
        if grid is None or not self.cutter.radius:
            return grid
        return _dilate(self.floor, self.cutter, grid)


def _grown(shape: Polygon, by: float) -> BaseGeometry:
    grown = shape.buffer(by)
    shapely.prepare(grown)
    return grown


def _dilate(floor: CutFloor, cutter: Cutter, grid: FollowGrid) -> FollowGrid:
    """Greatest of dz, nominal slope and end of the cutter together, less the nominal contact, at each node."""
    cell = min(cutter.radius / _CELLS, float(np.diff(grid.x_mm).min()), float(np.diff(grid.y_mm).min()))
    cell = max(cell, cutter.radius / 12, np.sqrt(np.ptp(grid.x_mm) * np.ptp(grid.y_mm) / 250_000))
    x, y = (np.linspace(n[0], n[-1], max(int(np.ceil((n[-1] - n[0]) / cell)), 1) + 1) for n in (grid.x_mm, grid.y_mm))
    hx, hy = x[1] - x[0], y[1] - y[0]
    values = grid.at(*np.meshgrid(x, y, indexing="ij"))
    reach = (int(cutter.radius / hx), int(cutter.radius / hy))
    wide = np.pad(values, ((reach[0],) * 2, (reach[1],) * 2), mode="edge")
    slope = floor.pocket.slope
    out = np.full(values.shape, -np.inf)
    for i in range(-reach[0], reach[0] + 1):
        for j in range(-reach[1], reach[1] + 1):
            height = float(cutter.height(np.hypot(i * hx, j * hy)))
            if height < np.inf:
                part = wide[reach[0] + i : reach[0] + i + len(x), reach[1] + j : reach[1] + j + len(y)]
                np.maximum(out, part + (slope[0] * i * hx + slope[1] * j * hy - height), out=out)
    return FollowGrid(x, y, np.maximum(out - cutter.over_slope(slope), values))


@dataclass(frozen=True)
class Zones:
    """Everything that one cutter may touch.

    Parameters
    ----------
    cutter : Cutter
        The cutter.
    zones : tuple of Zone
        Floors that change or are held, and the floors that such a floor's cutter may reach.
    outside : geometry or None
        Where the flat of the end stands on metal of the part that is no floor: nothing may go lower there.
    """

    cutter: Cutter
    zones: tuple[Zone, ...]
    outside: BaseGeometry | None


def zones_for(floors: Sequence[CutFloor], outline: Sequence[tuple[float, float]], cutter: Cutter) -> Zones:
    """Return what a cutter may touch on a part.

    Parameters
    ----------
    floors : sequence of CutFloor
        All floors of the part.
    outline : (n, 2) sequence, mm
        Outline of the part.
    cutter : Cutter
        The cutter.
    """
    active = [Zone(floor, cutter) for floor in floors if floor.is_active or floor.is_held]
    lowered = [zone for zone in active if zone.floor.dz_range[0] < 0]
    reach = shapely.union_all([zone.region for zone in lowered]) if lowered else None
    still = [Zone(floor, cutter) for floor in floors if not (floor.is_active or floor.is_held) and reach is not None]
    near = [zone for zone in still if shapely.intersects(zone.region, reach)]
    outside = _outside(floors, outline, cutter, reach) if reach is not None else None
    return Zones(cutter, (*active, *near), outside)


def _outside(
    floors: Sequence[CutFloor], outline: Sequence[tuple[float, float]], cutter: Cutter, reach: BaseGeometry
) -> BaseGeometry | None:
    covered = shapely.union_all([floor.pocket.polygon.buffer(_SEAM_MM, join_style="mitre") for floor in floors])
    metal = shapely.intersection(Polygon(outline).difference(covered), reach.buffer(cutter.radius + 1.0))
    metal = metal.buffer(cutter.flat - MARGIN_MM + _SEAM_MM)
    if metal.is_empty:
        return None
    shapely.prepare(metal)
    return metal
