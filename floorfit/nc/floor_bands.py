"""Floors as a programme meets them, and the heights at which motion belongs to them.

A tip is *on* a floor from `WINDOW_MM` below the programmed floor up to the floor's *band* above it: finishing passes,
and the wall passes, steps and links close above them. The band is `BAND_SHARE` of the finishing stock, so that roughing
stays out; it may be stated. What is higher moves only where the corrected floor would come too near.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from floorfit.arrays import Array, Rows
from floorfit.decision.decision import Correction
from floorfit.part.model import Part, Pocket

__all__ = ["BAND_SHARE", "EPS_MM", "MARGIN_MM", "WINDOW_MM", "CutFloor", "floors_of"]

#: Growth of a floor's polygon, mm: more than a programme's rounding (0.01 mm), less than any rib. Own choice.
MARGIN_MM = 0.1
#: A tip this far from the programmed floor is on it, mm: more than chord errors of sloped floors. Own choice.
WINDOW_MM = 0.05
#: The band as a share of the finishing stock, so that roughing at floor + stock stays out. Own choice, no source.
BAND_SHARE = 0.4
#: Least clearance of a rapid over the stock of a raised floor, mm, where it had as much before. Own choice.
RAPID_CLEARANCE_MM = 0.5
#: Offsets no greater than this are none, mm: a tenth of the finest decimal ever written here (0.000001 in).
NO_OFFSET_MM = 2.5e-6
#: Heights this near to a limit are on it, mm: a pass at floor + 0.05 is in the window at Z 2 and at Z 10.
EPS_MM = 1e-6


@dataclass(frozen=True)
class CutFloor:
    """One floor with its offset field.

    Parameters
    ----------
    index : int
        Place in the part.
    pocket : Pocket
        Nominal floor.
    correction : Correction
        What is added to its Z.
    stated_band : float or None, mm
        Band above the floor, where the user states one.
    """

    index: int
    pocket: Pocket
    correction: Correction
    stated_band: float | None = None

    @property
    def window(self) -> float:
        """How far below the programmed floor a tip still counts as on it, mm."""
        stock = self.pocket.finish_stock
        return min(WINDOW_MM, BAND_SHARE * stock) if stock > 0 else WINDOW_MM

    @property
    def band(self) -> float:
        """How far above the programmed floor motion moves with it, mm."""
        if self.stated_band is not None:
            return self.stated_band
        return max(BAND_SHARE * self.pocket.finish_stock, self.window)

    @property
    def rapid_clearance(self) -> float:
        """How high over the floor a rapid stays as it was: over the stock, which rises with the plate, mm."""
        return max(self.band, self.pocket.finish_stock + RAPID_CLEARANCE_MM)

    @property
    def guard(self) -> float:
        """Height above the floor below which motion cuts what roughing left there, mm."""
        return max(self.pocket.finish_stock - self.window, self.band)

    @cached_property
    def grown(self) -> BaseGeometry:
        """The polygon grown by the margin: where a tip is over the floor; prepared."""
        grown = self.pocket.polygon.buffer(MARGIN_MM)
        shapely.prepare(grown)
        return grown

    @cached_property
    def z_range(self) -> tuple[float, float]:
        """Least and greatest nominal Z over the polygon's bounds, mm."""
        z = self.pocket.floor_at(*self._lattice(33 if self.is_shaped else 2))
        low, high = float(z.min()), float(z.max())
        # Between the lines of the lattice a height may be beyond those on them, by less than one step of it.
        more = (high - low) / 32 if self.is_shaped else 0.0
        return low - more, high + more

    @cached_property
    def dz_range(self) -> tuple[float, float]:
        """Least and greatest offset over the polygon's bounds, mm."""
        dz = self.correction.at(*self._lattice(33))
        grid = self.correction.grid
        more = [] if grid is None else [float(grid.offset_mm.min()), float(grid.offset_mm.max())]
        return min(float(dz.min()), *more, np.inf), max(float(dz.max()), *more, -np.inf)

    def _lattice(self, count: int) -> tuple[Array, ...]:
        x0, y0, x1, y1 = self.pocket.polygon.bounds
        return tuple(np.meshgrid(np.linspace(x0, x1, count), np.linspace(y0, y1, count)))

    @property
    def is_shaped(self) -> bool:
        """Whether the floor is more than one plane."""
        return bool(self.pocket.floor)

    @property
    def is_held(self) -> bool:
        """Whether the floor must not be cut."""
        return self.correction.action == "hold"

    @property
    def is_active(self) -> bool:
        """Whether anything is to change on this floor."""
        return not self.is_held and max(map(abs, self.dz_range)) > NO_OFFSET_MM

    @property
    def matters(self) -> bool:
        """Whether a programme must be looked at on this floor: its offset is not zero, or it is held."""
        return self.is_active or self.is_held

    @property
    def top(self) -> float:
        """Greatest Z, mm, at which motion can matter to this floor."""
        return self.z_range[1] + max(self.band, self.guard if self.is_held else 0.0) + max(0.0, self.dz_range[1])

    def met_by(self, places: Array) -> Rows:
        """Which places (n, 3) are on the floor, or as far over it as motion moves with it."""
        rows = np.flatnonzero(shapely.intersects_xy(self.pocket.polygon, *places[:, :2].T))
        over = places[rows, 2] - self.pocket.floor_at(*places[rows, :2].T)
        return np.asarray(rows[(over >= -self.window) & (over <= self.band)])

    def dz(self, xy: Array) -> Array:
        """Offset at points (n, 2), mm."""
        return self.correction.at(xy[:, 0], xy[:, 1])


def floors_of(part: Part, corrections: Mapping[str, Correction], band: float | None = None) -> tuple[CutFloor, ...]:
    """Return the part's floors with their corrections, in the part's order.

    Parameters
    ----------
    part : Part
    corrections : mapping of str to Correction
        By pocket.
    band : float or None, mm
        Height above a floor that moves with it.
    """
    return tuple(CutFloor(index, pocket, corrections[pocket.id], band) for index, pocket in enumerate(part.pockets))
