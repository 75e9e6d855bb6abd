"""The table of pockets for the terminal: worst margin first, 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from floorfit.plain_text import printable
from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from rich.table import Table

    from floorfit.record import Decision, Record

__all__ = ["pocket_table"]


def pocket_table(record: Record, most: int = 200) -> Table:
    """Return a table of the pockets: held and doubtful ones first, then by margin.

    Parameters
    ----------
    record : Record
    most : int
        Rows at most; the rest is counted in the caption.
    """
    from rich.markup import escape
    from rich.table import Table

    unit = record.part["units"]
    rows = sorted(record.decisions, key=_urgency)
    caption = f"and {len(rows) - most} more, see offsets.csv" if len(rows) > most else None
    table = Table(box=None, pad_edge=False, header_style="bold", caption=caption)
    table.add_column("pocket", max_width=16, overflow="ellipsis", no_wrap=True)
    table.add_column("action")
    for name in (f"offset {unit}", "± (k=2)", f"web after {unit}", "margin", "P"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("verdict")
    for one in rows[:most]:
        table.add_row(escape(printable(one.pocket)), one.action, *_cells(one, unit), one.verdict)
    return table


def _urgency(one: Decision) -> tuple[int, float]:
    rank = 0 if one.action == "hold" else 1 if one.verdict != "conform" else 2
    return rank, float("inf") if one.margin_mm is None else one.margin_mm


def _cells(one: Decision, unit: str) -> list[str]:
    after = f"{_text(one.web_after_min_mm, unit)}…{_text(one.web_after_max_mm, unit)}"
    if one.web_after_min_mm is None:
        after = "–"
    chance = "–" if one.conformance_probability is None else f"{one.conformance_probability:.3f}"
    return [
        _text(one.offset_mm, unit, sign=True),
        _text(one.offset_u_mm, unit),
        after,
        _text(one.margin_mm, unit, sign=True),
        chance,
    ]


def _text(value: float | None, unit: str, *, sign: bool = False) -> str:
    if value is None:
        return "–"
    decimals = 3 if unit == "mm" else 4
    return f"{value / MM_PER_UNIT[unit]:{'+' if sign else ''}.{decimals}f}"
