"""The rule on the swept cutter: what every motion of a tip gains, so that floors come out where they were decided.

One rule for word-address programmes and for cutter-location data. The gain asked at a place (`floorfit.nc.wanted`) is a
function of the place, so it is sampled along the path, and where it jumps (the edge of a floor, a seam) the jump is
found to a hundredth of a millimetre. The gain written is straight between places, never below the one asked by more
than the tolerance; a jump is blended over `BLEND_MM` of path on the side that asks for less. Motion down to a floor and
off it carries the gain of its ends, linearly between, as long as nothing on its way is cut too deep.

    gains = plan_gains(path, floors, outline, tolerance_mm=0.005)
    gains.node[n]           what the end of motion n gains, mm
    gains.breaks.get(n)     inner places of motion n: [(share of its way, gain), ...]; None where it stays whole
    gains.status[n]         UNTOUCHED, MOVED (with its floor) or LIFTED (clear of a corrected floor)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
import shapely

from floorfit.arrays import Array, Flags, Rows, counted
from floorfit.nc.floor_bands import EPS_MM, WINDOW_MM, CutFloor
from floorfit.nc.gains import LIFTED, MOVED, STRAIGHT_SHARE, UNTOUCHED, Gains
from floorfit.nc.tip_path import TipPath
from floorfit.nc.wanted import Asked, ask
from floorfit.nc.zones import Zone, Zones, zones_for
from floorfit.part.model import Ring

__all__ = ["BLEND_MM", "STEP_MM", "plan_gains"]

#: Length in plan over which a jump of the gain is blended, mm: 0.2 mm becomes a slope of 1 in 5. Own choice.
BLEND_MM = 1.0
#: Distance between the places asked along a motion, mm: no touch shorter than this is met for sure. Own choice.
STEP_MM = 0.5
#: A jump's place is known to this, mm; also the shortest piece of a divided motion, above the rounding of X and Y.
_SHORTEST_MM = 0.005
#: Changes of the gain smaller than this over `_SHORTEST_MM` are no jump, mm.
_NO_JUMP = 2e-3
#: Changes of the gain between two places asked that are looked at closer, mm, and into how many pieces.
_FAST_MM, _FINER = 0.01, 10
#: Gains smaller than this at an end are rounding, mm: they must not keep a motion from counting as unchanged.
_NOTHING = 1e-9
#: A feed this much greater than that of most of the way on the floors stands in for a rapid. Own choice, no source.
_FASTER = 1.5
#: Steepest way on which a pass is still a pass and no ramp: 1 in 50 (about 1 degree). Own choice.
_PASS_SLOPE = 0.02

#: An interval in which the gain changes at once: from one share of the way to another, and the gains there.
_Step = tuple[float, float, float, float]
#: Gain at shares of motions.
_Gain = Callable[[Rows, Array], Array]


def plan_gains(
    path: TipPath, floors: Sequence[CutFloor], outline: Ring, *, tolerance_mm: float, clearance_mm: float | None = None
) -> Gains:
    """Plan what every motion gains.

    Parameters
    ----------
    path : TipPath
        The programme's motions, in the part's frame.
    floors : sequence of CutFloor
        All floors of the part with their corrections.
    outline : (k, 2) sequence, mm
        Outline of the part.
    tolerance_mm : float
        Greatest difference between the gain along a pass and the one asked.
    clearance_mm : float or None
        Least height of motion above a corrected floor where it had as much above the programmed one; None for each
        floor's band, and for rapids 0.5 mm over its stock.

    Returns
    -------
    Gains
    """
    zones = [zones_for(floors, outline, cutter) for cutter in path.cutters]
    return _Planner(path, floors, zones, tolerance_mm, clearance_mm).run()


class _Planner:
    def __init__(
        self, path: TipPath, floors: Sequence[CutFloor], zones: list[Zones], tolerance: float, clearance: float | None
    ) -> None:
        self.path, self.floors, self.zones, self.tolerance, self.clearance = path, floors, zones, tolerance, clearance
        self.low, self.high = path.boxes
        aside = np.abs(path.aside)[:, None]
        self.sides = np.concatenate([(self.low[:, :2] - aside).T, (self.high[:, :2] + aside).T])
        self.near = self._near_rows()
        self.is_level = self._level_rows()
        self.cones: dict[int, list[tuple[float, float, float]]] = {}
        self.marks: dict[int, list[float]] = {}
        self.suspects = np.zeros(0, int)

    def run(self) -> Gains:
        self.out = self._none()
        bent = self._sampled()
        if self._found_links():
            self.is_level = self._level_rows()
            self.out = self._none()
            bent = self._sampled()
        self._raise_rapids()
        found = self._steps(bent, self._gain)
        for row, steps in found.items():
            for a, b, left, right in steps:
                if abs(left - right) > _NO_JUMP:
                    self._spread(row, 0.5 * (a + b), left, right)
        node = self.out.node
        node[np.abs(node) < _NOTHING] = 0.0
        self._profiles(sorted(found.keys() | self.cones.keys()), self._gain, found)
        self._profiles(self._too_deep(), self._least, {})
        self._states()
        self._keep_whole()
        return self.out

    def _none(self) -> Gains:
        count = len(self.path)
        return Gains(np.zeros(count), np.zeros(count, int), *(np.full(count, -1) for _ in range(4)))

    def _found_links(self) -> bool:
        """Mark feeds that stand in for rapids, faster than most of the way on the floors; say whether any is near."""
        path, out = self.path, self.out
        if not any(zone.most > 0 for group in self.zones for zone in group.zones):
            return False
        passes = self.is_level & ~path.is_rapid & ((out.floor >= 0) | (out.whole >= 0)) & ~np.isnan(path.feed)
        usual = np.full(len(path.cutters), np.inf)
        for cutter in np.unique(path.cutter[passes]).tolist():
            rows = np.flatnonzero(passes & (path.cutter == cutter))
            rows = rows[np.argsort(path.feed[rows], kind="stable")]
            way = np.cumsum(path.length[rows])
            usual[cutter] = path.feed[rows[np.searchsorted(way, 0.5 * way[-1])]]
        is_link = ~path.is_rapid & (path.feed > _FASTER * usual[path.cutter])
        self.path = replace(path, is_link=is_link)
        return bool(is_link[self.near].any())

    # -- which motions matter ----------------------------------------------------------------------------------------

    def _near_rows(self) -> Rows:
        """Motions whose box comes near to a floor that matters, in plan and in height."""
        path, low = self.path, self.low
        zones = [zone for group in self.zones for zone in group.zones]
        if not zones:
            return np.zeros(0, int)
        reach = max(cutter.radius for cutter in path.cutters)
        room = max(2 * max(reach, 1.0), self.clearance or 0.0)
        top = max(zone.floor.top + max(zone.most, 0.0) + max(room, zone.floor.rapid_clearance) for zone in zones)
        rows = np.flatnonzero(path.is_followed & (low[:, 2] <= top))
        regions = shapely.STRtree(shapely.box(*np.unique([zone.region.bounds for zone in zones], axis=0).T))
        return np.unique(rows[regions.query(shapely.box(*self.sides[:, rows]))[0]])

    def _level_rows(self) -> Flags:
        """Motions that keep to the heights at which one floor asks for something, wherever they are in plan."""
        level = np.zeros(len(self.path), bool)
        rows = self.near
        for index, group in enumerate(self.zones):
            mine = self.path.cutter[rows] == index
            planes = {(*_plane(zone.floor), round(max(zone.most, 0.0), 6)): zone for zone in group.zones}
            for zone in planes.values():
                some = np.flatnonzero(mine)
                if zone.floor.is_shaped:
                    some = some[self.path.beside(rows[some], zone.region.bounds, np.abs(self.path.aside[rows[some]]))]
                level[rows[some]] |= self._is_level(zone, rows[some])
        return level

    def _is_level(self, zone: Zone, rows: Rows) -> Flags:
        floor, path = zone.floor, self.path
        clear = max(floor.band, self.clearance or 0.0, 0.5) if zone.most > 0 else floor.band
        inside, heights = np.ones(len(rows), bool), []
        room = clear if path.is_link is None else np.where(path.is_link[rows], floor.rapid_clearance, clear)
        first_axis = path.axis if path.first_axis is None else path.first_axis
        for at, axis in ((path.start[rows], first_axis[rows]), (path.end[rows], path.axis[rows])):
            over = at[:, 2] - floor.pocket.floor_at(at[:, 0], at[:, 1])
            high = over - zone.contact(at[:, :2], axis)
            inside &= (over >= -floor.window - EPS_MM) & (high <= max(zone.most, 0.0) + room + EPS_MM)
            heights.append(high)
        # A ramp from above the band to the floor, or off it, is no pass.
        rise = heights[1] - heights[0] if floor.is_shaped else path.end[rows, 2] - path.start[rows, 2]
        ramp = np.abs(rise) > floor.window
        ramp &= (np.minimum(*heights) <= floor.window + EPS_MM) & (np.maximum(*heights) > floor.band + EPS_MM)
        return np.asarray(inside & ~ramp)

    # -- what is asked along them ------------------------------------------------------------------------------------

    def _sampled(self) -> list[int]:
        """Ask along every near motion; set the ends, the floors, and return the motions that are not straight."""
        path, rows = self.path, self.near
        self.suspects = np.zeros(0, int)
        if not len(rows):
            return []
        counts = np.clip(np.ceil(path.length[rows] / STEP_MM), 1, 40_000).astype(int) + 1
        of, at = counted(counts)
        share = at / (counts[of] - 1)
        asked = ask(path, self.zones, rows[of], share, self.clearance)
        last = np.cumsum(counts) - 1
        first = last - counts + 1
        self._ends(rows, asked.gain[first], asked.gain[last])
        self.out.floor[rows] = asked.floor[last]
        self._floors(rows, first, last, rows[of], asked)
        node, start = self.out.node, self.out.start()
        line = start[rows][of] + share * (node[rows] - start[rows])[of]
        off = np.maximum.reduceat(np.abs(asked.gain - line), first)
        low = np.maximum.reduceat(np.where(np.isneginf(asked.least), 0.0 * line, asked.least) - line, first)
        deep = np.maximum.reduceat(np.where(np.isneginf(asked.least), -line, -np.inf), first)
        self.suspects = rows[(np.maximum(low, deep) > 1e-6) & ~self.is_level[rows] & ~path.is_rapid[rows]]
        level = self.is_level[rows] & ~path.is_rapid[rows]
        return [int(row) for row in rows[level & (off > 0.5 * self.tolerance)]]

    def _ends(self, rows: Rows, first: Array, last: Array) -> None:
        """An end gains the most that the motion before it and the one after it ask there."""
        count = len(self.path)
        end, start = np.full(count, -np.inf), np.full(count, -np.inf)
        end[rows], start[rows] = last, first
        # A rapid straight up from where a cut ended needs no more room than the cut.
        is_upright = self.path.is_rapid[rows] & (self.path.length[rows] < _SHORTEST_MM)
        upright = rows[is_upright & (rows > 0) & ~self.path.is_rapid[rows - 1]]
        start[upright] = -np.inf
        follows = np.append(start[1:], -np.inf)
        joined = np.append((self.path.end[:-1] == self.path.start[1:]).all(axis=1), False) if count else follows > 0
        node = np.maximum(end, np.where(joined, follows, -np.inf))
        self.out.node[:] = np.where(np.isneginf(node), 0.0, node)

    def _floors(self, rows: Rows, first: Rows, last: Rows, own: Rows, asked: Asked) -> None:
        low, high = np.minimum.reduceat(asked.floor, first), np.maximum.reduceat(asked.floor, first)
        self.out.whole[rows] = np.where(low == high, low, -1)
        for place in np.flatnonzero((low != high) & self.is_level[rows]).tolist():
            mine = asked.floor[first[place] : last[place] + 1]
            self.out.touched[int(rows[place])] = set(mine[mine >= 0].tolist())
        least, most = np.minimum.reduceat(asked.guarded, first), np.maximum.reduceat(asked.guarded, first)
        self.out.guard_end[rows] = asked.guarded[last]
        self.out.guard_whole[rows] = np.where(least == most, least, -1)
        for place in np.flatnonzero(asked.guarded >= 0).tolist():
            self.out.guarded.setdefault(int(own[place]), set()).add(int(asked.guarded[place]))
        self._half(rows, first, last, asked)

    def _half(self, rows: Rows, first: Rows, last: Rows, asked: Asked) -> None:
        """Passes that meet a floor for a part of their way: on it here, above its band or below it there."""
        active = np.array([floor.is_active for floor in self.floors] + [False])
        seen = [np.maximum.reduceat(np.where(active[some], some, -1), first) for some in (asked.floor, asked.near)]
        both = (seen[0] >= 0) & (seen[1] >= 0)
        # A ramp comes from above the stock; a pass that does not fit has both of its ends in it.
        here = (asked.floor >= 0) | (asked.near >= 0)
        both &= here[first] & here[last] & ~self.path.is_rapid[rows]
        alike = (asked.floor[first] >= 0) == (asked.floor[last] >= 0)
        for place in np.flatnonzero(both).tolist():
            part = slice(first[place], last[place] + 1)
            common = set(asked.floor[part].tolist()) & set(asked.near[part].tolist()) - {-1}
            index = next((index for index in sorted(common) if active[index]), -1)
            if index >= 0 and self._steps_off(self.floors[index], int(rows[place]), bool(alike[place])):
                self.out.half.append((int(rows[place]), index))
        # A pass under the window of a curved floor would stay while its neighbours move.
        shaped = active & np.array([floor.is_shaped for floor in self.floors] + [False])
        under = np.maximum.reduceat(np.where(asked.is_under & shaped[asked.near], asked.near, -1), first)
        for place in np.flatnonzero((under >= 0) & ~self.path.is_rapid[rows]).tolist():
            self.out.half.append((int(rows[place]), int(under[place])))

    def _steps_off(self, floor: CutFloor, row: int, alike: bool) -> bool:
        """Whether a pass leaves a floor's band and would get a step there: above a raised plane the gain fades out."""
        over = self._over(floor, row)
        rise = abs(over[-1] - over[0])
        is_steep = rise > _PASS_SLOPE * max(float(self.path.length[row]), 1e-9)
        if is_steep or floor.is_shaped:
            return not is_steep
        if (rise > WINDOW_MM and not alike) or self._is_ramp(floor, row):
            return False
        return floor.dz_range[0] < 0 or bool(over.min() < -floor.window - EPS_MM)

    def _is_ramp(self, floor: CutFloor, row: int) -> bool:
        """Whether a motion is one of several that go down to a floor, or up from it, as the chords of a helix do."""
        first, after = (int(np.searchsorted(self._ways, self._ways[row], side)) for side in ("left", "right"))
        low, high = sorted((float(self._over(floor, first)[0]), float(self._over(floor, after - 1)[-1])))
        return abs(low) <= floor.window + EPS_MM and high > floor.band + EPS_MM

    @cached_property
    def _ways(self) -> Rows:
        """A number for each motion, (n,), growing: the same for cuts in a row that all go down, or all up."""
        sense = np.where(self.path.is_rapid, 0.0, np.sign(self.path.end[:, 2] - self.path.start[:, 2]))
        return np.cumsum(np.append(True, (sense[1:] != sense[:-1]) | (sense[1:] == 0)))

    def _over(self, floor: CutFloor, row: int) -> Array:
        """Heights of the tip over a floor along a motion, mm."""
        share = self._grid(row)
        x, y, z = self.path.axis_places(np.full(len(share), row), share).T
        return np.asarray(z - floor.pocket.floor_at(x, y))

    # -- rapids ------------------------------------------------------------------------------------------------------

    def _raise_rapids(self) -> None:
        """A rapid need not run straight: it is raised whole by the most that is asked in its box."""
        path, node = self.path, self.out.node
        rows = self.near[path.is_rapid[self.near] & (path.length[self.near] >= _SHORTEST_MM)]
        low, high = self.low, self.high
        for row in rows.tolist():
            most = self._most_in_box(row, low[row], high[row])
            if most <= 0:
                continue
            for end in (row - 1, row):
                at = path.start[row] if end < row else path.end[row]
                own = self._most_in_box(row, np.append(low[row, :2], at[2]), np.append(high[row, :2], at[2]))
                if end >= 0 and own > node[end] + 0.5 * self.tolerance:
                    is_rapid_end = path.is_rapid[end] and path.is_rapid[min(end + 1, len(path) - 1)]
                    if self.out.floor[end] >= 0 and not is_rapid_end:
                        self.out.steep_rapids.append(row)
                    node[end] = own

    def _most_in_box(self, row: int, low: Array, high: Array) -> float:
        box, most = shapely.box(*low[:2], *high[:2]), 0.0
        for zone in self.zones[self.path.cutter[row]].zones:
            floor = zone.floor
            clear = floor.rapid_clearance if self.clearance is None else max(floor.band, self.clearance)
            top = floor.top + zone.most + max(clear, 0.5)
            if zone.most <= 0 or low[2] > top or low[2] < floor.z_range[0] - floor.window:
                continue
            if zone.most <= most or not shapely.intersects(zone.region, box):
                continue
            height = max(low[2] - zone.most_standing(low[:2], high[:2], self.path.axis[row]), 0.0)
            most = max(most, zone.most - max(height - clear, 0.0))
        return most

    # -- jumps and their blends --------------------------------------------------------------------------------------

    def _gain(self, rows: Rows, share: Array) -> Array:
        return ask(self.path, self.zones, rows, share, self.clearance).gain

    def _least(self, rows: Rows, share: Array) -> Array:
        asked = ask(self.path, self.zones, rows, share, self.clearance).least
        return np.maximum(self._line(rows, share), np.where(np.isneginf(asked), 0.0, asked))

    def _line(self, rows: Rows, share: Array) -> Array:
        """Gain on a straight line from the start of a motion to its end."""
        node = self.out.node
        first = np.where(rows > 0, node[rows - 1], 0.0)
        return np.asarray(first + share * (node[rows] - first))

    def _grid(self, row: int) -> Array:
        count = int(np.clip(np.ceil(self.path.length[row] / STEP_MM), 1, 40_000))
        return np.linspace(0.0, 1.0, count + 1)

    def _steps(self, rows: Sequence[int], of: _Gain) -> dict[int, list[_Step]]:
        """Intervals of `_SHORTEST_MM` of each motion in which the gain changes at once."""
        own, share = _joined(rows, [self._grid(row) for row in rows])
        values = of(own, share)
        at = np.flatnonzero((np.abs(np.diff(values)) > _NO_JUMP) & (own[1:] == own[:-1]))
        own, a, b, left, right = own[at], share[at], share[at + 1], values[at], values[at + 1]
        length = np.maximum(self.path.length[own], 1e-9)
        while len(wide := np.flatnonzero((b - a) * length > _SHORTEST_MM)):
            middle = 0.5 * (a[wide] + b[wide])
            value = of(own[wide], middle)
            is_first = np.abs(value - left[wide]) >= np.abs(value - right[wide])
            before, after = wide[is_first], wide[~is_first]
            b[before], right[before] = middle[is_first], value[is_first]
            a[after], left[after] = middle[~is_first], value[~is_first]
        out: dict[int, list[_Step]] = {row: [] for row in rows}
        for row, *step in zip(*(some.tolist() for some in (own, a, b, left, right)), strict=True):
            out[row].append((step[0], step[1], step[2], step[3]))
        return out

    def _spread(self, row: int, share: float, left: float, right: float) -> None:
        """Blend a jump over `BLEND_MM` on its lower side, over as many motions as that takes."""
        step = 1 if left > right else -1
        high, slope, gone = max(left, right), abs(left - right) / BLEND_MM, 0.0
        length = self.path.length
        while 0 <= row < len(length) and self.is_level[row] and not self.path.is_rapid[row]:
            self.cones.setdefault(row, []).append((share * length[row] - step * gone, high, slope))
            left_over = length[row] * (1 - share if step > 0 else share)
            if gone + left_over >= BLEND_MM:
                self.marks.setdefault(row, []).append(share + step * (BLEND_MM - gone) / length[row])
                return
            gone += left_over
            place = row if step > 0 else row - 1
            self.out.node[place] = max(self.out.node[place], high - slope * gone)
            row, share = row + step, 0.0 if step > 0 else 1.0

    # -- motions that may have to be divided -------------------------------------------------------------------------

    def _too_deep(self) -> list[int]:
        """Slanted motions along which the straight gain would cut too deep somewhere."""
        rows = self.suspects.tolist()
        own, share = _joined(rows, [self._grid(row) for row in rows])
        deep = own[self._least(own, share) > self._line(own, share) + 1e-6]
        return [int(row) for row in np.unique(deep)]

    def _profiles(self, rows: Sequence[int], of: _Gain, steps: Mapping[int, list[_Step]]) -> None:
        """Divide motions where their gain is not straight; its jumps are looked for in those that have none yet."""
        rows = [row for row in rows if self.path.length[row] >= 2 * _SHORTEST_MM]
        found = {**steps, **self._steps([row for row in rows if row not in steps], of)}
        shares = [self._divided(row, found[row]) for row in rows]
        values = of(*_joined(rows, shares))
        shares = [self._closer(*one) for one in zip(rows, shares, _split(values, shares), strict=False)]
        values = of(*_joined(rows, shares))
        for row, share, value in zip(rows, shares, _split(values, shares), strict=False):  # no rows: one empty piece
            self._break(row, share, value)

    def _closer(self, row: int, share: Array, values: Array) -> Array:
        """Shares with more of them where the gain changes fast: a rounded corner leaves an edge along a circle."""
        wide = np.diff(share) * self.path.length[row] > 2 * _SHORTEST_MM
        fast = np.flatnonzero(wide & (np.abs(np.diff(values)) > _FAST_MM))
        inner = np.arange(1, _FINER)[:, None] / _FINER
        return np.sort(np.append(share, share[fast] + inner * np.diff(share)[fast]))

    def _divided(self, row: int, steps: Sequence[_Step]) -> Array:
        """Shares of a motion at which its gain is asked: even ones, and those round its jumps and their blends."""
        length = float(self.path.length[row])
        inner = [share for a, b, *_ in steps for share in (a, b)] + self.marks.get(row, [])
        if not self.is_level[row]:
            self.cones[row] = [
                (0.5 * (a + b) * length, max(left, right), abs(left - right) / BLEND_MM)
                for a, b, left, right in steps
                if abs(left - right) > _NO_JUMP
            ]
            inner += [share for peak, *_ in self.cones[row] for share in ((peak + d) / length for d in (-1.0, 1.0))]
        return np.unique(np.clip(np.concatenate([self._grid(row), np.array(inner)]), 0.0, 1.0))

    def _break(self, row: int, share: Array, values: Array) -> None:
        length = float(self.path.length[row])
        for peak, high, slope in self.cones.get(row, []):
            away = np.abs(share * length - peak)
            values = np.where(away <= BLEND_MM, np.maximum(values, high - slope * away), values)
        values[0] = self.out.node[row - 1] if row else 0.0
        values[-1] = self.out.node[row]
        breaks = _thinned(share * length, values, STRAIGHT_SHARE * self.tolerance)
        if breaks:
            self.out.breaks[row] = [(float(share[place]), float(values[place])) for place in breaks]

    def _states(self) -> None:
        out = self.out
        start, end = out.start(), out.node
        changed = (start != 0) | (end != 0)
        changed[list(out.breaks)] = True
        on = (out.floor >= 0) | (out.whole >= 0)
        on[list(out.touched)] = True
        out.status[:] = np.where(changed, np.where(on, MOVED, LIFTED), UNTOUCHED)

    def _keep_whole(self) -> None:
        """Undo the division of standing arcs whose two ends gain the same and that one gain suits all along."""
        path, out, start = self.path, self.out, self.out.start()
        for row in [] if path.standing is None else path.standing.rows.tolist():
            gain = float(out.node[row])
            if row not in out.breaks or abs(start[row] - gain) >= _NOTHING:
                continue
            share = self._grid(row)
            rows = np.full(len(share), row)
            asked = ask(path, self.zones, rows, share, self.clearance)
            off = np.abs(asked.gain - gain)[asked.floor >= 0]
            if not ((off <= 0.5 * self.tolerance).all() and (asked.least <= gain + 1e-6).all()):
                continue
            floor, xy = int(out.floor[row]), path.axis_places(rows, share)[:, :2]
            if gain >= 0 or (floor >= 0 and shapely.intersects_xy(self.floors[floor].pocket.polygon, *xy.T).all()):
                del out.breaks[row]


def _split(values: Array, shares: Sequence[Array]) -> list[Array]:
    """Values of the places of `_joined`, motion by motion."""
    return np.split(values, np.cumsum([len(share) for share in shares])[:-1])


def _joined(rows: Sequence[int], shares: Sequence[Array]) -> tuple[Rows, Array]:
    """Motion and share of each place, one after the other."""
    own = np.repeat(np.array(rows, np.intp), [len(share) for share in shares])
    return own, np.concatenate([np.empty(0), *shares])


def _plane(floor: CutFloor) -> tuple[object, ...]:
    """What makes two floors lie in one plane, and react at the same heights."""
    pocket = floor.pocket
    if floor.is_shaped:
        return (floor.index,)
    place = pocket.centroid if any(pocket.slope) else ()
    return (pocket.floor_z, pocket.slope, place, floor.window, floor.band)


def _thinned(way: Array, values: Array, tolerance: float) -> list[int]:
    """Inner places that a straight line between their neighbours would miss (Ramer 1972; Douglas and Peucker 1973)."""
    kept, work = {0, len(way) - 1}, [(0, len(way) - 1)]
    while work:
        a, b = work.pop()
        if b - a < 2:
            continue
        line = values[a] + (values[b] - values[a]) * (way[a + 1 : b] - way[a]) / (way[b] - way[a])
        off = np.abs(values[a + 1 : b] - line)
        place = int(off.argmax())
        if off[place] > tolerance:
            kept.add(a + 1 + place)
            work += [(a, a + 1 + place), (a + 1 + place, b)]
    out: list[int] = []
    for place in sorted(kept)[1:-1]:
        after = way[place] - (way[out[-1]] if out else way[0])
        if after > _SHORTEST_MM and way[-1] - way[place] > _SHORTEST_MM:
            out.append(place)
        elif out and after <= _SHORTEST_MM and values[place] > values[out[-1]]:
            out[-1] = place
    return out
