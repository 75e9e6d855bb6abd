"""Ids in reading order: rows from the datum corner, the same for every export of the model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["pocket_ids", "reading_order"]

#: Places nearer than this are level with each other, mm: far above float noise, far below any pocket.
_LEVEL = 0.1


def reading_order(boxes: Sequence[tuple[float, float, float, float]], heights: Sequence[float]) -> list[int]:
    """Order floors by rows from the corner of least X and Y: left to right, then the next row up.

    A floor belongs to a row when its middle lies within half the lower of the two heights (in Y) of the middle of
    the row's first floor. Middles of bounding boxes are used, because they do not move with the tessellation.

    Parameters
    ----------
    boxes : sequence of (x_min, y_min, x_max, y_max), mm
    heights : sequence of float, mm
        Floor Z, which decides between floors in one place: the lower first.

    Returns
    -------
    list of int
        Indices of the floors in reading order.
    """
    middle = [((a + c) / 2.0, (b + d) / 2.0) for a, b, c, d in boxes]
    tall = [d - b for _, b, _, d in boxes]
    left = _by_level(list(range(len(boxes))), [y for _, y in middle], [x for x, _ in middle], heights)
    out: list[int] = []
    while left:
        first = left[0]
        row = [
            i
            for i in left
            if abs(middle[i][1] - middle[first][1]) <= max(_LEVEL, min(tall[i], tall[first]) / 2 - _LEVEL)
        ]
        out += _by_level(row, [x for x, _ in middle], [y for _, y in middle], heights)
        left = [i for i in left if i not in row]
    return out


def _by_level(index: list[int], *keys: Sequence[float]) -> list[int]:
    """Sort by the first key, ties within a level by the second, then by the third."""
    ranks = [_ranks(np.array(key, float)[index]) for key in keys]
    return [index[row] for row in np.lexsort(ranks[::-1])]


def _ranks(values: Array) -> Rows:
    """Rank of each value; values that follow within a level share one."""
    order, out = np.argsort(values, kind="stable"), np.zeros(len(values), np.intp)
    out[order[1:]] = np.cumsum(np.diff(values[order]) > _LEVEL)
    return out


def pocket_ids(count: int) -> list[str]:
    """``P01``, ``P02``, ...; three digits from a hundred on."""
    digits = max(2, len(str(count)))
    return [f"P{number:0{digits}d}" for number in range(1, count + 1)]
