"""Text on the map without overlaps: sizes from the font's own metrics, places taken one by one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array
from floorfit.report.plan_view import plain_text

__all__ = ["GAP", "MM_PER_POINT", "Box", "Placer", "box_at", "fitted", "printable", "text_size", "touch"]

#: left, bottom, right, top
Box = tuple[float, float, float, float]

#: Room that a label keeps on each side, mm.
GAP = 0.4

MM_PER_POINT = 25.4 / 72


def text_size(text: str, points: float, *, bold: bool = False) -> tuple[float, float]:
    """Width and height of one line in the map's font, mm of paper.

    Parameters
    ----------
    text : str
    points : float
        Size of the font.
    bold : bool
    """
    from floorfit.report.lettering import extent

    width, height = extent(text, bold=bold)
    share = points / 100 * MM_PER_POINT
    return (width * share, max(height * share, 0.75 * points * MM_PER_POINT))


@cache
def printable(text: str) -> str:
    """Return text on one line in which signs that the map's font lacks are shown as boxes."""
    known = _glyphs()
    return "".join(c if ord(c) in known else "□" for c in plain_text(text))


def fitted(text: str, points: float, room: float, *, bold: bool = False) -> str:
    """Return text on one line, cut with an ellipsis so that it takes no more than ``room`` mm.

    Parameters
    ----------
    text : str
    points : float
        Size of the font.
    room : float, mm
        Of paper.
    bold : bool
    """
    line = printable(text)
    if text_size(line, points, bold=bold)[0] <= room:
        return line
    while line and text_size(line + "…", points, bold=bold)[0] > room:
        line = line[: -max(1, len(line) // 20)]
    return line + "…"


@dataclass
class Placer:
    """Keeps the boxes already taken on one drawing, mm of paper, by the squares of a grid that they touch."""

    area: Box
    taken: list[Box] = field(default_factory=list)
    squares: dict[tuple[int, int], list[Box]] = field(default_factory=dict)
    misses: int = 0

    def is_free(self, box: Box) -> bool:
        """Whether a box lies in the area and touches no taken one."""
        x0, y0, x1, y1 = self.area
        inside = box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1
        return inside and not any(
            touch(box, other) for square in _squares(box) for other in self.squares.get(square, ())
        )

    def claim(self, box: Box) -> bool:
        """Take a box if it is free; return whether it was."""
        is_free = self.is_free(box)
        if is_free:
            self._take(box)
        return is_free

    def _take(self, box: Box) -> None:
        self.taken.append(box)
        for square in _squares(box):
            self.squares.setdefault(square, []).append(box)

    def first_free(self, places: ArrayLike, size: tuple[float, float]) -> Box | None:
        """Return and take the first free box of that size centred on one of the places; None if there is none.

        Parameters
        ----------
        places : (n, 2) array_like, mm
            Of paper, best first.
        size : (float, float), mm
            Width and height.
        """
        half = np.array(size) / 2 + GAP
        boxes = np.hstack([np.asarray(places, float) - half, np.asarray(places, float) + half])
        x0, y0, x1, y1 = self.area
        inside = (boxes[:, 0] >= x0) & (boxes[:, 1] >= y0) & (boxes[:, 2] <= x1) & (boxes[:, 3] <= y1)
        boxes = boxes[inside]
        free = np.flatnonzero(~self._touched(boxes))
        if len(free) == 0:
            self.misses += 1
            return None
        x0, y0, x1, y1 = boxes[free[0]].tolist()
        self._take((x0, y0, x1, y1))
        return (x0, y0, x1, y1)

    def _touched(self, boxes: Array) -> NDArray[np.bool_]:
        """Whether each box has an area in common with a taken one."""
        if len(boxes) == 0:
            return np.zeros(0, bool)
        (x0, y0), (x1, y1) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
        near = {other for square in _squares((x0, y0, x1, y1)) for other in self.squares.get(square, ())}
        left, bottom, right, top = np.array(list(near)).reshape(-1, 4).T
        x0, y0, x1, y1 = boxes.T[:, :, None]
        both = (x0 < right) & (left < x1) & (y0 < top) & (bottom < y1)
        return np.asarray(both.any(axis=1), dtype=np.bool_)


def box_at(centre: tuple[float, float], size: tuple[float, float]) -> Box:
    """Return the box of that size round a centre, widened by `GAP`, mm.

    Parameters
    ----------
    centre : (float, float), mm
        On paper.
    size : (float, float), mm
        Width and height.
    """
    half_w, half_h = size[0] / 2 + GAP, size[1] / 2 + GAP
    return (centre[0] - half_w, centre[1] - half_h, centre[0] + half_w, centre[1] + half_h)


def _squares(box: Box) -> Iterator[tuple[int, int]]:
    """Squares of 8 mm that a box touches."""
    for i in range(int(box[0] // 8), int(box[2] // 8) + 1):
        for j in range(int(box[1] // 8), int(box[3] // 8) + 1):
            yield i, j


def touch(a: Box, b: Box) -> bool:
    """Return whether two boxes have an area in common."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@cache
def _glyphs() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties())).get_charmap())
