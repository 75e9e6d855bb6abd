"""Words from outside (names, labels, remarks) made harmless where they go: a terminal, or a spreadsheet."""

from __future__ import annotations

import csv
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path

__all__ = ["cell_text", "is_number", "plain_cell", "printable", "write_csv"]

#: A spreadsheet takes a cell that begins so for a formula (CWE-1236; OWASP, "CSV Injection").
_STARTS = ("=", "+", "-", "@", "\t", "\r")
_MARK = "'"


def printable(text: str) -> str:
    r"""Show what a terminal would obey instead of printing, as ``\x1b``; line ends stay.

    Parameters
    ----------
    text : str
        Control characters (Unicode class Cc) and marks that turn the order of letters round (Cf) are replaced.

    Returns
    -------
    str

    Examples
    --------
    >>> printable("P01\x1b[2J")
    'P01\\x1b[2J'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(one) if unicodedata.category(one) in ("Cc", "Cf", "Cs") else one for one in text)


def _shown(one: str) -> str:
    return one if one == "\n" else one.encode("unicode_escape").decode("ascii")


def plain_cell(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run; a number stays a number.

    Parameters
    ----------
    text : str
        A cell of a table.

    Returns
    -------
    str
        `cell_text` gives the text back.

    Examples
    --------
    >>> plain_cell("=2+3"), plain_cell("-2.5"), plain_cell("P01")
    ("'=2+3", '-2.5', 'P01')
    """
    return _MARK + text if text.lstrip(_MARK).startswith(_STARTS) and not is_number(text) else text


def cell_text(cell: str) -> str:
    """Return the text of a cell that `plain_cell` made.

    Examples
    --------
    >>> cell_text(plain_cell("=2+3"))
    '=2+3'
    """
    bare = cell.removeprefix(_MARK)
    return bare if bare.lstrip(_MARK).startswith(_STARTS) else cell


def is_number(text: str) -> bool:
    """Whether text is a number, with a decimal point or a decimal comma."""
    try:
        float(text.replace(",", ".", 1))
    except ValueError:
        return False
    return True


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]], delimiter: str = ",") -> None:
    """Write a table, UTF-8, LF, with cells that no spreadsheet runs.

    Parameters
    ----------
    path : Path
    header : sequence of str
    rows : iterable of sequence of str
    delimiter : str
        Between cells.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(map(plain_cell, header))
        writer.writerows(map(plain_cell, row) for row in rows)
