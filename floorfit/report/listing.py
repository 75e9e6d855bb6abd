"""The pockets as a short table of words: the same cells in the terminal, in a console's answer and in a notebook."""

from __future__ import annotations

import html
from collections.abc import Sequence

from floorfit.plain_text import printable
from floorfit.record import Decision
from floorfit.report.actions import compass, label_of, urgency
from floorfit.report.format import MISSING, Display, display_for

__all__ = ["as_html", "as_text", "headings", "listed"]

#: Pockets shown in a console, and in a notebook.
MOST_LINES, MOST_ROWS = 12, 200


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
    display = display_for(unit)
    rows = listed(decisions, display)
    shown = [headings(display), *([cell[:16] for cell in row] for row in rows[:MOST_LINES])]
    widths = [max(len(row[k]) for row in shown) for k in range(len(shown[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in shown]
    more = [f"and {len(rows) - MOST_LINES} more: see .table()"] if len(rows) > MOST_LINES else []
    return "\n".join([f"Result of {printable(name)[:60]!r}: {printable(sentence)[:400]}", *lines, *more])


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
    display = display_for(unit)
    rows = listed(decisions, display)
    head = "".join(f"<th>{html.escape(cell)}</th>" for cell in headings(display))
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows[:MOST_ROWS]
    )
    more = f"<p>and {len(rows) - MOST_ROWS} more: see .table()</p>" if len(rows) > MOST_ROWS else ""
    title = f"<p><b>{html.escape(printable(name))}</b>: {html.escape(printable(sentence))}</p>"
    return f"{title}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"
