"""The job folder: tables for people and machines, the record, the pictures and the page."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from floorfit.offsets_table import DECIMALS, length_cell, number_cells, offset_header, offset_row
from floorfit.plain_text import plain_cell, write_csv
from floorfit.record import Decision, ReadingsRecord, Record
from floorfit.record_readings import MOST_IN_RECORD
from floorfit.recording import make_record
from floorfit.report.format import Writing
from floorfit.report.write import write_report
from floorfit.run import Result
from floorfit.sealed import input_bytes, write_sealed
from floorfit.units import MM_PER_UNIT
from floorfit.whole import whole_folder

__all__ = ["write"]

#: Ends of the names of columns that hold numbers with decimals.
NUMBERS = ("_mm", "_in", "_c", "_us", "slope_x", "slope_y", "probability")

#: Readings whose cells are made together.
ROWS_AT_ONCE = 10_000


def write(
    result: Result,
    folder: str | Path,
    *,
    inputs: Mapping[str, str | Path] | None = None,
    record: Record | None = None,
    replace: bool = False,
    writing: Writing | None = None,
    pictures: bool = True,
    progress: Callable[[str], None] | None = None,
) -> Record:
    """Write a run as a job folder, whole or not at all.

    Parameters
    ----------
    result : Result
        From `floorfit.correct`.
    folder : path
        Job folder to make.
    inputs : mapping of str to path, optional
        Files that went in, by role (``"part"``, ``"readings"``, ``"gauge"``, …): the record keeps their digests.
    record : Record, optional
        That of the result, where it is made already.
    replace : bool
        Whether an existing folder may be replaced.
    writing : Writing, optional
        Unit, language and decimal sign of pages and tables.
    pictures : bool
        Whether maps, page and sheet are made now; `floorfit.report` makes them later.
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    Record
        What was written as ``record.json``.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is false, or its parent cannot be written.
    """
    with whole_folder(folder, replace=replace) as temporary:
        made = record or make_record(result, None if inputs is None else input_bytes(inputs))
        if progress is not None:
            progress("writing the tables")
        _write_tables(result, made, temporary, comma=writing is not None and writing.decimal == ",")
        if pictures:
            write_report(made, temporary, writing=writing, progress=progress)
    return made


def _write_tables(result: Result, record: Record, folder: Path, *, comma: bool) -> None:
    """Write tables and record; with decimal commas semicolons stand between the cells."""
    unit = result.part.units
    rows = (offset_row(one, unit) for one in record.decisions)
    _write_csv(folder / "offsets.csv", offset_header(unit), rows, comma=comma)
    _write_readings(folder / "readings.csv", result, comma=comma)
    follows = [one for one in record.decisions if one.follow is not None]
    if follows:
        header = ["pocket", "x_mm", "y_mm", "offset_mm"]
        _write_csv(folder / "follow.csv", header, _follow_rows(follows), comma=comma)
    write_sealed(_kept(record).pieces(), folder / "record.json")


def _kept(record: Record) -> Record:
    """Return the record as it is kept: many readings are left in their table."""
    if len(record.readings.line) <= MOST_IN_RECORD:
        return record
    none = ReadingsRecord(**{name: [] for name in ReadingsRecord.model_fields})
    return record.model_copy(update={"readings": none})


def _follow_rows(follows: Sequence[Decision]) -> Iterable[list[str]]:
    for one in follows:
        assert one.follow is not None
        for x, column in zip(one.follow.x_mm, one.follow.offset_mm, strict=True):
            for y, offset in zip(one.follow.y_mm, column, strict=True):
                yield [one.pocket, *(length_cell(value, "mm", extra=2) for value in (x, y, offset))]


def _write_readings(path: Path, result: Result, *, comma: bool) -> None:
    table, unit = result.readings, result.readings.unit
    header = ["line", "pocket", *(f"{name}_{unit}" for name in ("x", "y", "thickness", "z", "u"))]
    header += ["temperature_c", "tof_us", *table.extra, "used", "reason", "warp_mm", "residual_mm"]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=";" if comma else ",", lineterminator="\n")
        writer.writerow(map(plain_cell, header))
        for start in range(0, len(table), ROWS_AT_ONCE):
            columns = _reading_columns(result, slice(start, start + ROWS_AT_ONCE))
            if comma:
                named = zip(header, columns, strict=True)
                columns = [_with_comma(one, [name.endswith(NUMBERS)] * len(one)) for name, one in named]
            writer.writerows(zip(*columns, strict=True))


def _reading_columns(result: Result, rows: slice) -> list[list[str]]:
    """Cells of some readings, column by column: a million of them take a third of the time that rows do."""
    table, seen = result.readings, result.observations
    names, floor = [*(pocket.id for pocket in result.part.pockets), ""], seen.floor[rows].tolist()
    reasons = seen.reason[rows].tolist()
    labels = [str(label) or names[k] for label, k in zip(table.pocket[rows], floor, strict=True)]
    scale, decimals = MM_PER_UNIT[table.unit], DECIMALS[table.unit] + 2
    lengths = [getattr(table, name)[rows] / scale for name in ("x", "y", "thickness", "z", "u")]
    numbers = [(one, decimals) for one in lengths] + [(table.temperature[rows], 4), (table.tof[rows], 6)]
    return [
        [str(line) for line in table.line[rows]],
        _text_cells(labels),
        *(number_cells(values, digits) for values, digits in numbers),
        *(_text_cells([str(cell) for cell in table.extra[name][rows]]) for name in table.extra),
        ["no" if reason else "yes" for reason in reasons],
        _text_cells(reasons),
        number_cells(seen.warp[rows], 5),
        number_cells(seen.residual[rows], 5),
    ]


def _text_cells(texts: Sequence[str]) -> list[str]:
    plain = {text: plain_cell(text) for text in set(texts)}
    return [plain[text] for text in texts]


def _write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]], *, comma: bool) -> None:
    """Write a table; with a decimal comma semicolons stand between the cells."""
    numbers = [name.endswith(NUMBERS) for name in header]
    write_csv(path, header, (_with_comma(row, numbers) for row in rows) if comma else rows, ";" if comma else ",")


def _with_comma(row: Sequence[str], numbers: Sequence[bool]) -> list[str]:
    return [cell.replace(".", ",") if is_number else cell for cell, is_number in zip(row, numbers, strict=True)]
