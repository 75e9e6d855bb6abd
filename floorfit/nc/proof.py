"""Read the corrected programme again from scratch and compare it, motion by motion, with the original.

The pairing of blocks comes from the writer; everything else is computed anew from the two texts: kinds, X, Y, rotary
axes, feed, tool and modes must be the same, Z must differ by what was decided, and nothing may be lower than both the
programme and the corrected floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.errors import Finding
from floorfit.nc.floor_index import MARGIN_MM, Floor, PlanIndex
from floorfit.nc.motions import CUTTING, FLOW, JUMP, OTHER_ARC, RAPID, Motions
from floorfit.nc.shifts import BLEND_MM

__all__ = ["Pairing", "prove"]

#: Half a unit of the last decimal written, mm, with room for two roundings (0.0001 in is 0.00254 mm).
_ROUNDING_MM = 0.00255
#: Greatest distance of a dividing point from the original path, mm: two coordinates rounded to 0.001 mm or 0.0001 in.
_OFF_PATH_MM = 0.003
#: Points this near to a floor's edge are on it, mm: float64 places no edge more surely at these lengths.
_EDGE_MM = 1e-6


@dataclass(frozen=True)
class Pairing:
    """Which row of the original each row of the result belongs to.

    Parameters
    ----------
    row : (m,) ndarray of int
        Row of the original.
    last : (m,) ndarray of bool
        Whether it is the last piece of that row.
    """

    row: NDArray[np.intp]
    last: NDArray[np.bool_]


def pair(before: Motions, after: Motions, origin: NDArray[np.intp]) -> Pairing | str:
    """Pair the rows, or say why they cannot be paired.

    Parameters
    ----------
    before, after : Motions
        Original and result.
    origin : (k,) ndarray of int
        Line of the original that each line of the result came from; -1 for the header.
    """
    counts = np.bincount(origin[origin >= 0], minlength=int(before.line.max(initial=0)) + 1)
    pieces = counts[before.line]
    movable = ~np.isin(before.kind, (JUMP, FLOW))
    repeat = np.where(movable, np.maximum(pieces, 1), 1)
    row = np.repeat(np.arange(len(before)), repeat)
    if len(row) != len(after):
        return f"the result has {len(after)} motions and {len(row)} were expected"
    if not np.array_equal(origin[after.line], before.line[row]):
        return "the motions do not come in the order of the original"
    last = np.append(row[1:] != row[:-1], True)
    return Pairing(row, last)


def prove(
    before: Motions,
    after: Motions,
    origin: NDArray[np.intp],
    floors: Sequence[Floor],
    usable: NDArray[np.bool_],
    *,
    source: str,
    tolerance_mm: float,
) -> tuple[list[Finding], NDArray[np.float64]]:
    """Compare the result with the original.

    Parameters
    ----------
    before, after : Motions
        Original and result, each read from its text.
    origin : (k,) ndarray of int
        See `pair`.
    floors : sequence of Floor
        The floors whose offsets were applied.
    usable : (n,) ndarray of bool
        Rows of the original whose frame is the part's.
    source : str
        Name of the programme.
    tolerance_mm : float
        Of the offset.

    Returns
    -------
    findings : list of Finding
        Empty when the proof holds.
    offset : (n,) ndarray, mm
        What the result adds to Z at the end of each row of the original; NaN where Z is not known.
    """
    pairing = pair(before, after, origin)
    if isinstance(pairing, str):
        return [Finding("proof", source, "", f"proof failed: {pairing}. Nothing was written.")], np.zeros(len(before))
    return _Proof(before, after, pairing, floors, usable, source, tolerance_mm).run()


class _Proof:
    def __init__(
        self,
        before: Motions,
        after: Motions,
        pairing: Pairing,
        floors: Sequence[Floor],
        usable: NDArray[np.bool_],
        source: str,
        tolerance_mm: float,
    ) -> None:
        self.before, self.after, self.row, self.last = before, after, pairing.row, pairing.last
        self.floors, self.usable, self.source = floors, usable, source
        self.slack = tolerance_mm + _ROUNDING_MM
        self.findings: list[Finding] = []
        self.share, self.away = self._shares()

    def run(self) -> tuple[list[Finding], NDArray[np.float64]]:
        self._same_state()
        self._same_plan()
        points = self._original_points()
        added = self.after.xyz[:, 2] - points[:, 2]
        self._right_height(points, added)
        self._rolls(added)
        self._between_points()
        self._rapids(points)
        return self.findings, added[self.last]

    def _bad(self, mask: NDArray[np.bool_], text: str) -> None:
        rows = np.flatnonzero(mask)
        if len(rows):
            place = f"line {self.before.line[self.row[rows[0]]] + 1}"
            text = f"proof failed: {text} ({len(rows)} motions). Nothing was written."
            self.findings.append(Finding("proof", self.source, place, text))

    def _same_state(self) -> None:
        before, after, row = self.before, self.after, self.row
        number = {modal: index for index, modal in enumerate(before.modals)}
        same = np.array([number.get(modal, -1) for modal in after.modals] or [0])
        self._bad(same[after.modal] != before.modal[row], "a mode, the tool or a work offset differs")
        self._bad(before.kind[row] != after.kind, "another kind of motion")
        feed0, feed1 = before.feed[row], after.feed
        self._bad((feed0 != feed1) & ~(np.isnan(feed0) & np.isnan(feed1)), "another feed")

    def _same_plan(self) -> None:
        before, after, row = self.before, self.after, self.row
        end0, end1 = before.xyz[row, :2], after.xyz[:, :2]
        same = (np.abs(end0 - end1) < 1e-6) | (np.isnan(end0) & np.isnan(end1))
        self._bad(self.last & ~same.all(axis=1), "another X or Y")
        turn = before.start_abc[row] + self.share[:, None] * (before.abc[row] - before.start_abc[row])
        turned = np.abs(turn - after.abc) < np.where(self.last, 1e-6, 0.01)[:, None]
        turned |= np.isnan(turn) & np.isnan(after.abc)
        self._bad(np.asarray(~turned.all(axis=1)), "another rotary position")
        self._bad(self.away > _OFF_PATH_MM, "a dividing point off the path")
        first = np.append(True, self.last[:-1])
        back = np.append(False, self.share[1:] <= self.share[:-1]) & ~first
        self._bad(np.asarray(back), "a divided motion that runs backwards")
        arcs = before.is_arc[row] & after.is_arc
        self._bad(self._bulge() > 2 * _OFF_PATH_MM, "another arc")
        self._bad(arcs & (np.sign(before.sweep[row]) != np.sign(after.sweep)), "an arc the other way round")

    def _bulge(self) -> NDArray[np.float64]:
        """How far the middle of each arc of the result lies from the original path; 0 where there is no arc."""
        before, after = self.before, self.after
        away = np.zeros(len(self.row))
        some = np.flatnonzero(before.is_arc[self.row] & after.is_arc)
        first = np.where(np.append(True, self.last[:-1]), 0.0, np.append(0.0, self.share[:-1]))
        middle = 0.5 * (first + self.share)
        old = before.points(self.row[some], middle[some, None])[:, 0, :2]
        away[some] = np.hypot(*(after.points(some, np.full(1, 0.5))[:, 0, :2] - old).T)
        return away

    def _shares(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Share of the original path at the end of each row of the result, and the distance from it."""
        before, row = self.before, self.row
        share, away = np.ones(len(row)), np.zeros(len(row))
        inner = np.flatnonzero(~self.last)
        if not len(inner):
            return share, away
        some = row[inner]
        point = self.after.xyz[inner, :2]
        start, end = before.start[some, :2], before.xyz[some, :2]
        along, length = end - start, np.maximum(before.length[some], 1e-12)
        straight = ((point - start) * along).sum(axis=1) / length**2
        radial = point - before.centre[some]
        first = start - before.centre[some]
        angle = np.arctan2(radial[:, 1], radial[:, 0]) - np.arctan2(first[:, 1], first[:, 0])
        sweep = before.sweep[some]
        with np.errstate(divide="ignore", invalid="ignore"):
            round_ = np.mod(angle * np.sign(sweep), 2 * np.pi) / np.abs(sweep)
        share[inner] = np.where(before.is_arc[some], round_, straight)
        on_path = np.concatenate([before.points(some[i : i + 1], share[inner][i : i + 1])[0] for i in range(len(some))])
        away[inner] = np.hypot(*(on_path[:, :2] - point).T)
        return share, away

    def _original_points(self) -> NDArray[np.float64]:
        before, row = self.before, self.row
        points = before.xyz[row].copy()
        for place in np.flatnonzero(~self.last).tolist():
            points[place] = before.points(row[place : place + 1], self.share[place : place + 1])[0, 0]
        return points

    def _wanted(
        self, points: NDArray[np.float64], usable: NDArray[np.bool_], level: NDArray[np.intp] | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Offset that the decisions ask for at points of the original, and where a floor is.

        With ``level``, the row of the original that each point lies on, a floor counts only for rows level with it.
        """
        wanted, on = np.zeros(len(points)), np.zeros(len(points), dtype=bool)
        index = PlanIndex(points[:, :2], points[:, :2])
        for floor in self.floors:
            rows = index.touching(floor.region.bounds)
            with np.errstate(invalid="ignore"):
                rows = rows[usable[rows] & floor.near(points[rows])]
                if level is not None:
                    source = level[rows]
                    rows = rows[floor.near(self.before.start[source]) & floor.near(self.before.xyz[source])]
            rows = rows[floor.over(points[rows, :2])]
            dz = floor.dz(points[rows, :2])
            wanted[rows] = np.where(on[rows], np.maximum(wanted[rows], dz), dz)
            on[rows] = True
        return wanted, on

    def _near_edge(self, points: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether points lie within the blend of an edge of a floor, in plan or at the limit of its window."""
        near = np.zeros(len(points), dtype=bool)
        spots = shapely.points(points[:, :2])
        for floor in self.floors:
            near |= shapely.dwithin(floor.region.boundary, spots, BLEND_MM + 2 * MARGIN_MM)
            height = np.abs(points[:, 2] - floor.pocket.nominal_z(points[:, 0], points[:, 1]))
            near |= floor.over(points[:, :2]) & (height > 0.6 * floor.window) & (height < 1.4 * floor.window)
        return near

    def _edge_allows(self, points: NDArray[np.float64], added: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether points lie exactly on a floor's edge, so that the floor's offset and none are both right."""
        least, near = np.zeros(len(points)), np.zeros(len(points), dtype=bool)
        spots = shapely.points(points[:, :2])
        for floor in self.floors if len(points) else ():
            at = shapely.dwithin(floor.region.boundary, spots, _EDGE_MM) & floor.near(points)
            least[at] = np.minimum(least[at], floor.dz(points[at, :2]))
            near |= at
        return near & (added >= least - self.slack)

    def _right_height(self, points: NDArray[np.float64], added: NDArray[np.float64]) -> None:
        before, row = self.before, self.row
        path = ~np.isin(before.kind[row], (JUMP, FLOW)) & ~np.isnan(points).any(axis=1)
        wanted, on = self._wanted(points, self.usable[row])
        arcs = self._arc_partners()
        off = np.where(on | ~self.last, self.slack, 1e-6)
        low = path & (added < wanted - off) & ~arcs
        slanted = ~self.last & ~on
        deep = np.flatnonzero(low & ~slanted)
        self._mark(deep[~self._edge_allows(points[deep], added[deep])], "lower than decided")
        self._bad(path & slanted & (added < -self.slack), "lower than programmed")
        high = np.flatnonzero(path & (added > wanted + off) & ~arcs)
        high = high[~self._near_edge(points[high])]
        self._mark(high, "higher than decided")
        unknown = np.isnan(before.xyz[row, 2]) != np.isnan(self.after.xyz[:, 2])
        self._bad(unknown, "a Z that is known in only one of the two")
        blind = np.isnan(before.xyz[row, :2]).any(axis=1) & ~np.isnan(added) & (np.abs(added) > 1e-6)
        blind &= before.kind[row] != JUMP
        self._bad(blind, "another Z at an unknown place")

    def _arc_partners(self) -> NDArray[np.bool_]:
        """Ends of arcs in G18 or G19, which are shifted whole."""
        other = self.before.kind == OTHER_ARC
        ends = other | np.append(other[1:], False)
        return np.asarray(ends[self.row])

    def _rolls(self, added: NDArray[np.float64]) -> None:
        """An arc in G18 or G19 is shifted whole, and by no more than the floors under its two ends ask for."""
        rolls = np.flatnonzero(self.before.kind[self.row] == OTHER_ARC)
        start = np.append(0.0, added[:-1])[rolls]
        least, most = np.zeros(len(rolls)), np.zeros(len(rolls))
        for floor in self.floors:
            for ends in (self.before.start, self.before.xyz):
                xy = ends[self.row[rolls], :2]
                dz = np.where(floor.over(xy), floor.dz(xy), 0.0)
                least, most = np.minimum(least, dz), np.maximum(most, dz)
        end = added[rolls]
        bad = (np.abs(end - start) > _ROUNDING_MM) | (end < least - self.slack) | (end > most + self.slack)
        self._mark(rolls[bad], "an arc in G18 or G19 that is not shifted whole")

    def _between_points(self) -> None:
        """Along level motion the offset is within the slack of the one wanted, not only at the ends.

        Along motion down to a floor or off it the offset grows from nothing to the one wanted: it is never lower than
        both.
        """
        before, after, row = self.before, self.after, self.row
        first = np.append(True, self.last[:-1])
        share0 = np.where(first, 0.0, np.append(0.0, self.share[:-1]))
        cutting = np.isin(before.kind[row], (*CUTTING, RAPID)) & (before.kind[row] != OTHER_ARC)
        known = cutting & ~np.isnan(before.start[row]).any(axis=1) & ~np.isnan(before.xyz[row]).any(axis=1)
        top = max((floor.top for floor in self.floors), default=-np.inf)
        known &= (before.start[row, 2] <= top) & (before.xyz[row, 2] <= top)
        rows = np.flatnonzero(known)
        for part in np.array_split(rows, len(rows) // 250_000 + 1):
            for where in (0.25, 0.5, 0.75):
                self._between(part, share0[part], where, after)

    def _between(self, rows: NDArray[np.intp], share0: NDArray[np.float64], where: float, after: Motions) -> None:
        if not len(rows):
            return
        source = self.row[rows]
        share = share0 + where * (self.share[rows] - share0)
        points = self.before.points(source, share[:, None])[:, 0, :]
        z = after.start[rows, 2] + where * (after.xyz[rows, 2] - after.start[rows, 2])
        added = z - points[:, 2]
        wanted, on = self._wanted(points, self.usable[source])
        self._mark(rows[on & (added < np.minimum(wanted, 0.0) - self.slack)], "lower than both between two points")
        wanted, level = self._wanted(points, self.usable[source], source)
        low = np.flatnonzero(level & (added < wanted - self.slack))
        low = low[~self._edge_allows(points[low], added[low])]
        self._mark(rows[low], "lower than decided between two points")
        lift = np.flatnonzero(level & (added > wanted + self.slack))
        self._mark(rows[lift[~self._near_edge(points[lift])]], "higher than decided between two points")

    def _mark(self, rows: NDArray[np.intp], text: str) -> None:
        mask = np.zeros(len(self.row), dtype=bool)
        mask[rows] = True
        self._bad(mask, text)

    def _rapids(self, points: NDArray[np.float64]) -> None:
        rapid = self.before.kind[self.row] == RAPID
        with np.errstate(invalid="ignore"):
            self._bad(rapid & (self.after.xyz[:, 2] < points[:, 2] - 1e-9), "a rapid lower than programmed")
