"""The table of pockets for the terminal: held first, then undecided and not conforming, then by margin; 80 columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from floorfit.report.format import Display
from floorfit.report.listing import headings, in_columns, listed

if TYPE_CHECKING:
    from floorfit.decision import Decision

__all__ = ["pocket_table"]


def pocket_table(decisions: Sequence[Decision], display: Display, most: int = 200) -> str:
    """Return a table of the pockets: held and doubtful ones first, then by margin.

    Parameters
    ----------
    decisions : sequence of Decision
    display : Display
        Unit and decimal sign.
    most : int
        Rows at most; the rest is counted below. Held floors are all shown.
    """
    rows = listed(decisions, display)
    most = max(most, sum(one.action == "hold" for one in decisions))
    more = [f"and {len(rows) - most} more, see offsets.csv"] if len(rows) > most else []
    return "\n".join([*in_columns([headings(display), *rows[:most]]), *more])
