"""What a reading says of the underside: warp w = z − t − underside Z, with its standard uncertainty.

A gauge on a sloped floor is held along the floor's normal; its reading is turned to along-Z first (contract).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.part.model import Part, Pocket
from floorfit.readings.observations import Observations, Readings
from floorfit.readings.sites import find_sites

__all__ = ["nominal_levels", "observe", "slope_factors", "warp_said"]

#: Standard uncertainty of a thickness whose file states none, mm. A display step of 0.01 mm alone gives
#: 0.01/√12 = 0.0029; couplant and pressure bring it to about this (common practice, no source).
DEFAULT_U_MM = 0.010

#: Standard uncertainty of a measured floor Z, mm: a touch probe on a machine (common practice, no source).
DEFAULT_Z_U_MM = 0.005


def slope_factors(part: Part, floor: ArrayLike, x: ArrayLike, y: ArrayLike) -> Array:
    """Thickness along Z over that along the floor's normal at each reading; NaN where the index is −1.

    ``√(1 + p² + q²)`` of the slopes p, q: the normal's angle α to Z has cos α = 1/√(1 + p² + q²).

    Parameters
    ----------
    part : Part
    floor : (n,) array_like of int
    x, y : (n,) array_like, mm
        Places of the readings; a curved floor has another slope at each.
    """
    index = np.asarray(floor, np.intp)
    out = np.array([*(pocket.steepness_at(*pocket.centroid) for pocket in part.pockets), np.nan])[index]
    for number, rows in _shaped(part, index):
        out[rows] = part.pockets[number].steepness_at(np.asarray(x, float)[rows], np.asarray(y, float)[rows])
    return out


def _shaped(part: Part, floor: Rows) -> list[tuple[int, Rows]]:
    """Rows on each floor that is not one plane over one level underside."""
    numbers = [k for k, pocket in enumerate(part.pockets) if not pocket.is_plain]
    return [(k, rows) for k in numbers if len(rows := np.flatnonzero(floor == k))]


def observe(
    part: Part,
    readings: Readings,
    floor: Rows | None = None,
    *,
    u_mm: float = DEFAULT_U_MM,
    z_u_mm: float = DEFAULT_Z_U_MM,
) -> Observations:
    """Return where each reading stands and what it says of the underside; nothing is set aside yet.

    Parameters
    ----------
    part : Part
        Nominal part.
    readings : Readings
        Thickness as read, along the floor's normal.
    floor : (n,) ndarray of int, optional
        Of each reading, where that is known already.
    u_mm : float, mm
        Standard uncertainty of a thickness where the file states none.
    z_u_mm : float, mm
        Standard uncertainty of a measured Z; an unmeasured one counts as exact here, since a floor cut at
        another height shows as warp and is cut away with the offset all the same.

    Returns
    -------
    Observations
    """
    floor, label, wall, is_corner = find_sites(part, readings, floor)
    factor = slope_factors(part, floor, readings.x, readings.y)
    rough, underside = nominal_levels(part, readings.x, readings.y, floor)
    measured = np.isfinite(readings.z) & (floor >= 0)
    z = np.where(measured, readings.z, rough)
    u = np.where(np.isfinite(readings.u), readings.u, u_mm) * factor
    nothing = np.full(len(readings), np.nan)
    return Observations(
        readings,
        floor,
        label,
        wall,
        is_corner,
        factor,
        rough_z=rough,
        z=z,
        is_z_measured=measured,
        warp=z - readings.thickness * factor - underside,
        u=np.hypot(u, np.where(measured, z_u_mm, 0.0)),
        reason=np.full(len(readings), "", object),
        site=np.full(len(readings), -1, np.intp),
        weight=nothing,
        residual=nothing,
        loo=nothing,
    )


def warp_said(part: Part, floor: Rows, x: Array, y: Array, z: Array, thickness: Array) -> Array:
    """Warp that thicknesses say at places that they may have been read at, (n,) mm; NaN off the floors.

    Parameters
    ----------
    part : Part
    floor : (n,) ndarray of int
        Index of each place's floor; −1 for none.
    x, y : (n,) ndarray, mm
        Places.
    z : (n,) ndarray, mm
        Of the roughed floor; NaN where it lies as programmed.
    thickness : (n,) ndarray, mm
        Along the floor's normal.
    """
    rough, underside = nominal_levels(part, x, y, floor)
    along = thickness * slope_factors(part, floor, x, y)
    return np.asarray(np.where(np.isfinite(z), z, rough) - along - underside)


def nominal_levels(part: Part, x: Array, y: Array, floor: Rows) -> tuple[Array, Array]:
    """Return rough floor Z and nominal underside Z at places on known floors, mm; NaN off the floors.

    Parameters
    ----------
    part : Part
        Nominal part.
    x, y : (n,) ndarray, mm
        Places.
    floor : (n,) ndarray of int
        Index of each place's floor; −1 for none.
    """
    cx, cy, z0, p, q, underside = _planes(part.pockets)[floor].T
    rough = z0 + p * (x - cx) + q * (y - cy)
    for number, rows in _shaped(part, floor):
        pocket = part.pockets[number]
        rough[rows] = pocket.rough_z(x[rows], y[rows])
        underside[rows] = pocket.underside_at(x[rows], y[rows])
    return rough, underside


def _planes(pockets: tuple[Pocket, ...]) -> Array:
    rows = [
        (*pocket.centroid, pocket.floor_z + pocket.finish_stock, *pocket.slope, pocket.underside_z)
        for pocket in pockets
    ]
    return np.array([*rows, (np.nan,) * 6], float)
