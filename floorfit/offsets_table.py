"""The rows of ``offsets.csv``: the same cells in the file, in `Result.table` and wherever the table is asked for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from floorfit.decision.decision import Decision
from floorfit.units import MM_PER_UNIT

__all__ = [
    "DECIMALS", "OFFSET_COLUMNS", "length_cell", "length_cells", "number_cell", "number_cells", "offset_columns",
    "offset_header", "offset_row",
]  # fmt: skip

#: Columns with a length, and what a decision calls them; the unit is put in the name.
LENGTHS = (
    "offset_u", "web_before_min", "web_before_max", "web_after_min", "web_after_max", "web_lower_limit",
    "web_upper_limit",
)  # fmt: skip

OFFSET_COLUMNS = (
    "pocket", "action", "offset", "slope_x", "slope_y", *LENGTHS, "conformance_probability", "verdict", "reason",
    "readings_used",
)  # fmt: skip

#: Columns of words; all others hold numbers.
WORDS = ("pocket", "action", "verdict", "reason")

#: Decimals in a table, by unit: a tenth of a micrometre.
DECIMALS = {"mm": 4, "in": 6}


def offset_header(unit: str) -> list[str]:
    """Return the names of the columns, lengths with their unit."""
    return [f"{name}_{unit}" if name in LENGTHS or name == "offset" else name for name in OFFSET_COLUMNS]


def offset_row(one: Decision, unit: str) -> list[str]:
    """Return the cells of a pocket.

    Parameters
    ----------
    one : Decision
    unit : {"mm", "in"}
        Of the lengths.
    """
    lengths = [length_cell(getattr(one, f"{name}_mm"), unit) for name in LENGTHS]
    chance = "" if one.conformance_probability is None else f"{one.conformance_probability:.4f}"
    slopes = [number_cell(one.slope_x, 8), number_cell(one.slope_y, 8)]
    return [
        one.pocket, one.action, length_cell(one.offset_mm, unit), *slopes, *lengths, chance, one.verdict,
        str(one.reason), str(one.readings_used),
    ]  # fmt: skip


def offset_columns(decisions: Sequence[Decision], unit: str) -> dict[str, list[str | int | float | None]]:
    """Return the table as columns: the numbers that the file holds, None where it has an empty cell.

    Parameters
    ----------
    decisions : sequence of Decision
        In the part's order.
    unit : {"mm", "in"}
        Of the lengths.
    """
    rows = [offset_row(one, unit) for one in decisions]
    return {name: [_value(row[k], OFFSET_COLUMNS[k]) for row in rows] for k, name in enumerate(offset_header(unit))}


def _value(cell: str, column: str) -> str | int | float | None:
    if column in WORDS:
        return cell
    if column == "readings_used":
        return int(cell)
    return float(cell) if cell else None


def length_cell(value_mm: float | None, unit: str, *, extra: int = 0) -> str:
    """Return a length as it stands in a table; empty where it is not known.

    Parameters
    ----------
    value_mm : float or None, mm
    unit : {"mm", "in"}
        Of the table.
    extra : int
        Decimals beyond a tenth of a micrometre.
    """
    return "" if value_mm is None else number_cell(value_mm / MM_PER_UNIT[unit], DECIMALS[unit] + extra)


def length_cells(values_mm: ArrayLike, unit: str) -> list[str]:
    """Return lengths as they stand in a table; empty where one is not finite.

    Parameters
    ----------
    values_mm : (n,) array_like, mm
    unit : {"mm", "in"}
        Of the table.
    """
    return number_cells(np.asarray(values_mm, float) / MM_PER_UNIT[unit], DECIMALS[unit])


def number_cell(value: float, decimals: int) -> str:
    """Return a number with fixed decimals, without a negative zero; empty where it is not finite.

    Parameters
    ----------
    value : float
    decimals : int

    Examples
    --------
    >>> number_cell(-0.00001, 4), number_cell(float("nan"), 4)
    ('0.0000', '')
    """
    return number_cells([value], decimals)[0]


def number_cells(values: ArrayLike, decimals: int) -> list[str]:
    """Return the same for every number of a column.

    Parameters
    ----------
    values : (n,) array_like
    decimals : int
    """
    column, zero = np.asarray(values, float), f"{0:.{decimals}f}"
    finite, minus = np.isfinite(column), f"-{zero}"
    numbers = tuple(column[finite].tolist())
    texts = (f"%.{decimals}f\n" * len(numbers) % numbers).split("\n")[:-1]  # all in one call: half the time
    texts = [zero if text == minus else text for text in texts] if minus in texts else texts
    if len(texts) == len(column):
        return texts
    cells = np.full(len(column), "", object)
    cells[finite] = texts
    return list(cells.tolist())
