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
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from floorfit.arrays import Array
from floorfit.decision.decision import FollowGrid
from floorfit.nc.cutter import Cutter
from floorfit.nc.floor_bands import MARGIN_MM, CutFloor
from floorfit.part.model import Ring

__all__ = ["TOUCH_MM", "UPRIGHT", "Zone", "Zones", "zones_for"]

#: A cutter nearer to a floor than its radius less this touches it, mm: the decimals of a programme. Own choice.
TOUCH_MM = 0.01
#: Least cell of what an upright end stands on, mm, cells for one radius, and greatest number of cells. Standing heights
#: are smooth but where the rim changes sides: there a bend k is missed by k R^2 / 16 (8 mm, 1 m: 0.004 mm).
_CELL_MM, _CELLS, _MOST_CELLS = 1.0, 4, 60_000
_UP = np.array([0.0, 0.0, 1.0])
#: Places of the tip taken at once where the floor's heights under the whole end are asked.
_CHUNK = 20_000
#: Polygons this near to each other leave no metal between them, mm.
_SEAM_MM = 0.05
#: The axis along Z, within this share of its length (0.1 degree gives 0.0000015).
UPRIGHT = 1e-7


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
        region = self.floor.pocket.polygon.buffer(max(self.cutter.radius - TOUCH_MM, MARGIN_MM))
        shapely.prepare(region)
        return region

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

    def contact(self, xy: Array, axis: Array) -> Array:
        """Height of the tip over the nominal floor when the end touches it, (n,), mm.

        Parameters
        ----------
        xy : (n, 2) ndarray, mm
            Places of the tip.
        axis : (n, 3) ndarray
            Unit vectors.
        """
        leaning = np.flatnonzero(axis[:, 2] < 1.0 - UPRIGHT)
        if self.floor.is_shaped and self.cutter.radius:
            out = self._upright_contact.at(*xy.T)
            out[leaning] = self._standing(xy[leaning], axis[leaning], corrected=False)
            return out
        slope = self.floor.pocket.slope
        out = np.full(len(axis), self.cutter.over_slope(slope))
        out[leaning] = self.cutter.contact(axis[leaning], slope)
        return out

    def lift(self, xy: Array, axis: Array) -> Array:
        """Lift at places of the axis (n, 2), mm; minus infinity where the end stays above the floor's own edge.

        Parameters
        ----------
        xy : (n, 2) ndarray, mm
            Places of the axis.
        axis : (n, 3) ndarray
            Unit vectors.
        """
        at, away = self._nearest(xy)
        leaning = axis[:, 2] < 1.0 - UPRIGHT
        some = np.flatnonzero(leaning)
        if self._is_uneven:
            out = self._upright_lift.at(*at.T)
            out[some] = self._standing(xy[some], axis[some], corrected=True) - self.contact(xy[some], axis[some])
        else:
            out = self.floor.dz(at) + self._extra
            out[some] += self._tilted(axis[some])
        high = self.cutter.height(np.minimum(away, self.cutter.radius))
        high[leaning] = 0.0
        return np.where(out > 0, np.where(out > high, out - high, -np.inf), out)

    @property
    def _is_uneven(self) -> bool:
        """Whether an end stands on the corrected floor otherwise than on the nominal one, and no formula says how."""
        correction = self.floor.correction
        is_bent = correction.grid is not None or (self.floor.is_shaped and correction.action == "tilt")
        return is_bent and self.cutter.radius > 0

    @cached_property
    def _upright_contact(self) -> FollowGrid:
        return self._on_grid(corrected=False)

    @cached_property
    def _upright_lift(self) -> FollowGrid:
        return self._on_grid(corrected=True)

    def _on_grid(self, *, corrected: bool) -> FollowGrid:
        """`contact`, or `lift`, with an upright axis, at places a share of the radius apart where that can be."""
        x0, y0, x1, y1 = self.region.bounds
        cell = max(_CELL_MM, self.cutter.radius / _CELLS, np.sqrt((x1 - x0) * (y1 - y0) / _MOST_CELLS))
        x, y = (np.linspace(a, b, max(int(np.ceil((b - a) / cell)), 1) + 1) for a, b in ((x0, x1), (y0, y1)))
        xy = np.column_stack([one.ravel() for one in np.meshgrid(x, y, indexing="ij")])
        up = np.broadcast_to(_UP, (len(xy), 3))
        values = self._standing(xy, up, corrected=corrected) - (self.contact(xy, up) if corrected else 0.0)
        return FollowGrid(x, y, values.reshape(len(x), len(y)))

    def _tilted(self, axis: Array) -> Array:
        """What a tilt of a plane floor adds to a leaning end, beyond what it adds to an upright one, (n,), mm."""
        if self.floor.correction.action != "tilt":
            return np.zeros(len(axis))
        nominal, added = self.floor.pocket.slope, self.floor.correction.slope
        both = (nominal[0] + added[0], nominal[1] + added[1])
        return self.cutter.contact(axis, both) - self.cutter.contact(axis, nominal) - self._extra

    def _standing(self, xy: Array, axis: Array, *, corrected: bool) -> Array:
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

    def most_standing(self, low: Array, high: Array, axis: Array) -> float:
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

    def _nearest(self, xy: Array) -> tuple[Array, Array]:
        """Nearest places of the floor, and how far away they are."""
        away = np.zeros(len(xy))
        polygon = self.floor.pocket.polygon
        out = np.flatnonzero(~shapely.intersects_xy(polygon, xy[:, 0], xy[:, 1]))
        if not len(out):
            return xy, away
        lines = shapely.shortest_line(polygon, shapely.points(xy[out]))
        ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
        at = xy.copy()
        at[out] = ends[:, 0]
        away[out] = np.hypot(*(ends[:, 0] - ends[:, 1]).T)
        return at, away


@dataclass(frozen=True)
class Zones:
    """Everything that one cutter may touch.

    Parameters
    ----------
    zones : tuple of Zone
        Floors that change or are held, and the floors that such a floor's cutter may reach.
    outside : geometry or None
        Where the flat of the end stands on metal of the part that is no floor: nothing may go lower there.
    """

    zones: tuple[Zone, ...]
    outside: BaseGeometry | None


def zones_for(floors: Sequence[CutFloor], outline: Ring, cutter: Cutter) -> Zones:
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
    active = [Zone(floor, cutter) for floor in floors if floor.matters]
    lowered = [zone for zone in active if zone.floor.dz_range[0] < 0]
    reach = shapely.union_all([zone.region for zone in lowered]) if lowered else None
    still = [Zone(floor, cutter) for floor in floors if not floor.matters and reach is not None]
    near = [zone for zone in still if shapely.intersects(zone.region, reach)]
    outside = _outside(floors, outline, cutter, reach) if reach is not None else None
    return Zones((*active, *near), outside)


def _outside(floors: Sequence[CutFloor], outline: Ring, cutter: Cutter, reach: BaseGeometry) -> BaseGeometry | None:
    covered = shapely.union_all([floor.pocket.polygon.buffer(_SEAM_MM, join_style="mitre") for floor in floors])
    metal = shapely.intersection(Polygon(outline).difference(covered), reach.buffer(cutter.radius + 1.0))
    metal = metal.buffer(cutter.flat - MARGIN_MM + _SEAM_MM)
    if metal.is_empty:
        return None
    shapely.prepare(metal)
    return metal
