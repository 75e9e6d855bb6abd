"""Screening before the fit: which readings are used, and why the others are set aside. Nothing is repaired.

Tests that need only the row come first (blank, place, label, doubled row), then those that need an idea of the
warp (`expected`). They are generous: a fine error is left to the fit, which sees more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.one_thread import one_thread
from floorfit.part.model import Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.misplaced import is_lost, name_misplaced
from floorfit.readings.observations import Observations, Readings
from floorfit.readings.ratios import name_thickness, refuse_other_unit
from floorfit.readings.repeats import disagreeing, doubled_rows, group_sites
from floorfit.readings.rough_warp import RoughWarp, fit_rough_warp
from floorfit.readings.warp import DEFAULT_U_MM, DEFAULT_Z_U_MM, observe

__all__ = ["screen"]

Codes = NDArray[np.object_]

#: Radius of the probe's foot, mm: its middle cannot come nearer to a wall. A thin contact probe (common
#: practice, no source).
PROBE_RADIUS_MM = 3.0

#: Readings nearer than this are repeats of one place, mm.
SAME_PLACE_MM = 0.05

#: No warp is larger than this share of the part's diagonal, nor this many millimetres where that is less:
#: a bulkhead that bowed by 1/30 of its length counts as an outer bound (reference values R4).
LARGEST_WARP_SHARE = 1.0 / 30.0
LARGEST_WARP_MM = 5.0
#: A floor may have been roughed this much off its Z besides the warp, mm (common practice, no source).
Z_ROOM_MM = 1.0


def screen(
    part: Part,
    readings: Readings,
    *,
    floor: Rows | None = None,
    probe_radius_mm: float = PROBE_RADIUS_MM,
    wall_clearance_mm: float = 0.0,
    u_mm: float = DEFAULT_U_MM,
    z_u_mm: float = DEFAULT_Z_U_MM,
) -> Observations:
    """Screen readings before the fit.

    Parameters
    ----------
    part : Part
        Nominal part.
    readings : Readings
        In the part frame.
    floor : (n,) ndarray of int, optional
        Of each reading, where that is known already: `assign_floors`.
    probe_radius_mm : float, mm
        A place nearer to a wall than this, plus ``wall_clearance_mm``, is set aside.
    wall_clearance_mm : float, mm
        Further distance to keep.
    u_mm : float, mm
        Standard uncertainty of a reading whose row states none.
    z_u_mm : float, mm
        Standard uncertainty of a measured Z.

    Returns
    -------
    Observations
        With reasons and sites. Cost is about n log n.

    Raises
    ------
    InputError
        If the whole file is in another unit than it says.
    """
    work = _Work(part, observe(part, readings, floor, u_mm=u_mm, z_u_mm=z_u_mm))
    refuse_other_unit(work.seen)
    work.blanks()
    work.inconsistent()
    work.walls(probe_radius_mm + wall_clearance_mm)
    group = group_sites(readings.x, readings.y, SAME_PLACE_MM)
    work.doubles(group)
    work.impossible()
    # Two threads that contend for the small products of the rough fit take several times as long as one.
    with one_thread():
        rough = work.thicknesses()
    work.misplaced(rough)
    work.repeats(group, rough)
    work.lost()
    return work.result(group)


class _Work:
    """The codes as they grow; a row keeps the first code that it gets."""

    def __init__(self, part: Part, seen: Observations) -> None:
        self.part, self.seen, self.readings, self.read = part, seen, seen.readings, seen.readings.thickness
        self.code: Codes = np.full(len(seen), "", object)
        self.reason: Codes = np.full(len(seen), "", object)
        self.is_consistent = seen.is_consistent

    @property
    def is_open(self) -> Flags:
        """Rows without a code."""
        return np.asarray(self.code == "")

    def mark(self, row: int, code: str, reason: str) -> None:
        """Set a row aside unless it is already."""
        if self.code[row] == "":
            self.code[row], self.reason[row] = code, reason

    def set_aside(self, which: Flags, code: str, **values: ArrayLike) -> None:
        """Set rows aside that are not already; its words take the row's own values, or one for all."""
        own = {name: np.broadcast_to(column, which.shape) for name, column in values.items()}
        for row in np.flatnonzero(which & self.is_open).tolist():
            self.mark(row, code, reason_of(code, **{name: column[row].item() for name, column in own.items()}))

    def blanks(self) -> None:
        """Set aside readings without a thickness, or of zero."""
        self.set_aside(~np.isfinite(self.read), "blank", thickness="blank")
        self.set_aside(self.read == 0.0, "blank", thickness="0")

    def inconsistent(self) -> None:
        """Keep out of the rough warp what does not lie where its label says; `misplaced` names it later."""
        self.code[self.is_open & ~self.is_consistent] = "pending"

    def walls(self, needed: float) -> None:
        """Set aside places in a corner or too near a wall."""
        self.set_aside(self.seen.is_corner, "on-fillet")
        self.set_aside(self.seen.wall < needed - 1e-9, "near-wall", distance=self.seen.wall, needed=float(needed))

    def doubles(self, group: Rows) -> None:
        """Set aside rows that repeat an earlier one."""
        r = self.readings
        earlier = doubled_rows(group, [r.x, r.y, self.read, r.z, r.pocket, r.temperature])
        self.set_aside(earlier >= 0, "doubled-row", line=r.line[earlier])

    def impossible(self) -> None:
        """Set aside what no warp of this part could explain, row by row on its own."""
        low, high = self.part.bounds[:2], self.part.bounds[2:]
        most = max(LARGEST_WARP_MM, LARGEST_WARP_SHARE * float(np.hypot(high[0] - low[0], high[1] - low[1])))
        self._set_z_aside(self._is_z_absurd(most))
        self.code[self.is_open & ((self.read < 0.0) | (self.seen.warp < -most))] = "pending"

    def thicknesses(self) -> RoughWarp:
        """Name gross errors of thickness against the rough warp, twice; return the warp without them."""
        rough = self._rough()
        for is_local in (False, True):
            if self._name(np.flatnonzero(self.is_open), rough, is_local):
                rough = self._rough()
        impossible = (self.code == "pending") & self.is_consistent
        self.code[impossible] = ""
        self._name(np.flatnonzero(impossible), rough, True)
        nominal = self.seen.warp + self.read * self.seen.factor
        self.set_aside(impossible, "beyond-web", thickness=self.read, expected=nominal)
        return rough

    def _rough(self) -> RoughWarp:
        rows = np.flatnonzero(self.is_open & np.isfinite(self.seen.warp))
        return fit_rough_warp(self.readings.x[rows], self.readings.y[rows], self.seen.warp[rows])

    def _name(self, rows: Rows, rough: RoughWarp, is_local: bool) -> int:
        """Set aside what is grossly wrong among the rows; return how many were found."""
        x, y = self.readings.x[rows], self.readings.y[rows]
        expected = rough.local(x, y) if is_local else rough.trend(x, y)
        found = name_thickness(self.read[rows], self._thickness_for(rows, expected), rough.scale, is_certain=is_local)
        room, is_named = np.full(len(self.read), np.inf), np.array([bool(code) for code, _ in found], bool)
        room[rows[is_named]] = np.abs(expected[is_named]) + 8.0 * rough.scale
        self._set_z_aside(self._is_z_absurd(room))
        for k in np.flatnonzero(is_named).tolist():
            self.mark(int(rows[k]), *found[k])
        return int(is_named.sum())

    def _is_z_absurd(self, room: ArrayLike) -> Flags:
        """Whether a measured Z lies farther from the roughed floor than the warp there could have moved it."""
        return np.asarray(np.abs(self.readings.z - self.seen.rough_z) > np.asarray(room) + Z_ROOM_MM)

    def _set_z_aside(self, which: Flags) -> None:
        self.set_aside(which, "beyond-floor", z=self.readings.z, expected=self.seen.rough_z)

    def _thickness_for(self, rows: Rows, w: Array) -> Array:
        """Thickness along the normal that a warp would give, mm."""
        return np.asarray(self.read[rows] + (self.seen.warp[rows] - w) / self.seen.factor[rows])

    def misplaced(self, rough: RoughWarp) -> None:
        """Name the rows that do not lie where their label says, or on no floor."""
        rows = np.flatnonzero(self.code == "pending").tolist()
        self.code[rows] = ""
        for row, (code, reason) in zip(rows, name_misplaced(self.part, self.seen, rows, rough), strict=True):
            self.mark(row, code, reason)

    def repeats(self, group: Rows, rough: RoughWarp) -> None:
        """Set aside readings that disagree with the repeats of their place."""
        is_repeated = np.bincount(group[self.is_open], minlength=len(group)) > 1
        rows = np.flatnonzero(self.is_open & is_repeated[group])
        expected = rough.local(self.readings.x[rows], self.readings.y[rows])
        should = disagreeing(group[rows], self.seen.warp[rows], expected, self.seen.u[rows])
        right = np.full(len(self.read), np.nan)
        right[rows] = self._thickness_for(rows, should)
        self.set_aside(np.isfinite(right), "repeats-disagree", thickness=self.read, expected=right)

    def lost(self) -> None:
        """Set aside what lies on a floor by luck, where most rows do not lie on theirs."""
        if is_lost(self.seen):
            self.reason[self.is_open], self.code[self.is_open] = reason_of("lost-place"), "lost-place"

    def result(self, group: Rows) -> Observations:
        """Freeze what was found."""
        used = self.is_open
        rows = np.flatnonzero(used)
        first = np.full(len(used), len(used), np.intp)
        np.minimum.at(first, group[rows], rows)
        site = np.where(used, first[group] if len(group) else group, -1)
        return replace(self.seen, reason=self.reason, site=np.asarray(site, np.intp))
