"""A second reader of cutter-location data, for the proof alone: it shares no code with the reader and the writer.

It works the other way round: the whole text is first joined and stripped, then every statement is split by a plain
pattern, and arrays are made of the points in the end. What it does not know it hands back as text, to be compared.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array

__all__ = ["ARC", "FEED", "HOLE", "PLACE", "RAPID", "Heard", "hear"]

#: Kinds of motion; a place is only stated, or known to the machine alone.
FEED, RAPID, ARC, HOLE, PLACE = range(5)

_FREE_TEXT = ("PARTNO", "PPRINT", "INSERT", "REMARK", "LETTER")
_STATEMENT = re.compile(r"([A-Z][A-Z \t]*?)[ \t]*/(.*)", re.IGNORECASE | re.DOTALL)
_LEADING_NUMBER = re.compile(r"^\s*(?:\d+\s*|[nN]\d+\s+)(?=[A-Za-z$])")
_MM = {"MM": 1.0, "INCHES": 25.4, "INCH": 25.4, "IN": 25.4}


@dataclass(frozen=True)
class Heard:
    """A file as this reader understands it; lengths in mm, in the part's frame.

    Parameters
    ----------
    line : (n,) ndarray of int
        Line in which each motion begins.
    kind : (n,) ndarray of int
        FEED, RAPID, ARC, HOLE or PLACE for each motion.
    tip, axis : (n, 3) ndarray
        Where it ends; NaN where only the machine knows.
    cutter, feed : (n,) ndarray of int
        Numbers of the last ``CUTTER`` with the unit, and of the last ``FEDRAT``, as written: index into ``words``.
    words : tuple of str
        The texts that occur.
    circle : dict of int to tuple of float
        Centre, axis, radius of the arcs, mm.
    rest : list of (int, int, str)
        Everything else: motions before it, its line, and its text.
    """

    line: NDArray[np.int64]
    kind: NDArray[np.int64]
    tip: Array
    axis: Array
    cutter: NDArray[np.int64]
    feed: NDArray[np.int64]
    words: tuple[str, ...]
    circle: dict[int, tuple[float, ...]]
    rest: list[tuple[int, int, str]]


def hear(text: str, *, unit_mm: float | None, turn: Array, way: Array, keep: tuple[str, ...] = ()) -> Heard:
    """Read a file.

    Parameters
    ----------
    text : str
        The whole file.
    unit_mm : float or None
        Millimetres in the unit before ``UNITS``.
    turn, way : (3, 3) and (3,) ndarray
        Where the file's frame is in the part's: ``turn @ point + way``, mm.
    keep : tuple of str
        Words that are taken for text.

    Raises
    ------
    ValueError
        If a point cannot be read.
    """
    ear = _Ear(unit_mm or 1.0, turn, way, tuple(word.upper() for word in keep))
    lines, number = text.splitlines(), 0
    while number < len(lines) and not ear.done:
        following, statement, raw = _joined(lines, number)
        if not ear.take(number, statement):
            ear.rest.append((len(ear.rows), number, raw))
        number = following
    return ear.heard()


def _joined(lines: list[str], first: int) -> tuple[int, str, str]:
    """One statement without comment, in one piece: (next line, statement, text as written)."""
    body = _without_card(lines[first])
    text = _LEADING_NUMBER.sub("", body, count=1)
    if text.lstrip().upper().startswith(_FREE_TEXT):
        return first + 1, text, lines[first]
    numbered, pieces, number = text != body, [], first
    while True:
        code, dollar, after = text.partition("$")
        pieces.append(code)
        number += 1
        if not dollar or after.startswith("$") or number >= len(lines):
            return number, "".join(pieces), "\n".join(lines[first:number])
        text = _without_card(lines[number])
        text = re.sub(r"^\s*[nN]?\d+\s+(?=[-+.\w])", "", text) if numbered else text


def _without_card(line: str) -> str:
    tail = line[72:]
    is_card = bool(tail.strip().isdigit()) and line[71:72].isspace() and line[:72].rstrip()[-1:] not in (",", "/")
    return line[:72] if is_card else line


class _Ear:
    def __init__(self, unit_mm: float, turn: Array, way: Array, deaf: tuple[str, ...]) -> None:
        self.unit, self.deaf = unit_mm, deaf
        self.outer = (turn, way)
        self.frames = [self.outer]
        #: Line, kind, frame, cutter and feed, place and axis of each motion.
        self.rows: list[tuple[float, ...]] = []
        self.at: tuple[float, ...] = (np.nan,) * 3
        self.words: dict[str, int] = {"": 0}
        self.circles: dict[int, tuple[float, ...]] = {}
        self.rest: list[tuple[int, int, str]] = []
        self.vector: tuple[float, ...] = (0.0, 0.0, 1.0)
        self.next_kind, self.hole, self.cutter, self.feed = FEED, False, 0, 0
        self.pending_circle: tuple[float, ...] | None = None
        self.done = False

    def take(self, number: int, statement: str) -> bool:
        """Take a statement; False where it is not about motion."""
        found = _STATEMENT.fullmatch(statement.strip())
        word = re.sub(r"\s", "", found[1] if found else statement).upper()
        tail = found[2] if found else ""
        if word in self.deaf:
            return False
        if word == "GOTO":
            self._go(number, _numbers(tail))
        elif word == "GODLTA":
            step = _numbers(tail)
            step = tuple(step[0] * part for part in self.vector) if len(step) == 1 else step
            self._go(number, tuple(a + b * self.unit for a, b in zip(self.at, step, strict=True)), factor=1.0)
        elif word == "CIRCLE":
            self.pending_circle = _numbers(tail)
        elif word == "RAPID":
            self.next_kind = RAPID
        elif word == "FROM":
            self._go(number, _numbers(tail), kind=PLACE)
        elif word in ("RETRCT", "GOHOME", "GOCLER"):
            self._go(number, (np.nan,) * 3, kind=PLACE)
            return False
        else:
            self._state(word, tail)
            return False
        return True

    def _state(self, word: str, tail: str) -> None:
        minor = re.sub(r"\s", "", tail).upper()
        if word == "UNITS":
            self.unit = _MM.get(minor, 25.4 if minor.startswith("IN") else 1.0)
        elif word == "CUTTER":
            self.cutter = self._word(f"{minor}*{self.unit}")
        elif word == "FEDRAT":
            self.feed = self._word(minor)
        elif word == "CYCLE":
            self.hole = "OFF" not in minor.split(",") and "NOMORE" not in minor.split(",")
        elif word == "TLAXIS":
            self.vector = _numbers(tail)
        elif word in ("TRACUT", "TRANS"):
            self._transform(word, minor, tail)
        elif word == "FINI":
            self.done = True

    def _word(self, text: str) -> int:
        return self.words.setdefault(text, len(self.words))

    def _transform(self, word: str, minor: str, tail: str) -> None:
        if minor == "NOMORE":
            values = np.eye(3, 4)
        elif word == "TRANS":
            values = np.column_stack([np.eye(3), _numbers(tail)])
        else:
            values = np.array(_numbers(tail)).reshape(3, 4)
        turn, way = self.outer
        self.frames.append((turn @ values[:, :3], turn @ (values[:, 3] * self.unit) + way))

    def _go(self, number: int, values: tuple[float, ...], kind: int | None = None, factor: float | None = None) -> None:
        factor = factor or self.unit
        if len(values) >= 6:
            self.vector = values[3:6]
        elif len(values) != 3:
            raise ValueError(f"line {number + 1}: {len(values)} numbers")
        if self.pending_circle is not None:
            centre = self.pending_circle
            lengths = (*(v * self.unit for v in centre[:3]), *centre[3:6], centre[6] * self.unit)
            self.circles[len(self.rows)] = lengths
        arc = ARC if self.pending_circle is not None else self.next_kind
        kind = kind if kind is not None else HOLE if self.hole else arc
        self.at = tuple(value * factor for value in values[:3])
        self.rows.append((number, kind, len(self.frames) - 1, self.cutter, self.feed, *self.at, *self.vector))
        self.next_kind, self.pending_circle = FEED, None

    def heard(self) -> Heard:
        """Arrays in the part's frame."""
        table = np.array(self.rows, float).reshape(-1, 11)
        line, kind, frame, cutter, feed = table[:, :5].astype(np.int64).T
        tip, axis = table[:, 5:8].copy(), table[:, 8:].copy()
        for index, (turn, way) in enumerate(self.frames):
            if index == 0 and np.array_equal(turn, np.eye(3)) and not way.any():
                continue
            rows = frame == index
            tip[rows] = np.einsum("ij,nj->ni", turn, tip[rows]) + way
            axis[rows] = np.einsum("ij,nj->ni", turn, axis[rows])
        circles = {}
        for row, values in self.circles.items():
            turn, way = self.frames[frame[row]]
            circles[row] = (*(turn @ values[:3] + way), *(turn @ values[3:6]), values[6])
        axis /= np.linalg.norm(axis, axis=1)[:, None]
        return Heard(line, kind, tip, axis, cutter, feed, tuple(self.words), circles, self.rest)


def _numbers(text: str) -> tuple[float, ...]:
    """Numbers between commas."""
    return tuple(map(float, text.upper().replace("D", "E").split(",")))
