"""A job's record with what the cutter leaves: the table that ``apply`` writes, put into the predicted webs."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from floorfit.decision.decision import Decision, Reason
from floorfit.errors import Finding, InputError
from floorfit.nc.left_table import COLUMNS, WORDS, column_names
from floorfit.plain_text import cell_text
from floorfit.record import Record, record_of
from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from floorfit.result import Result

__all__ = ["as_cut"]

#: A web of the table and its parts agree to this, in the last decimals written: two roundings.
_ROUNDINGS = 2.0


def as_cut(job: Record | Result | str | Path, table: str | Path) -> Record:
    """Return a job's record with the webs that a corrected programme leaves, for `floorfit.report`.

    Webs after correction, their intervals and margins take what the sweep found too deep, left high, or cut at another
    height than the part file's. Probabilities stay those of the decision, which does not know the cutter; a floor whose
    web is out of its limits with it is undecided. A note at each floor, and a finding, say so. Nothing else changes.

    Parameters
    ----------
    job : Record, Result or path
        A run, its record, or its job folder.
    table : path
        The table beside the corrected programme (``PROGRAM.csv``).

    Raises
    ------
    InputError
        If the table cannot be read, or is not of this job.
    """
    record, path = record_of(job), Path(table)
    unit = str(record.part["units"])
    rows = _read(path, unit)
    if list(rows) != [decision.pocket for decision in record.decisions]:
        _refuse(path, "line 1", "its pockets are not those of this job")
    scale = MM_PER_UNIT["in" if unit == "in" else "mm"]
    decisions = [
        _with_left(decision, rows[decision.pocket], scale, path, line)
        for line, decision in enumerate(record.decisions, start=2)
    ]
    text = "webs after correction are those that the corrected programme leaves; probabilities do not count the cutter."
    told = {"code": "as-cut", "source": path.name, "place": "", "text": text, "severity": "note"}
    return record.model_copy(update={"decisions": decisions, "findings": [*record.findings, told]})


def _read(path: Path, unit: str) -> dict[str, dict[str, float | None]]:
    """Numbers by pocket and name of the column, in the table's unit; None where a cell is empty."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        text = f"cannot be read as UTF-8 text ({error}). Check the path."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error
    rows = list(csv.reader(lines))
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


def _refuse(path: Path, place: str, text: str) -> None:
    told = f"{text}. Expected the table that apply wrote beside the programme corrected with this job."
    raise InputError([Finding("left-table", path.name, place, told)])


def _with_left(decision: Decision, row: Mapping[str, float | None], scale: float, path: Path, line: int) -> Decision:
    least, most = row["web_after_min"], row["web_after_max"]
    if least is None or most is None or decision.web_after_min_mm is None or decision.web_after_max_mm is None:
        return decision
    low, high = least * scale - decision.web_after_min_mm, most * scale - decision.web_after_max_mm
    deep, over = (row["too_deep"] or 0.0) * scale, (row["left_high"] or 0.0) * scale
    off = (row["programme_off"] or 0.0) * scale
    slack = _ROUNDINGS * (1e-4 if scale == 1.0 else 1e-6 * scale)
    if not any(abs(low + deep - way) <= slack and abs(high - over - way) <= slack for way in (0.0, off)):
        _refuse(path, f"line {line}", f"pocket {decision.pocket}: its webs are not those of this job")
    webs = (decision.web_after_min_mm + low, decision.web_after_max_mm + high)
    bounds = [
        None if end is None else end + by for end, by in zip(decision.web_after_interval_mm, (low, high), strict=True)
    ]
    limits = (decision.web_lower_limit_mm, decision.web_upper_limit_mm)
    room = [sign * (web - limit) for sign, web, limit in zip((1, -1), webs, limits, strict=True) if limit is not None]
    margin = decision.margin_mm if decision.margin_mm is None else min([decision.margin_mm, *room])
    text = f"As cut by {path.name}: at most {deep:.3f} mm too deep and {over:.3f} mm left high. P does not count it."
    changed = dataclasses.replace(
        decision,
        web_after_min_mm=webs[0],
        web_after_max_mm=webs[1],
        web_after_interval_mm=(bounds[0], bounds[1]),
        margin_mm=margin,
        notes=(*decision.notes, text),
    )
    if min(room, default=0.0) >= 0 or decision.verdict != "conform":
        return changed
    reason = Reason("tolerance", "with what the cutter leaves, the web is out of its limits: correct the programme.")
    return dataclasses.replace(changed, verdict="undecided", reason=decision.reason or reason)
