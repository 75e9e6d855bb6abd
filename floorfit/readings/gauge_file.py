"""The gauge file, ``"format": "floorfit-gauge/1"``: written once, read by every command that takes readings."""

from __future__ import annotations

import os
from dataclasses import fields
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from floorfit.json_file import read_json, validated, write_json
from floorfit.readings.gauge import BlockResult, Gauge

__all__ = ["GAUGE_FORMAT", "gauge_from_document", "gauge_to_document", "read_gauge", "write_gauge"]

GAUGE_FORMAT: Literal["floorfit-gauge/1"] = "floorfit-gauge/1"


class _GaugeModel(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Block(_GaugeModel):
    true_mm: float
    reading: float
    count: int
    residual_mm: float
    sd_mm: float | None


class _Gauge(_GaugeModel):
    format: Literal["floorfit-gauge/1"]
    kind: Literal["thickness", "tof"]
    method: Literal["one-point", "two-point", "line"]
    scale: float = Field(gt=0)
    zero_mm: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    sd_mm: float = Field(gt=0)
    dof: float = Field(ge=0)
    true_min_mm: float = Field(gt=0)
    true_max_mm: float = Field(gt=0)
    temperature_c: float | None
    k_per_c: float
    k_u_per_c: float = Field(ge=0)
    blocks: list[_Block]
    source: str
    source_sha256: str | None = None
    velocity_mm_per_us: float | None = None
    zero_time_us: float | None = None
    identity: dict[str, str] = Field(default_factory=dict)


def gauge_to_document(gauge: Gauge, sha256: str | None = None) -> dict[str, Any]:
    """Return the gauge as the mapping that its file holds; lengths in mm, full precision.

    Parameters
    ----------
    gauge : Gauge
        Calibrated.
    sha256 : str, optional
        Of the file of block readings.
    """
    is_tof = gauge.kind == "tof"
    return {
        "format": GAUGE_FORMAT,
        **_named(gauge, "kind", "method", "scale", "zero"),
        "velocity_mm_per_us": gauge.scale if is_tof else None,
        "zero_time_us": gauge.zero_time_us if is_tof else None,
        "covariance": [list(row) for row in gauge.covariance],
        **_named(gauge, "sd", "dof", "true_min", "true_max", "temperature", "k_per_c", "k_u_per_c"),
        "blocks": [_named(block, "true", "reading", "count", "residual", "sd") for block in gauge.blocks],
        "source": gauge.source,
        "source_sha256": sha256,
        "identity": dict(gauge.identity),
    }


#: What has another name in the file: with its unit.
_LENGTHS = ("zero", "sd", "true_min", "true_max", "true", "residual")
_IN_FILE = {"temperature": "temperature_c", **{name: f"{name}_mm" for name in _LENGTHS}}


def _named(one: Gauge | BlockResult, *names: str) -> dict[str, Any]:
    """Fields by their names in the file; NaN is null."""
    found = {_IN_FILE.get(name, name): getattr(one, name) for name in names}
    return {name: value if value == value else None for name, value in found.items()}


def gauge_from_document(document: Any, source: str = "gauge") -> Gauge:
    """Build a gauge from what its file holds.

    Parameters
    ----------
    document : object
        What the JSON file holds.
    source : str
        File name for messages.

    Raises
    ------
    InputError
        If the document does not fit the format.
    """
    model = validated(_Gauge, document, "bad-gauge", source, "Calibrate again.")
    blocks = tuple(BlockResult(**_given(BlockResult, one)) for one in model.blocks)
    return Gauge(**_given(Gauge, model) | {"blocks": blocks})


def _given(kind: type[Gauge | BlockResult], model: _GaugeModel) -> dict[str, Any]:
    """Fields by their own names; null is NaN."""
    found = {one.name: getattr(model, _IN_FILE.get(one.name, one.name)) for one in fields(kind)}
    return {name: float("nan") if value is None else value for name, value in found.items()}


def write_gauge(gauge: Gauge, path: str | os.PathLike[str], sha256: str | None = None) -> None:
    """Write the gauge file; an existing one is overwritten, so give a temporary path.

    Parameters
    ----------
    gauge : Gauge
    path : path
        File to write.
    sha256 : str, optional
        Digest of the block readings.
    """
    write_json(gauge_to_document(gauge, sha256), Path(path), indent=2)


def read_gauge(path: str | os.PathLike[str]) -> Gauge:
    """Read a gauge file.

    Raises
    ------
    InputError
        If it cannot be read, is not JSON or does not fit the format.
    """
    file = Path(path)
    return gauge_from_document(read_json(file, "calibrate"), file.name)


def gauge_lines(gauge: Gauge) -> list[str]:
    """Say in words what a calibration came to, a line each.

    Parameters
    ----------
    gauge : Gauge
        Calibrated.
    """
    slope = f"velocity {gauge.scale:.5f} mm/µs" if gauge.kind == "tof" else f"scale {gauge.scale:.6f}"
    lines = [f"{gauge.method}: {slope}, zero {gauge.zero:+.4f} mm, one reading scatters by {gauge.sd:.4f} mm."]
    for block in gauge.blocks:
        U = gauge.budget(block.reading, gauge.temperature).expanded()
        again = f"{block.count} readings" if block.count > 1 else "1 reading"
        lines.append(f"block {block.true:.4f} mm, {again}: residual {block.residual:+.4f} mm, U95 {U:.4f} mm.")
    return lines
