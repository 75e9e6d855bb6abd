"""Text into statements: a major word, a slash, fields; every field with the place where it stands."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import NamedTuple

from floorfit.nc.cl.cl_words import TEXT

__all__ = ["Statement", "StatementError", "StatementField", "bare", "read_statement", "sequence_end"]

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][-+]?\d+)?")
#: A sequence number before the word, kept as it is: digits, or N and digits and a blank.
_SEQUENCE = re.compile(r"[ \t]*(?:\d+[ \t]*|[Nn]\d+[ \t]+)(?=[A-Za-z$])")
#: The same before the rest of a statement: only where the first line has one, and never the number before a comma.
_SEQUENCE_AGAIN = re.compile(r"[ \t]*[Nn]?\d+[ \t]+(?=[-+.\dA-Za-z])")
#: Digits in columns 73 to 80 behind a blank: the number of a card (ISO 3592 records were cards once; common practice).
_CARD = re.compile(r"(.{71}[ \t])[ \t]*\d{1,8}[ \t]*$")
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f]")
_TEXT_WORD = re.compile(r"[ \t]*([A-Za-z]+)")


class StatementField(NamedTuple):
    """One field of a statement.

    Parameters
    ----------
    text : str
        In capitals, without blanks.
    number : float or None
        Its value, where it is a number.
    line, start, end : int
        Where it stands: line index, and the first and the next place in that line.
    """

    text: str
    number: float | None
    line: int
    start: int
    end: int


class Statement(NamedTuple):
    """One statement.

    Parameters
    ----------
    line, last : int
        Index of its first and of its last line.
    major : str
        Major word in capitals, without blanks; empty for a line with nothing but comment.
    fields : tuple of StatementField
        What follows the slash; for a word that takes text, one field.
    """

    line: int
    last: int
    major: str
    fields: tuple[StatementField, ...]

    @property
    def numbers(self) -> list[float]:
        """Values of the fields that are numbers."""
        return [field.number for field in self.fields if field.number is not None]

    @property
    def words(self) -> list[str]:
        """Text of the fields that are not numbers."""
        return [field.text for field in self.fields if field.number is None]


class StatementError(ValueError):
    """A line that is no statement.

    Parameters
    ----------
    last : int
        Index of the last line of what was read.
    text : str
        What is wrong, and what to do.
    """

    def __init__(self, last: int, text: str) -> None:
        """Keep the place."""
        self.last = last
        super().__init__(text)


def bare(line: str) -> str:
    """Return a line without its end and without the number of a card."""
    text = line.rstrip("\r\n")
    if len(text) > 72 and (card := _CARD.match(text)) and not card[1].rstrip().endswith((",", "/")):
        return card[1]
    return text


def sequence_end(text: str) -> int:
    """Return where a line's statement begins, behind its sequence number."""
    sequence = _SEQUENCE.match(text)
    return sequence.end() if sequence else 0


def read_statement(lines: Sequence[str], number: int) -> Statement:
    """Read the statement that begins in a line.

    Parameters
    ----------
    lines : sequence of str
        The lines with their ends, one character a byte.
    number : int
        Index of the line.

    Raises
    ------
    StatementError
        If it cannot be read.
    """
    text = bare(lines[number])
    start = sequence_end(text)
    word = _TEXT_WORD.match(text, start)
    if word and word[1].upper() in TEXT:
        return _text_statement(text, number, word)
    parts, last = _parts(lines, number, start, numbered=start > 0)
    if any(_CONTROL.search(part) for _, _, part in parts):
        raise StatementError(last, "holds a control character. Save the file as plain text.")
    try:
        return _fields(number, last, parts)
    except ValueError as error:
        raise StatementError(last, str(error)) from error


def _text_statement(text: str, number: int, word: re.Match[str]) -> Statement:
    if text.rstrip().endswith("$"):
        told = "text that ends in $: whether the next line continues it cannot be told. Take the $ out."
        raise StatementError(number, told)
    start = word.end()
    rest = text[start:].strip()
    return Statement(number, number, word[1].upper(), (StatementField(rest, None, number, start, len(text)),))


def _parts(lines: Sequence[str], number: int, start: int, *, numbered: bool) -> tuple[list[tuple[int, int, str]], int]:
    """The text of a statement, line by line: (line, first place, text)."""
    parts: list[tuple[int, int, str]] = []
    while True:
        text = bare(lines[number])
        if parts and numbered and (again := _SEQUENCE_AGAIN.match(text)):
            start = again.end()
        end = text.find("$", start)
        comment = end >= 0 and text.startswith("$$", end)
        parts.append((number, start, text[start:] if end < 0 else text[start:end]))
        if end < 0 or comment:
            return parts, number
        number, start = number + 1, 0
        if number == len(lines):
            raise StatementError(number - 1, "ends in $, and no line follows it. Is the file whole?")


def _fields(number: int, last: int, parts: list[tuple[int, int, str]]) -> Statement:
    line, start, text = parts[0]
    head, slash, rest = text.partition("/")
    major = "".join(head.split()).upper()
    if not slash and len(parts) > 1 and any(part.strip() for _, _, part in parts[1:]):
        raise ValueError("the major word and its slash must stand in one line. Join the lines.")
    if not slash:
        return Statement(number, last, major, ())
    if ";" in text:
        raise ValueError("several statements in one line. Write each in a line of its own.")
    pieces = [(line, start + len(head) + 1, rest), *parts[1:]]
    return Statement(number, last, major, tuple(_split(pieces)))


def _split(pieces: list[tuple[int, int, str]]) -> Iterator[StatementField]:
    """Fields between commas; one that runs over a line's end is refused."""
    whole = "".join(text for *_, text in pieces)
    tokens, ends, at = whole.split(","), list(accumulate(len(text) for *_, text in pieces)), 0
    for token in tokens if whole.strip() else ():
        text = token.strip()
        first = at + len(token) - len(token.lstrip())
        at += len(token) + 1
        if not text and at > len(whole):
            raise ValueError("ends in a comma: a field is missing.")
        if not text:
            raise ValueError("an empty field between two commas. Which number is missing?")
        piece = bisect_right(ends, first)
        if first + len(text) > ends[piece]:
            raise ValueError("a field runs over the end of a line. Put the $ behind a comma.")
        line, start, part = pieces[piece]
        start += first - ends[piece] + len(part)
        number = float(text.upper().replace("D", "E")) if _NUMBER.fullmatch(text) else None
        name = text if number is not None else "".join(text.split()).upper()
        yield StatementField(name, number, line, start, start + len(text))
