"""Long runs of plain blocks at once: the same rules as the reader, on arrays.

A finishing programme is mostly blocks of axis words. They are read here with numpy, about ten times
faster; anything out of the ordinary makes `run_batch` step back, and the reader takes the blocks one by one.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.nc.arcs import ARC_ABSOLUTE, ARC_RELATIVE
from floorfit.nc.motions import CLOCKWISE

if TYPE_CHECKING:
    from floorfit.nc.reader import Reader

__all__ = ["PLAIN_BLOCK", "plain_runs", "run_batch"]

#: Blocks that a batch may hold.
PLAIN_BLOCK = re.compile(
    r"[ \t]*(?:N\d+[ \t]*)?(?:(?:G0*[0-3](?![\d.])|[XYZABCFIJR][-+]?(?:\d+\.?\d*|\.\d+))[ \t]*)*[\r\n]*",
    re.IGNORECASE,
)
_BLANK_LETTERS = bytes(32 if 65 <= code <= 90 or code in (9, 10, 13) else code for code in range(256))
_AXES = "XYZABC"
#: Shortest run that is worth a batch, and the longest taken at once (keeps memory small).
_SHORTEST, _LONGEST = 16, 50_000


def plain_runs(lines: list[str]) -> list[tuple[int, int]]:
    """Return the runs (first, last + 1) of plain blocks long enough for a batch."""
    plain = np.array([PLAIN_BLOCK.fullmatch(line) is not None for line in lines], dtype=np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], plain, [0]])))
    runs = []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if last - first >= _SHORTEST:
            runs += [(at, min(at + _LONGEST, last)) for at in range(first, last, _LONGEST)]
    return runs


class _Words:
    """Letters, values and block numbers of every word in a run."""

    def __init__(self, lines: list[str]) -> None:
        text = "".join(lines).upper().encode("latin-1")
        codes = np.frombuffer(text, dtype=np.uint8)
        places = np.flatnonzero((codes >= 65) & (codes <= 90))
        ends = np.cumsum([len(line) for line in lines])
        self.count = len(lines)
        self.letters = codes[places]
        self.blocks = np.searchsorted(ends, places, side="right")
        self.present = {chr(code) for code in np.unique(self.letters).tolist()}
        self.values = np.fromstring(text.translate(_BLANK_LETTERS), dtype=float, sep=" ")

    def column(self, letter: str) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the value in each block and whether the block has the word."""
        if letter not in self.present:
            return np.full(self.count, np.nan), np.zeros(self.count, dtype=bool)
        mask = self.letters == ord(letter)
        blocks = self.blocks[mask]
        if len(blocks) and np.any(np.diff(blocks) == 0):
            raise ValueError(letter)
        values, has = np.full(self.count, np.nan), np.zeros(self.count, dtype=bool)
        values[blocks], has[blocks] = self.values[mask], True
        return values, has

    def carried(self, letter: str, before: float, scale: float = 1.0) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the column with the last value carried on where the word is left out."""
        values, has = self.column(letter)
        if letter not in self.present:
            return np.full(self.count, before), has
        last = np.maximum.accumulate(np.where(has, np.arange(self.count), -1))
        return np.where(last >= 0, values[last] * scale, before), has

    def summed(self, letter: str, before: float, scale: float = 1.0) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the running sum of the column, as incremental mode wants it."""
        values, has = self.column(letter)
        steps = np.concatenate([[before], np.where(has, values * scale, 0.0)])
        return np.cumsum(steps)[1:], has


def run_batch(reader: Reader, first: int, lines: list[str]) -> bool:
    """Run a run of plain blocks.

    Parameters
    ----------
    reader : Reader
        Its state is moved on when the batch succeeds and untouched otherwise.
    first : int
        Index of the first block in the file.
    lines : list of str
        Blocks that `PLAIN_BLOCK` matches.

    Returns
    -------
    bool
        False where the blocks must be run one by one.
    """
    state = reader.state
    if reader.unsure or state.plane != 170 or state.transform or reader.saved is not None:
        return False
    if any(value != value for value in reader.position):
        return False
    try:
        return _run(reader, first, _Words(lines))
    except ValueError:
        return False


def _run(reader: Reader, first: int, words: _Words) -> bool:
    scale = reader.state.unit_mm
    column = words.carried if reader.state.absolute else words.summed
    ends = [column(axis, reader.position[index], scale if index < 3 else 1.0) for index, axis in enumerate(_AXES)]
    codes, _ = words.carried("G", reader.state.motion / 10)
    motion = np.round(codes).astype(int)
    moved = np.logical_or.reduce([has for _, has in ends])
    arc = (motion == 2) | (motion == 3)
    i, has_i = words.column("I")
    j, has_j = words.column("J")
    r, has_r = words.column("R")
    moved |= arc & (has_i | has_j | has_r)
    arc &= moved
    if np.any(moved & ((motion < 0) | (motion > 3))):
        return False
    values = np.column_stack([value for value, _ in ends])
    before = np.vstack([reader.position, values[:-1]])
    centre = np.full((words.count, 2), np.nan)
    if arc.any():
        given = np.column_stack([i, j])[arc] * scale
        centre[arc] = given if reader.state.arc_absolute else before[arc, :2] + np.nan_to_num(given)
        by_radius = arc & has_r
        clockwise = motion[by_radius] == 2
        centre[by_radius] = _radius_centres(
            before[by_radius, :2], values[by_radius, :2], r[by_radius] * scale, clockwise
        )
        if not _arcs_fit(before[arc, :2], values[arc, :2], centre[arc]):
            return False
    feed, _ = words.carried("F", reader.feed_word)
    _append(reader, first, moved, motion, values, centre, feed)
    reader.position = values[-1].tolist()
    reader.feed_word = float(feed[-1])
    reader.state = reader.state._replace(motion=int(motion[-1]) * 10)
    return True


def _radius_centres(
    start: NDArray[np.float64], end: NDArray[np.float64], radius: NDArray[np.float64], clockwise: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """As the reader's rule for the radius format; NaN where it would refuse or bend the rule."""
    chord = end - start
    length = np.hypot(*chord.T)
    with np.errstate(divide="ignore", invalid="ignore"):
        side = np.sqrt(radius**2 - length**2 / 4) / length
    side = np.where(clockwise == (radius > 0), -side, side)
    across = np.column_stack([-chord[:, 1], chord[:, 0]])
    return np.asarray(start + chord / 2 + side[:, None] * across)


def _arcs_fit(start: NDArray[np.float64], end: NDArray[np.float64], centre: NDArray[np.float64]) -> bool:
    first, last = np.hypot(*(start - centre).T), np.hypot(*(end - centre).T)
    fits = (np.minimum(first, last) > 0) & (np.abs(first - last) <= np.maximum(ARC_ABSOLUTE, ARC_RELATIVE * first))
    return bool(np.all(fits))


def _append(
    reader: Reader,
    first: int,
    moved: NDArray[np.bool_],
    motion: NDArray[np.intp],
    values: NDArray[np.float64],
    centre: NDArray[np.float64],
    feed: NDArray[np.float64],
) -> None:
    rows = reader.rows
    count = int(moved.sum())
    index = {code: reader.modal_index(reader.state._replace(motion=code * 10)) for code in np.unique(motion[moved])}
    kinds = np.array([0, 1, CLOCKWISE, CLOCKWISE + 1], dtype=np.int8)[motion[moved]]
    lookup = np.zeros(4, dtype=np.int64)
    for code, place in index.items():
        lookup[code] = place
    rows.line.frombytes((np.flatnonzero(moved) + first).astype(np.int64).tobytes())
    rows.kind.frombytes(kinds.tobytes())
    rows.modal.frombytes(lookup[motion[moved]].tobytes())
    rows.turns.frombytes(np.zeros(count, dtype=np.int32).tobytes())
    rows.low.frombytes(np.full(count, np.nan).tobytes())
    rows.feed.frombytes(feed[moved].tobytes())
    for name, column in zip("xyzabc", values[moved].T, strict=True):
        getattr(rows, name).frombytes(np.ascontiguousarray(column).tobytes())
    for name, column in zip(("cx", "cy"), centre[moved].T, strict=True):
        getattr(rows, name).frombytes(np.ascontiguousarray(column).tobytes())
