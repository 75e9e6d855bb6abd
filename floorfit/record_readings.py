"""Readings of a large job: they stay in ``readings.csv``, and the record holds the decisions and the surface.

A record of a million readings would be 140 MB of text that says what the table beside it says already.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator
from itertools import chain
from pathlib import Path
from typing import Any

from floorfit.errors import Finding, InputError
from floorfit.plain_text import cell_text
from floorfit.units import MM_PER_UNIT

__all__ = ["MOST_IN_RECORD", "columns_of"]

#: Readings up to which the record holds them itself.
MOST_IN_RECORD = 20_000

_LENGTHS = ("x", "y", "thickness", "z", "u")


def columns_of(path: Path, floors: Collection[str]) -> dict[str, list[Any]]:
    """Read the columns of the record's readings back from a job's ``readings.csv``, lengths in mm.

    Parameters
    ----------
    path : Path
        As `floorfit.folder.write` writes it, with decimal points or commas.
    floors : collection of str
        Ids of the part's floors.

    Returns
    -------
    dict
        A list for each column; what the table does not hold (``loo_mm``) is None.

    Raises
    ------
    InputError
        If the file is missing or is not such a table.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            first = file.readline()
            return _columns(csv.reader(chain([first], file), delimiter=";" if ";" in first else ","), floors)
    except (OSError, ValueError, KeyError, IndexError, StopIteration) as error:
        text = f"cannot be read ({error}); the record leaves its readings there. Put it back as `correct` wrote it."
        raise InputError([Finding("bad-readings", str(path), "", text)]) from error


def _columns(rows: Iterator[list[str]], floors: Collection[str]) -> dict[str, list[Any]]:
    head = {name: k for k, name in enumerate(next(rows))}
    unit = "in" if "x_in" in head else "mm"
    table = list(rows)
    texts = {name: [row[head[name]] for row in table] for name in ("line", "pocket", "used", "reason")}
    out: dict[str, list[Any]] = {f"{name}_mm": _numbers(table, head[f"{name}_{unit}"], unit) for name in _LENGTHS}
    out |= {name: _numbers(table, head[name], "mm") for name in ("warp_mm", "residual_mm")}
    is_used = [cell == "yes" for cell in texts["used"]]
    return out | {
        "line": [int(cell) for cell in texts["line"]], "reason": texts["reason"],
        "label": [cell_text(cell) for cell in texts["pocket"]],
        "floor": [name if name in floors else "" for name in texts["pocket"]], "used": is_used,
        "loo_mm": [None] * len(table), "weight": [1.0 if used else 0.0 for used in is_used],
    }  # fmt: skip


def _numbers(table: list[list[str]], column: int, unit: str) -> list[float | None]:
    scale = MM_PER_UNIT[unit]
    return [float(row[column].replace(",", ".")) * scale if row[column] else None for row in table]
