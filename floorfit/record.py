"""The record of a job: every number of a run in full precision, its settings, inputs and versions.

`Record` is the one thing that the pictures, the page, a corrected programme and the checks afterwards read.
All lengths are millimetres whatever the part file's unit; the keys say so. A number that is not known is null.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import AliasChoices, BaseModel, ConfigDict, Field, ValidationError

from floorfit.decision.decision import Decision
from floorfit.decision.neighbours import NeighbourStep
from floorfit.decision.web_map import WebMap
from floorfit.decision.written_form import Number
from floorfit.errors import Finding, InputError
from floorfit.json_file import refused_by
from floorfit.part.model import Part
from floorfit.part.part_file import part_from_document
from floorfit.part.part_format import part_schema
from floorfit.record_readings import columns_of
from floorfit.sealed import changed_files

if TYPE_CHECKING:
    from floorfit.result import Result

__all__ = [
    "RECORD_FORMAT", "Decision", "DishRecord", "InputRecord", "ReadingsRecord", "Record", "SummaryRecord",
    "SurfaceRecord", "SystematicRecord", "WebMap", "read_record", "record_of", "schema",
]  # fmt: skip

RECORD_FORMAT: Literal["floorfit-record/1"] = "floorfit-record/1"


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class InputRecord(_Model):
    """An input file: its name (no folder) and the SHA-256 of its bytes."""

    name: str
    sha256: str


class ReadingsRecord(_Model):
    """Every reading given, a list for each column, in the order of the file; empty where ``readings.csv`` holds them.

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


class DishRecord(_Model):
    """The dish of one web: ``warp_mm`` times a form over a rectangle, bilinear between its nodes, nothing outside.

    ``form`` counts in ``dish_forms``; ``available_mm`` is the height in what roughing left.
    """

    web: str
    low_mm: tuple[float, float]
    high_mm: tuple[float, float]
    form: int
    warp_mm: float
    available_mm: float = 0.0


class SurfaceRecord(_Model):
    """The fitted warp: bicubic B-splines ``sum c[i][j] B_i(x) B_j(y)`` on open knot vectors, plus dishes, mm.

    ``available_mm``: on the same knots, web left by roughing less nominal web and finish stock; null where no Z of a
    roughed floor was measured, and the floors lie as programmed. ``smooth_length_mm`` and ``dispersion`` (φ) were
    ``reach_mm`` and ``noise_inflation`` in records of 0.1.0, which are read as well.
    """

    knots_x_mm: list[float]
    knots_y_mm: list[float]
    coefficients_mm: list[list[float]]
    available_mm: list[list[float]] | None = None
    dishes: list[DishRecord] = []
    dish_forms: list[list[list[float]]] = []
    dish_size_mm: float = 0.0
    smoothing: float
    smooth_length_mm: float = Field(0.0, validation_alias=AliasChoices("smooth_length_mm", "reach_mm"))
    tension_mm: float = 0.0
    prior_share: float = 0.0
    prior_size_mm: float = 0.0
    dispersion: float = Field(validation_alias=AliasChoices("dispersion", "noise_inflation"))
    effective_parameters: float
    unknowns: int
    cell_mm: tuple[float, float]
    readings_used: int
    notes: list[str]


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
    part_probability: Number = None


class SystematicRecord(_Model):
    """An error that readings share: its kind, where, estimate and standard uncertainty in ``unit``, size in mm."""

    kind: str
    name: str
    unit: str
    effect: float
    u: float
    size_mm: float
    chance: float


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
    decisions: list[Decision]
    readings: ReadingsRecord
    map: WebMap | None
    neighbours: list[NeighbourStep]
    findings: list[dict[str, str]]
    gauge: dict[str, Any] | None = None
    frame: dict[str, Any] | None = None
    identity: dict[str, str] = {}
    systematic: list[SystematicRecord] = []
    seal: dict[str, str] | None = None  # stays the last entry: see floorfit.sealed

    def __repr__(self) -> str:
        """Return the job and how it came out: the whole is in its fields."""
        return f"Record of job {self.job}: {self.summary.sentence}"

    def nominal(self) -> Part:
        """Return the part of the run, in mm."""
        return part_from_document(self.part, f"{self.job}/record.json")

    def pieces(self) -> Iterator[str]:
        """Yield the record as JSON, an entry at a time: a large one need not stand in memory twice."""
        for number, name in enumerate(type(self).model_fields):
            yield ("," if number else "{") + self.model_dump_json(include={name})[1:-1]
        yield "}"


def schema(which: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a file.

    Parameters
    ----------
    which : {"part", "part-2", "record"}
        The part file in its first or second format, or a job's record.

    Raises
    ------
    InputError
        If there is no such file.

    Examples
    --------
    >>> schema("part")["properties"]["format"]["const"]
    'floorfit-part/1'
    """
    if which == "record":
        return Record.model_json_schema()
    if which not in ("part", "part-2"):
        raise InputError(f"schema: {which!r} came, part, part-2 or record was expected. Name one of them.")
    return part_schema(2 if which == "part-2" else 1)


def record_of(job: Record | Result | str | Path) -> Record:
    """Return the record of a job, whatever it is given as.

    Parameters
    ----------
    job : Record, Result or path
        A record, a run that is not written, a job folder, or a ``record.json``.
    """
    if isinstance(job, Record):
        return job
    return read_record(job) if isinstance(job, str | Path) else job.record()


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
    return _with_readings(_checked(file, text), file.parent / "readings.csv")


def _with_readings(record: Record, table: Path) -> Record:
    """Fetch the readings of a large job from the table that holds them."""
    if record.readings.line or not record.summary.readings:
        return record
    floors = {one.pocket for one in record.decisions}
    return record.model_copy(update={"readings": ReadingsRecord(**columns_of(table, floors))})


def _checked(file: Path, text: str) -> Record:
    if '"floorfit-record/' in text[:400] and f'"{RECORD_FORMAT}"' not in text[:400]:
        remedy = f"this version reads {RECORD_FORMAT} only. Use the floorfit that wrote it, or run `correct` again."
        raise InputError([_finding(file, "format", remedy)])
    try:
        return Record.model_validate_json(text)
    except ValidationError as error:
        raise refused_by(error, "bad-record", str(file), "Run `correct` again.") from error


def _finding(file: Path, place: str, text: str) -> Finding:
    return Finding("bad-record", str(file), place, text)
