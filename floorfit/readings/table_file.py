"""A CSV table as shops write it, read as it is or refused with every fault named.

What the format leaves open is fixed so:

- A line of separators alone is a blank line. A record is one line: a quoted cell cannot run over the line's end.
- Blank, ``nan`` or dashes alone mean "nothing here" in every column of numbers that may be blank.
- With semicolons a number may have a decimal comma or a decimal point; thousands are never grouped.
- Comments begin with ``#``. A column without a name is passed over where it is blank all the way down, else refused.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, read_only
from floorfit.errors import Finding, InputError
from floorfit.plain_text import cell_text
from floorfit.readings.cells import Faults, column_of_numbers, shown
from floorfit.readings.columns import Header, Layout, read_header
from floorfit.units import Unit

__all__ = ["Table", "read_table"]

#: Lines taken at a time: few enough to stay in the processor's cache, which halves the time.
CHUNK = 4096

#: Longest label, characters; ids in a part file have the same limit.
LONGEST_LABEL = 256


@dataclass(frozen=True)
class Table:
    """A table of n rows.

    Parameters
    ----------
    numbers : mapping of str to (n,) ndarray, mm (or °C, µs)
        Columns of numbers by field; NaN everywhere where the file has no such column. Read-only.
    labels : (n,) ndarray of str
        The layout's column of labels, blanks at the ends removed; empty where there is none.
    texts : mapping of str to list of str
        The other columns by name, as written.
    present : frozenset of str
        Fields that the file has.
    line : (n,) ndarray of int
        Line numbers.
    unit : {"mm", "in"}
        Unit of the file.
    source : str
        File name.
    comments : tuple of (int, str)
        Line number and text of each comment.
    """

    numbers: Mapping[str, Array]
    labels: NDArray[np.str_]
    texts: Mapping[str, Sequence[str]]
    present: frozenset[str]
    line: NDArray[np.int64]
    unit: Unit
    source: str
    comments: tuple[tuple[int, str], ...]


def read_table(path: str | os.PathLike[str], layout: Layout, part_unit: Unit = "mm") -> Table:
    """Read and check a table.

    Parameters
    ----------
    path : path
        CSV, UTF-8, with a header; see the module's notes.
    layout : Layout
        Columns that are known, and those that must be there.
    part_unit : {"mm", "in"}
        Unit of the column names that a message proposes. The file's own unit is in its header.

    Returns
    -------
    Table
        A file with a header and no rows gives an empty one.

    Raises
    ------
    InputError
        If the file cannot be read or has faults: the first twenty with line and column, and the count of the rest.
    """
    file = Path(path)
    faults = Faults(file.name)
    comments: list[tuple[int, str]] = []
    try:
        with file.open(encoding="utf-8-sig", newline=None) as handle:
            header, start = _find_header(handle, file.name, layout, part_unit, comments)
            chunks = [_chunk(lines, first, header, layout, faults, comments) for first, lines in _chunks(handle, start)]
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error
    except UnicodeDecodeError as error:
        raise InputError([_not_utf8(file)]) from error
    faults.raise_if_any()
    return _joined_table(chunks, header, layout, file.name, comments)


def _not_utf8(file: Path) -> Finding:
    """Find the first line that is not UTF-8, and guess why."""
    raw = file.read_bytes()
    good = re.split("[\udc80-\udcff]", raw.decode("utf-8", "surrogateescape"), maxsplit=1)[0]
    line = 1 + good.count("\n")
    what = "is not UTF-8 text"
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        what = "is UTF-16 text, UTF-8 was expected"
    elif raw.startswith(b"PK"):
        what = "is a packed workbook, not CSV text"
    return Finding("not-utf-8", file.name, f"line {line}", f"{what}. Save the table as CSV in UTF-8.")


def _is_data(line: str) -> bool:
    """Whether a line is neither blank (or separators alone) nor a comment."""
    text = line.strip()
    return bool(text) and text[0] != "#" and (text[0] not in ",;" or bool(text.strip(",; \t")))


def _find_header(
    handle: TextIO, source: str, layout: Layout, part_unit: Unit, comments: list[tuple[int, str]]
) -> tuple[Header, int]:
    """Return the header and the number of the line after it; the comments before it are collected."""
    for number, line in enumerate(handle, start=1):
        if _is_data(line):
            try:
                return read_header(line, number, source, layout, part_unit), number + 1
            except InputError as fault:
                _refuse_before_header(handle, source, layout, number, fault)
                raise
        if line.lstrip().startswith("#"):
            comments.append((number, line.strip()))
    text = f"is empty, a header was expected. The first line must name the columns: {layout.example}."
    raise InputError([Finding("empty", source, "line 1", text)])


def _refuse_before_header(handle: TextIO, source: str, layout: Layout, first: int, fault: InputError) -> None:
    """Say so where one of the next lines is a header and the first is none: a title, or what a spreadsheet writes."""
    for number, line in enumerate(islice(handle, 20), start=first + 1):
        try:
            read_header(line, number, source, layout)
        except InputError:
            continue
        text = f"is no header, and line {number} is one. Remove what stands before it, or begin it with #."
        raise InputError([Finding("before-header", source, f"line {first}", text)]) from fault


def _chunks(handle: TextIO, start: int) -> Iterator[tuple[int, list[str]]]:
    """Yield the number of the first line and the lines, a chunk at a time; one without lines ends them."""
    lines = [""]
    while lines:
        lines = list(islice(handle, CHUNK))
        yield start, lines
        start += len(lines)


@dataclass(frozen=True)
class _Chunk:
    """The columns of some rows, in mm; texts as they stand."""

    lines: NDArray[np.int64]
    numbers: dict[str, Array]
    labels: NDArray[np.str_]
    texts: dict[str, Sequence[str]]


def _chunk(
    lines: list[str], first: int, header: Header, layout: Layout, faults: Faults, comments: list[tuple[int, str]]
) -> _Chunk:
    """Turn lines of text into columns; faults are noted, and their cells become NaN; comments are collected."""
    comments += [(first + k, line.strip()) for k, line in enumerate(lines) if line.lstrip().startswith("#")]
    keep = [k for k, line in enumerate(lines) if _is_data(line)]
    numbers = np.array(keep, dtype=np.int64) + first
    rows = _rows([lines[k] for k in keep], numbers, header, faults)
    kept = _of_right_length(rows, numbers, header, faults)
    numbers = numbers[kept]
    width = len(header.names)
    columns: list[tuple[str, ...]] = list(zip(*(rows[k] for k in kept), strict=True)) or [()] * width
    values = {
        name: column_of_numbers(columns[k], layout.fields[name], header, numbers, header.names[k], faults)
        for name, k in header.fields.items()
        if name in layout.fields
    }
    for k in header.unnamed:
        _check_blank(columns[k], k, numbers, faults)
    labels = _labels(columns, header, layout.label, numbers, faults)
    return _Chunk(numbers, values, labels, {name: columns[k] for name, k in header.extra.items()})


def _rows(lines: list[str], numbers: NDArray[np.int64], header: Header, faults: Faults) -> list[list[str]]:
    """Split lines into cells; a line that cannot be split becomes an empty row with a fault."""
    try:
        rows = list(csv.reader(lines, delimiter=header.delimiter, strict=True))
    except csv.Error:
        rows = []
    if len(rows) == len(lines):
        return rows
    return [_row(line, int(number), header, faults) for line, number in zip(lines, numbers, strict=True)]


def _row(line: str, number: int, header: Header, faults: Faults) -> list[str]:
    try:
        (row,) = csv.reader([line], delimiter=header.delimiter, strict=True)
    except csv.Error as error:
        text = (
            "a quote is not closed on the line, or stands inside a cell. Double it inside a quoted cell, or remove it."
        )
        if "limit" in str(error):
            text = "a cell is longer than 131072 characters. Correct the line."
        faults.add("bad-quotes", number, "", text)
        return []
    return row


def _of_right_length(rows: list[list[str]], numbers: NDArray[np.int64], header: Header, faults: Faults) -> list[int]:
    """Return the indices of the rows with as many cells as the header has, and note the others."""
    width = len(header.names)
    kept = [k for k, row in enumerate(rows) if len(row) == width]
    if len(kept) == len(rows):
        return kept
    hint = "Correct the separators, or quote a text that holds one."
    if header.delimiter == ",":
        hint = "Correct the separators; with a decimal comma, separate the cells by semicolons."
    for row, number in zip(rows, numbers, strict=True):
        if len(row) not in (0, width):
            text = f"{len(row)} cells came, the header names {width}. {hint}"
            faults.add("wrong-cell-count", int(number), "", text)
    return kept


def _check_blank(cells: Sequence[str], k: int, lines: NDArray[np.int64], faults: Faults) -> None:
    for cell, line in zip(cells, lines, strict=True):
        if cell.strip():
            text = f'the column has no name but holds "{shown(cell.strip())}". Name it in the header.'
            faults.add("unnamed-column", int(line), str(k + 1), text)


def _labels(
    columns: Sequence[Sequence[str]], header: Header, name: str, lines: NDArray[np.int64], faults: Faults
) -> NDArray[np.str_]:
    """Return the labels, blanks at the ends removed; empty ones where there is no such column."""
    if name not in header.fields:
        return np.full(len(lines), "", dtype=np.str_)
    labels = [cell_text(cell.strip()) for cell in columns[header.fields[name]]]
    for k in [k for k, label in enumerate(labels) if len(label) > LONGEST_LABEL]:
        text = f"the label has {len(labels[k])} characters, at most {LONGEST_LABEL} were expected. Shorten it."
        faults.add("long-label", int(lines[k]), name, text)
        labels[k] = ""
    return np.array(labels, dtype=np.str_)


def _joined_table(
    chunks: list[_Chunk], header: Header, layout: Layout, source: str, comments: list[tuple[int, str]]
) -> Table:
    lines = np.concatenate([chunk.lines for chunk in chunks])
    present = frozenset(header.fields) & frozenset(layout.fields)
    numbers = dict.fromkeys(layout.fields, np.full(len(lines), np.nan))
    numbers |= {name: np.concatenate([chunk.numbers[name] for chunk in chunks]) for name in present}
    labels = np.concatenate([chunk.labels for chunk in chunks])
    read_only(lines, labels, *numbers.values())
    texts = {name: [cell for chunk in chunks for cell in chunk.texts[name]] for name in header.extra}
    return Table(numbers, labels, texts, present, lines, header.unit, source, tuple(comments))
