"""The nominal part: what the drawing says, in millimetres and in the part frame.

Frame: X and Y in the plane of the plate, Z up out of the pockets towards the spindle, right-handed.
Nothing here knows files or readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.part.shape import Patch, Ring, heights, slopes
from floorfit.units import Unit

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = ["LocalLimits", "Part", "Pocket", "Ring", "Tolerance"]

#: A region that shares no more with a floor than this does not hold there, mm²: rounding of its corners.
_NO_AREA_MM2 = 0.01


@dataclass(frozen=True)
class Tolerance:
    """Permissible deviations of the web thickness from its local nominal, mm.

    Parameters
    ----------
    lower : float or None
        Lower deviation (usually negative); None where the drawing sets no lower limit.
    upper : float or None
        Upper deviation; None where the drawing sets no upper limit, as for "minimum web".
    """

    lower: float | None
    upper: float | None

    @property
    def limits(self) -> tuple[float, float]:
        """Lower and upper deviation, mm; infinite on an open side."""
        lower = float("-inf") if self.lower is None else self.lower
        return lower, float("inf") if self.upper is None else self.upper

    @property
    def width(self) -> float:
        """Distance between the limits, mm; infinite where one side is open."""
        if self.lower is None or self.upper is None:
            return float("inf")
        return self.upper - self.lower


@dataclass(frozen=True)
class LocalLimits:
    """Permissible deviations at places of one floor, where the drawing has them by region; infinite on an open side.

    Parameters
    ----------
    lower, upper : (k,) ndarray, mm
        As of `Tolerance`, one for each place.
    """

    lower: NDArray[np.float64]
    upper: NDArray[np.float64]

    @property
    def limits(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Both, as of `Tolerance`."""
        return self.lower, self.upper


@dataclass(frozen=True)
class Pocket:
    """One pocket floor at one level: a stepped pocket is several of these.

    Parameters
    ----------
    id : str
        Name on the drawing, unique in the part.
    boundary : Ring
        Outline of the floor, mm.
    islands : tuple of Ring
        Outlines of metal that stands inside the boundary; not floor.
    floor_z : float
        Nominal Z of the finished floor at the centroid of ``boundary``, mm.
    web : float
        Nominal web thickness there, ``floor_z - underside_z``, mm.
    tolerance : Tolerance
        Limits as deviations from the local nominal web, mm.
    underside_z : float
        Nominal Z of the face under the web, mm.
    finish_stock : float
        Metal that the roughing programme leaves above the nominal floor, mm.
    slope : (float, float)
        dZ/dX and dZ/dY of the floor plane.
    corner_radius : float
        Radius of the vertical inner corners, mm; 0 where not stated.
    floor, underside : tuple of Patch
        Heights where they are not one plane (floor) or one level (underside); empty where they are.
    is_parallel : bool
        Whether the web is constant: the underside then lies ``web`` below the floor everywhere.
    web_along : {"z", "normal"}
        Direction in which a constant web is constant, and in which the part file states its webs.
    tolerances : tuple of (Ring, Tolerance)
        Limits that hold in a region instead of ``tolerance``; of regions that overlap the last one counts.
    """

    id: str
    boundary: Ring
    islands: tuple[Ring, ...]
    floor_z: float
    web: float
    tolerance: Tolerance
    underside_z: float = 0.0
    finish_stock: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    corner_radius: float = 0.0
    floor: tuple[Patch, ...] = ()
    underside: tuple[Patch, ...] = ()
    is_parallel: bool = False
    web_along: Literal["z", "normal"] = "z"
    tolerances: tuple[tuple[Ring, Tolerance], ...] = ()

    @property
    def is_plain(self) -> bool:
        """Whether the floor is one plane over one level underside, with one tolerance: ``floorfit-part/1``."""
        return not (self.floor or self.underside or self.is_parallel or self.tolerances or self.web_along != "z")

    @cached_property
    def polygon(self) -> Polygon:
        """The floor as a shapely polygon with the islands as holes, mm; prepared."""
        from shapely import Polygon, prepare

        polygon = Polygon(self.boundary, self.islands)
        prepare(polygon)
        return polygon

    @cached_property
    def centroid(self) -> tuple[float, float]:
        """Centroid of the boundary polygon (islands not taken out), mm; may lie outside a U-shape."""
        from shapely import Polygon

        point = (Polygon(self.boundary) if self.islands else self.polygon).centroid
        return (point.x, point.y)

    def floor_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Nominal floor Z at plan positions, mm.

        Parameters
        ----------
        x, y : array_like, mm
            Positions, broadcast together.

        Returns
        -------
        ndarray, mm
        """
        if self.floor:
            return heights(self.floor, *_together(x, y))
        cx, cy = self.centroid
        dx = np.asarray(x, float) - cx
        dy = np.asarray(y, float) - cy
        return np.asarray(self.floor_z + self.slope[0] * dx + self.slope[1] * dy)

    nominal_z = floor_at

    def slope_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """dZ/dX and dZ/dY of the nominal floor at plan positions, (..., 2).

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        x, y = _together(x, y)
        return slopes(self.floor, x, y) if self.floor else np.broadcast_to(np.array(self.slope), (*x.shape, 2))

    def steepness_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Length along Z over length along the floor's normal at plan positions: 1 / cos of the slope angle.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        slope = self.slope_at(x, y)
        return np.asarray(np.sqrt(1.0 + slope[..., 0] ** 2 + slope[..., 1] ** 2))

    def underside_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Nominal Z of the face under the web at plan positions, mm.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        x, y = _together(x, y)
        if self.is_parallel:
            return np.asarray(self.floor_at(x, y) - self._constant_web(x, y))
        return heights(self.underside, x, y) if self.underside else np.full(x.shape, self.underside_z)

    def _constant_web(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Web along Z where it is constant along Z or along the floor's normal, mm."""
        if self.web_along == "z":
            return np.full(x.shape, self.web)
        return np.asarray(self.web * self.steepness_at(x, y) / self.steepness_at(*self.centroid))

    def rough_z(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Z where the roughing programme left the floor: nominal plus ``finish_stock``, mm.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        return np.asarray(self.floor_at(x, y) + self.finish_stock)

    def nominal_web(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Nominal web thickness along Z at plan positions, mm.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        return np.asarray(self.floor_at(x, y) - self.underside_at(x, y))

    def limits_on(self, x: ArrayLike, y: ArrayLike) -> Tolerance | LocalLimits:
        """Limits at places: one pair where one holds all over, and one for each place where it does not.

        Parameters
        ----------
        x, y : (k,) array_like, mm
            Plan positions.
        """
        return LocalLimits(*self.tolerance_at(x, y)) if self.tolerances else self.tolerance

    @cached_property
    def tightest(self) -> Tolerance:
        """The narrowest of the limits that hold somewhere on the floor; of equals the first."""
        if not self.tolerances:
            return self.tolerance
        from shapely import Polygon

        free: BaseGeometry = self.polygon
        held = []
        for region, tolerance in reversed(self.tolerances):
            shape = Polygon(region)
            if free.intersection(shape).area > _NO_AREA_MM2:
                held.append(tolerance)
            free = free.difference(shape)
        held += [self.tolerance] if free.area > _NO_AREA_MM2 else []
        return min(held, key=lambda one: one.width)

    def tolerance_at(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lower and upper deviation of the web at plan positions, mm; infinite on an open side.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions.
        """
        import shapely

        x, y = _together(x, y)
        lower, upper = (np.full(x.shape, limit) for limit in self.tolerance.limits)
        for region, tolerance in self.tolerances:
            here = shapely.intersects_xy(shapely.Polygon(region), x, y)
            lower[here], upper[here] = tolerance.limits
        return lower, upper


def _together(x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both as arrays of one shape."""
    a, b = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    return a, b


@dataclass(frozen=True)
class Part:
    """A nominal part: an outline and its pocket floors, mm.

    Parameters
    ----------
    name : str
        Name on the drawing.
    outline : Ring
        Outline of the part in plan, mm.
    pockets : tuple of Pocket
        Every floor, in the part file's order.
    units : {"mm", "in"}
        Unit of the part file, used again for what is written; the numbers here are mm.
    source : str
        File that the part came from, for messages; ``""`` if none.
    """

    name: str
    outline: Ring
    pockets: tuple[Pocket, ...]
    units: Unit = "mm"
    source: str = ""

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest rectangle round the outline: x_min, y_min, x_max, y_max, mm."""
        xy = np.asarray(self.outline, float)
        low, high = xy.min(axis=0), xy.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))

    @cached_property
    def narrowest(self) -> float:
        """Smaller side of the smallest floor's bounding box, mm."""
        boxes = (pocket.polygon.bounds for pocket in self.pockets)
        return float(min(min(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes))

    def holds(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether places lie within the outline or on it.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions, alike in shape.
        """
        import shapely

        return np.asarray(shapely.intersects_xy(shapely.Polygon(self.outline), *_together(x, y)))

    def pocket(self, pocket_id: str) -> Pocket:
        """Return the pocket of that id.

        Raises
        ------
        KeyError
            If the part has no such pocket.
        """
        for pocket in self.pockets:
            if pocket.id == pocket_id:
                return pocket
        raise KeyError(pocket_id)
