"""The readings before they are judged: in the part frame, gauge applied, labels matched, the floors' Z settled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Rows
from floorfit.errors import Finding
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.display import coarse_findings
from floorfit.readings.floor_z import settle_floor_z
from floorfit.readings.ids import match_labels
from floorfit.readings.observations import Readings
from floorfit.result import Settings

if TYPE_CHECKING:
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge

__all__ = ["Prepared", "prepare"]


@dataclass(frozen=True)
class Prepared:
    """The readings that a run computes with, and what was applied to them.

    Parameters
    ----------
    readings : Readings
        To compute with, an estimated Z of the floor filled in.
    floor : (n,) ndarray of int
        Index of the floor that each lies on; −1 for none.
    shown : Readings
        Without that Z.
    gauge, frame : Gauge, Frame or None
        What was applied.
    findings : tuple of Finding
    calibration_u, moved_u : float, mm
        Standard uncertainties that all readings share: the gauge's, and the plate's movement since roughing.
    is_z_known : bool
        Whether the Z of the floors was measured or stated.
    """

    readings: Readings
    floor: Rows
    shown: Readings
    gauge: Gauge | None
    frame: Frame | None
    findings: tuple[Finding, ...]
    calibration_u: float
    moved_u: float
    is_z_known: bool


def prepare(
    part: Part,
    readings: Readings,
    settings: Settings,
    gauge: Gauge | None,
    frame: Frame | None,
    ids: Mapping[str, str] | None,
) -> Prepared:
    """Place the readings in the part, apply the gauge, match the labels and settle the Z of the floors.

    Parameters
    ----------
    part : Part
    readings : Readings
        As they came.
    settings : Settings
    gauge : Gauge or None
    frame : Frame or None
        Where the part lies in the machine, for readings in machine coordinates.
    ids : mapping of str to str or None
        Id in the part of each label in the readings.

    Raises
    ------
    InputError
        If readings cannot be meant: a gauge that does not fit, labels that disagree, Z stated and measured.
    """
    placed = readings if frame is None else _placed(frame, readings)
    gauged, calibration_u, said = (placed, 0.0, _untimed(placed)) if gauge is None else _gauged(placed, gauge)
    floor = assign_floors(part, placed.x, placed.y)
    labelled, matched = match_labels(part, gauged, ids, floor)
    known = settle_floor_z(part, labelled, settings.floor_z, settings.moved_u, settings.reading_u, floor)
    findings = (*said, *coarse_findings(readings, settings.reading_u), *matched, *known.findings)
    return Prepared(
        known.readings, floor, labelled, gauge, frame, findings, calibration_u, known.common_u, known.is_known
    )


def _placed(frame: Frame, readings: Readings) -> Readings:
    from floorfit.readings.datum import readings_to_part

    return readings_to_part(frame, readings)


def _gauged(placed: Readings, gauge: Gauge) -> tuple[Readings, float, tuple[Finding, ...]]:
    from floorfit.readings.gauge_applied import apply_gauge

    applied = apply_gauge(gauge, placed)
    shown = tuple("" if not np.isfinite(t) else f"{t:.4f}" for t in placed.thickness.tolist())
    extra = {**placed.extra, "as_read_mm": shown} if gauge.kind != "tof" else placed.extra
    known = applied.u_common[np.isfinite(applied.u_common)]
    common = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
    return replace(placed, thickness=applied.thickness, extra=extra), common, applied.findings


def _untimed(readings: Readings) -> tuple[Finding, ...]:
    timed = int((np.isfinite(readings.tof) & ~np.isfinite(readings.thickness)).sum())
    if not timed:
        return ()
    text = f"{timed} rows hold a time of flight and no thickness: give --gauge, or they count as blank."
    return (Finding("no-gauge", readings.source, "column tof_us", text, "warning"),)
