"""A sheet to sign: one page with all that a signature stands for, and a table behind it, as PDF.

A4 portrait, or letter where lengths are in inches (ISO 216; ANSI Y14.1). The same for a run and for finished webs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from floorfit.report.format import Display
from floorfit.report.labels import fitted
from floorfit.report.language import marked
from floorfit.report.sheet import draw_line, paper_of, put

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["SIGNATURES", "Column", "Listing", "SignSheet", "write_sheet"]

#: Who signs.
SIGNATURES = (marked("prepared"), marked("checked"), marked("released"))

_LEFT, _RIGHT_MARGIN, _TOP = 13.0, 13.0, 12.0
#: Height of a line of text and of a row of the appendix, mm; size of its text, points.
_LINE, _ROW, _SMALL = 4.3, 3.9, 6.6
#: Letters of a line of text.
_LETTERS = 108
#: Rows of the appendix on a page.
ROWS = 60


@dataclass(frozen=True)
class Column:
    """A column of a table: head, width in mm of paper, and whether numbers stand in it."""

    head: str
    width: float
    is_number: bool = False


@dataclass(frozen=True)
class Listing:
    """A table: columns, and rows of one text for each."""

    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True)
class SignSheet:
    """What a signature stands for.

    Parameters
    ----------
    title, name, headline : str
        What the sheet is, the part, and how it came out.
    identity : sequence of (str, str)
        Fields and texts; an empty text is a line to fill in by hand.
    measured, warnings : sequence of str
        Lines on what was measured and with which gauge, and what a person should know.
    counts : sequence of (str, str)
        Number and word of each verdict.
    worst, appendix : Listing
        The five that need a look first, and all.
    draw : callable
        Draws the small map into (left, bottom, width, height) in mm of paper.
    cautions : sequence of str
    """

    title: str
    name: str
    headline: str
    identity: Sequence[tuple[str, str]]
    measured: Sequence[str]
    counts: Sequence[tuple[str, str]]
    worst: Listing
    warnings: Sequence[str]
    cautions: Sequence[str]
    appendix: Listing
    draw: Callable[[Figure, tuple[float, float, float, float]], None]


def write_sheet(sheet: SignSheet, display: Display, path: Path) -> None:
    """Write a sheet to sign as PDF.

    Parameters
    ----------
    sheet : SignSheet
    display : Display
        Language of the headings; letter paper for inches.
    path : Path
        File to write; overwritten.

    Raises
    ------
    OSError
        If the file cannot be written.

    Notes
    -----
    The same sheet gives the same bytes with the same version of matplotlib.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    from floorfit.report.map import NOTHING, drawing

    table = list(sheet.appendix.rows)
    pieces = [table[k : k + ROWS] for k in range(0, len(table), ROWS)]
    total = 1 + len(pieces)
    with drawing(), PdfPages(path, metadata=NOTHING) as pdf:
        pdf.savefig(_front(sheet, display, f"1 / {total}"))
        for k, rows in enumerate(pieces):
            pdf.savefig(_behind(sheet, display, rows, f"{k + 2} / {total}"))


def _blank(title: str, display: Display, page: str) -> Figure:
    from matplotlib.figure import Figure

    size = (215.9, 279.4) if display.unit == "in" else (210.0, 297.0)
    figure = Figure(figsize=(size[0] / 25.4, size[1] / 25.4), facecolor="white")
    put(figure, _LEFT, size[1] - _TOP - 3, title, 13, bold=True)
    put(figure, size[0] - _RIGHT_MARGIN, size[1] - _TOP - 3, f"{display.words('page')} {page}", 8.5, align="right")
    return figure


def _front(sheet: SignSheet, display: Display, page: str) -> Figure:
    say = display.words
    figure = _blank(sheet.title, display, page)
    wide, high = paper_of(figure)
    room = wide - _LEFT - _RIGHT_MARGIN
    y = high - _TOP - 10
    put(figure, _LEFT, y, fitted(sheet.name, 11, room, bold=True), 11, bold=True)
    y = _identity(figure, sheet.identity, y - 6, room)
    for line in wrap(sheet.headline, 84):
        put(figure, _LEFT, y, line, 10.5, bold=True)
        y -= 5
    y = _counts(figure, sheet.counts, y - 1, room)
    y = _lines(figure, say("Measured"), sheet.measured, y, room)
    y = _heading(figure, say("Look at these first"), y)
    y = _table(figure, sheet.worst.columns, sheet.worst.rows, y) - 2
    y = _lines(figure, say("Warnings"), sheet.warnings or [say("none")], y, room)
    floor = _signatures(figure, sheet.cautions, display)
    sheet.draw(figure, (_LEFT, floor + 3, room, y - floor - 3))
    return figure


def _behind(sheet: SignSheet, display: Display, rows: Sequence[Sequence[str]], page: str) -> Figure:
    figure = _blank(f"{sheet.title}: {display.words('appendix')}", display, page)
    wide, high = paper_of(figure)
    put(figure, _LEFT, high - _TOP - 9, fitted(sheet.name, 8, wide - 2 * _LEFT), 8)
    _table(figure, sheet.appendix.columns, rows, high - _TOP - 15)
    return figure


def _identity(figure: Figure, fields: Sequence[tuple[str, str]], y: float, room: float) -> float:
    """Write fields in two columns; an empty one as a line to write on. Return the level below."""
    half = room / 2
    for k, (name, text) in enumerate(fields):
        x, level = _LEFT + half * (k % 2), y - 5 * (k // 2)
        put(figure, x, level, fitted(name, 8, 30), 8)
        if text:
            put(figure, x + 31, level, fitted(text, 8, half - 34, bold=True), 8, bold=True)
        else:
            _rule(figure, x + 31, x + half - 4, level - 0.8)
    return y - 5 * ((len(fields) + 1) // 2) - 2


def _counts(figure: Figure, counts: Sequence[tuple[str, str]], y: float, room: float) -> float:
    step = room / max(1, len(counts))
    for k, (number, words) in enumerate(counts):
        put(figure, _LEFT + k * step, y - 2, number, 12, bold=True)
        put(figure, _LEFT + k * step, y - 6, fitted(words, 7.5, step - 1), 7.5)
    return y - 10


def _heading(figure: Figure, text: str, y: float) -> float:
    put(figure, _LEFT, y - 3, text, 9, bold=True)
    return y - 7.5


def _lines(figure: Figure, title: str, lines: Sequence[str], y: float, room: float) -> float:
    """Write a heading and lines under it, each in three rows at most; return the level below."""
    y = _heading(figure, title, y)
    for row in (row for line in lines for row in wrap(line, _LETTERS)[:3]):
        put(figure, _LEFT, y, fitted(row, 8, room), 8)
        y -= _LINE
    return y


def _table(figure: Figure, columns: Sequence[Column], rows: Sequence[Sequence[str]], y: float) -> float:
    """Write heads and rows; return the level below."""
    x = _LEFT
    right = _LEFT + sum(column.width for column in columns)
    for k, column in enumerate(columns):
        at, align = (x + column.width - 2, "right") if column.is_number else (x, "left")
        put(figure, at, y, fitted(column.head, _SMALL, column.width - 1.5, bold=True), _SMALL, bold=True, align=align)
        for j, row in enumerate(rows):
            text = fitted(row[k], _SMALL, column.width - 1.5)
            put(figure, at, y - _ROW * (j + 1) - 0.6, text, _SMALL, align=align)
        x += column.width
    _rule(figure, _LEFT, right, y - 1.3)
    return y - _ROW * (len(rows) + 1)


def _signatures(figure: Figure, cautions: Sequence[str], display: Display) -> float:
    """Draw the block to sign at the foot; return the level above it."""
    say = display.words
    wide, _ = paper_of(figure)
    for k, line in enumerate(cautions):
        put(figure, _LEFT, 12 + 3.6 * (len(cautions) - 1 - k), fitted(line, 7, wide - 2 * _LEFT), 7)
    base = 12 + 3.6 * len(cautions) + 4
    step = (wide - _LEFT - _RIGHT_MARGIN) / len(SIGNATURES)
    for k, word in enumerate(SIGNATURES):
        x = _LEFT + k * step
        put(figure, x, base + 19, say(word), 8.5, bold=True)
        for j, name in enumerate((say("signature"), say("date"), say("name"))):
            put(figure, x, base + 6.5 * j, name, 7)
            _rule(figure, x + 17, x + step - 4, base + 6.5 * j - 0.6)
    return base + 24


def _rule(figure: Figure, x0: float, x1: float, y: float) -> None:
    draw_line(figure, [x0, x1], [y, y], linewidth=0.5)
