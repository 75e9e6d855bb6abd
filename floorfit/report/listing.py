"""The pockets as a short table of words: the same cells in the terminal, in a console's answer and in a notebook."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING

from floorfit.plain_text import printable
from floorfit.report.actions import compass, label_of, urgency
from floorfit.report.format import MISSING, Display, display_for

if TYPE_CHECKING:
    from floorfit.record import Decision

__all__ = ["as_html", "as_text", "headings", "in_columns", "listed", "pocket_table"]

#: Pockets shown in a console, and in a notebook.
MOST_LINES, MOST_ROWS = 12, 200
#: Columns of words; the others hold numbers.
WORDS = (0, 1, 8)
#: Signs of a pocket's id that are shown.
MOST_SIGNS = 14


def headings(display: Display) -> list[str]:
    """Return the headings of the table."""
    return ["pocket", "action", f"offset {display.unit}", "±(k=2)", "web after", "margin", "P", "n", "verdict"]


def listed(decisions: Sequence[Decision], display: Display) -> list[list[str]]:
    """Return a row for each pocket: held and doubtful ones first, then by margin.

    Parameters
    ----------
    decisions : sequence of Decision
    display : Display
        Unit and decimal sign.
    """
    return [[printable(one.pocket), *_cells(one, display), one.verdict] for one in sorted(decisions, key=urgency)]


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


def pocket_table(decisions: Sequence[Decision], display: Display, most: int = MOST_ROWS, *, where: str) -> str:
    """Return the table in 80 columns: words begin and numbers end at one place.

    Parameters
    ----------
    decisions : sequence of Decision
    display : Display
        Unit and decimal sign.
    most : int
        Rows at most; the rest is counted below.
    where : str
        Where the rest is.
    """
    rows = listed(decisions, display)
    more = [f"and {len(rows) - most} more{where}"] if len(rows) > most else []
    return "\n".join([*in_columns([headings(display), *rows[:most]]), *more])


def in_columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows of `listed`, headings among them, as lines."""
    shown = [[row[0] if len(row[0]) <= MOST_SIGNS else row[0][: MOST_SIGNS - 1] + "…", *row[1:]] for row in rows]
    room = [max(map(_width, column)) for column in zip(*shown, strict=True)]
    spaces = [[" " * (most - _width(cell)) for cell, most in zip(row, room, strict=True)] for row in shown]
    return [
        " ".join(
            cell + space if k in WORDS else space + cell for k, (cell, space) in enumerate(zip(row, gaps, strict=True))
        ).rstrip()
        for row, gaps in zip(shown, spaces, strict=True)
    ]


def _width(text: str) -> int:
    """Columns that a text takes in a terminal (Unicode Standard Annex 11)."""
    if text.isascii():
        return len(text)
    return sum(1 + (unicodedata.east_asian_width(sign) in "WF") - (unicodedata.combining(sign) > 0) for sign in text)


def as_text(name: str, sentence: str, decisions: Sequence[Decision], unit: str) -> str:
    """Return a run as text that fits a screen of 24 lines and 100 columns.

    Parameters
    ----------
    name : str
        Of the part.
    sentence : str
        How the run came out.
    decisions : sequence of Decision
    unit : {"mm", "in"}
    """
    table = pocket_table(decisions, display_for(unit), MOST_LINES, where=": see .table()")
    return f"Result of {printable(name)[:60]!r}: {printable(sentence)[:400]}\n{table}"


def as_html(name: str, sentence: str, decisions: Sequence[Decision], unit: str) -> str:
    """Return a run as a table for a notebook.

    Parameters
    ----------
    name : str
        Of the part.
    sentence : str
        How the run came out.
    decisions : sequence of Decision
    unit : {"mm", "in"}
    """
    import html

    display = display_for(unit)
    rows = listed(decisions, display)
    head = "".join(f"<th>{html.escape(cell)}</th>" for cell in headings(display))
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows[:MOST_ROWS]
    )
    more = f"<p>and {len(rows) - MOST_ROWS} more: see .table()</p>" if len(rows) > MOST_ROWS else ""
    title = f"<p><b>{html.escape(printable(name))}</b>: {html.escape(printable(sentence))}</p>"
    return f"{title}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"
