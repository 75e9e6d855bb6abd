"""Small tables beside the readings (step blocks, datum points): the same CSV rules, other columns."""

from __future__ import annotations

import csv
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import Finding, InputError
from floorfit.readings.cells import Faults, column_of_numbers
from floorfit.readings.columns import Field, Header
from floorfit.units import Unit

__all__ = ["Sheet", "read_sheet"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Sheet:
    """A small table.

    Parameters
    ----------
    numbers : mapping of str to (n,) ndarray, mm (or °C, µs)
        Columns of numbers; NaN everywhere where the file has no such column.
    present : frozenset of str
        Columns that the file has.
    texts : mapping of str to tuple of str
        The other columns, as written.
    lines : (n,) ndarray of int
        Line numbers.
    unit : {"mm", "in"}
        Unit of the file.
    source : str
        File name.
    """

    numbers: Mapping[str, Array]
    present: frozenset[str]
    texts: Mapping[str, tuple[str, ...]]
    lines: NDArray[np.int64]
    unit: Unit
    source: str


def read_sheet(path: str | os.PathLike[str], fields: Mapping[str, Field], required: tuple[str, ...]) -> Sheet:
    """Read a small CSV table.

    Parameters
    ----------
    path : path
        CSV with a header; commas or semicolons, ``#`` for comments, UTF-8.
    fields : mapping of str to Field
        Columns of numbers by name without ``_mm`` or ``_in``.
    required : tuple of str
        Those that must be there.

    Returns
    -------
    Sheet

    Raises
    ------
    InputError
        If the file cannot be read or has faults, all listed.
    """
    file = Path(path)
    text = _text(file)
    kept = [(k, line) for k, line in enumerate(text.splitlines(), start=1) if _is_data(line)]
    if not kept:
        raise InputError([Finding("empty", file.name, "line 1", "is empty, a header and rows were expected.")])
    header = _header(kept[0][1], kept[0][0], file.name, fields, required)
    lines = np.array([k for k, _ in kept[1:]], np.int64)
    rows = _rows([line for _, line in kept[1:]], lines, header, file.name)
    columns = [tuple(row[k] for row in rows) for k in range(len(header.names))]
    faults = Faults(file.name)
    numbers = {
        name: column_of_numbers(columns[k], fields[name], header, lines, header.names[k], faults)
        for name, k in header.fields.items()
    }
    faults.raise_if_any()
    missing = {name: np.full(len(lines), np.nan) for name in fields if name not in numbers}
    texts = {name: columns[k] for name, k in header.extra.items()}
    return Sheet({**numbers, **missing}, frozenset(numbers), texts, lines, header.unit, file.name)


def _text(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error
    except UnicodeDecodeError as error:
        raise InputError(
            [Finding("not-utf-8", file.name, "", "is not UTF-8 text. Save the table as CSV in UTF-8.")]
        ) from error


def _is_data(line: str) -> bool:
    return bool(line.strip(" ,;\t")) and not line.lstrip().startswith("#")


def _header(line: str, number: int, source: str, fields: Mapping[str, Field], required: tuple[str, ...]) -> Header:
    delimiter = ";" if line.count(";") > line.count(",") else ","
    names = tuple(cell.strip() for cell in line.split(delimiter))
    lowered = [name.lower() for name in names]
    unit: Unit = "in" if any(f"{name}_in" in lowered for name in fields) else "mm"
    wanted = {name: f"{name}_{unit}" if field.is_length else name for name, field in fields.items()}
    place = f"line {number}"
    faults = [
        Finding("doubled-column", source, place, f'the column "{name}" is there twice. Remove one.')
        for name in sorted({name for name in lowered if lowered.count(name) > 1})
    ]
    if unit == "in" and any(f"{name}_mm" in lowered for name in fields):
        faults.append(Finding("mixed-units", source, place, "columns in mm and in inches are mixed. Use one unit."))
    found = ", ".join(names[:12])
    faults.extend(
        Finding("missing-column", source, place, f"the column {wanted[name]} is missing; found are {found}. Add it.")
        for name in required
        if wanted[name] not in lowered
    )
    if faults:
        raise InputError(faults)
    columns = {name: lowered.index(column) for name, column in wanted.items() if column in lowered}
    return Header(names, columns, unit, delimiter)


def _rows(lines: list[str], numbers: NDArray[np.int64], header: Header, source: str) -> list[list[str]]:
    rows = list(csv.reader(lines, delimiter=header.delimiter))
    faults = [
        Finding(
            "wrong-cell-count",
            source,
            f"line {int(number)}",
            f"{len(row)} cells came, the header names {len(header.names)}. Correct the separators.",
        )
        for row, number in zip(rows, numbers, strict=False)
        if len(row) != len(header.names)
    ]
    if faults:
        raise InputError(faults)
    return rows
