"""The job folder: tables for people and machines, the record, the pictures and the page."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import numpy as np

from floorfit.plain_text import plain_cell
from floorfit.record import Decision, ReadingsRecord, Record
from floorfit.record_readings import MOST_IN_RECORD
from floorfit.report.format import Writing
from floorfit.report.write import write_report
from floorfit.run import Result
from floorfit.sealed import write_sealed
from floorfit.units import MM_PER_UNIT

__all__ = ["OFFSET_COLUMNS", "write_job"]

#: Columns of offsets.csv with a length, and what the record calls them; the unit is put in the name.
LENGTHS = (
    "offset_u", "web_before_min", "web_before_max", "web_after_min", "web_after_max", "web_lower_limit",
    "web_upper_limit",
)  # fmt: skip

OFFSET_COLUMNS = (
    "pocket", "action", "offset", "slope_x", "slope_y", *LENGTHS, "conformance_probability", "verdict", "reason",
    "readings_used",
)  # fmt: skip

#: Ends of the names of columns that hold numbers with decimals.
NUMBERS = ("_mm", "_in", "_c", "_us", "slope_x", "slope_y", "probability")

#: Decimals in a table, by unit: a tenth of a micrometre.
DECIMALS = {"mm": 4, "in": 6}


def write_job(
    result: Result,
    record: Record,
    folder: Path,
    *,
    writing: Writing | None = None,
    pictures: bool = True,
    progress: Callable[[str], None] | None = None,
) -> None:
    """Write every file of a job into an empty folder.

    Parameters
    ----------
    result : Result
    record : Record
        Of that result.
    folder : Path
        Exists and is empty.
    writing : Writing, optional
        How pages and pictures are written; a decimal comma is used in the tables too, with semicolons between.
    pictures : bool
        Whether maps, page and sheet are made now; ``floorfit report`` makes them later.
    progress : callable, optional
        Called with a few words before each step.
    """
    tell = progress or (lambda words: None)
    unit, comma = result.part.units, writing is not None and writing.decimal == ","
    tell("writing the tables")
    rows = (_offset_row(one, unit) for one in record.decisions)
    _write_csv(folder / "offsets.csv", _offset_header(unit), rows, comma=comma)
    _write_readings(folder / "readings.csv", result, comma=comma)
    follows = [one for one in record.decisions if one.follow is not None]
    if follows:
        header = ["pocket", "x_mm", "y_mm", "offset_mm"]
        _write_csv(folder / "follow.csv", header, _follow_rows(follows), comma=comma)
    write_sealed(_kept(record).pieces(), folder / "record.json")
    if pictures:
        write_report(record, folder, writing=writing, progress=progress)


def _kept(record: Record) -> Record:
    """Return the record as it is kept: many readings are left in their table."""
    if len(record.readings.line) <= MOST_IN_RECORD:
        return record
    none = ReadingsRecord(**{name: [] for name in ReadingsRecord.model_fields})
    return record.model_copy(update={"readings": none})


def _offset_header(unit: str) -> list[str]:
    return [f"{name}_{unit}" if name in LENGTHS or name == "offset" else name for name in OFFSET_COLUMNS]


def _offset_row(one: Decision, unit: str) -> list[str]:
    lengths = [_length(getattr(one, f"{name}_mm"), unit) for name in LENGTHS]
    chance = "" if one.conformance_probability is None else f"{one.conformance_probability:.4f}"
    slopes = [_plain(one.slope_x, 8), _plain(one.slope_y, 8)]
    return [
        one.pocket, one.action, _length(one.offset_mm, unit), *slopes, *lengths, chance, one.verdict, str(one.reason),
        str(one.readings_used),
    ]  # fmt: skip


def _follow_rows(follows: Sequence[Decision]) -> Iterable[list[str]]:
    for one in follows:
        assert one.follow is not None
        for x, column in zip(one.follow.x_mm, one.follow.offset_mm, strict=True):
            for y, offset in zip(one.follow.y_mm, column, strict=True):
                yield [one.pocket, *(_length(value, "mm", extra=2) for value in (x, y, offset))]


def _write_readings(path: Path, result: Result, *, comma: bool) -> None:
    table, used = result.readings, result.used
    unit = table.unit
    extra = list(table.extra)
    header = ["line", "pocket", *(f"{name}_{unit}" for name in ("x", "y", "thickness", "z", "u"))]
    header += ["temperature_c", "tof_us", *extra, "used", "reason", "warp_mm", "residual_mm"]
    ids = [pocket.id for pocket in result.part.pockets]

    def rows() -> Iterable[list[str]]:
        for k in range(len(table)):
            floor = str(table.pocket[k]) or (ids[used.floor[k]] if used.floor[k] >= 0 else "")
            lengths = [
                _length(float(a[k]), unit, extra=2) for a in (table.x, table.y, table.thickness, table.z, table.u)
            ]
            others = [_plain(float(table.temperature[k]), 4), _plain(float(table.tof[k]), 6)]
            carried = [str(table.extra[name][k]) for name in extra]
            judged = ["yes" if used.is_used[k] else "no", used.reason[k]]
            numbers = [_plain(float(used.warp[k]), 5), _plain(float(used.residual[k]), 5)]
            yield [str(table.line[k]), floor, *lengths, *others, *carried, *judged, *numbers]

    _write_csv(path, header, rows(), comma=comma)


def _write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]], *, comma: bool) -> None:
    """Write a table; with a decimal comma semicolons stand between the cells."""
    numbers = [name.endswith(NUMBERS) for name in header]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=";" if comma else ",", lineterminator="\n")
        writer.writerow(map(plain_cell, header))
        for row in rows if not comma else (_with_comma(row, numbers) for row in rows):
            writer.writerow(map(plain_cell, row))


def _with_comma(row: Sequence[str], numbers: Sequence[bool]) -> list[str]:
    return [cell.replace(".", ",") if is_number else cell for cell, is_number in zip(row, numbers, strict=True)]


def _length(value_mm: float | None, unit: str, *, extra: int = 0) -> str:
    return "" if value_mm is None else _plain(value_mm / MM_PER_UNIT[unit], DECIMALS[unit] + extra)


def _plain(value: float, decimals: int) -> str:
    """Fixed decimals without a negative zero; empty where not finite."""
    if not np.isfinite(value):
        return ""
    text = f"{value:.{decimals}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text
