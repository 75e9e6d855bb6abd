"""Change the words of one block and nothing else; or write it as several blocks."""

from __future__ import annotations

import re
from dataclasses import dataclass

from floorfit.nc.numbers import in_style
from floorfit.nc.words import Block, Word, read_block

__all__ = ["Piece", "as_line", "divide", "find_z", "insert_word", "lead_with", "replace_number"]

#: Stops act after the motion of a block (NISTIR 6556, 3.8), so a block with one cannot be divided.
_STOPS = frozenset({0.0, 1.0, 2.0, 30.0, 60.0})


def find_z(text: str) -> tuple[int, int] | None:
    """Return where the number of the Z word stands in a block, or None where the block has none."""
    words = read_block(text).words if "Z" in text.upper() else ()
    return next(((word.number, word.end) for word in words if word.letter == "Z"), None)


def replace_number(text: str, span: tuple[int, int], number: str) -> str:
    """Return the block with another number at ``span``.

    Parameters
    ----------
    text : str
        The block.
    span : (int, int)
        First character of the number, and the one behind it.
    number : str
    """
    return text[: span[0]] + number + text[span[1] :]


#: A block of X, Y and F words alone, with its gap: the common case.
_FAST_XY = re.compile(r"((?:[XY][-+]?[\d.]+( ?))*[XY][-+]?[\d.]+)(?: ?F[\d.]+)?[\r\n]*")


def insert_word(text: str, number: str) -> str:
    """Return the block with a Z word after its last axis word, in the block's own case and spacing.

    Parameters
    ----------
    text : str
        The block.
    number : str
    """
    fast = _FAST_XY.fullmatch(text)
    if fast:
        end, gap = fast.end(1), fast[2]
        if gap is None:
            gap = "" if text[end : end + 1] == "F" else " "
        return text[:end] + gap + "Z" + number + text[end:]
    block = read_block(text)
    axes = [word for word in block.words if word.letter in "XY"] or [
        word for word in block.words if word.letter in "ABCIJKR"
    ]
    last = axes[-1] if axes else block.words[-1]
    letter = "z" if text[last.start].islower() else "Z"
    return text[: last.end] + _gap(block) + letter + number + text[last.end :]


def lead_with(text: str, word: str) -> str:
    """Return the block with one more word in front of the others, in the block's own case and spacing.

    Parameters
    ----------
    text : str
        The block.
    word : str
        In upper case.
    """
    block = read_block(text)
    at = block.words[0].start
    return text[:at] + (word.lower() if text[at].islower() else word) + _gap(block) + text[at:]


def as_line(text: str) -> str:
    """Return the block of an arc as one of a line: G1 in place of G2 or G3, and no centre or radius.

    Parameters
    ----------
    text : str
        The block.
    """
    block = read_block(text)
    code = next((word for word in block.words if word.letter == "G" and word.value in (2.0, 3.0)), None)
    for word in reversed(block.words):
        if word is code:
            text = text[: word.number] + ("01" if text[word.number] == "0" else "1") + text[word.end :]
        elif word.letter in "IJKR":
            text = text[: word.start].rstrip(" \t") + text[word.end :]
    return text if code else lead_with(text, "G1")


def _gap(block: Block) -> str:
    places = [(a.end, b.start) for a, b in zip(block.words[:-1], block.words[1:], strict=True)]
    return "" if places and all(end == start for end, start in places) else " "


@dataclass(frozen=True)
class Piece:
    """One part of a divided motion; coordinates in the unit in force.

    Parameters
    ----------
    end : dict of str to float
        New values by letter, for the words that the motion changes (X, Y, Z, A, B, C), the tool vector (I, J, K) and
        the feed (F) where they belong to the piece.
    centre : (float, float) or None
        I and J for this piece, as the arc distance mode wants them; None on a line or where R is used.
    """

    end: dict[str, float]
    centre: tuple[float, float] | None


def divide(text: str, pieces: list[Piece], decimals: int, line_end: str, *, is_absolute: bool) -> list[str]:
    """Write a block as several.

    The first keeps every word of the original with new end values; the others hold only what a motion needs, since
    the modes and the feed carry on.

    Parameters
    ----------
    text : str
        The block.
    pieces : list of Piece
        At least two, in order; the last ends where the original does.
    decimals : int
        Digits after the point of every length.
    line_end : str
        Line end of the file, for a last block that has none.
    is_absolute : bool
        False where the values are increments (G91).

    Returns
    -------
    list of str
        Blocks with their line ends.

    Raises
    ------
    ValueError
        If the block has a stop, a call or turns of its own.
    """
    block = read_block(text)
    words = {word.letter: word for word in block.words if word.letter not in "GM"}
    if any(word.letter == "M" and word.value in _STOPS for word in block.words) or "P" in words:
        raise ValueError("the block has a stop or turns of its own, and would have to be divided")
    raw = {letter: text[word.number : word.end] for letter, word in words.items()}
    line_end = re.search(r"[\r\n]*$", text).group() or line_end  # type: ignore[union-attr]
    first = _first(text, block, words, pieces[0], raw, decimals)
    out = [first if first.endswith(line_end) else first + line_end]
    gap = _gap(block)
    lower = any(text[word.start].islower() for word in block.words)
    for piece in pieces[1:]:
        line = gap.join(_piece_words(piece, raw, decimals, keeps=is_absolute and piece is pieces[-1]))
        out.append(("/" if block.deleted else "") + (line.lower() if lower else line) + line_end)
    if not re.search(r"[\r\n]$", text):
        out[-1] = out[-1].rstrip("\r\n")
    return out


#: Digits after the point of a rotary word: 0.0001 degree moves a point 1 m away by 2 µm.
_ROTARY_DECIMALS = 4
#: Digits of a component of a tool vector: a millionth turns the tool by 0.2 seconds of arc.
_VECTOR_DECIMALS = 6


def _decimals(letter: str, lengths: int) -> int:
    if letter in "IJK":
        return _VECTOR_DECIMALS
    return _ROTARY_DECIMALS if letter in "ABCF" else lengths


def _first(text: str, block: Block, words: dict[str, Word], piece: Piece, raw: dict[str, str], decimals: int) -> str:
    missing = [letter for letter in piece.end if letter not in words]
    axes = [word for word in block.words if word.letter in "XYZABC"] or list(block.words)
    tail = axes[-1].end
    case = str.lower if text[axes[-1].start].islower() else str.upper
    added = "".join(
        _gap(block) + case(letter) + in_style(piece.end[letter], "", _decimals(letter, decimals)) for letter in missing
    )
    spans = [
        (word.number, word.end, in_style(piece.end[letter], raw[letter], _decimals(letter, decimals)))
        for letter, word in words.items()
        if letter in piece.end
    ]
    if raw.get("R", "").startswith("-"):
        spans.append((words["R"].number, words["R"].end, raw["R"].lstrip("- ")))
    for start, end, new in sorted([*spans, (tail, tail, added)], reverse=True):
        text = text[:start] + new + text[end:]
    return text


def _piece_words(piece: Piece, raw: dict[str, str], decimals: int, *, keeps: bool) -> list[str]:
    out = []
    for letter, value in piece.end.items():
        own = raw.get(letter, "")
        keep = keeps and own and letter not in "ZF"
        number = re.sub(r"\s", "", own) if keep else in_style(value, own, _decimals(letter, decimals))
        out.append(letter + number)
    if piece.centre is not None:
        out += [
            letter + in_style(value, raw.get(letter, ""), _decimals(letter, decimals))
            for letter, value in zip("IJ", piece.centre, strict=True)
        ]
    elif "R" in raw:
        out.append("R" + re.sub(r"\s", "", raw["R"]).lstrip("-"))
    return out
