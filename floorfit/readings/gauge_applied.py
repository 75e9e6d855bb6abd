"""A calibrated gauge applied to readings: thickness, what all readings share, and whether the gauge is known there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, read_only
from floorfit.errors import Finding, InputError
from floorfit.identity import days_between, gauge_overdue, same_fact
from floorfit.readings.gauge import Gauge
from floorfit.readings.observations import Readings
from floorfit.readings.step_blocks import ROUNDING_MM

__all__ = ["Applied", "apply_gauge"]

#: A reading is far from the blocks beyond this share of their thinnest or thickest, and the gauge is not known where
#: more than so many are (our choice, no source).
FAR, FAR_SHARE = 0.25, 0.5
#: A calibration that is older than this is told, days (our choice, no source).
OLD_DAYS = 31


@dataclass(frozen=True)
class Applied:
    """Readings after the gauge was applied.

    Parameters
    ----------
    thickness : (n,) ndarray, mm
        NaN where there was nothing to apply it to; along the floor's normal, as read.
    u_common : (n,) ndarray, mm
        Standard uncertainty that does not average out over readings.
    findings : tuple of Finding
        Warnings: readings outside the blocks' range.
    """

    thickness: Array
    u_common: Array
    findings: tuple[Finding, ...]


def apply_gauge(gauge: Gauge, readings: Readings) -> Applied:
    """Turn readings into thickness by a calibrated gauge.

    Parameters
    ----------
    gauge : Gauge
        Of kind ``tof`` it takes ``readings.tof``, else ``readings.thickness``.
    readings : Readings
        As read. Blank rows stay blank.

    Returns
    -------
    Applied

    Raises
    ------
    InputError
        If no row has what the gauge needs, or the readings were taken with another gauge.
    """
    told = [*_other_gauge(gauge, readings), *gauge.findings]
    raw = readings.tof / 2.0 if gauge.kind == "tof" else readings.thickness
    if len(readings) and not np.isfinite(raw).any():
        column = "tof_us" if gauge.kind == "tof" else "thickness_mm (or thickness_in)"
        text = f"the gauge is calibrated for {column}, and no row has one. Name the right gauge file."
        raise InputError([Finding("wrong-gauge", readings.source, "", text)])
    # A blank cannot be told from zero by scaling: keep 0 and negative values as they came, for the screening.
    thickness = np.where(raw > 0, gauge.thickness(raw, readings.temperature), raw)
    u = np.where(raw > 0, gauge.common_u(raw, readings.temperature), np.nan)
    read_only(thickness, u)
    return Applied(thickness, u, (*told, *_outside(gauge, thickness, readings)))


def _other_gauge(gauge: Gauge, readings: Readings) -> list[Finding]:
    """Refuse another gauge's calibration; warn of one that is overdue or old. What is not stated is not compared."""
    own, theirs = gauge.identity, readings.identity
    if not same_fact(own.get("gauge", ""), theirs.get("gauge", "")):
        text = (
            f'gauge "{theirs["gauge"][:60]}" was read with, the calibration is of "{own["gauge"][:60]}". Give the '
            "gauge file of the probe that was used."
        )
        raise InputError([Finding("other-gauge", readings.source, "", text)])
    due = {"gauge_due": own["gauge_due"]} if "gauge_due" in own else {}
    out = [] if "gauge_due" in theirs else gauge_overdue({**theirs, **due}, readings.source)
    days = days_between(own.get("read_at", ""), theirs.get("read_at", ""))
    if days is not None and abs(days) > OLD_DAYS:
        when = "before" if days > 0 else "after"
        text = f"the gauge was calibrated {abs(days)} days {when} the readings. Read the blocks again."
        out.append(Finding("old-calibration", readings.source, "", text, "warning"))
    return out


def _outside(gauge: Gauge, thickness: Array, readings: Readings) -> list[Finding]:
    beyond = np.maximum(gauge.true_min - thickness, thickness - gauge.true_max)
    out = (thickness > 0) & (beyond > ROUNDING_MM)
    if not out.any():
        return []
    far = (thickness < (1 - FAR) * gauge.true_min) | (thickness > (1 + FAR) * gauge.true_max)
    if (far & out).sum() > FAR_SHARE * (thickness > 0).sum():
        text = (
            f"most readings lie far outside the blocks, {gauge.true_min:.4g} to {gauge.true_max:.4g} mm: a gauge that "
            "is straight there need not be so at the webs. Calibrate on blocks beyond the webs."
        )
        return [Finding("far-blocks", readings.source, "", text, "warning")]
    count, lines = int(out.sum()), ", ".join(map(str, readings.line[out][:5]))
    lines = f"{lines} and {count - 5} more" if count > 5 else lines
    text = (
        f"{count} readings (lines {lines}) lie outside the blocks, {gauge.true_min:.4g} to "
        f"{gauge.true_max:.4g} mm: the gauge is not known there. Calibrate on blocks beyond the webs."
    )
    return [Finding("outside-blocks", readings.source, "", text, "warning")]
