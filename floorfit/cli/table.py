"""The table of pockets for the terminal: held first, then undecided and not conforming, then by margin; 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from floorfit.report.format import Display
from floorfit.report.listing import headings, listed

if TYPE_CHECKING:
    from rich.table import Table

    from floorfit.record import Record

__all__ = ["pocket_table"]

#: Columns of words.
WORDS = ("pocket", "action", "verdict")


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

    rows = listed(record.decisions, display)
    most = max(most, record.summary.held)
    caption = f"and {len(rows) - most} more, see offsets.csv" if len(rows) > most else None
    table = Table(box=None, pad_edge=False, header_style="bold", caption=caption, padding=(0, 1, 0, 0))
    for name in headings(display):
        side: Literal["left", "right"] = "left" if name in WORDS else "right"
        table.add_column(name, justify=side, no_wrap=True, max_width=14 if name == "pocket" else None)
    for row in rows[:most]:
        table.add_row(escape(row[0]), *row[1:])
    return table
