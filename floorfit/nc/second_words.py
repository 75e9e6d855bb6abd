"""The words of a programme as one table, for the second reader: it shares no code with the first.

Comments, blanks and line numbers are taken out of the whole text at once; the plain lines, nearly all, are turned into
numbers together, and only the odd ones (parameters, expressions) one by one.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows

__all__ = ["PlainLines", "WordTable", "bare"]

_NESTED = re.compile(r"\((?:[^()\n]|\((?:[^()\n]|\([^()\n]*\))*\))*\)")
_LEFT_OPEN = re.compile(r"\([^)\n]*\)|;[^\n]*")
_GONE = str.maketrans("", "", " \t\r\x00\x1a")
_NUMBERED = re.compile(r"(/\d?|)N\d+", re.IGNORECASE)
_FLOW = re.compile(
    r"/?(?:N\d+)?(?:IF|WHILE|GOTO|END\d|THEN|DO\d|SETVN|POPEN|BPRNT|DPRNT"
    r"|O(?:\d+|<[^>]*>|\[.*?\]|#\d+)(?:SUB|ENDSUB|CALL|IF|ELSE|ENDIF|WHILE|ENDWHILE|DO|REPEAT|ENDREPEAT|RETURN|BREAK|CONTINUE))"
)
_LABEL = re.compile(r"/?(?:N\d+)?[O:]\d+")
_PLACES = frozenset("XYZ")
_DELETED = re.compile(r"^/\d?")
#: Calls, returns and jumps; the end of a programme.
_CALL = re.compile(r"M(?:0?9[6789]|198)(?!\d)|G6[56](?!\d)")
_END = re.compile(r"M(?:0?2|30)(?![\d.])")
_is_plain = re.compile(r"(?:[A-Z][-+]?(?:\d+\.?\d*|\.\d+))*").fullmatch
_SPACES = str.maketrans(dict.fromkeys("ABCDEFGHIJKLMNOPQRSTUVWXYZ", " "))
_NAMED = re.compile(r"(,[RC]|[A-Z])([-+]?(?:\d+\.?\d*|\.\d+)(?![\[#]))?")
_CHUNK = 50_000
#: What holds until it is stated again, by group, and blocks that say more with their other words.
_HOLDS = [
    re.compile(rf"{words}(?![\d.])")
    for words in (
        "G(?:20|21|70|71)", "G9[01]", "G1[789]", "G9[01]\\.1", "G4[012](?:\\.1)?", "G5[4-9](?:\\.[123])?(?:P\\d+)?",
        "G4(?:3(?:\\.[245])?|4|9)", "H\\d+", "T\\d+", "M0?6",
    )
]  # fmt: skip
_SAYS_MORE = re.compile(r"G(?:10|52|92(?:\.[123])?|1[56]|5[01](?:\.1)?|68(?:\.[1234])?|69(?:\.1)?|43\.1)(?![\d.])")
_CALLED = re.compile(r"^(?=.*(?:M0?98|G65)(?!\d)).*P(\d+)|^L(\d+)(?:P\d+)?$")
_CALLS = re.compile(r"M0?98|G65|^(?:N\d+)?L\d", re.MULTILINE)
_RETURN = re.compile(r"M(?:99|17)(?!\d)")


def bare(text: str) -> str:
    """Text without comments and blanks, in upper case."""
    if "(" in text or ";" in text:
        text = _LEFT_OPEN.sub("", _NESTED.sub("", text))
    return text.translate(_GONE).upper()


def _opened(one: str) -> tuple[bool, bool, str]:
    """Whether a line makes the flow depend on the run, whether it has a programme number, and its words."""
    first = one[0]
    if first not in "/NO:IWGTESPBD" or (first not in "/NO:" and one[1:2].isdigit()):
        return False, False, one
    if _FLOW.match(one):
        return True, False, ""
    label = _LABEL.match(one)
    one = one[label.end() :] if label else one
    one = _NUMBERED.sub(r"\1", one, count=1) if first in "/N" else one
    return False, label is not None, _DELETED.sub("", one)


@dataclass(frozen=True)
class PlainLines:
    """Lines without comments, blanks and numbers, up to the programme's end.

    Parameters
    ----------
    text : list of str
        The lines that run, empty ones left out.
    line : (n,) ndarray of int
        Their places in the file.
    barrier : (n,) ndarray of bool
        Lines behind which anything may have happened.
    """

    text: list[str]
    line: Rows
    barrier: Flags

    @classmethod
    def of(cls, lines: Sequence[str], *, optional: bool) -> PlainLines:
        """Prepare the lines; those behind ``/`` run or do not."""
        whole = bare("\n".join(line.rstrip("\r\n") for line in lines))
        raw = whole.split("\n")
        text: list[str] = []
        place: list[int] = []
        barrier: list[int] = []
        percents, flows, labels = 0, False, 0
        holds = _holds_of(raw) if _CALLS.search(whole) else {}
        entries: dict[int, str] = {}
        for number, one in enumerate(raw):
            first = one[:1]
            if first in _PLACES and "M" not in one and "G" not in one:
                text.append(one)
                place.append(number)
                continue
            if first == "%":
                percents += 1
            if percents > 1:
                break
            if first in ("", "%") or (first == "/" and not optional):
                continue
            flow, label, one = _opened(one)
            labels += label
            if flow or (label and (labels > 1 or text)):
                barrier.append(len(text))
                text.append(entries.get(_number_of(raw[number]), ""))
                place.append(number)
            if not flow:
                text.append(one)
                place.append(number)
            called = _CALLED.match(one) if holds else None
            if called:
                target = _target(called, holds)
                entries[target] = entries.get(target) or _in_force(text)
                text += holds.get(target, ())
                place += [number] * (len(text) - len(place))
            flows = flows or flow or (("M" in one or "G6" in one) and bool(_CALL.search(one)))
            if "M" in one and not flows and first != "/" and _END.search(one):
                break
        stops = np.zeros(len(text), dtype=bool)
        stops[barrier] = True
        return cls(text, np.array(place, dtype=int), stops)


def _number_of(one: str) -> int:
    found = _LABEL.match(one)
    return int(re.sub(r"\D", " ", found[0]).split()[-1]) if found else -1


def _target(called: re.Match[str], holds: dict[int, list[str]]) -> int:
    target = int(called[1] or called[2])
    return target if target in holds else target % 10_000


def _holds_of(raw: Sequence[str], depth: int = 8) -> dict[int, list[str]]:
    """What each subprogramme leaves in force, as lines without motion; empty where the file calls none."""
    bodies: dict[int, list[str]] = {}
    number = -1
    for one in raw:
        number = _number_of(one) if _LABEL.match(one) and not _FLOW.match(one) else -1 if one[:1] == "%" else number
        if number >= 0:
            bodies.setdefault(number, []).append(_opened(one)[2] if one else "")
            number = -1 if _RETURN.search(one) else number

    def lines_of(body: int, left: int) -> list[str]:
        out = []
        for one in bodies.get(body, ()) if left else ():
            called = _CALLED.match(one)
            out.append(one if _SAYS_MORE.search(one) else _in_force([one]))
            out += lines_of(_target(called, bodies), left - 1) if called else []
        return [one for one in out if one]

    return {body: lines_of(body, depth) for body in bodies}


def _in_force(text: Sequence[str]) -> str:
    """The last word of each group that holds, in one line."""
    last = [next((found[-1] for one in reversed(text) if (found := some.findall(one))), "") for some in _HOLDS]
    return "".join(last)


@dataclass(frozen=True)
class WordTable:
    """All words: a row for each line that runs, a column for each letter.

    Parameters
    ----------
    count : int
        Lines.
    line : (count,) ndarray of int
        Their places in the file.
    barrier : (count,) ndarray of bool
        As in `PlainLines`.
    by_letter : dict of str to (rows, values)
        Where each letter stands, and its numbers; NaN for what only the control knows.
    """

    count: int
    line: Rows
    barrier: Flags
    by_letter: dict[str, tuple[Rows, Array]]

    @classmethod
    def of(cls, plain: PlainLines) -> WordTable:
        """Turn lines into the table."""
        parts = [_words(plain.text[first : first + _CHUNK], first) for first in range(0, len(plain.text), _CHUNK)]
        if not parts:
            return cls(0, plain.line, plain.barrier, {})
        row, letter, value = (np.concatenate(column) for column in zip(*parts, strict=True))
        out = {}
        for code in np.unique(letter).tolist():
            mine = letter == code
            out[chr(code)] = (row[mine], value[mine])
        return cls(len(plain.text), plain.line, plain.barrier, out)

    def words(self, letter: str) -> tuple[Rows, Array]:
        """Rows and numbers of a letter."""
        return self.by_letter.get(letter, (np.zeros(0, dtype=int), np.zeros(0)))

    def codes(self, letter: str) -> tuple[Rows, NDArray[np.int64]]:
        """As `words`, ten times the number as an integer; -1 where it is not known."""
        row, value = self.words(letter)
        return row, np.rint(np.where(np.isnan(value), -0.1, value) * 10).astype(np.int64)

    def has(self, letter: str) -> Flags:
        """Lines with a letter."""
        out = np.zeros(self.count, dtype=bool)
        out[self.words(letter)[0]] = True
        return out

    def value(self, letter: str, other: float) -> Array:
        """Number of a letter for each line, ``other`` where the line has none.

        Parameters
        ----------
        letter : str
        other : float
            Where a line has none.
        """
        out = np.full(self.count, other)
        row, value = self.words(letter)
        out[row] = value
        return out

    def filled(self, letter: str, before: float) -> Array:
        """The last number of a letter at or before each line.

        Parameters
        ----------
        letter : str
        before : float
            Where no line before has one.
        """
        row, value = self.words(letter)
        at = np.full(self.count, -1)
        at[row] = np.arange(len(row))
        at = np.maximum.accumulate(at) if self.count else at
        return np.where(at >= 0, value[at] if len(value) else before, before)


def _words(text: list[str], first: int) -> tuple[Rows, NDArray[np.int64], Array]:
    """Rows, letters (as numbers) and values of a run of lines."""
    odd = [index for index, one in enumerate(text) if not _is_plain(one)]
    kept = text[:]
    for index in odd:
        kept[index] = ""
    whole = "\n".join(kept)
    code = np.frombuffer(whole.encode("latin-1"), dtype=np.uint8)
    at = np.flatnonzero((code >= 65) & (code <= 90))
    row = np.cumsum(code == 10)[at] if len(at) else at
    value = np.array(whole.translate(_SPACES).split(), dtype=float)
    letter = code[at].astype(np.int64)
    more = [(index, ord(name[-1]), number) for index in odd for name, number in _odd_words(text[index])]
    if more:
        rows, names, numbers = zip(*more, strict=True)
        row, letter = np.append(row, rows), np.append(letter, names)
        value = np.append(value, numbers)
        order = np.argsort(row, kind="stable")
        row, letter, value = row[order], letter[order], value[order]
    return row.astype(int) + first, letter, value


def _odd_words(text: str) -> list[tuple[str, float]]:
    """Words of a line with parameters or expressions; ``,R`` and ``,C`` are not among them."""
    out, at = [], 0
    while at < len(text):
        if text[at] == "#":
            at = _value_end(text, text.index("=", at) + 1) if "=" in text[at:] else len(text)
            continue
        found = _NAMED.match(text, at)
        if not found:
            at += 1
            continue
        at = found.end()
        number = float(found[2]) if found[2] else np.nan
        if not found[2]:
            end = _value_end(text, at)
            number, at = _worth(text[at:end]), end
        if not found[1].startswith(","):
            out.append((found[1], number))
    return out


def _value_end(text: str, at: int) -> int:
    """End of a number, a parameter, an expression or a function with its argument."""
    found = re.compile(r"[-+]?(?:#+(?:\d+|<[^>]*>)|\d+\.?\d*|\.\d+|[A-Z]{2,6}(?=\[))?").match(text, at)
    at = found.end() if found else at
    at += len(text[at:]) - len(text[at:].lstrip("#-+")) if text[at : at + 2] in ("#[", "-[", "+[") else 0
    while text[at : at + 1] == "[" or text[at : at + 2] == "/[":
        at += text[at] == "/"
        depth = 0
        for index in range(at, len(text)):
            depth += (text[index] == "[") - (text[index] == "]")
            if depth == 0:
                break
        at = index + 1
    return at


def _worth(text: str) -> float:
    """Value of an expression of numbers, ``+ - * /`` and brackets; NaN for any other."""
    try:
        return _of(
            ast.parse(re.sub(r"(?<![\d.])0+(?=\d)", "", text.replace("[", "(").replace("]", ")")), mode="eval").body
        )
    except (SyntaxError, ValueError, ZeroDivisionError):
        return float("nan")


def _of(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        return float(node.value)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.UAdd, ast.USub)):
        return -_of(node.operand) if isinstance(node.op, ast.USub) else _of(node.operand)
    if isinstance(node, ast.BinOp) and isinstance(node.op, (ast.Add, ast.Sub, ast.Mult, ast.Div)):
        a, b = _of(node.left), _of(node.right)
        if isinstance(node.op, ast.Div):
            return a / b
        return a * b if isinstance(node.op, ast.Mult) else a - b if isinstance(node.op, ast.Sub) else a + b
    raise ValueError(ast.dump(node))
