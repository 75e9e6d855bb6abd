"""The tables that a user reviews an extraction with: edits, and ids from a list."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from floorfit.errors import Finding, InputError

__all__ = ["ACTIONS", "Edit", "read_edits", "read_id_list", "table_rows"]

Row = TypeVar("Row")

#: What can be done, and how many numbers its value has; -1 for a text, -2 for places.
ACTIONS = {"take": 0, "drop": 0, "split": 4, "merge": -2, "rename": -1, "tolerance": 2, "stock": 1, "web": 1}
#: Actions that change which floors there are; they name them by places, since ids come afterwards.
SHAPING = ("take", "drop", "split", "merge")
#: What spreadsheets make of an id such as 3-2, 3-2-24 or 1E3: a month by name with a day or a year, a date, a power.
_MONTH = "(jan|feb|mar|mär|mrz|apr|may|mai|jun|jul|aug|sep|sept|oct|okt|nov|dec|dez)[.]?"
_DATE = re.compile(
    rf"\d+[-. ]+{_MONTH}([-. ]+\d+)?|{_MONTH}[- ]+\d\d|\d{{4}}-\d\d-\d\d|\d+([./])\d+\4\d{{4}}|\d+[.,]?\d*E[-+]\d+",
    re.IGNORECASE,
)
#: What stands round a header, a comment or in an empty row that a spreadsheet wrote.
_PADDING = ' ;,\t"'
_NO_ID = "the id {!r} came, which a spreadsheet makes of ids such as 3-2 or 1E3. Write it again, in a column of text."


@dataclass(frozen=True)
class Edit:
    """One line of an edit list, lengths in the part file's unit.

    Parameters
    ----------
    action : str
        One of `ACTIONS`.
    place : tuple of float
        (x, y) or (x, y, z) on the floor; empty where ``name`` says which.
    name : str
        Id of the pocket, or ``all``; empty where ``place`` says which.
    numbers : tuple of float
        Value.
    text : str
        Value of ``rename``.
    where : str
        File and line, for messages.
    """

    action: str
    place: tuple[float, ...]
    name: str
    numbers: tuple[float, ...]
    text: str
    where: str


def read_edits(path: str | Path) -> tuple[Edit, ...]:
    """Read an edit list: CSV with the columns ``action, where, value``.

    ``where`` is a place on the floor, "x y" or "x y z" with blanks, in the part file's unit; for rename, tolerance,
    stock and web also an id, for the last three also ``all``. ``value``: of split the two ends of a line, "x y x y";
    of merge the places of the other floors, "x y x y …"; of rename an id; of tolerance "lower upper"; of stock and
    web a length; of take and drop nothing. ``#`` starts a comment.
    An id that looks like what a spreadsheet makes of one (02. Mar of 3-2) is refused.

    Raises
    ------
    InputError
        With every fault of the list.
    """
    return tuple(table_rows(Path(path), ("action", "where", "value"), _edit, "bad-edit"))


def _edit(cells: list[str], where: str) -> Edit | str:
    """One line, or what is wrong with it."""
    action, spot, value = cells
    if action not in ACTIONS:
        return f"the action {action!r} came, one of {', '.join(ACTIONS)} was expected. Correct it."
    place, numbers = _numbers(spot), _numbers(value)
    named = place is None
    if (named and (action in SHAPING or not spot)) or (place is not None and len(place) not in (2, 3)):
        return f"where {spot!r} came, a place on the floor was expected, as in 120 80. Correct it."
    wanted = ACTIONS[action]
    count = -1 if numbers is None else len(numbers)
    right = value != "" if wanted == -1 else (count >= 2 and count % 2 == 0) if wanted == -2 else count == wanted
    if not right:
        return f"the value {value!r} of {action} came; see `floorfit extract --help` for what it takes. Correct it."
    if action == "tolerance" and numbers is not None and not numbers[0] < numbers[1]:
        return f"the tolerance {value!r} came, the lower limit first was expected. Correct it."
    if action in ("stock", "web") and numbers is not None and numbers[0] < 0.0:
        return f"{action} {value} came, 0 or more was expected. Correct it."
    if action == "rename" and _DATE.fullmatch(value):
        return _NO_ID.format(value)
    text = value if wanted == -1 else ""
    return Edit(action, place or (), spot if named else "", () if wanted == -1 else numbers or (), text, where)


def _numbers(text: str) -> tuple[float, ...] | None:
    """Numbers parted by blanks, with point or decimal comma; None where it is something else."""
    try:
        values = tuple(map(float, text.replace(",", ".").split()))
    except ValueError:
        return None
    return values if all(abs(value) < 1e6 for value in values) else None


def read_id_list(path: str | Path) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """Read ids: CSV with the column ``id`` (in reading order), or ``id, x, y`` (a place on each floor).

    Raises
    ------
    InputError
        With every fault of the list.
    """
    file = Path(path)
    first = next(iter(_lines(file)), (0, ""))[1].strip(_PADDING).lower()
    columns = ("id",) if first == "id" else ("id", "x", "y")
    return tuple(table_rows(file, columns, _named_place, "bad-row"))


def _named_place(cells: list[str], _where: str) -> tuple[str, tuple[float, ...]] | str:
    name, *place = cells
    xy = _numbers(" ".join(place))
    if place and (not name or xy is None or len(xy) != 2):
        return f"{name!r} at {' '.join(place)!r} came, an id and two numbers were expected. Correct the row."
    if _DATE.fullmatch(name):
        return _NO_ID.format(name)
    return name, xy or ()


def _lines(file: Path) -> list[tuple[int, str]]:
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        words = "cannot be read as a UTF-8 text file. Check the path and the encoding."
        raise InputError([Finding("no-table", str(file), "", words)]) from error
    lines = enumerate(text.splitlines(), 1)
    return [(n, line) for n, line in lines if line.strip(_PADDING) and not line.lstrip(_PADDING).startswith("#")]


def _cells(line: str, mark: str) -> list[str]:
    """Cells of a line but for empty ones at its end: spreadsheets add some, people leave some out."""
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
    while cells and not cells[-1]:
        del cells[-1]
    return cells


def table_rows(
    file: Path, columns: tuple[str, ...], parse: Callable[[list[str], str], Row | str], code: str
) -> list[Row]:
    """Rows of a table: UTF-8, comma, semicolon or tab separated by its first line; ``#`` starts a comment.

    Parameters
    ----------
    file : Path
    columns : tuple of str
        Its header names these, in any order.
    parse : callable
        Takes the cells in the order of the columns, and file and line; gives the row, or what is wrong with it.
    code : str
        Of the findings.

    Raises
    ------
    InputError
        With every fault of the table.
    """
    lines = _lines(file)
    mark = next((mark for mark in ";\t" if lines and mark in lines[0][1]), ",")
    rows = [(n, _cells(line, mark)) for n, line in lines]
    header = [cell.lower() for cell in rows[0][1]] if rows else []
    if sorted(header) != sorted(columns):
        words = f"the header must name the columns {', '.join(columns)}. Correct the first line."
        raise InputError([Finding("bad-header", file.name, "line 1", words)])
    order = [header.index(name) for name in columns]
    out, findings = [], []
    for n, cells in rows[1:]:
        row: Row | str = f"{len(cells)} cells came, {len(columns)} were expected. Correct the row."
        cells += [""] * (len(columns) - len(cells))
        if len(cells) == len(columns):
            row = parse([cells[k] for k in order], f"{file.name}, line {n}")
        if isinstance(row, str):
            findings.append(Finding(code, file.name, f"line {n}", row))
        else:
            out.append(row)
    if findings:
        raise InputError(findings)
    return out
