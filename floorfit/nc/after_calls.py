"""What a subprogramme of the same file leaves in force behind its call: its blocks without their motion."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from floorfit.nc.codes import CANCEL_TRANSFORM, GROUP, SETS_FRAME, TRANSFORM, code_of
from floorfit.nc.words import BadBlock, Block, Word, read_block

__all__ = ["Body", "bodies_of"]

#: Groups that hold until they are stated again, whoever states them.
_CARRIED = frozenset(
    {"units", "distance", "plane", "arc distance", "radius compensation"}
    | {"length offset", "return level", "work offset"}
)
#: Codes whose other words count as well.
_WHOLE = frozenset({100, 431, *SETS_FRAME, *TRANSFORM, *CANCEL_TRANSFORM})
_CALL = re.compile(r"M0*98|G65|^[ \t]*(?:N\d+)?[ \t]*L[ \t]*\d", re.IGNORECASE | re.MULTILINE)
#: M words kept: a new cutter, and calls of other subprogrammes; what ends one.
_KEPT_M, _ENDS = (6.0, 98.0), (99.0, 17.0)


@dataclass(frozen=True)
class Body:
    """A subprogramme without its motion.

    Parameters
    ----------
    blocks : tuple of Block
        What sets a mode, a zero, a frame or a cutter, in order.
    is_straight : bool
        Whether all of it runs at every call: no jump, no loop, no block behind ``/``, none that cannot be read.
    """

    blocks: tuple[Block, ...] = ()
    is_straight: bool = True


def bodies_of(lines: Sequence[str]) -> dict[int, Body]:
    """Subprogrammes of a file by number; empty where nothing is called.

    Parameters
    ----------
    lines : sequence of str
    """
    if not _CALL.search("".join(lines)):
        return {}
    out: dict[int, Body] = {}
    number = -1
    for line in lines:
        try:
            block = read_block(line)
        except BadBlock:
            block = Block(flow="unreadable")
        if block.label:
            number = int(block.label[1:])
            out[number] = Body()
        if number < 0 or (block.percent and out):
            number = -1
            continue
        body, kept = out[number], tuple(_kept(block))
        is_straight = body.is_straight and not block.flow and not (block.deleted and kept)
        blocks = (*body.blocks, replace(block, words=kept, label="")) if kept or block.sets else body.blocks
        out[number] = Body(blocks, is_straight)
        if any(word.letter == "M" and word.value in _ENDS for word in block.words):
            number = -1
    return out


def _kept(block: Block) -> list[Word]:
    codes = [code_of(word.value) for word in block.words if word.letter == "G"]
    calls = 650 in codes or any(word.letter == "M" and word.value in _KEPT_M for word in block.words)
    if calls or any(code in _WHOLE for code in codes):
        return [word for word in block.words if _is_kept(word) or word.letter not in "GM"]
    return [word for word in block.words if _is_kept(word)]


def _is_kept(word: Word) -> bool:
    if word.letter == "G":
        code = code_of(word.value)
        return code in _WHOLE or code == 650 or GROUP.get(code) in _CARRIED
    return word.letter in "TH" or (word.letter == "M" and word.value in _KEPT_M)
