"""The Z of the roughed floor at each reading: measured, estimated from those that were, stated, or not known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array, Flags, Rows, read_only
from floorfit.errors import Finding, InputError
from floorfit.identity import stated_height
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.observations import Readings
from floorfit.readings.rough_warp import fit_rough_warp
from floorfit.readings.warp import nominal_levels

__all__ = ["UNKNOWN_Z", "FloorZ", "settle_floor_z"]

#: Measured Z from which the others are estimated: the least for a spread.
FEWEST = 6
#: Stock that is seen in a Z or a web, mm, and a height of the whole underside that is told, mm: above what readings
#: scatter by. Own choice.
STOCK_SEEN, COMMON_MM = 0.2, 0.15
#: Height of the underside where it is nearest to the drawing's, as a share of how far the plate is bent, from which it
#: is told, and the readings at either end that are passed over. A plate touches its table somewhere. Own choice.
ALIKE, ENDS = 0.5, 0.05
#: How far a stated height may lie beyond the lowest and highest of the underside, as a share of their distance, where
#: two standard uncertainties of a reading are less: the readings end before the plate does. Own choice.
BEYOND = 0.25
#: Spread of measured Z about the programme, mm, below which they are the programme's, rounded.
ROUNDED_MM = 0.0008
#: Such Z that are told, and how far the undersides below them spread, mm: a flat plate has not moved. Own choice.
MANY, BENT_MM = 12, 0.1
#: Thicknesses that scatter on their floors by less than this share of their uncertainty, and Z by so many times as much
#: as these, look like each other's column, with so many degrees of freedom. Own choice.
TOO_EVEN, TIMES, FREEDOM = 0.35, 2.0, 20
#: Why a floor is held whose Z nobody knows, and what frees it.
UNKNOWN_Z = (
    "no Z of the roughed floors was measured; measure it where the web is read (column z_mm), or "
    "state --floor-z as-programmed with --moved-u, the standard uncertainty of the plate's movement since roughing"
)


@dataclass(frozen=True)
class FloorZ:
    """Readings to compute with, and what is not known of their floors' Z.

    Parameters
    ----------
    readings : Readings
        Where Z was estimated it is filled in, and its spread is in ``u``.
    common_u : float, mm
        Standard uncertainty of Z that all readings share: the plate's movement where Z was stated.
    is_known : bool
        False where neither measured nor stated: every floor is held.
    findings : tuple of Finding
    """

    readings: Readings
    common_u: float
    is_known: bool
    findings: tuple[Finding, ...] = ()


def settle_floor_z(
    part: Part, readings: Readings, floor_z: str, moved_u: float | None, u_mm: float, floor: Rows | None = None
) -> FloorZ:
    """Settle what is known of the roughed floors' Z.

    Parameters
    ----------
    part : Part
    readings : Readings
        In the part frame.
    floor_z : {"measured", "as-programmed"}
        What is stated of rows without a measured Z.
    moved_u : float or None, mm
        Standard uncertainty of the plate's movement since roughing; goes with ``"as-programmed"``.
    u_mm : float, mm
        Standard uncertainty of a thickness whose row states none.
    floor : (n,) ndarray of int, optional
        Of each reading, where that is known already: `assign_floors`.

    Returns
    -------
    FloorZ

    Raises
    ------
    InputError
        If ``floor_z`` is neither, or one of the two statements comes without the other; if all Z are the thicknesses.

    Notes
    -----
    Where some rows have a Z and some have not, measured less programmed Z is smoothed over the part (a robust
    polynomial and the median of the nearest), and the spread of the measured about it is what the estimated ones carry.
    """
    _check(floor_z, moved_u)
    floor = assign_floors(part, readings.x, readings.y) if floor is None else floor
    rough, under = nominal_levels(part, readings.x, readings.y, floor)
    wanted = (floor >= 0) & (np.isfinite(readings.thickness) | np.isfinite(readings.tof))
    measured, missing = wanted & np.isfinite(readings.z), wanted & ~np.isfinite(readings.z)
    both = measured & np.isfinite(readings.thickness)
    off, warp = (readings.z - rough)[both], (readings.z - readings.thickness - under)[both]
    _refuse_repeated(readings, both, off)
    doubts = (*_doubts(part, readings, floor, both, off, warp, u_mm), *_programmed(readings, off, warp))
    if not missing.any():
        return FloorZ(readings, 0.0, True, doubts)
    if measured.sum() >= FEWEST:
        known, told = _estimated(readings, rough, measured, missing, u_mm)
        return FloorZ(known, 0.0, True, (told, *doubts))
    if floor_z == "as-programmed" and moved_u is not None:
        return FloorZ(readings, moved_u, True, doubts)
    return FloorZ(readings, 0.0, False, doubts)


def _refuse_repeated(readings: Readings, rows: Flags, off: Array) -> None:
    """Refuse a file whose Z are its thicknesses over again: every underside would be level with the datum."""
    is_same = len(off) >= FEWEST and np.array_equal(readings.z[rows], readings.thickness[rows])
    if is_same and float(np.std(off)) > ROUNDED_MM:
        text = (
            f"Z of the floor and thickness are the same number in all {len(off)} readings, and differ from place to "
            "place. One column repeats the other: the warp would come out as nothing. Give the Z that the machine "
            "measured."
        )
        raise InputError([Finding("z-repeats-thickness", readings.source, "", text)])


def _doubts(
    part: Part, readings: Readings, floor: Rows, rows: Flags, off: Array, warp: Array, u_mm: float
) -> tuple[Finding, ...]:
    """Say where all measured Z stand off alike: at the finished floor, or by a height that no bent plate has.

    And where Z and thickness may stand in each other's column.
    """
    if len(off) < FEWEST:
        return _unchecked(readings)
    stock = np.array([part.pockets[k].finish_stock for k in floor[rows]])
    least = float(stock.min())
    if least > STOCK_SEEN and _is_alike(off + stock, 0.1 * least) and _is_alike(warp + stock, 0.3 * least):
        text = (
            "the measured Z are those of the finished floors, and the webs still have their stock. Was the Z taken "
            "from the drawing or the programme? Measure it on the roughed floor, where the web is read."
        )
        return (Finding("z-finished", readings.source, "", text, "warning"),)
    u = float(np.median(np.where(np.isfinite(readings.u[rows]), readings.u[rows], u_mm)))
    scatter = _scatter(readings.x[rows], readings.y[rows], floor[rows], np.column_stack([off - warp, off]))
    if scatter is not None and ROUNDED_MM < scatter[0] < min(TOO_EVEN * u, scatter[1] / TIMES):
        text = (
            f"thicknesses scatter on their floors by {scatter[0]:.4f} mm, less than a gauge with the stated "
            f"uncertainty of {u:.3f} does, and the measured Z by {scatter[1]:.4f}. Do the two stand in each other's "
            "column? Every offset would have the wrong sign. Check one pocket by hand, or state the gauge's "
            "--reading-u."
        )
        return (Finding("z-thickness-exchanged", readings.source, "", text, "warning"),)
    return _height(readings, warp, u)


def _unchecked(readings: Readings) -> tuple[Finding, ...]:
    """Say that a stated height was looked at by nobody."""
    stated = stated_height(readings.identity, readings.source)
    if stated is None:
        return ()
    text = (
        f"the plate is stated to stand {stated:+.3f} mm off its datum (stands_off), and nothing shows it: fewer than "
        f"{FEWEST} readings have a thickness and a measured Z. It changes no offset. Measure Z where the web is read."
    )
    return (Finding("stands-off-unchecked", readings.source, "", text, "warning"),)


def _height(readings: Readings, warp: Array, u: float) -> tuple[Finding, ...]:
    """Say where the whole plate stands off its datum, and whether that is what was stated of it."""
    low, high = (float(end) for end in np.quantile(warp, [ENDS, 1 - ENDS]))
    middle, stated = float(np.median(warp)), stated_height(readings.identity, readings.source)
    if stated is None:
        if max(low, -high) <= max(COMMON_MM, ALIKE * (high - low)):
            return ()
        text = (
            f"the whole underside stands {middle:+.3f} mm from where the drawing has it, and comes nowhere near it. "
            "That is more often the datum of Z than the plate. Check it on one pocket by hand. Of a plate that is on "
            "shims, or lower than its datum, state the height that was measured: # stands_off: +… mm."
        )
    elif max(low - stated, stated - high) > max(2 * u, BEYOND * (high - low)):
        text = (
            f"the plate is stated to stand {stated:+.3f} mm off its datum (stands_off), and the readings show its "
            f"underside at {middle:+.3f} mm, from {low:+.3f} to {high:+.3f}. One of the two is wrong, and every offset "
            "hangs on it. Check it on one pocket by hand."
        )
    else:
        text = (
            f"the plate is stated to stand {stated:+.3f} mm off its datum (stands_off), and the readings agree: its "
            f"underside is at {middle:+.3f} mm, from {low:+.3f} to {high:+.3f}."
        )
        return (Finding("stands-off", readings.source, "", text, "note"),)
    return (Finding("common-height", readings.source, "", text, "warning"),)


def _programmed(readings: Readings, off: Array, warp: Array) -> tuple[Finding, ...]:
    """Say where the Z of the roughed floors are the programme's to the last digit, and the plate is bent."""
    if len(off) < MANY:
        return ()
    low, high = np.quantile(warp, [ENDS, 1 - ENDS])
    if float(np.abs(off).max()) > ROUNDED_MM or high - low < BENT_MM:
        return ()
    text = (
        f"all {len(off)} Z of the floors are the programme's to the last digit, under a plate that is bent by "
        f"{high - low:.3f} mm. Were they measured? If not, every offset is off by how far the plate moved since "
        "roughing, and nothing shows it: measure them, or leave z_mm out and state --floor-z as-programmed with "
        "--moved-u."
    )
    return (Finding("z-programmed", readings.source, "", text, "warning"),)


def _scatter(x: Array, y: Array, floor: Rows, values: Array) -> Array | None:
    """Standard deviation of each column about a plane on each floor; None with few degrees of freedom."""
    squares, freedom = np.zeros(values.shape[1]), 0
    for one in np.unique(floor):
        here = floor == one
        if here.sum() > 3:
            plane = np.column_stack([np.ones(here.sum()), x[here], y[here]])
            squares += np.sum((values[here] - plane @ np.linalg.lstsq(plane, values[here], rcond=None)[0]) ** 2, axis=0)
            freedom += int(here.sum()) - 3
    return np.sqrt(squares / freedom) if freedom >= FREEDOM else None


def _is_alike(values: Array, within: float) -> bool:
    """Whether most values are 0 within a length."""
    return abs(float(np.median(values))) < within and float(np.median(np.abs(values))) < within


def _check(floor_z: str, moved_u: float | None) -> None:
    if floor_z not in ("measured", "as-programmed"):
        raise InputError(f"--floor-z: {floor_z!r} came, measured or as-programmed was expected.")
    if floor_z == "as-programmed" and moved_u is None:
        raise InputError(
            "--floor-z as-programmed needs --moved-u: the standard uncertainty, mm, of the plate's movement since "
            "roughing. There is no default: a plate that was unclamped may move by a millimetre."
        )
    if floor_z == "measured" and moved_u is not None:
        raise InputError("--moved-u goes with --floor-z as-programmed. Give both, or neither.")


def _estimated(
    readings: Readings, rough: Array, measured: Flags, missing: Flags, u_mm: float
) -> tuple[Readings, Finding]:
    moved = fit_rough_warp(readings.x[measured], readings.y[measured], (readings.z - rough)[measured])
    about = moved.local(readings.x[measured], readings.y[measured])
    spread = max(float(np.std((readings.z - rough)[measured] - about)), moved.scale)
    z, u = readings.z.copy(), np.where(np.isfinite(readings.u), readings.u, u_mm)
    z[missing] = rough[missing] + moved.local(readings.x[missing], readings.y[missing])
    u[missing] = np.hypot(u[missing], spread)
    read_only(z, u)
    text = (
        f"{int(missing.sum())} of {int((missing | measured).sum())} readings have no Z of the floor: it was estimated "
        f"from the others, with their spread of {spread:.3f} mm. Measure it at every reading."
    )
    return replace(readings, z=z, u=u), Finding("z-estimated", readings.source, "", text, "warning")
