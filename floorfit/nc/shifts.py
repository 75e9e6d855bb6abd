"""What is added to Z along every motion: at each end point, and where a motion must be divided.

Along level motion the wanted offset T is dz over a floor and 0 elsewhere. Where it jumps (a floor's edge, a rib between
two floors) the offset written, D, is blended over `BLEND_MM` of path, always on the side where T is lower: D is never
below T, so the tool is never below the corrected floor, nor, outside the floors, below the programme. Motion that comes
down to a floor or leaves it carries the offset of its end and start, linearly between.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from floorfit.nc.floor_index import Floor, Matches, path_lines
from floorfit.nc.motions import JUMP, LINE, OTHER_ARC, RAPID, Motions

__all__ = ["BLEND_MM", "Plan", "Profile", "make_plan", "node_offsets"]

#: Length in plan over which a jump of the offset is blended, mm: 0.2 mm becomes a slope of 1 in 5. Own choice.
BLEND_MM = 1.0
#: Jumps smaller than this are none, mm (a hundredth of the finest decimal in use).
_NO_JUMP = 1e-5
#: Offsets smaller than this at an end point are rounding, mm: they must not keep a motion from counting as unchanged.
_NOTHING = 1e-9
#: Shortest piece of a divided motion, mm: above the rounding of X and Y.
_SHORTEST_MM = 0.005

#: Offsets along one row: shares of the path and D there, from 0 to 1.
Profile = list[tuple[float, float]]


@dataclass
class Plan:
    """The offsets to be written.

    Parameters
    ----------
    node : (n,) ndarray, mm
        D at the end of each row.
    breaks : dict of int to list
        Rows to be divided: the inner places (share, D).
    """

    node: NDArray[np.float64]
    breaks: dict[int, Profile] = field(default_factory=dict)

    def start(self) -> NDArray[np.float64]:
        """D at the start of each row, mm."""
        return np.concatenate([[0.0], self.node[:-1]])


def node_offsets(motions: Motions, floors: Sequence[Floor], index: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return dz at each row's end for the floor ``index`` names, 0 where it is -1."""
    out = np.zeros(len(index))
    for floor in floors:
        rows = np.flatnonzero(index == floor.index) if floor.is_active else np.zeros(0, dtype=int)
        if len(rows):
            out[rows] = floor.dz(motions.xyz[rows, :2])
    return out


def make_plan(motions: Motions, floors: Sequence[Floor], found: Matches, tolerance_mm: float) -> Plan:
    """Plan the offsets of a whole programme.

    Parameters
    ----------
    motions : Motions
        The programme.
    floors : sequence of Floor
        The floors with their corrections.
    found : Matches
        What belongs to which floor.
    tolerance_mm : float
        Greatest difference between the offset along a motion and the one wanted.

    Returns
    -------
    Plan
    """
    return _Planner(motions, floors, found, tolerance_mm).run()


class _Planner:
    def __init__(self, motions: Motions, floors: Sequence[Floor], found: Matches, tolerance_mm: float) -> None:
        self.motions, self.floors, self.found, self.tolerance = motions, floors, found, tolerance_mm
        self.active = np.array([floor.is_active for floor in floors], dtype=bool)
        self.partial = {
            row: touched for row, touched in found.partial.items() if any(self.active[index] for index in touched)
        }
        self.level = found.level
        self._add_ends()
        self.segments = {row: self._segments(row, touched) for row, touched in self.partial.items()}
        self.cones: dict[int, list[tuple[float, float, float]]] = {}
        self.marks: dict[int, list[float]] = {}

    def run(self) -> Plan:
        node = node_offsets(self.motions, self.floors, self.found.node)
        first, last = self._ends()
        self.plan = Plan(self._joined(node, first, last))
        self._shift_rolls()
        self._keep_over_jumps()
        for row, share, left, right in self._jumps(first, last):
            self._spread(row, share, left, right)
        for row in sorted({*self.partial, *self.cones, *self._curved()}):
            self._profile(row)
        self.plan.node[np.abs(self.plan.node) < _NOTHING] = 0.0
        self._slanted()
        return self.plan

    # -- the wanted offset -------------------------------------------------------------------------------------------

    def _add_ends(self) -> None:
        """A row level with one floor may end or start on another that it is not level with (a slope): add that."""
        ends = self.found.node
        starts = np.concatenate([[-1], ends[:-1]])
        for other in (starts, ends):
            rows = np.flatnonzero(self.level & (other >= 0) & (other != self.found.whole))
            for row in rows[self.active[other[rows]]].tolist():
                whole = int(self.found.whole[row])
                touched = self.partial.setdefault(row, list(self.found.partial.get(row, [whole] if whole >= 0 else [])))
                if int(other[row]) not in touched:
                    touched.append(int(other[row]))

    def _window_shares(self, row: int, index: int) -> list[float]:
        """Shares at which a row enters or leaves the window of a floor's plane."""
        floor = self.floors[index]
        shares = np.linspace(0, 1, 65)
        points = self.motions.points(np.array([row]), shares)[0]
        height = points[:, 2] - floor.pocket.nominal_z(points[:, 0], points[:, 1])
        out: list[float] = []
        for limit in (-floor.window, floor.window):
            above = height - limit
            for place in np.flatnonzero(above[:-1] * above[1:] < 0).tolist():
                part = above[place] / (above[place] - above[place + 1])
                out.append(float(shares[place] + part * (shares[place + 1] - shares[place])))
        return out

    def _segments(
        self, row: int, touched: list[int], *, any_height: bool = False
    ) -> list[tuple[float, float, tuple[int, ...]]]:
        """Divide a row at the edges of the floors it touches, in plan and in height: (from, to, floors there)."""
        line = path_lines(self.motions, np.array([row]), 0.001)[0]
        shares = {0.0, 1.0}
        for index in touched:
            crossing = line.intersection(self.floors[index].region.boundary)
            for part in getattr(crossing, "geoms", [crossing]):
                shares.update(_shares(line, part))
            shares.update([] if any_height else self._window_shares(row, index))
        ordered = sorted(shares)
        middles = np.array([(a + b) / 2 for a, b in pairwise(ordered)])
        points = self.motions.points(np.array([row]), middles)[0]
        inside = [self.floors[index].over(points[:, :2]) for index in touched]
        if not any_height:
            inside = [over & self.floors[index].near(points) for index, over in zip(touched, inside, strict=True)]
        out: list[tuple[float, float, tuple[int, ...]]] = []
        for place, (a, b) in enumerate(pairwise(ordered)):
            here = tuple(index for index, over in zip(touched, inside, strict=True) if over[place])
            if out and out[-1][2] == here:
                a = out.pop()[0]
            out.append((a, b, here))
        return out

    def _row_segments(self, row: int) -> list[tuple[float, float, tuple[int, ...]]]:
        if row in self.segments:
            return self.segments[row]
        whole = int(self.found.whole[row])
        return [(0.0, 1.0, (whole,) if whole >= 0 else ())]

    def _wanted(self, row: int, shares: Iterable[float], floors: tuple[int, ...]) -> NDArray[np.float64]:
        points = self.motions.points(np.array([row]), np.array(list(shares)))[0, :, :2]
        if not floors:
            return np.zeros(len(points))
        fields = [self.floors[index].dz(points) if self.active[index] else np.zeros(len(points)) for index in floors]
        return np.asarray(np.max(fields, axis=0))

    def _ends(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The wanted offset at the start and end of every level row, seen from inside the row."""
        last = node_offsets(self.motions, self.floors, self.found.whole)
        first = np.zeros(len(last))
        for floor in self.floors:
            rows = np.flatnonzero(self.found.whole == floor.index) if floor.is_active else np.zeros(0, dtype=int)
            if len(rows):
                first[rows] = floor.dz(self.motions.start[rows, :2])
        for row, segments in self.segments.items():
            first[row] = self._wanted(row, [0.0], segments[0][2])[0]
            last[row] = self._wanted(row, [1.0], segments[-1][2])[0]
        return first, last

    def _shift_rolls(self) -> None:
        """An arc in another plane that rolls onto a floor or off it is shifted whole: its other end goes along.

        Only where that end lies over the same floor and the motion there can carry it: a vertical feed onto the roll,
        any vertical motion off it; with a raised floor any feed.
        """
        node, on, kind = self.plan.node, self.found.node, self.motions.kind
        flat = self.motions.length < 1e-9
        rolls = np.flatnonzero((kind == OTHER_ARC) & ~self.level)
        for row in rolls[(rolls > 0) & (rolls < len(node) - 1)].tolist():
            arrives = on[row] >= 0 and on[row - 1] < 0 and kind[row - 1] == LINE
            leaves = on[row - 1] >= 0 and on[row] < 0 and kind[row + 1] in (LINE, RAPID)
            if arrives and (flat[row - 1] or node[row] > 0) and self._over(int(on[row]), row - 1):
                node[row - 1] = node[row]
            elif leaves and (flat[row + 1] or node[row - 1] > 0) and self._over(int(on[row - 1]), row):
                node[row] = node[row - 1]

    def _over(self, index: int, row: int) -> bool:
        return bool(self.floors[index].over(self.motions.xyz[row : row + 1, :2])[0])

    def _keep_over_jumps(self) -> None:
        """Where X or Y becomes unknown and Z does not, the tool still stands at the offset it had."""
        z = self.motions.xyz[:, 2]
        for row in np.flatnonzero((self.motions.kind == JUMP) & ~np.isnan(z)).tolist():
            if row and z[row] == z[row - 1]:
                self.plan.node[row] = self.plan.node[row - 1]

    def _joined(
        self, node: NDArray[np.float64], first: NDArray[np.float64], last: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        before, after = self.level, np.append(self.level[1:], False)
        low = np.full(len(node), -np.inf)
        joined = np.maximum(np.where(before, last, low), np.where(after, np.append(first[1:], 0.0), low))
        return np.where(before | after, joined, node)

    # -- jumps and their blends --------------------------------------------------------------------------------------

    def _jumps(self, first: NDArray[np.float64], last: NDArray[np.float64]) -> list[tuple[int, float, float, float]]:
        both = self.level[:-1] & self.level[1:] & (np.abs(last[:-1] - first[1:]) > _NO_JUMP)
        jumps = [(row, 1.0, float(last[row]), float(first[row + 1])) for row in np.flatnonzero(both).tolist()]
        for row, segments in self.segments.items():
            for (_, share, before), (_, _, after) in pairwise(segments):
                left, right = self._wanted(row, [share], before)[0], self._wanted(row, [share], after)[0]
                if abs(left - right) > _NO_JUMP:
                    jumps.append((row, share, float(left), float(right)))
        return jumps

    def _spread(self, row: int, share: float, left: float, right: float) -> None:
        step = 1 if left > right else -1
        high, slope = max(left, right), abs(left - right) / BLEND_MM
        if step > 0 and share == 1.0:
            row, share = row + 1, 0.0
        gone = 0.0
        length = self.motions.length
        while 0 <= row < len(length) and self.level[row]:
            peak = share * length[row] - step * gone
            self.cones.setdefault(row, []).append((peak, high, slope))
            left_over = length[row] * (1 - share if step > 0 else share)
            if gone + left_over >= BLEND_MM:
                self.marks.setdefault(row, []).append(share + step * (BLEND_MM - gone) / length[row])
                return
            gone += left_over
            place = row if step > 0 else row - 1
            self.plan.node[place] = max(self.plan.node[place], high - slope * gone)
            row, share = row + step, 0.0 if step > 0 else 1.0

    # -- rows that may have to be divided ----------------------------------------------------------------------------

    def _curved(self) -> list[int]:
        """Rows that stay on one floor and along which the offset bends by more than the tolerance."""
        out: list[int] = []
        for floor in self.floors:
            if not floor.is_active or floor.correction.action == "shift":
                continue
            rows = np.flatnonzero(self.found.whole == floor.index)
            if floor.correction.grid is None:
                rows = rows[self.motions.is_arc[rows]]
            grid = floor.correction.grid
            cell = np.inf if grid is None else min(np.diff(grid.x_mm).min(), np.diff(grid.y_mm).min())
            long = self.motions.length[rows] > 4 * cell
            out += rows[long].tolist() + self._bent(floor, rows[~long])
        return out

    def _bent(self, floor: Floor, rows: NDArray[np.intp]) -> list[int]:
        shares = np.linspace(0, 1, 9)
        out: list[int] = []
        for some in np.array_split(rows, len(rows) // 50_000 + 1):
            points = self.motions.points(some, shares)
            dz = floor.correction.at(points[:, :, 0], points[:, :, 1])
            straight = dz[:, :1] + shares * (dz[:, -1:] - dz[:, :1])
            out += some[np.abs(dz - straight).max(axis=1, initial=0.0) > 0.5 * self.tolerance].tolist()
        return out

    def _profile(self, row: int) -> None:
        length = float(self.motions.length[row])
        if length < 2 * _SHORTEST_MM:
            return
        segments = self._row_segments(row)
        cones = self.cones.get(row, [])
        node = self.plan.node
        places: dict[float, float] = {0.0: float(node[row - 1]) if row else 0.0, 1.0: float(node[row])}
        inner = [share for _, share, _ in segments[:-1]] + self.marks.get(row, [])
        inner += [peak / length for peak, _, _ in cones]
        for share in inner:
            if _SHORTEST_MM < share * length < length - _SHORTEST_MM:
                places[share] = self._offset(row, [share], segments, cones)[0]
        profile = sorted(places.items())
        refined: Profile = [profile[0]]
        for (a, da), (b, db) in pairwise(profile):
            refined += self._refined(row, (a, da), (b, db), segments, cones)
        breaks = _thinned(refined, length)
        if breaks:
            self.plan.breaks[row] = breaks

    def _offset(
        self,
        row: int,
        shares: Sequence[float] | NDArray[np.float64],
        segments: list[tuple[float, float, tuple[int, ...]]],
        cones: list[tuple[float, float, float]],
    ) -> NDArray[np.float64]:
        at = np.asarray(shares, float)
        out = np.full(len(at), -np.inf)
        for a, b, floors in segments:
            mask = (at >= a - 1e-9) & (at <= b + 1e-9)
            if mask.any():
                out[mask] = np.maximum(out[mask], self._wanted(row, at[mask], floors))
        for peak, high, slope in cones:
            away = np.abs(at * self.motions.length[row] - peak)
            out = np.where(away <= BLEND_MM, np.maximum(out, high - slope * away), out)
        return out

    def _refined(
        self,
        row: int,
        start: tuple[float, float],
        end: tuple[float, float],
        segments: list[tuple[float, float, tuple[int, ...]]],
        cones: list[tuple[float, float, float]],
    ) -> Profile:
        """Divide one piece evenly until the offset is straight within the tolerance; without its first point."""
        (a, da), (b, db) = start, end
        most = max(1.0, (b - a) * self.motions.length[row] / (4 * _SHORTEST_MM))
        fine = np.linspace(a, b, 8 * 2 ** int(np.clip(np.log2(most), 0, 9)) + 1)
        dz = self._offset(row, fine, segments, cones)
        dz[0], dz[-1] = da, db
        pieces = 1
        while True:
            shares = np.linspace(a, b, pieces + 1)
            values = np.interp(shares, fine, dz)
            off = np.abs(np.interp(fine, shares, values) - dz)[1:-1].max(initial=0.0)
            if off <= 0.8 * self.tolerance or pieces * 2 > most:
                return list(zip(shares[1:].tolist(), values[1:].tolist(), strict=True))
            pieces = pieces + 1 if pieces < 8 else pieces * 5 // 4

    # -- slanted motion between a lowered floor and the outside ------------------------------------------------------

    def _slanted(self) -> None:
        """Where a slanted motion crosses the edge of a lowered floor, carry the lowering no further than the edge."""
        start, end = self.plan.start(), self.plan.node
        at = np.concatenate([[-1], self.found.node[:-1]])
        rows = np.flatnonzero(
            ((start < 0) | (end < 0))
            & ~self.level
            & (self.motions.length > 2 * _SHORTEST_MM)
            & (self.motions.kind != OTHER_ARC)
        )
        for row in rows.tolist():
            places = [
                *self._edge(row, int(at[row]) if start[row] < 0 else -1, leaving=True),
                *self._edge(row, int(self.found.node[row]) if end[row] < 0 else -1, leaving=False),
            ]
            if places:
                self.plan.breaks[row] = sorted({*places})

    def _edge(self, row: int, index: int, *, leaving: bool) -> Profile:
        if index < 0 or np.isnan(self.motions.start[row, :2]).any():
            return []
        inside = [part for part in self._segments(row, [index], any_height=True) if index in part[2]]
        if not inside:
            return []
        share = inside[0][1] if leaving else inside[-1][0]
        length = float(self.motions.length[row])
        return [(share, 0.0)] if _SHORTEST_MM < share * length < length - _SHORTEST_MM else []


def _shares(line, part) -> list[float]:  # type: ignore[no-untyped-def]
    """Shares along ``line`` of the ends of ``part``, a point or a piece of line."""
    import shapely

    if part.is_empty:
        return []
    ends = shapely.get_coordinates(part)[[0, -1]]
    return [float(line.project(shapely.Point(*xy), normalized=True)) for xy in ends]


def _thinned(profile: Profile, length: float) -> Profile:
    """Inner places of a profile that a straight line between their neighbours would not give."""
    kept: Profile = [profile[0]]
    for place, (share, dz) in enumerate(profile[1:-1], start=1):
        before, after = kept[-1], profile[place + 1]
        part = (share - before[0]) / (after[0] - before[0])
        straight = before[1] + part * (after[1] - before[1])
        if abs(dz - straight) > _NO_JUMP and (share - before[0]) * length > _SHORTEST_MM:
            kept.append((share, dz))
    return kept[1:]
