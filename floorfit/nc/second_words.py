"""The words of a programme as one table, for the second reader: it shares no code with the first.

Comments, blanks and line numbers are taken out of the whole text at once; the plain lines, nearly all, are turned into
numbers together, and only the odd ones (parameters, expressions) one by one.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import add, mul, neg, pos, sub, truediv

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows

__all__ = ["WordTable", "bare"]

_NESTED = re.compile(r"\((?:[^()\n]|\((?:[^()\n]|\([^()\n]*\))*\))*\)")
_LEFT_OPEN = re.compile(r"\([^)\n]*\)|;[^\n]*")
_MESSAGE = re.compile(r"^([ \t]*(?:N\d+)?[ \t]*)MSG[ \t]*(?=\()", re.IGNORECASE | re.MULTILINE)
_EQUALS = re.compile(r"(?<=(?<![A-Z<_])[A-Z])=(?=[-+.\d\[#])")
_GONE = str.maketrans("", "", " \t\r\x00\x1a")
_NUMBERED = re.compile(r"(/\d?|)N\d+", re.IGNORECASE)
_FLOW = re.compile(
    r"/?(?:N\d+)?(?:IF|WHILE|GOTO|END\d|THEN|DO\d|SETVN|POPEN|BPRNT|DPRNT"
    r"|O(?:\d+|<[^>]*>|\[.*?\]|#\d+)(?:SUB|ENDSUB|CALL|IF|ELSE|ENDIF|WHILE|ENDWHILE|DO|REPEAT|ENDREPEAT|RETURN|BREAK|CONTINUE))"
)
_LABEL = re.compile(r"/?(?:N\d+)?[O:]\d+")
_DELETED = re.compile(r"^/\d?")
#: Calls, returns and jumps; the end of a programme.
_CALL = re.compile(r"M(?:0?9[6789]|198)(?!\d)|G6[56](?!\d)")
_END = re.compile(r"M(?:0?2|30)(?![\d.])")
_is_plain = re.compile(r"(?:[A-Z][-+]?(?:\d+\.?\d*|\.\d+))*").fullmatch
_SPACES = str.maketrans(dict.fromkeys("ABCDEFGHIJKLMNOPQRSTUVWXYZ", " "))
_NAMED = re.compile(r"(,[RC]|[A-Z])([-+]?(?:\d+\.?\d*|\.\d+)(?![\[#]))?")
_CHUNK = 50_000
#: Jumps; words that call by number, and what is left of a block without them; what ends a subprogramme.
_JUMPS = re.compile(r"GOTO(?:0*(\d+)|(?=[\[#]))|M0*99P(?:0*(\d+)|(?=[\[#]))")
_CALLED = re.compile(r"^(?=.*(M0*9[78]|G0*65)(?!\d)).*?P(\d+)(?!\d)(?:.*L(\d+))?|^L(\d+)(?:P(\d+))?$")
_USE = re.compile(r"(?<!#)#(\d+)(?![\d=])")
_SET = re.compile(r"#(\d+)=([^A-Z#=]*)")
_ANY = re.compile(r"#0=|#[\[#].*?=")
_CALL_WORDS = re.compile(r"M0*9[78](?!\d)|[PL]\d+")
_CALLS = re.compile(r"M0*9[78]|G0*65|CALL|^/?\d?(?:N\d+)?L\d", re.MULTILINE)
_RETURN = re.compile(r"M0*(?:99|17)(?![\dP])")
_NAMED_SUB = re.compile(r"/?\d?O(\d+|<[^>]*>)(SUB|ENDSUB|CALL)")


def bare(text: str) -> str:
    """Text without comments and blanks, in upper case."""
    if "(" in text or ";" in text:
        text = _LEFT_OPEN.sub("", _NESTED.sub("", _MESSAGE.sub(r"\1", text)))
    text = text.translate(_GONE).upper()
    return _EQUALS.sub("", text) if "=" in text else text


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


def _plain_lines(lines: Sequence[str], *, optional: bool) -> tuple[list[str], Rows, Flags]:
    """Lines that run, without comments, blanks and numbers, up to the programme's end; those behind ``/`` may not.

    With their places in the file, and those of them behind which anything may have happened.
    """
    whole = bare("\n".join(line.rstrip("\r\n") for line in lines))
    whole = re.sub(r"^N\d+(?=/)", "", whole, flags=re.MULTILINE) if "/" in whole else whole
    raw = whole.split("\n")
    rows: list[tuple[int, str]] = []
    barrier: list[int] = []
    percents, flows, labels = 0, False, 0
    known: dict[str, str] = {}
    jumps = {"".join(found) for found in _JUMPS.findall(whole)}
    for number, one in _as_run(raw) if _CALLS.search(whole) else enumerate(raw):
        first = one[:1]
        percents += first == "%"
        if percents > 1:
            break
        if first in ("", "%") or (first == "/" and not optional):
            continue
        numbered = re.match(r"/?\d?N0*(\d+)", one) if jumps else None
        is_target = numbered is not None and ("" in jumps or numbered[1] in jumps)
        flow, label, one = _opened(one)
        labels += label
        one = _with_numbers(one, known, is_sure=first != "/") if "#" in one else one
        is_barrier = is_target or flow or (label and (labels > 1 or rows))
        known = {} if is_barrier or (known and _CALL.search(one)) else known
        if is_barrier:
            barrier.append(len(rows))
            rows.append((number, ""))
        if not flow:
            rows.append((number, one))
        flows = flows or flow or (("M" in one or "G6" in one) and bool(_CALL.search(one)))
        if "M" in one and not flows and first != "/" and _END.search(one):
            break
    line = np.array([number for number, _ in rows], dtype=int)
    return [one for _, one in rows], line, np.isin(np.arange(len(rows)), barrier)


def _with_numbers(one: str, known: dict[str, str], *, is_sure: bool) -> str:
    """A line with the values of parameters that are known; what it sets is noted for the lines behind it."""
    out = _USE.sub(lambda found: known.get(found[1], found[0]), one)
    if _ANY.search(one):
        known.clear()
    for number, value in _SET.findall(out):
        known.pop(number, None)
        worth = _worth(value) if is_sure and int(number) < 1000 else float("nan")
        if worth == worth:
            known[number] = f"[{worth!r}]"
    return out


def _as_run(raw: list[str]) -> list[tuple[int, str]]:
    """Places and texts of the lines in the order in which they run: behind each call what it calls in this file."""
    bodies: dict[str, range] = {}
    inside: set[int] = set()
    for at, one in enumerate(raw):
        sub, number, label = _NAMED_SUB.match(one), re.match(r"/?\d?N0*(\d+)", one), re.match(r"[O:]0*(\d+)", one)
        if sub and sub[2] == "SUB":
            last = next((k for k in range(at, len(raw)) if raw[k].startswith(f"O{sub[1]}ENDSUB")), len(raw))
            bodies.setdefault(f"SUB{sub[1]}", range(at + 1, last))
            inside |= set(range(at, last + 1))
        elif label and not sub:
            bodies.setdefault(f"O{label[1]}", _to_return(raw, at))
        elif number:
            bodies.setdefault(f"N{number[1]}", _to_return(raw, at))

    def run(places: Sequence[int], slash: str, left: int) -> Iterator[tuple[int, str]]:
        for at in places if left else ():
            one = raw[at]
            label = _LABEL.match(one) if at == places[0] and places is not main and not _NAMED_SUB.match(one) else None
            one = one[label.end() :] if label else one
            name, repeats = _call_of(one, bodies)
            ends = at == places[-1] and places is not main
            is_macro = name.startswith("SUB") or ("G65" in one and name != "")
            words = "#0=#0" if is_macro else one
            words = _CALL_WORDS.sub("", words) if name else _RETURN.sub("", words) if ends else words
            yield at, slash + words if slash and words and not words.startswith("/") else words
            for _ in range(repeats if name else 0):
                yield from run(bodies[name], "/" if one.startswith("/") else slash, left - 1)
                if is_macro:
                    yield at, "#0=#0"

    main = [at for at in range(_main_end(raw)) if at not in inside]
    return list(run(main, "", 12))


def _call_of(one: str, bodies: Mapping[str, range]) -> tuple[str, int]:
    """What of this file a line calls, ``""`` for nothing, and how often."""
    sub = _NAMED_SUB.match(one)
    if sub:
        name = f"SUB{sub[1]}"
        return (name, 1) if sub[2] == "CALL" and name in bodies else ("", 1)
    found = _CALLED.search(re.sub(r"^/?\d?(?:N\d+)?", "", one))
    if not found or re.search(r"M0*98(?!\d).*[HQ]|[HQ].*M0*98(?!\d)", one):
        return "", 1
    number, repeats = int(found[2] or found[4]), int(found[3] or found[5] or 1)
    letter = "N" if (found[1] or "").endswith("97") else "O"
    if f"{letter}{number}" not in bodies and not found[3]:
        number, repeats = number % 10_000, number // 10_000 or repeats
    return (f"{letter}{number}", max(repeats, 1)) if f"{letter}{number}" in bodies else ("", 1)


def _to_return(raw: Sequence[str], at: int) -> range:
    """Lines of a subprogramme, with the one that returns."""
    for number in range(at, len(raw)):
        if raw[number].startswith("%"):
            return range(at, number)
        if _RETURN.search(raw[number]) and not raw[number].startswith("/"):
            return range(at, number + 1)
    return range(at, len(raw))


def _main_end(raw: Sequence[str]) -> int:
    """Number of lines of the main programme: to its end or, where jumps may lead past that, to the next label."""
    jumps = is_over = False
    for at, one in enumerate(raw):
        jumps |= bool(_FLOW.match(one)) and not _NAMED_SUB.match(one)
        if is_over and (_LABEL.match(one) or one.startswith("%")):
            return at
        if not one.startswith("/") and (_END.search(one) or _RETURN.search(one)):
            is_over = True
            if not jumps or _RETURN.search(one):
                return at + 1
    return len(raw)


@dataclass(frozen=True)
class WordTable:
    """All words: a row for each line that runs, a column for each letter.

    Parameters
    ----------
    line : (count,) ndarray of int
        Places of the lines in the file.
    barrier : (count,) ndarray of bool
        Lines behind which anything may have happened.
    by_letter : dict of str to (rows, values)
        Where each letter stands, and its numbers; NaN for what only the control knows.
    """

    line: Rows
    barrier: Flags
    by_letter: dict[str, tuple[Rows, Array]]

    @classmethod
    def of(cls, lines: Sequence[str], *, optional: bool) -> WordTable:
        """Turn lines into the table; those behind ``/`` run or do not."""
        text, line, barrier = _plain_lines(lines, optional=optional)
        parts = [_words(text[first : first + _CHUNK], first) for first in range(0, max(len(text), 1), _CHUNK)]
        row, letter, value = (np.concatenate(column) for column in zip(*parts, strict=True))
        out = {chr(code): (row[letter == code], value[letter == code]) for code in np.unique(letter).tolist()}
        return cls(line, barrier, out)

    @property
    def count(self) -> int:
        """Lines."""
        return len(self.line)

    def words(self, letter: str) -> tuple[Rows, Array]:
        """Rows and numbers of a letter."""
        return self.by_letter.get(letter, (np.zeros(0, dtype=int), np.zeros(0)))

    def codes(self) -> tuple[Rows, NDArray[np.int64]]:
        """Rows and numbers of the G words, ten times the number as an integer; -1 where it is not known."""
        row, value = self.words("G")
        return row, np.rint(np.where(np.isnan(value), -0.1, value) * 10).astype(np.int64)

    def at(self, *rows: Rows) -> Flags:
        """Which lines are among some."""
        out = np.zeros(self.count, dtype=bool)
        for some in rows:
            out[some] = True
        return out

    def has(self, letters: str) -> Flags:
        """Lines with one of some letters."""
        return self.at(*(self.words(letter)[0] for letter in letters))

    def last(self, row: Rows, value: NDArray[np.generic], before: float) -> NDArray[np.generic]:
        """The last of some values at or before each line.

        Parameters
        ----------
        row : (k,) ndarray of int
            Line of each value.
        value : (k,) ndarray
        before : float
            Where no line before has one.
        """
        at = np.full(self.count, -1)
        at[row] = np.arange(len(row))
        at = np.maximum.accumulate(at)
        return np.where(at >= 0, value[at] if len(value) else before, before)

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
        return np.asarray(self.last(*self.words(letter), before), float)


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
            while more := re.compile(r"[-+*/]|MOD|AND|OR|XOR").match(text, at):
                at = _value_end(text, more.end())
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
        text = re.sub(r"(?<![\d.])0+(?=\d)", "", text.replace("[", "(").replace("]", ")"))
        return _of(ast.parse(text, mode="eval").body)
    except (SyntaxError, ValueError, ZeroDivisionError):
        return float("nan")


#: What may stand in an expression, and what it does.
_DOES: dict[type, Callable[..., float]] = {ast.Add: add, ast.Sub: sub, ast.Mult: mul, ast.Div: truediv}
_DOES |= {ast.UAdd: pos, ast.USub: neg}


def _of(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        return float(node.value)
    if isinstance(node, (ast.UnaryOp, ast.BinOp)) and type(node.op) in _DOES:
        sides = [node.operand] if isinstance(node, ast.UnaryOp) else [node.left, node.right]
        return float(_DOES[type(node.op)](*map(_of, sides)))
    raise ValueError(ast.dump(node))
