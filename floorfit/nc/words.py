"""Blocks and words: a line of a word-address programme taken apart without losing a byte.

The grammar is that of RS274/NGC (NISTIR 6556, 3.3): words in any order and case, blanks without meaning outside
comments, both kinds of comment, block delete, and what ISO 6983-1 dialects add (a colon or O in front of a number).
A block that cannot be read completely raises `BadBlock`: nothing is skipped.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["FAST_BLOCK", "FAST_WORD", "BadBlock", "Block", "Word", "read_block", "with_numbers"]

#: A block of plain upper-case words and nothing else: the common case, read by two regular expressions.
FAST_BLOCK = re.compile(r"[ \t]*(?:[A-DF-NP-Z][-+]?(?:\d{1,12}(?:\.\d*)?|\.\d+)[ \t]*)+[\r\n]*")
#: One word of such a block.
FAST_WORD = re.compile(r"([A-Z])([-+]?[\d.]+)")

#: A number above this is no place, feed, code or tool (common practice, no source).
_GREATEST = 1e12
_BLANK = re.compile(r"[ \t\r\n\x00\x1a]+")
#: Block delete, also behind the N word; a message to the operator (dialects, from memory).
_DELETE = re.compile(r"[ \t]*(?:N[ \t]*\d+[ \t]*)?/[ \t]*(\d(?![\d.])[ \t]*)?(?!/)", re.IGNORECASE)
_MESSAGE = re.compile(r"[ \t]*(?:N\d+[ \t]*)?MSG[ \t]*\([^()]*\)[ \t]*(?:;.*)?[\r\n]*", re.IGNORECASE)
_NUMBER = re.compile(r"[-+]?[ \t]*(?:\d[\d \t]*(?:\.[\d \t]*)?|\.[ \t]*\d[\d \t]*)")
_PARAMETER = re.compile(r"[-+]?[ \t]*#[ \t]*(?:#[ \t]*)*(?:\d[\d \t]*|<[^>]*>)")
_PROGRAM = re.compile(r"[ \t]*(?:[oO:])[ \t]*(?:(\d+)|<[^>]*>|\[[^\]]*\]|#\d+)[ \t]*")
_O_FLOW = re.compile(
    r"(endsub|sub|call|elseif|else|endif|if|endwhile|while|do|endrepeat|repeat|return|break|continue)", re.I
)
_MACRO = re.compile(
    r"[ \t]*/?[ \t]*(?:N\d+[ \t]*)?(IF|WHILE|GOTO|END|THEN|DO|SETVN|POPEN|BPRNT|DPRNT)(?=[ \t\[\d])", re.I
)
_CORNER = re.compile(r",[ \t]*[RrCc]")
#: A sign between a letter and its number (dialect), and one between two values.
_EQUALS = re.compile(r"[ \t]*=?[ \t]*")
_OPERATOR = re.compile(r"[ \t]*(?:[-+*/]|(?:MOD|AND|OR|XOR)(?![a-z]))[ \t]*", re.I)
_FUNCTION = re.compile(
    r"[-+]?[ \t]*(?:abs|acos|asin|atan|cos|exists|exp|fix|fup|ln|round|sin|sqrt|tan)(?=[ \t]*\[)", re.I
)


class BadBlock(ValueError):  # noqa: N818 - what is wrong is the block, and the name is raised nowhere else
    """A block that the grammar does not cover; the message says where in the line and why."""


@dataclass(frozen=True)
class Word:
    """One word: ``text[start:number]`` is the letter, ``text[number:end]`` its number.

    Parameters
    ----------
    letter : str
        Upper case; ``",R"`` and ``",C"`` for a corner rounded or cut, ``"$"`` for the number of a spindle (dialects).
    value : float
        The number, or the value of an expression of numbers; NaN where it depends on a parameter or a function.
    start, number, end : int
        Places in the line.
    """

    letter: str
    value: float
    start: int
    number: int
    end: int


@dataclass(frozen=True)
class Block:
    """One line taken apart.

    Parameters
    ----------
    words : tuple of Word
        Everything but the N number, in the order of the line.
    deleted : bool
        Whether it starts with the block delete character.
    flow : str
        The word that makes the flow depend on the run (``"sub"``, ``"GOTO"``), or ``""``.
    label : str
        A programme number (``"O1000"``), or ``""``.
    percent : bool
        Whether the line is a ``%`` line.
    sets : tuple of (float, float)
        Numbers of the parameters that are set (0 for one with a name, NaN for one that depends on the run), and their
        values (NaN where they are no expressions of numbers).
    """

    words: tuple[Word, ...] = ()
    deleted: bool = False
    flow: str = ""
    label: str = ""
    percent: bool = False
    sets: tuple[tuple[float, float], ...] = ()


def read_block(text: str) -> Block:
    """Take one line apart.

    Parameters
    ----------
    text : str
        The line with its end, decoded byte for byte (latin-1).

    Returns
    -------
    Block

    Raises
    ------
    BadBlock
        If any character of the line is left over.
    """
    if text.strip(" \t\r\n").startswith("%"):
        return Block(percent=True)
    if _MESSAGE.fullmatch(text):
        return Block()
    macro = _MACRO.match(text)
    if macro:
        return Block(flow=macro.group(1).upper())
    deleted = _DELETE.match(text)
    start = deleted.end() if deleted else 0
    program = _PROGRAM.match(text, start)
    if program:
        return _program_line(text, program, deleted is not None)
    words, sets = _words(text, start)
    return Block(words, deleted is not None, sets=sets)


def _program_line(text: str, program: re.Match[str], deleted: bool) -> Block:
    flow = _O_FLOW.match(text, program.end())
    if flow:
        return Block(deleted=deleted, flow=f"O {flow.group(1).lower()}")
    words, sets = _words(text, program.end())
    if program.group(1) is None:
        raise BadBlock(f"the O word {program.group().strip()!r} has no known keyword after it")
    return Block(words, deleted, label="O" + program.group(1), sets=sets)


def _words(text: str, at: int) -> tuple[tuple[Word, ...], tuple[tuple[float, float], ...]]:
    words: list[Word] = []
    sets: list[tuple[float, float]] = []
    while at < len(text):
        char = text[at]
        blank = _BLANK.match(text, at)
        if blank:
            at = blank.end()
        elif char == ";":
            break
        elif char == "(":
            at = _comment_end(text, at)
        elif char == "#":
            at, number, value = _assignment(text, at)
            sets.append((number, value))
        elif char == "," and _CORNER.match(text, at):
            word = _word(text, at + 1)
            words.append(Word("," + word.letter, word.value, at, word.number, word.end))
            at = word.end
        elif char in "eE" and text[at - 1] in "0123456789." and at and text[at + 1 : at + 2] in "+-0123456789":
            raise BadBlock(f"column {at + 1}: an exponent, or an E word without a blank; write the number out")
        elif (char.isascii() and char.isalpha()) or (char == "$" and text[at + 1 : at + 2].isdigit()):
            word = _word(text, at)
            words.append(word)
            at = word.end
        else:
            raise BadBlock(f"column {at + 1}: {char!r} cannot be read")
    return _checked(words), tuple(sets)


def _checked(words: list[Word]) -> tuple[Word, ...]:
    seen: set[str] = set()
    for word in words:
        if word.letter not in "GM" and word.letter in seen:
            raise BadBlock(f"word {word.letter} stands twice in the block")
        seen.add(word.letter)
    return tuple(word for word in words if word.letter != "N")


def _comment_end(text: str, at: int) -> int:
    """End of a comment; one that holds another ends where both are closed, or else at the first bracket."""
    first = text.find(")", at)
    if first < 0:
        raise BadBlock(f"column {at + 1}: the comment is not closed")
    return _closed(text, at, "()") or first + 1


def _closed(text: str, at: int, pair: str) -> int:
    """Place behind the bracket that closes the one at a place; 0 where none does."""
    depth = 0
    for index in range(at, len(text)):
        depth += (text[index] == pair[0]) - (text[index] == pair[1])
        if depth == 0:
            return index + 1
    return 0


def _word(text: str, at: int) -> Word:
    number = _EQUALS.match(text, at + 1).end()  # type: ignore[union-attr]
    end, value = _real(text, number)
    if end == number:
        raise BadBlock(f"column {at + 1}: no number after {text[at]!r}")
    if abs(value) > _GREATEST:
        raise BadBlock(f"column {at + 1}: the number after {text[at]!r} is larger than any control reads")
    return Word(text[at].upper(), value, at, number, end)


def _real(text: str, at: int) -> tuple[int, float]:
    plain = _NUMBER.match(text, at)
    if plain:
        raw = plain.group().rstrip(" \t")
        return at + len(raw), float(raw.replace(" ", "").replace("\t", ""))
    parameter = _PARAMETER.match(text, at)
    if parameter:
        return at + len(parameter.group().rstrip(" \t")), float("nan")
    function = _FUNCTION.match(text, at)
    bracket = re.compile(r"[-+]?[ \t]*#*[ \t]*\[").match(text, function.end() if function else at)
    if bracket:
        end = _bracket_end(text, bracket.end() - 1)
        return end, constant(text[at:end])
    return at, float("nan")


def _bracket_end(text: str, at: int) -> int:
    end = _closed(text, at, "[]")
    if not end:
        raise BadBlock(f"column {at + 1}: '[' is not closed")
    after = re.compile(r"[ \t]*/[ \t]*\[").match(text, end)
    return _bracket_end(text, after.end() - 1) if after else end


def _assignment(text: str, at: int) -> tuple[int, float, float]:
    """End of ``#5=1.``, the number of the parameter, and its value."""
    name = re.compile(r"#[ \t]*(?:#[ \t]*)*(?:\d+|<[^>]*>|\[[^\]]*\])[ \t]*=[ \t]*").match(text, at)
    if not name:
        raise BadBlock(f"column {at + 1}: a parameter that is not set")
    end, _ = _real(text, name.end())
    if end == name.end():
        raise BadBlock(f"column {name.end() + 1}: no value after '='")
    while more := _OPERATOR.match(text, end):
        at = more.end()
        end, _ = _real(text, at)
        if end == at:
            raise BadBlock(f"column {at + 1}: no value after {more.group().strip()!r}")
    inner = name.group()[1:].rstrip(" \t=").strip(" \t")
    value = constant(text[name.end() : end])
    if inner.startswith("<"):
        return end, 0.0, value
    return end, float(inner) if inner.isdigit() else constant(inner), value


def with_numbers(text: str, known: Mapping[float, float]) -> str:
    """A line with the values of parameters that are known, in brackets; those that it sets keep their names.

    Parameters
    ----------
    text : str
        The line.
    known : mapping of float to float
        Values of parameters by number.
    """

    def number(found: re.Match[str]) -> str:
        value = known.get(float(_BLANK.sub("", found[1])))
        return found[0] if value is None else f"[{value:.12f}]"

    return _USE.sub(number, text)


#: A parameter whose value is used (NISTIR 6556, 3.3.2.2), and not set.
_USE = re.compile(r"(?<!#)#[ \t]*(\d[\d \t]*+)(?!=)")
#: An expression of numbers, brackets not yet counted: a sign before each, and one operator between two.
_SUM = re.compile(r"(?:[-+]?\[)*[-+]?(?:\d+\.?\d*|\.\d+)\]*(?:[-+*/](?:[-+]?\[)*[-+]?(?:\d+\.?\d*|\.\d+)\]*)*")


def constant(text: str) -> float:
    """Value of an expression of numbers, ``+ - * /`` and brackets (NISTIR 6556, 3.3.2.3); NaN for any other."""
    text = re.sub(r"[ \t]", "", text)
    if not _SUM.fullmatch(text):
        return float("nan")
    try:
        # Numbers and operators alone, and none with a leading zero.
        return float(eval(re.sub(r"(?<![\d.])0+(?=\d)", "", text).translate(_ROUND), {"__builtins__": {}}))
    except (SyntaxError, ArithmeticError, RecursionError, MemoryError):
        return float("nan")


_ROUND = str.maketrans("[]", "()")
