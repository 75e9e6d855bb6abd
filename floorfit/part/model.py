"""The nominal part: what the drawing says, in millimetres and in the part frame.

Frame: X and Y in the plane of the plate, Z up out of the pockets towards the spindle, right-handed.
Nothing here knows files or readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.units import Unit

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["Part", "Pocket", "Ring", "Tolerance"]

#: A closed polygon as its vertices, mm; the last vertex is joined to the first and not repeated.
Ring = tuple[tuple[float, float], ...]


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
    def width(self) -> float:
        """Distance between the limits, mm; infinite where one side is open."""
        if self.lower is None or self.upper is None:
            return float("inf")
        return self.upper - self.lower


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

    @cached_property
    def polygon(self) -> Polygon:
        """The floor as a shapely polygon with the islands as holes, mm."""
        from shapely import Polygon

        return Polygon(self.boundary, self.islands)

    @cached_property
    def centroid(self) -> tuple[float, float]:
        """Centroid of the boundary polygon (islands not taken out), mm; may lie outside a U-shape."""
        from shapely import Polygon

        point = Polygon(self.boundary).centroid
        return (point.x, point.y)

    def nominal_z(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Nominal floor Z at plan positions, mm.

        Parameters
        ----------
        x, y : array_like, mm
            Positions, broadcast together.

        Returns
        -------
        ndarray, mm
        """
        cx, cy = self.centroid
        dx = np.asarray(x, float) - cx
        dy = np.asarray(y, float) - cy
        return np.asarray(self.floor_z + self.slope[0] * dx + self.slope[1] * dy)

    def rough_z(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Z where the roughing programme left the floor: nominal plus ``finish_stock``, mm."""
        return np.asarray(self.nominal_z(x, y) + self.finish_stock)

    def nominal_web(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Nominal web thickness at plan positions, mm."""
        return np.asarray(self.nominal_z(x, y) - self.underside_z)


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
