"""What a corrected programme's cutters leave of each floor: the table beside it, its columns, and how it is read."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from floorfit.decision.decision import Decision
from floorfit.errors import Finding, InputError
from floorfit.json_file import read_text
from floorfit.plain_text import cell_text
from floorfit.record import Record
from floorfit.units import MM_PER_UNIT

__all__ = ["COLUMNS", "WORDS", "CutterLeft", "column_names", "read_cutter_left"]

#: Columns; lengths get the part file's unit, ``web_…`` are those of offsets.csv with what the cutter leaves added, and
#: ``programme_off``, the height over the nominal floor at which the programme cuts before any offset.
COLUMNS = (
    "pocket", "action", "motions", "blocks_changed", "least_dz", "greatest_dz", "too_deep", "left_high",
    "left_high_area", "left_high_x", "left_high_y", "web_after_min", "web_after_max", "programme_off",
)  # fmt: skip
#: So many of them, the first, have no unit.
WORDS = 4
#: A web of the table and its parts agree to this, in the last decimals written: two roundings.
_ROUNDINGS = 2.0


@dataclass(frozen=True)
class CutterLeft:
    """What the cutters leave of one floor beside what was decided.

    Parameters
    ----------
    deep, high : float, mm
        Greatest depth below it, and greatest height left above it; 0 where nowhere.
    off : float, mm
        How much higher the whole floor is cut, since the programme does not cut it at the part file's Z; 0 where it
        does.
    """

    deep: float = 0.0
    high: float = 0.0
    off: float = 0.0


def column_names(unit: str) -> list[str]:
    """Return the header in a unit.

    Parameters
    ----------
    unit : {"mm", "in"}
    """
    return [*COLUMNS[:WORDS], *(f"{name}_{unit}{'2' if 'area' in name else ''}" for name in COLUMNS[WORDS:])]


def read_cutter_left(record: Record, table: str | Path) -> tuple[CutterLeft | None, ...]:
    """Read the table back, a value for each floor of the job; None where the programme does not come near it.

    Parameters
    ----------
    record : Record
        Of the job.
    table : path
        The table beside the corrected programme (``PROGRAM.csv``).

    Raises
    ------
    InputError
        If the table cannot be read, or is not of this job.
    """
    path, unit = Path(table), str(record.part["units"])
    rows = _read(path, unit)
    if list(rows) != [decision.pocket for decision in record.decisions]:
        _refuse(path, "line 1", "its pockets are not those of this job")
    scale = MM_PER_UNIT["in" if unit == "in" else "mm"]
    return tuple(
        _left(decision, rows[decision.pocket], scale, path, line)
        for line, decision in enumerate(record.decisions, start=2)
    )


def _read(path: Path, unit: str) -> dict[str, dict[str, float | None]]:
    """Numbers by pocket and name of the column, in the table's unit; None where a cell is empty."""
    rows = list(csv.reader(read_text(path).splitlines()))
    if not rows or rows[0] != column_names(unit):
        _refuse(path, "line 1", f"its columns are not those of the table that apply writes in {unit}")
    out = {}
    for number, row in enumerate(rows[1:], start=2):
        try:
            cells = [float(cell) if cell else None for cell in row[WORDS:]]
            out[cell_text(row[0])] = dict(zip(COLUMNS[WORDS:], cells, strict=True))
        except (ValueError, IndexError) as error:
            _refuse(path, f"line {number}", f"{error}: not a row of the table")
    return out


def _refuse(path: Path, place: str, text: str) -> NoReturn:
    told = f"{text}. Expected the table that apply wrote beside the programme corrected with this job."
    raise InputError([Finding("left-table", path.name, place, told)])


def _left(
    decision: Decision, row: Mapping[str, float | None], scale: float, path: Path, line: int
) -> CutterLeft | None:
    least, most = row["web_after_min"], row["web_after_max"]
    if least is None or most is None or decision.web_after_min_mm is None or decision.web_after_max_mm is None:
        return None
    low, high = least * scale - decision.web_after_min_mm, most * scale - decision.web_after_max_mm
    deep, over = (row["too_deep"] or 0.0) * scale, (row["left_high"] or 0.0) * scale
    off = (row["programme_off"] or 0.0) * scale
    slack = _ROUNDINGS * (1e-4 if scale == 1.0 else 1e-6 * scale)
    for way in (0.0, off):
        if abs(low + deep - way) <= slack and abs(high - over - way) <= slack:
            return CutterLeft(deep, over, way)
    _refuse(path, f"line {line}", f"pocket {decision.pocket}: its webs are not those of this job")
