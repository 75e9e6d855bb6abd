"""Cells of a readings file turned into numbers: a column at a time, and cell by cell where that fails."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding, InputError
from floorfit.readings.columns import Field, Header

__all__ = ["Faults", "column_of_numbers", "shown"]

#: Faults that are listed one by one.
MOST_FAULTS = 20

#: Hyphens, dashes and the minus sign, for cells that hold nothing else.
DASHES = "-‐‑‒–—―−"


class Faults:
    """Faults as they are found: the first twenty in full, the others counted.

    Parameters
    ----------
    source : str
        File name for messages.
    """

    def __init__(self, source: str) -> None:
        """Start with none."""
        self.source = source
        self.findings: list[Finding] = []
        self.count = 0

    def add(self, code: str, line: int, column: str, text: str) -> None:
        """Note one fault.

        Parameters
        ----------
        code : str
            Of the finding.
        line : int
            Of the file.
        column : str
            Empty where the whole line is meant.
        text : str
            What came, what was expected, what to do.
        """
        self.count += 1
        place = f"line {line}, column {column}" if column else f"line {line}"
        if len(self.findings) < MOST_FAULTS:
            self.findings.append(Finding(code, self.source, place, text))

    def raise_if_any(self) -> None:
        """Raise what was noted.

        Raises
        ------
        InputError
            If anything was.
        """
        more = self.count - len(self.findings)
        if more:
            text = f"and {more} more faults of this kind or others. Correct these first."
            self.findings.append(Finding("more", self.source, "", text))
        if self.findings:
            raise InputError(self.findings)


def column_of_numbers(
    cells: Sequence[str], field: Field, header: Header, lines: NDArray[np.int64], name: str, faults: Faults
) -> Array:
    """Convert a column: quickly if all cells are plain numbers in range, else cell by cell.

    Parameters
    ----------
    cells : sequence of n str
        The column.
    field : Field
        What it may hold.
    header : Header
        Unit and delimiter.
    lines : (n,) ndarray of int
        Line numbers, for the faults.
    name : str
        The column's name as written.
    faults : Faults
        Takes the faults; their cells become NaN.

    Returns
    -------
    (n,) ndarray, mm (or °C, µs)
    """
    scale = header.scale if field.is_length else 1.0
    values = _numbers(cells, header.delimiter == ";")
    if values is not None:
        values *= scale
        if bool(np.all(_in_range(values, field))):
            return values
    result = np.empty(len(cells))
    for k, cell in enumerate(cells):
        value, fault = _cell(cell, field, scale, header.delimiter)
        result[k] = value
        if fault:
            faults.add(fault[0], int(lines[k]), name, fault[1])
    return result


def _numbers(cells: Sequence[str], has_decimal_comma: bool) -> Array | None:
    """Convert plain numbers; None where a cell is anything else (also ``1_000`` or other digits than ASCII)."""
    joined = "\n".join(cells)
    if not joined.isascii() or "_" in joined:
        return None
    parts: Sequence[str] = joined.replace(",", ".").split("\n") if has_decimal_comma and "," in joined else cells
    try:
        return np.fromiter(map(float, parts), dtype=float, count=len(cells))
    except ValueError:
        return None


def _in_range(values: Array | float, field: Field) -> Flags | bool:
    above = values > field.low if field.is_open else values >= field.low
    return above & (values <= field.high)


def _cell(cell: str, field: Field, scale: float, delimiter: str) -> tuple[float, tuple[str, str] | None]:
    """Convert one cell: the value, and the code and text of its fault or None."""
    text = cell.strip()
    if not text.strip(DASHES) or text.lower() == "nan":
        return (np.nan, None) if field.may_be_blank else (np.nan, _blank(text))
    number = _numbers([text], delimiter == ";")
    if number is None:
        return np.nan, ("not-a-number", _not_a_number(text, delimiter))
    value = float(number[0]) * scale
    if not math.isfinite(value):
        return np.nan, ("not-finite", f'"{shown(text)}" is not a finite number. Correct the value or remove the row.')
    if not _in_range(value, field):
        return np.nan, ("out-of-range", _out_of_range(text, field, scale))
    return value, None


def _blank(text: str) -> tuple[str, str]:
    came = f'"{shown(text)}" came' if text else "the cell is blank"
    return ("blank", f"{came}, a position was expected. Fill it in or remove the row.")


def _not_a_number(text: str, delimiter: str) -> str:
    hint = "Correct the value, or leave it blank where the gauge gave nothing."
    if delimiter == "," and "," in text:
        hint = "A decimal comma is understood only where semicolons separate the cells; write a decimal point."
    return f'"{shown(text)}" came, a number was expected. {hint}'


def _out_of_range(text: str, field: Field, scale: float) -> str:
    if field.is_open:
        return f"{shown(text)} came, a value above {field.low:g} was expected. Correct it or leave it blank."
    low, high = field.low / scale, field.high / scale
    return f"{shown(text)} came, a value from {low:.6g} to {high:.6g} was expected. Check the number and its unit."


def shown(text: str) -> str:
    """Show a cell in a message: at most 40 characters, none that a terminal would act on."""
    return "".join(c if c.isprintable() else "?" for c in text[:40])
