"""What the tip must gain at a place: the rule at one point, for all points at once.

A floor that the cutter touches asks, by the tip's height h over it:

- in the floor's window and band (h <= band): the floor's lift, up or down. The motion moves with the floor;
- higher: that the tip stays as high over the corrected floor as it was over the programmed one, up to the clearance.
  Nothing is asked of motion that is clear of it already, and nothing is lowered.

The greatest of these counts. Where the tip is in one floor's window, a floor of another height beside it only asks not
to be cut. Over metal that is no floor nothing goes lower than programmed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from floorfit.arrays import Array, Flags, Rows
from floorfit.nc.floor_bands import EPS_MM, CutFloor
from floorfit.nc.tip_path import TipPath
from floorfit.nc.zones import Zone, Zones

__all__ = ["Asked", "ask"]

#: Points taken at once: about 100 bytes each for every array in use.
_CHUNK = 300_000


@dataclass(frozen=True)
class Asked:
    """What is asked at some points.

    Parameters
    ----------
    gain : (n,) ndarray, mm
        What the tip must gain; negative where it goes down with a floor.
    least : (n,) ndarray, mm
        The least gain that cuts nothing too deep; minus infinity where nothing is asked.
    floor : (n,) ndarray of int
        Floor in whose window or band the tip is, with the tip over that floor, or -1.
    near : (n,) ndarray of int
        Floor that the tip is over, too low or too high to be on it but within a stock of it, or -1.
    guarded : (n,) ndarray of int
        Held floor that the cutter cuts there, or -1.
    is_under : (n,) ndarray of bool
        Whether the tip is too low for the floor named by ``near``.
    """

    gain: Array
    least: Array
    floor: Rows
    near: Rows
    guarded: Rows
    is_under: Flags


def ask(path: TipPath, zones: Sequence[Zones], rows: Rows, share: Array, clearance: float | None) -> Asked:
    """Ask what the tip must gain at places on motions.

    Parameters
    ----------
    path : TipPath
        The motions.
    zones : sequence of Zones
        What each cutter of the path may touch.
    rows, share : (n,) ndarray
        The places: motion and share of its way.
    clearance : float or None, mm
        Clearance of motion over corrected floors; None for each floor's band (rapids: its stock and more).
    """
    parts = []
    for first in range(0, max(len(rows), 1), _CHUNK):
        some = slice(first, first + _CHUNK)
        parts.append(_Points(path, rows[some], share[some], clearance).run(zones))
    return Asked(*(np.concatenate([getattr(part, name) for part in parts]) for name in Asked.__dataclass_fields__))


class _Points:
    """A chunk of points, and the greatest of what is asked so far."""

    def __init__(self, path: TipPath, rows: Rows, share: Array, clearance: float | None) -> None:
        self.xyz = path.axis_places(rows, share)
        self.axis, self.cutter, self.rapid = path.axes(rows, share), path.cutter[rows], path.is_rapid[rows]
        self.rapid = self.rapid if path.is_link is None else self.rapid | path.is_link[rows]
        self.clearance = clearance
        count = len(rows)
        self.at, self.beside, self.least, self.need = (np.full(count, -np.inf) for _ in range(4))
        self.floor, self.near, self.guarded = (np.full(count, -1) for _ in range(3))
        self.away = np.full(count, np.inf)
        self.is_at, self.is_under = np.zeros(count, bool), np.zeros(count, bool)

    def run(self, zones: Sequence[Zones]) -> Asked:
        for index, group in enumerate(zones):
            mine = np.flatnonzero(self.cutter == index)
            x, y, z = self.xyz[mine].T.copy()
            for zone in group.zones if len(mine) else ():
                x0, y0, x1, y1 = zone.region.bounds
                near = (x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)
                some = mine[near & (z >= zone.floor.z_range[0] - 2.0)]
                inside = np.asarray(shapely.intersects_xy(zone.floor.grown, *self.xyz[some, :2].T))
                reached, beside = inside.copy(), np.flatnonzero(~inside)
                reached[beside] = shapely.intersects_xy(zone.region, *self.xyz[some[beside], :2].T)
                if reached.any():
                    self._ask(zone, some[reached], inside[reached])
        gain = np.maximum(self.at, np.where(self.is_at, self.need, self.beside))
        for index, group in enumerate(zones):
            self._outside(group, (self.cutter == index) & (gain < 0) & (gain > -np.inf), gain)
        gain[np.isneginf(gain)] = 0.0
        return Asked(gain, self.least, self.floor, self.near, self.guarded, self.is_under)

    def _outside(self, group: Zones, mask: Flags, gain: Array) -> None:
        some = np.flatnonzero(mask)
        if group.outside is None or not len(some):
            return
        some = some[shapely.intersects_xy(group.outside, *self.xyz[some, :2].T)]
        gain[some] = 0.0
        self.least[some] = 0.0

    def _ask(self, zone: Zone, some: Rows, over_it: Flags) -> None:
        floor = zone.floor
        xy, z, axis = self.xyz[some, :2], self.xyz[some, 2], self.axis[some]
        over = z - floor.pocket.nominal_z(*xy.T)
        high = over - zone.contact(xy, axis)
        low = over >= -floor.window - EPS_MM
        self._places(floor, some, over_it, low, high)
        if floor.is_held:
            cuts = low & (high < floor.guard - EPS_MM)
            self.guarded[some[cuts]] = floor.index
            lift = np.zeros(len(some))
        else:
            lift = zone.lift(xy, axis)
        self._most(floor, some, lift, low, high)

    def _places(self, floor: CutFloor, some: Rows, over_it: Flags, low: Flags, high: Array) -> None:
        on = over_it & low & (high <= floor.band + EPS_MM)
        away = np.round(np.abs(high), 6)
        on &= away < self.away[some]
        self.floor[some[on]], self.away[some[on]] = floor.index, away[on]
        self.is_at[some[over_it & low & (high <= floor.window + EPS_MM)]] = True
        by = max(0.5, floor.pocket.finish_stock)
        off = over_it & ~(low & (high <= floor.band + EPS_MM)) & (np.abs(high) < by)
        self.near[some[off]] = floor.index
        self.is_under[some[off]] = ~low[off]

    def _most(self, floor: CutFloor, some: Rows, lift: Array, low: Flags, high: Array) -> None:
        height = np.maximum(high, 0.0)
        band = low & (high <= floor.band + EPS_MM)
        own = np.where(self.rapid[some], floor.rapid_clearance, floor.band)
        clear = own if self.clearance is None else self.clearance
        raised = lift - np.maximum(height - np.maximum(clear, floor.band), 0.0)
        asked = np.where(band, lift, np.where(low & (raised > 0), raised, -np.inf))
        at = band & (high <= floor.window + EPS_MM)
        need = np.where(low, lift - height, -np.inf)
        asks = (self.at, asked, at), (self.beside, asked, ~at), (self.need, need, ~at), (self.least, need, low)
        for target, values, where in asks:
            target[some] = np.maximum(target[some], np.where(where, values, -np.inf))
