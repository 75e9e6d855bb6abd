"""The table of pockets for the terminal: held first, then undecided and not conforming, then by margin; 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from floorfit.plain_text import printable
from floorfit.report.actions import compass, label_of, urgency
from floorfit.report.format import MISSING, Display

if TYPE_CHECKING:
    from rich.table import Table

    from floorfit.record import Decision, Record

__all__ = ["pocket_table"]


def pocket_table(record: Record, display: Display, most: int = 200) -> Table:
    """Return a table of the pockets: held and doubtful ones first, then by margin.

    Parameters
    ----------
    record : Record
    display : Display
        Unit and decimal sign.
    most : int
        Rows at most; the rest is counted in the caption. Held floors are all shown.
    """
    from rich.markup import escape
    from rich.table import Table

    rows = sorted(record.decisions, key=urgency)
    most = max(most, record.summary.held)
    caption = f"and {len(rows) - most} more, see offsets.csv" if len(rows) > most else None
    table = Table(box=None, pad_edge=False, header_style="bold", caption=caption, padding=(0, 1, 0, 0))
    table.add_column("pocket", max_width=14, overflow="ellipsis", no_wrap=True)
    table.add_column("action", no_wrap=True)
    for name in (f"offset {display.unit}", "±(k=2)", "web after", "margin", "P", "n"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    for one in rows[:most]:
        table.add_row(escape(printable(one.pocket)), *_cells(one, display), one.verdict)
    return table


def _cells(one: Decision, display: Display) -> list[str]:
    said = label_of(one, display)
    action = said.action if said.angle is None else f"{said.action} {compass(said.angle)}{said.more}"
    offset = said.more if one.action == "follow" else display.length(one.offset_mm, sign=True)
    after = f"{display.length(one.web_after_min_mm)}…{display.length(one.web_after_max_mm)}"
    return [
        action.removesuffix(" ?").removesuffix(" !"), offset, display.length(one.offset_u_mm),
        MISSING if one.web_after_min_mm is None else after, display.length(one.margin_mm, sign=True),
        display.plain(one.conformance_probability, 3), str(one.readings_used),
    ]  # fmt: skip
