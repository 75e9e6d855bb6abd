"""The tables that a user reviews an extraction with: edits, and ids from a list."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from floorfit.errors import Finding, InputError

__all__ = ["ACTIONS", "Edit", "read_edits", "read_id_list"]

#: What can be done, and how many numbers its value has; -1 for a text, -2 for places.
ACTIONS = {"take": 0, "drop": 0, "split": 4, "merge": -2, "rename": -1, "tolerance": 2, "stock": 1, "web": 1}
#: Actions that change which floors there are; they name them by places, since ids come afterwards.
SHAPING = ("take", "drop", "split", "merge")


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

    Raises
    ------
    InputError
        With every fault of the list.
    """
    file = Path(path)
    out, findings = [], []
    for number, cells in _rows(file, ("action", "where", "value")):
        edit = _edit(cells, f"{file.name}, line {number}")
        if isinstance(edit, str):
            findings.append(Finding("bad-edit", file.name, f"line {number}", edit))
        else:
            out.append(edit)
    if findings:
        raise InputError(findings)
    return tuple(out)


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
    text = value if wanted == -1 else ""
    return Edit(action, place or (), spot if named else "", () if wanted == -1 else numbers or (), text, where)


def _numbers(text: str) -> tuple[float, ...] | None:
    """Numbers parted by blanks; None where it is something else."""
    try:
        values = tuple(float(word) for word in text.split())
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
    first = next(iter(_lines(file)), (0, ""))[1].replace(" ", "").lower()
    if first == "id":
        return tuple((cells[0], ()) for _, cells in _rows(file, ("id",)))
    out, findings = [], []
    for number, (name, *place) in _rows(file, ("id", "x", "y")):
        xy = _numbers(" ".join(place))
        if not name or xy is None or len(xy) != 2:
            words = f"{name!r} at {' '.join(place)!r} came, an id and two numbers were expected. Correct the row."
            findings.append(Finding("bad-row", file.name, f"line {number}", words))
        else:
            out.append((name, xy))
    if findings:
        raise InputError(findings)
    return tuple(out)


def _lines(file: Path) -> list[tuple[int, str]]:
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        words = "cannot be read as a UTF-8 text file. Check the path and the encoding."
        raise InputError([Finding("no-table", str(file), "", words)]) from error
    return [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]


def _rows(file: Path, columns: tuple[str, ...]) -> list[tuple[int, list[str]]]:
    """Cells of each line after the header, in the order of the columns."""
    lines = _lines(file)
    rows = [(n, [cell.strip() for cell in next(csv.reader([line]))]) for n, line in lines]
    if not rows or sorted(cell.lower() for cell in rows[0][1]) != sorted(columns):
        words = f"the header must name the columns {', '.join(columns)}. Correct the first line."
        raise InputError([Finding("bad-header", file.name, "line 1", words)])
    order = [[cell.lower() for cell in rows[0][1]].index(name) for name in columns]
    bad = [n for n, cells in rows[1:] if len(cells) != len(columns)]
    if bad:
        words = f"{len(columns)} cells were expected. Correct the row."
        raise InputError([Finding("bad-row", file.name, f"line {n}", words) for n in bad])
    return [(n, [cells[k] for k in order]) for n, cells in rows[1:]]
