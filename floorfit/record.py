"""The record of a job: every number of a run in full precision, its settings, inputs and versions.

`Record` is the one thing that the pictures, the page, a corrected programme and the checks afterwards read.
All lengths are millimetres whatever the part file's unit; the keys say so. A number that is not known is null.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from floorfit.decision.decision import Correction, FollowGrid
from floorfit.errors import Finding, InputError
from floorfit.sealed import changed_files

__all__ = [
    "RECORD_FORMAT",
    "DecisionRecord",
    "FollowRecord",
    "InputRecord",
    "MapRecord",
    "NeighbourRecord",
    "ReadingsRecord",
    "Record",
    "SummaryRecord",
    "SurfaceRecord",
    "read_record",
    "record_schema",
]

RECORD_FORMAT: Literal["floorfit-record/1"] = "floorfit-record/1"

Number = float | None


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class InputRecord(_Model):
    """An input file: its name (no folder) and the SHA-256 of its bytes."""

    name: str
    sha256: str


class FollowRecord(_Model):
    """Offsets of a `follow` floor on a grid, ``offset_mm[i][j]`` at ``(x_mm[i], y_mm[j])``."""

    x_mm: list[float]
    y_mm: list[float]
    offset_mm: list[list[float]]

    def grid(self) -> FollowGrid:
        """Return the grid as arrays, mm."""
        return FollowGrid(np.array(self.x_mm), np.array(self.y_mm), np.array(self.offset_mm))


class DecisionRecord(_Model):
    """One floor: the row of ``offsets.csv`` in millimetres, and what stands behind it."""

    pocket: str
    action: Literal["shift", "tilt", "follow", "hold"]
    centroid_mm: tuple[float, float]
    offset_mm: Number
    slope_x: float
    slope_y: float
    offset_u_mm: Number
    web_before_min_mm: Number
    web_before_max_mm: Number
    web_after_min_mm: Number
    web_after_max_mm: Number
    web_after_interval_mm: tuple[Number, Number]
    web_lower_limit_mm: Number
    web_upper_limit_mm: Number
    conformance_probability: Number
    thin_probability: Number
    thick_probability: Number
    verdict: Literal["conform", "undecided", "nonconform"]
    reason: str
    margin_mm: Number
    readings_used: int
    budget_mm: dict[str, float]
    suggestion_mm: tuple[float, float] | None
    notes: list[str]
    follow: FollowRecord | None

    def correction(self) -> Correction:
        """Return the offset field that this row describes, mm."""
        grid = None if self.follow is None else self.follow.grid()
        offset = float("nan") if self.offset_mm is None else self.offset_mm
        return Correction(self.action, self.centroid_mm, offset, (self.slope_x, self.slope_y), grid)


class ReadingsRecord(_Model):
    """Every reading given, a list for each column, in the order of the file.

    ``floor`` is the id of the floor that the place lies on ("" if none); ``used`` and ``reason`` as in
    ``readings.csv``; ``warp_mm`` what the reading says of the underside; ``residual_mm`` warp minus fitted warp;
    ``loo_mm`` the same with the fit made without this reading; ``weight`` 0 to 1 in the robust fit.
    """

    line: list[int]
    x_mm: list[float]
    y_mm: list[float]
    thickness_mm: list[Number]
    z_mm: list[Number]
    u_mm: list[Number]
    label: list[str]
    floor: list[str]
    used: list[bool]
    reason: list[str]
    warp_mm: list[Number]
    residual_mm: list[Number]
    loo_mm: list[Number]
    weight: list[Number]


class SurfaceRecord(_Model):
    """The fitted warp: bicubic B-splines ``sum c[i][j] B_i(x) B_j(y)`` on open knot vectors, mm.

    ``available_mm``: on the same knots, web left by roughing less nominal web and finish stock; null where no Z of a
    roughed floor was measured, and the floors lie as programmed.
    """

    knots_x_mm: list[float]
    knots_y_mm: list[float]
    coefficients_mm: list[list[float]]
    available_mm: list[list[float]] | None = None
    smoothing: float
    reach_mm: float = 0.0
    tension_mm: float = 0.0
    noise_inflation: float
    effective_parameters: float
    unknowns: int
    cell_mm: tuple[float, float]
    readings_used: int
    notes: list[str]


class MapRecord(_Model):
    """Layers on one rectangular grid, ``layer[j][i]`` at ``(x_mm[i], y_mm[j])``; null outside what it describes.

    ``warp_mm`` and ``warp_u_mm`` (standard uncertainty) cover the part's outline; ``pocket[j][i]`` is the index of
    the floor in the part's order or -1; the web layers and the margin cover floors only. Webs are local: on a floor or
    over an underside that slopes, each place has a nominal web of its own.
    """

    x_mm: list[float]
    y_mm: list[float]
    warp_mm: list[list[Number]]
    warp_u_mm: list[list[Number]]
    pocket: list[list[int]]
    web_before_mm: list[list[Number]]
    web_after_mm: list[list[Number]]
    margin_mm: list[list[Number]]


class NeighbourRecord(_Model):
    """Two floors that share a thin rib, and the difference of their offsets across it."""

    a: str
    b: str
    rib_mm: float
    at_mm: tuple[float, float]
    step_mm: float


class SummaryRecord(_Model):
    """Counts and the one sentence a person can act on."""

    pockets: int
    corrected: int
    held: int
    conform: int
    undecided: int
    nonconform: int
    readings: int
    readings_used: int
    sentence: str


class Record(_Model):
    """A whole run of ``floorfit correct``."""

    format: Literal["floorfit-record/1"] = RECORD_FORMAT
    job: str
    created: str
    versions: dict[str, str]
    inputs: dict[str, InputRecord]
    settings: dict[str, Any]
    part: dict[str, Any]
    summary: SummaryRecord
    surface: SurfaceRecord | None
    decisions: list[DecisionRecord]
    readings: ReadingsRecord
    map: MapRecord | None
    neighbours: list[NeighbourRecord]
    findings: list[dict[str, str]]
    gauge: dict[str, Any] | None = None
    frame: dict[str, Any] | None = None
    seal: dict[str, str] | None = None  # stays the last entry: see floorfit.sealed

    def pieces(self) -> Iterator[str]:
        """Yield the record as JSON, an entry at a time: a large one need not stand in memory twice."""
        for number, name in enumerate(type(self).model_fields):
            yield ("," if number else "{") + self.model_dump_json(include={name})[1:-1]
        yield "}"


def record_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``record.json``."""
    return Record.model_json_schema()


def read_record(path: str | Path) -> Record:
    """Read a job's record.

    Parameters
    ----------
    path : path
        ``record.json``, or the job folder that holds it.

    Returns
    -------
    Record

    Raises
    ------
    InputError
        If there is no record, it is not JSON, is of another format, does not fit the schema, or if it or a table beside
        it was changed after it was written.
    """
    file = Path(path)
    file = file / "record.json" if file.is_dir() else file
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError([_finding(file, "", f"cannot be read ({error}). Name a job folder.")]) from error
    if changed := changed_files(file, text):
        raise InputError(changed)
    return _checked(file, text)


def _checked(file: Path, text: str) -> Record:
    if '"floorfit-record/' in text[:400] and f'"{RECORD_FORMAT}"' not in text[:400]:
        remedy = f"this version reads {RECORD_FORMAT} only. Use the floorfit that wrote it, or run `correct` again."
        raise InputError([_finding(file, "format", remedy)])
    try:
        return Record.model_validate_json(text)
    except ValidationError as error:
        faults = [
            _finding(file, ".".join(str(step) for step in fault["loc"]), f"{fault['msg']}. Run `correct` again.")
            for fault in error.errors()[:20]
        ]
        raise InputError(faults) from error


def _finding(file: Path, place: str, text: str) -> Finding:
    return Finding("bad-record", str(file), place, text)
