"""Readings of finished webs: which can be used, and what each says of the web along Z."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding
from floorfit.part.model import LocalLimits, Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.misplaced import whole_file_findings
from floorfit.readings.observations import Readings
from floorfit.readings.screening import screen
from floorfit.units import MAD_TO_SD
from floorfit.verify.predicted import Prediction

__all__ = ["Taken", "set_lonely_aside", "take"]

#: Kinds of fault that are of the place or the row, not of the thickness. A finished web that reads wrong may *be*
#: wrong: what its thickness says is not set aside by what was expected.
OF_THE_PLACE = (
    "blank",
    "doubled-row",
    "wrong-label",
    "off-floor",
    "on-fillet",
    "near-wall",
    "swapped",
    "inch",
    "lost-place",
)

#: A reading is set aside when it lies this many robust deviations from the median of four or more on its floor. Of
#: good Gaussian readings 7 in a million do (normal distribution).
LONELY = 4.5


@dataclass(frozen=True)
class Taken:
    """Readings of finished webs, n rows.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    floor : (n,) ndarray of int
        −1 for none.
    is_used : (n,) ndarray of bool
    reason : (n,) ndarray of str
    deviation : (n,) ndarray, mm
        Web along Z less local nominal; NaN where there is none.
    predicted : (n,) ndarray, mm
        As `Prediction.deviation`; NaN off the floors.
    predicted_u, u : (n,) ndarray, mm
    is_doubted : (n,) ndarray of bool
        Set aside for its thickness: the place is in order.
    limits : LocalLimits
        Of the web at the places, as deviations; NaN off the floors.
    findings : tuple of Finding
    """

    points: Array
    floor: Rows
    is_used: Flags
    reason: NDArray[np.object_]
    deviation: Array
    predicted: Array
    predicted_u: Array
    u: Array
    is_doubted: Flags
    limits: LocalLimits
    findings: tuple[Finding, ...]

    @property
    def gap(self) -> Array:
        """Measured less predicted, (n,) mm."""
        return self.deviation - self.predicted

    @cached_property
    def rows_of(self) -> dict[int, Rows]:
        """Rows of the used readings by floor, of every floor that has one."""
        used = np.flatnonzero(self.is_used)
        return {k: used[self.floor[used] == k] for k in np.unique(self.floor[used]).tolist()}

    def limits_of(self, rows: Rows) -> LocalLimits:
        """Limits at some of the places."""
        return LocalLimits(self.limits.lower[rows], self.limits.upper[rows])


def take(prediction: Prediction, readings: Readings) -> Taken:
    """Place the readings and work out deviation and prediction.

    Parameters
    ----------
    prediction : Prediction
    readings : Readings
        Thickness of finished webs, along the floor's normal; a measured Z is not needed and not used.
    """
    part, settings = prediction.part, prediction.record.settings
    finished = _finished(part)
    plain = replace(readings, z=np.full(len(readings), np.nan))
    seen = screen(
        finished,
        plain,
        probe_radius_mm=float(settings.get("probe_radius", 3.0)),
        wall_clearance_mm=float(settings.get("wall_clearance", 0.0)),
        u_mm=float(settings.get("reading_u", 0.010)),
    )
    floor = seen.floor
    deviation, predicted, lower, upper = (np.full(len(readings), np.nan) for _ in range(4))
    points, reason = np.column_stack([readings.x, readings.y]), seen.reason.copy()
    for index in np.unique(floor[floor >= 0]).tolist():
        rows, pocket = floor == index, part.pockets[index]
        at = points[rows].T
        deviation[rows] = readings.thickness[rows] * seen.factor[rows] - pocket.nominal_web(*at)
        predicted[rows] = prediction.deviation(index, *at)
        lower[rows], upper[rows] = pocket.tolerance_at(*at)
    is_of_place = np.isin(seen.code, OF_THE_PLACE)
    is_used = np.isfinite(deviation) & ~is_of_place & (readings.thickness > 0)
    reason[is_used] = ""
    return Taken(
        points, floor, is_used, reason, deviation, predicted, prediction.deviation_u(*points.T), seen.u,
        np.zeros(len(readings), bool), LocalLimits(lower, upper), whole_file_findings(finished, seen),
    )  # fmt: skip


def set_lonely_aside(taken: Taken, thickness: Array) -> Taken:
    """Set aside the readings that the others of their floor contradict.

    Parameters
    ----------
    taken : Taken
    thickness : (n,) ndarray, mm
    """
    used, reason, doubted = taken.is_used.copy(), taken.reason.copy(), taken.is_doubted.copy()
    for rows in taken.rows_of.values():
        off = taken.gap[rows] - np.median(taken.gap[rows])
        scale = np.maximum(MAD_TO_SD * float(np.median(np.abs(off))), taken.u[rows])
        for row in rows[(np.abs(off) > LONELY * scale) & (len(rows) >= 4)]:
            should = float(thickness[row] - (taken.gap[row] - np.median(taken.gap[rows])))
            reason[row] = reason_of("outlier", thickness=float(thickness[row]), expected=should)
            used[row], doubted[row] = False, True
    return replace(taken, is_used=used, reason=reason, is_doubted=doubted)


def _finished(part: Part) -> Part:
    """The part as it is when finished: no stock left on any floor."""
    return replace(part, pockets=tuple(replace(pocket, finish_stock=0.0) for pocket in part.pockets))
