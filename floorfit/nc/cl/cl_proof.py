"""Hear the corrected file again with the second reader, compare it with the original, and sweep both.

Which line came from which is the writer's word; everything else is found anew from the two texts. The words that are no
motion must be the same, in the same order; every motion must end where it did in plan and lean as it did; what stands
between must lie on the old way. Then the cutter is swept along both files, floor by floor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Correction
from floorfit.nc.cl.cl_second import ARC, FEED, PLACE, RAPID, Heard
from floorfit.nc.swept_floors import Cuts, FileProof, Proved, SweptFloor
from floorfit.part.model import Pocket

__all__ = ["LocationProof"]

#: How far in plan a point may lie from where it was, mm: rounding to 0.001 mm or 0.0001 in, twice.
_PLAN_MM = 0.006
#: How far an axis may be from the old one, as a sine: rounding to six decimals.
_AXIS = 5e-6
#: How far a height may be from the one planned, mm: rounding to 0.0001 in, twice.
_ROUNDING_MM = 0.0026


@dataclass
class LocationProof(FileProof):
    """The result beside the original.

    Parameters
    ----------
    before, after : Heard
        Original and result.
    origin : (k,) ndarray of int
        Line of the original that each line of the result came from; -1 for the header.
    sizes : (n, 2) ndarray, mm
        Radius and corner radius at each motion of the original; 0 where not known.
    planned : (n,) ndarray and dict, mm
        What the rule added at the end of each motion, and at shares of the divided ones.
    """

    before: Heard
    after: Heard
    origin: Rows
    sizes: Array
    planned: tuple[Array, Mapping[int, Sequence[tuple[float, float]]]]

    def run(self, floors: Sequence[tuple[Pocket, Correction]]) -> Proved:
        """Compare the two, and sweep floors.

        Parameters
        ----------
        floors : sequence of (Pocket, Correction)
            The floors to sweep, with what is added to them.
        """
        self.node, self.breaks = self.planned
        if not self._paired():
            return Proved(tuple(self.findings))
        self._same_words()
        self._same_plan()
        self._same_axes()
        self._as_planned()
        self._same_circles()
        swept: list[SweptFloor] = []
        if not self.findings:
            swept = self.sweep(_cuts(self.before, self.sizes), _cuts(self.after, self.sizes[self.row]), floors)
        added = self.after.tip[self.last, 2] - self.before.tip[:, 2]
        self.keep_the_rest(self.before.line, added, self.before.tip[:, :2], self.sizes[:, 0], floors)
        return Proved(tuple(self.findings), tuple(swept), added)

    def _check(self, bad: Flags, text: str) -> None:
        self.check(self.before.line[self.row], bad, text)

    def _paired(self) -> bool:
        """Give every motion of the result its motion of the original, by the line it came from."""
        came = self.origin[self.after.line]
        row = np.searchsorted(self.before.line, came, side="right") - 1
        # A motion put before a statement came from that statement's own first line or from the circle's before it.
        late = (row < 0) | (self.before.line[np.maximum(row, 0)] < came)
        row = np.where(late, row + 1, row)
        if len(row) == 0 or np.any(np.diff(row) < 0) or np.any(np.diff(row) > 1) or row[0] != 0:
            self.fail(-1, "the motions do not come in the order of the original")
            return False
        if row[-1] != len(self.before.kind) - 1:
            self.fail(-1, f"{len(self.before.kind)} motions went in, and {row[-1] + 1} came out")
            return False
        self.row, is_last = row, np.append(row[1:] != row[:-1], True)
        self.is_last, self.last = is_last, np.flatnonzero(is_last)
        return True

    def _same_words(self) -> None:
        """Everything that is no motion: the same text, between the same motions."""
        old, new = self.before.rest, [one for one in self.after.rest if self.origin[one[1]] >= 0]
        for (count0, line, text0), (count1, _, text1) in zip(old, new, strict=False):
            reached = self.row[count1 - 1] + 1 if count1 else 0
            if text0.strip() != text1.strip() or count0 != reached:
                self.fail(-1, f"line {line + 1} does not come out as it was")
                return
        if len(old) != len(new):
            self.fail(-1, f"{len(old)} words that are no motion went in, and {len(new)} came out")

    def _same_plan(self) -> None:
        before, after, row = self.before, self.after, self.row
        kind0, kind1 = before.kind[row], after.kind
        chords = (kind0 == ARC) & (kind1 == FEED)
        self._check((kind0 != kind1) & ~chords, "another kind of motion")
        number = {word: index for index, word in enumerate(before.words)}
        same = np.array([number.get(word, -1) for word in after.words])
        self._check(same[after.feed] != before.feed[row], "another feed")
        self._check(same[after.cutter] != before.cutter[row], "another cutter")
        away = np.hypot(*(after.tip - before.tip[row])[:, :2].T)
        self._check(self.is_last & (away > _PLAN_MM), "another place in plan")
        lost = np.isnan(before.tip[row]).any(axis=1) != np.isnan(after.tip).any(axis=1)
        self._check(lost, "a place that is known in one file only")
        self._check(~self.is_last & (self._off_path() > _PLAN_MM), "a dividing point off the way")

    def _off_path(self) -> Array:
        """Distance in plan of the inner points from the old way, and the share of it; of circles from the circle."""
        before, after = self.before, self.after
        out, self.share = np.zeros(len(self.row)), np.ones(len(self.row))
        some = np.flatnonzero(~self.is_last)
        rows = self.row[some]
        start, end, point = before.tip[np.maximum(rows - 1, 0), :2], before.tip[rows, :2], after.tip[some, :2]
        way = end - start
        size = np.maximum((way**2).sum(axis=1), 1e-18)
        share = np.clip(((point - start) * way).sum(axis=1) / size, 0.0, 1.0)
        out[some] = np.hypot(*(point - start - share[:, None] * way).T)
        self.share[some] = share
        for place, row in zip(some.tolist(), rows.tolist(), strict=True):
            if row in before.circle:
                out[place] = _off_circle(after.tip[place], before.circle[row])
        return out

    def _same_axes(self) -> None:
        before, after, row = self.before, self.after, self.row
        away = np.linalg.norm(np.cross(before.axis[row], after.axis), axis=1)
        self._check(self.is_last & (away > _AXIS), "another axis")
        first = before.axis[np.maximum(row - 1, 0)]
        turn = before.axis[row] - first
        straight = ~self.is_last & ~np.isin(row, list(before.circle))
        between = first + self.share[:, None] * turn
        between /= np.maximum(np.linalg.norm(between, axis=1), 1e-9)[:, None]
        off = np.linalg.norm(np.cross(between, after.axis), axis=1)
        length = np.linalg.norm((before.tip[row] - before.tip[np.maximum(row - 1, 0)])[:, :2], axis=1)
        slack = _AXIS + np.linalg.norm(turn, axis=1) * np.minimum(_PLAN_MM / np.maximum(length, _PLAN_MM), 1.0)
        moving = length > 0.1
        self._check(straight & moving & (off > slack), "an axis between that is not on the way")

    def _as_planned(self) -> None:
        """Every point is as high as the rule said, and no motion has more or fewer pieces than it said."""
        row, tip = self.row, self.before.tip
        added = self.after.tip[:, 2] - tip[row, 2]
        known = ~np.isnan(added) & (self.before.kind[row] != PLACE)
        off = known & (np.abs(added - self.node[row]) > _ROUNDING_MM)
        self._check(self.is_last & off, "another height than planned")
        pieces = np.bincount(row, minlength=len(self.node)) - 1
        wanted = np.zeros(len(self.node), dtype=int)
        wanted[list(self.breaks)] = [len(some) for some in self.breaks.values()]
        circle = np.isin(np.arange(len(self.node)), list(self.before.circle))
        self._check(((pieces != wanted) & ~circle)[row], "another number of pieces than planned")
        inner = np.flatnonzero(~self.is_last & ~circle[row])
        rows = row[inner]
        said = [pair for one in np.unique(rows).tolist() for pair in self.breaks.get(one, ())]
        if len(said) == len(inner):
            share, dz = np.array(said).reshape(-1, 2).T
            wish = tip[rows - 1] + share[:, None] * (tip[rows] - tip[rows - 1])
            wish[:, 2] += dz
            bad = np.abs(self.after.tip[inner] - wish).max(axis=1) > _ROUNDING_MM
            self.check(self.before.line[rows], bad, "another point than planned")

    def _same_circles(self) -> None:
        """A circle is as it was but for its height, or points so near to each other that they keep to it."""
        before, after = self.before, self.after
        bad = np.zeros(len(self.row), dtype=bool)
        for place in np.flatnonzero(np.isin(self.row, list(before.circle))).tolist():
            row = int(self.row[place])
            old = np.array(before.circle[row])
            if place in after.circle:
                change = np.array(after.circle[place]) - old
                change[2] -= self.node[row]
                bad[place] = bool(np.abs(change).max() > _ROUNDING_MM)
            else:
                chord = float(np.linalg.norm(after.tip[place] - after.tip[place - 1]))
                bad[place] = chord > 2 * np.sqrt(2 * old[6] * _PLAN_MM)
        self._check(bad, "another circle")


def _cuts(heard: Heard, sizes: Array) -> Cuts:
    """Motions that may cut, circles as chords."""
    start = np.concatenate([np.full((1, 3), np.nan), heard.tip[:-1]])
    axis0 = np.concatenate([heard.axis[:1], heard.axis[:-1]])
    usable = np.isin(heard.kind, (FEED, RAPID)) & ~np.isnan(start).any(axis=1) & ~np.isnan(heard.tip).any(axis=1)
    rows = np.flatnonzero(usable & (sizes[:, 0] > 0))
    parts = [Cuts(start[rows], heard.tip[rows], axis0[rows], heard.axis[rows], sizes[rows])]
    for row in heard.circle:
        if sizes[row, 0] > 0:
            points, axes = _chords(start[row], heard.tip[row], heard.circle[row], axis0[row], heard.axis[row])
            size = np.tile(sizes[row], (len(points) - 1, 1))
            parts.append(Cuts(points[:-1], points[1:], axes[:-1], axes[1:], size))
    return Cuts.joined(parts)


def _off_circle(point: Array, circle: tuple[float, ...]) -> float:
    """Distance from a circle seen along Z where it lies level, else 0 (its height was changed with intent)."""
    centre, axis, radius = np.array(circle[:3]), np.array(circle[3:6]), circle[6]
    if abs(axis[2]) < 1 - 1e-6:
        return 0.0
    return abs(float(np.hypot(*(point - centre)[:2])) - radius)


def _chords(start: Array, end: Array, circle: tuple[float, ...], axis0: Array, axis1: Array) -> tuple[Array, Array]:
    """Points along a circle, right-handed about its axis, 2 degrees apart; and the tool's axis there."""
    centre, about = np.array(circle[:3]), np.array(circle[3:6])
    first, last = start - centre, end - centre
    rise0, rise1 = float(first @ about), float(last @ about)
    first, last = first - rise0 * about, last - rise1 * about
    turn = float(np.arctan2(np.cross(first, last) @ about, first @ last)) % (2 * np.pi)
    turn = 2 * np.pi if np.linalg.norm(first - last) < 1e-6 else turn
    share = np.linspace(0, 1, int(np.ceil(np.degrees(turn) / 2)) + 1)[:, None]
    ring = np.cos(share * turn) * first + np.sin(share * turn) * np.cross(about, first)
    points = centre + ring + (rise0 + share * (rise1 - rise0)) * about
    points[-1] = end
    return points, axis0 + share * (axis1 - axis0)
