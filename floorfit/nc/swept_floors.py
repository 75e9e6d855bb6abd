"""Two programmes swept over every floor, and what the second leaves there beside what is wanted.

For the proofs of both kinds of file; it shares no code with the rule, the readers or the writers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Correction
from floorfit.errors import Finding
from floorfit.nc.sweep import FloorGrid, Samples, end_height, sample, swept_heights
from floorfit.part.model import Pocket

__all__ = ["TOO_DEEP_MM", "Cuts", "FileProof", "Proved", "SweptFloor"]

#: The two files are not sampled at the same places: along a pass they are no further apart in height than this, mm.
_RISE_MM = 0.004
#: Crests that a ball leaves are seen to this, mm.
_CREST_MM = 0.01
#: No place of a floor may be lower than what is wanted by more, mm: two roundings of 0.0001 in, the offset's tolerance
#: and the places between samples.
TOO_DEEP_MM = 0.02
#: How far inside its edges a floor is looked at, mm, and pairs of place and motion taken at once.
_EDGE_MM, _PAIRS = 0.04, 200_000
#: Greatest number of places of the grid that are looked at together.
_LOOKED_AT = 400
#: Share of a floor that a programme may leave uncut without a word: edges between the places of the sweep. Own choice.
UNCUT_SHARE = 0.05


@dataclass(frozen=True)
class Cuts:
    """Straight motions that may cut; arcs come as chords.

    Parameters
    ----------
    start, end : (m, 3) ndarray, mm
        Places of the tip.
    axis0, axis1 : (m, 3) ndarray
        Axes there, unit vectors.
    size : (m, 2) ndarray, mm
        Radius and corner radius of the cutter.
    """

    start: Array
    end: Array
    axis0: Array
    axis1: Array
    size: Array

    @classmethod
    def joined(cls, parts: Sequence[Cuts]) -> Cuts:
        """All motions of several."""
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in cls.__dataclass_fields__))

    @cached_property
    def _box(self) -> Array:
        """Least and greatest X, Y and Z of each motion, (6, m), mm."""
        return np.concatenate([np.minimum(self.start, self.end).T, np.maximum(self.start, self.end).T])

    def _rows_near(self, pocket: Pocket, top: float) -> Rows:
        """Motions whose cutter may come over a floor, and under a height."""
        reach = float(self.size[:, 0].max(initial=0.0))
        x0, y0, x1, y1 = pocket.polygon.bounds
        least_x, least_y, least_z, most_x, most_y, _ = self._box
        near = (most_x >= x0 - reach) & (least_x <= x1 + reach) & (most_y >= y0 - reach) & (least_y <= y1 + reach)
        return np.flatnonzero(near & (least_z <= top + reach))

    def least_radius(self, pocket: Pocket, top: float) -> float:
        """Radius of the smallest cutter that comes near to a floor, mm.

        Parameters
        ----------
        pocket : Pocket
        top : float, mm
            Height over which nothing touches it.
        """
        return float(self.size[self._rows_near(pocket, top), 0].min(initial=np.inf))

    def at_places(self, pocket: Pocket, top: float, places: Array) -> Array:
        """Lowest height of the cutter over places, each motion taken by itself, (n,), mm; infinite where it never is.

        Parameters
        ----------
        pocket : Pocket
        top : float, mm
            Height over which nothing touches it.
        places : (n, 2) ndarray, mm
            On the floor.
        """
        rows = self._rows_near(pocket, top)
        lean = np.hypot(*np.maximum(np.abs(self.axis0[rows]), np.abs(self.axis1[rows]))[:, :2].T)
        reach = self.size[rows, 0] + self.size[rows, 1] * lean
        ways = np.stack([self.start[rows, :2], self.end[rows, :2]], axis=1)
        tree = shapely.STRtree(np.asarray(shapely.linestrings(ways)))
        place, way = tree.query(shapely.points(places), "dwithin", float(reach.max(initial=0.0)))
        out = np.full(len(places), np.inf)
        for first in range(0, len(place), _PAIRS):
            at, of = place[first : first + _PAIRS], way[first : first + _PAIRS]
            first_share, nearest, last_share = _within(ways[of], places[at], reach[of])
            between = 0.5 * (first_share + nearest), 0.5 * (nearest + last_share)
            pairs = [(a[rows[of]], (b - a)[rows[of]]) for a, b in ((self.start, self.end), (self.axis0, self.axis1))]
            for share in (one[:, None] for one in (first_share, between[0], nearest, between[1], last_share)):
                tip, axis = (a + share * way for a, way in pairs)
                axis /= np.linalg.norm(axis, axis=1)[:, None]
                (dx, dy), (radius, corner) = (places[at] - tip[:, :2]).T, self.size[rows[of]].T
                np.minimum.at(out, at, tip[:, 2] + end_height(dx, dy, axis, radius, corner))
        return out

    def near(self, pocket: Pocket, top: float, step: float) -> Samples | None:
        """Places of the cutter that may touch a floor; None where there are none.

        Parameters
        ----------
        pocket : Pocket
        top : float, mm
            Height over which nothing touches it.
        step : float, mm
            Between places along the path.
        """
        rows = self._rows_near(pocket, top)
        if not len(rows):
            return None
        # Between places of a ball crests are seen too high, by the step's square over eight radii.
        ball = np.where(self.size[rows, 1] >= self.size[rows, 0], np.sqrt(8 * _CREST_MM * self.size[rows, 1]), step)
        steps = np.where(ball > 0, np.minimum(step, ball), step)
        # Where a pass climbs, its places stand too close for one to speak for its neighbours; on a ramp all speak.
        steep = max(float(np.abs(pocket.slope_at(*_lattice(pocket))).max()), _RISE_MM / step)
        way = self.end[rows] - self.start[rows]
        ramp = np.abs(way[:, 2]) > 1.1 * steep * np.hypot(way[:, 0], way[:, 1])
        low, slant = (
            sample(self.start[at], self.end[at], (self.axis0[at], self.axis1[at]), self.size[at], part, _RISE_MM)
            for at, part in ((rows[~ramp], steps[~ramp]), (rows[ramp], steps[ramp]))
        )
        low = low.below(top).lowest(0.4 * _RISE_MM / steep).and_also(slant.below(top))
        return low if len(low.tip) else None


def _within(ways: Array, places: Array, reach: Array) -> tuple[Array, Array, Array]:
    """First, nearest and last share of straight ways (n, 2, 2) no further from places (n, 2) than some reach, (n,)."""
    start, along = ways[:, 0] - places, ways[:, 1] - ways[:, 0]
    square = np.maximum((along**2).sum(axis=1), 1e-18)
    middle = -(start * along).sum(axis=1) / square
    off = ((start + middle[:, None] * along) ** 2).sum(axis=1)
    half = np.sqrt(np.maximum(reach**2 - off, 0.0) / square)
    first, nearest, last = np.clip([middle - half, middle, middle + half], 0.0, 1.0)
    return first, nearest, last


@dataclass(frozen=True)
class SweptFloor:
    """What the two sweeps say about one floor.

    Parameters
    ----------
    pocket : str
        Its id.
    deep_mm : float
        Greatest depth below what is wanted; 0 where nowhere.
    high_mm, high_area_mm2 : float
        Greatest height left over what is wanted, and the area with more than `TOO_DEEP_MM`.
    where, where_high : (float, float)
        Places of the greatest depth, and of the greatest height, mm.
    own_deep_mm : float
        How far under the floor's nominal Z the original cuts where the greatest depth is; 0 where it does not.
    off_mm : float
        Height over the floor's nominal Z at which the original cuts it, before any offset: exceeded on three quarters
        of what it cuts, so that cusps and the round at the walls do not count. NaN where it cuts nothing.
    uncut_share, uncut_mm2 : float
        How much of what its cutters can reach of the floor the original does not cut: as a share, and in area.
    """

    pocket: str
    deep_mm: float
    high_mm: float
    high_area_mm2: float
    where: tuple[float, float]
    where_high: tuple[float, float]
    off_mm: float = float("nan")
    uncut_share: float = 0.0
    uncut_mm2: float = 0.0
    own_deep_mm: float = 0.0

    @property
    def is_whole(self) -> bool:
        """Whether the original cuts all of the floor, but for a little at its edges."""
        return self.uncut_share <= UNCUT_SHARE

    @property
    def is_off(self) -> bool:
        """Whether the original cuts the floor at another height than the part file states."""
        return abs(self.off_mm) > TOO_DEEP_MM


def _lattice(pocket: Pocket) -> tuple[Array, ...]:
    """Places over the box of a floor."""
    x0, y0, x1, y1 = pocket.polygon.bounds
    return tuple(np.meshgrid(np.linspace(x0, x1, 65), np.linspace(y0, y1, 65)))


def _floor(before: Cuts, after: Cuts, pocket: Pocket, correction: Correction) -> SweptFloor | None:
    x, y = _lattice(pocket)
    top = float(pocket.floor_at(x, y).max()) + 1.0
    grid = FloorGrid.over(Polygon(pocket.polygon), before.least_radius(pocket, top))
    more = 0.0 if correction.action == "hold" else max(float(correction.at(x, y).max()), 0.0)
    old, new = (cuts.near(pocket, high, 0.8 * grid.cell) for cuts, high in ((before, top), (after, top + more)))
    if old is None or new is None:
        return None
    edge = _edge(Polygon(pocket.polygon), grid.cell)
    places = np.concatenate([grid.places(), edge])
    both = ((old, before, top), (new, after, top + more))
    heights = [np.append(swept_heights(one, grid), cuts.at_places(pocket, high, edge)) for one, cuts, high in both]
    inside = np.append(grid.inside, np.ones(len(edge), bool))
    # At the rim of a pass the grid's places of the cutter miss what the pass itself meets: where it matters, ask that.
    looked = np.zeros(len(places), bool)
    while len(rows := _to_look_at(pocket, correction, places, inside, heights, looked)):
        for one, (_, cuts, high) in zip(heights, both, strict=True):
            one[rows] = np.minimum(one[rows], cuts.at_places(pocket, high, places[rows]))
        looked[rows] = True
    area = np.append(np.full(grid.inside.size, grid.area), np.zeros(len(edge)))
    return _compare(pocket, correction, places, inside, area, _reached(pocket, places, old), *heights)


def _to_look_at(
    pocket: Pocket, correction: Correction, places: Array, inside: Flags, heights: Sequence[Array], looked: Flags
) -> Rows:
    """The worst places that were not looked at, where one of them would be the worst of all; none where none is bad."""
    _, deep, high = _off(pocket, correction, places, inside, *heights)
    worst, most = (float(some[looked].max(initial=_CREST_MM)) for some in (deep, high))
    off = np.where(looked, 0.0, np.maximum(deep - worst, high - most))
    return np.argsort(-off)[: min(_LOOKED_AT, int((off > 0).sum()))]


def _edge(polygon: Polygon, step: float) -> Array:
    """Places along all edges of a floor, walls of islands too, (n, 2), mm."""
    return np.asarray(shapely.get_coordinates(polygon.buffer(-_EDGE_MM, join_style="mitre").segmentize(step)))


def _reached(pocket: Pocket, places: Array, cuts: Samples) -> Flags:
    """Places of a floor that the flat of the smallest cutter that goes down to it comes to."""
    x, y, z = cuts.tip.T
    on = (z <= pocket.floor_at(x, y) + _cut_mm(pocket)) & shapely.contains_xy(pocket.polygon, x, y)
    some = np.flatnonzero(on) if on.any() else np.arange(len(z))
    least = some[np.argmin(cuts.radius[some])]
    radius, corner = float(cuts.radius[least]), float(cuts.corner[least])
    area = Polygon(pocket.polygon).buffer(-radius).buffer(radius - corner)
    shapely.prepare(area)
    return np.asarray(shapely.contains_xy(area, *places.T))


def _cut_mm(pocket: Pocket) -> float:
    """Height over a floor up to which a place counts as cut: half of the stock."""
    return 0.5 * max(pocket.finish_stock, 0.2)


def _off(
    pocket: Pocket, correction: Correction, places: Array, inside: Flags, old: Array, new: Array
) -> tuple[Flags, Array, Array]:
    """Where the original cuts the floor, how deep the result is under what is wanted, and how high over it, mm."""
    nominal, dz = pocket.floor_at(*places.T), correction.at(*places.T)
    cut = inside & (old <= nominal + _cut_mm(pocket))
    wanted = np.where(cut, np.minimum(nominal, old) + dz, np.minimum(nominal + dz, old))
    if correction.action == "hold":
        wanted = old
    there = inside & np.isfinite(new)
    deep = np.where(there, wanted - np.where(there, new, 0.0), -np.inf)
    seen = cut & np.isfinite(new)
    return cut, deep, np.where(seen, np.where(seen, new, 0.0) - (np.where(seen, old, 0.0) + dz), -np.inf)


def _compare(
    pocket: Pocket, correction: Correction, places: Array, inside: Flags, area: Array, reached: Flags, old: Array,
    new: Array,
) -> SweptFloor:  # fmt: skip
    cut, deep, high = _off(pocket, correction, places, inside, old, new)
    over = old - pocket.floor_at(*places.T)
    worst, most = int(np.argmax(deep)), int(np.argmax(high))
    off = over[cut & (area > 0)]
    uncut, reached_area = float(area[inside & reached & ~cut].sum()), float(area[inside & reached].sum())
    lowest, highest, own = (max(float(one), 0.0) for one in (deep[worst], high[most], -over[worst]))
    where, where_high = ((float(x), float(y)) for x, y in places[[worst, most]])
    off_mm, more = float(np.quantile(off, 0.25)) if len(off) else float("nan"), float(area[high > TOO_DEEP_MM].sum())
    share = uncut / reached_area if reached_area else 0.0
    return SweptFloor(pocket.id, lowest, highest, more, where, where_high, off_mm, share, uncut, own)


@dataclass(frozen=True)
class Proved:
    """What a proof found.

    Parameters
    ----------
    findings : tuple of Finding
        Empty when it holds.
    floors : tuple of SweptFloor
        A row for each floor that was swept.
    added : (n,) ndarray, mm
        Z added at the end of each motion of the original; empty where nobody asks.
    """

    findings: tuple[Finding, ...]
    floors: tuple[SweptFloor, ...] = ()
    added: Array = field(default_factory=lambda: np.zeros(0))


@dataclass
class FileProof:
    """What a proof finds in a file; nothing is written where it finds anything.

    Parameters
    ----------
    source : str
        Name of the file.
    """

    source: str
    findings: list[Finding] = field(default_factory=list, init=False)

    def fail(self, line: int, text: str, count: int = 1) -> None:
        """Say what does not hold.

        Parameters
        ----------
        line : int
            From 0; -1 where it is no line's.
        text : str
        count : int
            Motions of which it holds.
        """
        place = f"line {line + 1}" if line >= 0 else ""
        more = f" ({count} motions)" if count > 1 else ""
        self.findings.append(Finding("proof", self.source, place, f"proof failed: {text}{more}. Nothing was written."))

    def check(self, line: NDArray[np.integer], bad: Flags, text: str) -> None:
        """Fail where a motion is bad, with the line of the first.

        Parameters
        ----------
        line : (n,) ndarray of int
        bad : (n,) ndarray of bool
        text : str
        """
        rows = np.flatnonzero(bad)
        if len(rows):
            self.fail(int(line[rows[0]]), text, len(rows))

    def sweep(self, before: Cuts, after: Cuts, floors: Sequence[tuple[Pocket, Correction]]) -> list[SweptFloor]:
        """Sweep both files over each floor, and fail where one is too deep; one that no cutter comes near has no row.

        Parameters
        ----------
        before, after : Cuts
            Original and result.
        floors : sequence of (Pocket, Correction)
            The floors, with what is added to them.
        """
        if not len(before.size) or not len(after.size):
            return []
        found = (_floor(before, after, pocket, correction) for pocket, correction in floors)
        out = [one for one in found if one is not None]
        for one in out:
            if one.deep_mm > TOO_DEEP_MM:
                x, y = one.where
                text = f"pocket {one.pocket} would be {one.deep_mm:.3f} mm too deep at ({x:.1f}, {y:.1f})"
                own = (
                    f", where the programme itself goes {one.own_deep_mm:.3f} mm under its Z: lift that motion over it"
                )
                self.fail(-1, text + (own if one.own_deep_mm > TOO_DEEP_MM else ""))
        return out

    def keep_the_rest(
        self, line: NDArray[np.integer], added: Array, xy: Array, radius: Array,
        floors: Sequence[tuple[Pocket, Correction]],
    ) -> None:  # fmt: skip
        """Fail where a motion ends lower than before further from all of some floors than the cutter's radius.

        Parameters
        ----------
        line : (n,) ndarray of int
        added : (n,) ndarray, mm
            Z added at the end of each motion.
        xy : (n, 2) ndarray, mm
            Those ends in plan.
        radius : (n,) ndarray, mm
            Radius of the cutter.
        floors : sequence of (Pocket, Correction)
        """
        low = np.flatnonzero(added < -0.006)
        if floors and len(low):
            low = low[~np.isnan(xy[low]).any(axis=1)]
            tree = shapely.STRtree([pocket.polygon for pocket, _ in floors])
            (which, _), away = tree.query_nearest(shapely.points(xy[low]), return_distance=True, all_matches=False)
            low = low[which[away > radius[low[which]] + 0.2]]
        if len(low):
            self.fail(int(line[low[0]]), "lower than it was, and over no floor that goes down", len(low))
