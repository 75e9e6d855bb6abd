"""Where to take readings: each one where it tells most about the offsets, until they are known well enough.

An offset is the middle between the highest and the lowest warp on a floor (equal margin to both limits). A smooth warp
has these at opposite ends, a dished web at its middle. So the plan makes small not the variance of the warp here or
there but that of the half sums over such places of each floor, and of the places themselves: first the middle and two
more on each floor, then one at a time where it tells most of the floors known least for their tolerance. The order of
the places depends on what is asked for only where more than a dozen a floor are; count and share say where it stops.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Rows
from floorfit.dishing import web_dishes
from floorfit.errors import ABOVE_ZERO, NOT_NEGATIVE, Finding, InputError, Range, check_ranges
from floorfit.one_thread import one_thread
from floorfit.part.assign import assign_floors
from floorfit.part.lattice import floor_points
from floorfit.part.model import Part, Pocket
from floorfit.planning.belief import Belief, Known, fit_known, foreseen, likely_with, middle_deviation, unread
from floorfit.planning.path import order_there_and_back, path_length
from floorfit.planning.standing import FloorPlaces, floor_places
from floorfit.plate.plate_prior import PlatePrior
from floorfit.readings.screening import PROBE_RADIUS_MM
from floorfit.surface.fit import Fit
from floorfit.surface.modes import Modes

if TYPE_CHECKING:
    from floorfit.record import Record

__all__ = ["Known", "Plan", "plan"]

#: Readings a floor should have at least: they carry a plane, and a lost one leaves two.
LEAST_PER_FLOOR = 3
#: Candidates on a floor, at least and at most, and on the whole part.
CANDIDATES_LEAST, CANDIDATES_MOST, CANDIDATES_IN_ALL = 16, 600, 3000
#: A plan without a count stops here: readings per floor.
MOST_PER_FLOOR = 12
#: Tolerance width of a floor with an open side, mm, for the weights only.
OPEN_WIDTH_MM = 0.2
#: Readings after which gains and weights are computed anew.
ANEW = 12
#: Sums looked at on each floor: three half sums (over opposite ends, and of the middle against the ends), then its four
#: ends and its middle. The first three are what an offset can be.
SUMS, HALVES = 8, 3
#: Power of the floors' u over their tolerance whose sum is made small: near the largest, yet smooth.
POWER = 4


@dataclass(frozen=True)
class Plan:
    """Places for readings, in the order in which to take them.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
        Where to read.
    pockets : tuple of str
        Floor of each.
    rank : (n,) ndarray of int
        Place of each in the order of usefulness, from 1: the first k of these are the plan for k readings.
    curve : (m, 3) ndarray
        Readings in all, and the mean and the largest standard uncertainty of an offset then, mm.
    offset_u : (floors,) ndarray, mm
        Expected standard uncertainty of each floor's offset at the end, in the part's order.
    is_reached : bool
        Whether the count, or the share of the tolerance, asked for was reached on every floor planned for.
    path_mm : float
        Length of the path in plan.
    unreachable : tuple of str
        Floors on which the probe finds no room.
    findings : tuple of Finding
        Warnings.
    """

    points: Array
    pockets: tuple[str, ...]
    rank: NDArray[np.int64]
    curve: Array
    offset_u: Array
    is_reached: bool
    path_mm: float
    unreachable: tuple[str, ...]
    findings: tuple[Finding, ...]


def plan(
    part: Part,
    *,
    count: int | None = None,
    share: float | None = None,
    u_mm: float = 0.010,
    probe_radius_mm: float = PROBE_RADIUS_MM,
    wall_mm: float = 1.0,
    start: Known | None = None,
    floors: Sequence[str] | None = None,
    after: Record | str | Path | None = None,
    prior: PlatePrior | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Plan readings.

    Parameters
    ----------
    part : Part
        Nominal part.
    count : int, optional
        Readings to place. Left out: as many as ``share`` needs, at most `MOST_PER_FLOOR` a floor.
    share : float, optional
        Stop when each floor's expanded offset uncertainty (k = 2) is below this share of its tolerance; 0.25 where
        ``count`` is left out too. With both, whichever comes first.
    u_mm : float, mm
        Standard uncertainty of a reading.
    probe_radius_mm, wall_mm : float, mm
        Radius of the probe's foot, and distance to keep between it and walls or islands.
    start : Known, optional
        Readings that exist already: the surface is fitted to them, and planned on that fit. `LEAST_PER_FLOOR` a floor
        are added where neither count nor share is given.
    floors : sequence of str, optional
        Ids of the floors to plan for; all when left out.
    after : Record or path, optional
        Job of the same part, in place of both: its readings exist, and the floors that it left undecided or held for
        want of readings are planned for.
    prior : PlatePrior, optional
        What the part's own stiffness makes likely, from `floorfit.prior`: fewer readings then do.
    progress : callable, optional
        Called with readings placed and readings expected.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        For numbers out of range, an unknown floor, where the probe finds room on no floor, or for another part's job
        or prior.

    Notes
    -----
    Cost is readings × candidates × (floors + readings); 840 readings on 120 floors take some seconds.
    """
    if after is not None:
        from floorfit.planning.after_job import standing_of

        start, floors = standing_of(part, after)
    _check(part, count, share, u_mm, probe_radius_mm, wall_mm, floors)
    if prior is not None:
        prior.check(part)
    modes = None if prior is None else prior.modes
    chosen = [k for k, pocket in enumerate(part.pockets) if floors is None or pocket.id in set(floors)]
    if start is not None and count is None and share is None:
        count = LEAST_PER_FLOOR * len(chosen)
    limit = count if count is not None else MOST_PER_FLOOR * len(chosen)
    wanted = share if share is not None or count is not None else 0.25
    clearance = probe_radius_mm + wall_mm
    places = _places([part.pockets[k] for k in chosen], clearance, limit)
    # Two threads that contend for one product of this size take several times as long as one.
    with one_thread():
        fit = None if start is None else fit_known(start, part.bounds, web_dishes(part), modes)
        greedy = _Greedy(part, chosen, places, u_mm, start, fit, limit, modes)
        greedy.run(wanted, progress)
        order = order_there_and_back(greedy.candidates[greedy.picked], greedy.floor[greedy.picked])
        end = _promised(part, greedy, start, fit, greedy.candidates[greedy.picked][order], u_mm, modes)
    return _finish(part, greedy, chosen, count, wanted, end, order)


def _check(
    part: Part,
    count: int | None,
    share: float | None,
    u_mm: float,
    probe_radius_mm: float,
    wall_mm: float,
    floors: Sequence[str] | None,
) -> None:
    check_ranges(
        "plan",
        [
            ("count", count, Range("a whole number, 1 or more,", 1, is_whole=True, may_be_none=True)),
            ("share", share, Range("a number above 0", 0, is_open=True, may_be_none=True)),
            ("u_mm", u_mm, ABOVE_ZERO),
            ("probe_radius_mm", probe_radius_mm, NOT_NEGATIVE),
            ("wall_mm", wall_mm, NOT_NEGATIVE),
        ],
    )
    known = {pocket.id for pocket in part.pockets}
    faults = [
        Finding("unknown-floor", "plan", "floors", f'the part has no pocket "{name}". Correct the name.')
        for name in floors or ()
        if name not in known
    ]
    if floors is not None and not floors:
        text = "every floor is decided, or held for another reason than readings: none to plan for."
        faults.append(Finding("no-floors", "plan", "floors", text))
    if faults:
        raise InputError(faults)


def _places(pockets: list[Pocket], clearance: float, limit: int) -> list[FloorPlaces]:
    """Candidates of each floor: more on large floors, and several for each reading wanted where many are."""
    most = min(CANDIDATES_IN_ALL, 4 * max(MOST_PER_FLOOR * len(pockets), limit))
    areas = np.array([pocket.polygon.area for pocket in pockets])
    shares = np.clip(most * (0.5 / len(pockets) + 0.5 * areas / areas.sum()), CANDIDATES_LEAST, CANDIDATES_MOST)
    places = [floor_places(p, clearance, int(share)) for p, share in zip(pockets, shares, strict=True)]
    if not any(len(p.candidates) for p in places):
        text = f"the probe finds room on no floor: {clearance:g} mm are kept to every wall. Give a smaller radius."
        raise InputError([Finding("no-room", "plan", "", text)])
    return places


class _Greedy:
    """The choice as it grows."""

    def __init__(
        self, part: Part, chosen: list[int], places: list[FloorPlaces], u_mm: float, start: Known | None,
        fit: Fit | None, limit: int, modes: Modes | None,
    ) -> None:  # fmt: skip
        self.candidates = np.concatenate([p.candidates for p in places])
        self.floor = np.repeat(np.arange(len(places)), [len(p.candidates) for p in places])
        self.limit = min(limit, len(self.candidates))
        self.known = 0 if start is None else len(start.u)
        self.common = 0.0 if start is None else start.common_u
        self.width = np.array([_width(part.pockets[k]) for k in chosen])
        self.counts = np.zeros(len(places), int)
        if start is not None:
            on = assign_floors(part, *start.points.T)
            # Whatever a floor has, it is planned for because that did not do: it gets one more at least.
            self.counts = np.bincount(on[on >= 0], minlength=len(part.pockets))[chosen].clip(max=LEAST_PER_FLOOR - 1)
        self.belief = _belief(part, places, fit, self.candidates, self.limit, modes)
        self.owner = np.repeat(np.arange(len(places), dtype=np.intp), SUMS)
        self.points = [floor_points(part.pockets[k]) for k in chosen]
        self.scale = np.ones(len(places)) if fit is None else middle_deviation(fit, self.points) / self._half_u
        self.noise2 = self.belief.dispersion * u_mm**2
        self.picked: list[int] = []
        self.room = np.bincount(self.floor, minlength=len(places))
        self.is_left = np.ones(len(self.candidates), bool)
        self.is_middle = np.zeros(len(self.candidates), bool)
        self.is_middle[np.unique(self.floor, return_index=True)[1]] = True
        self.curve: list[tuple[int, float, float]] = []

    @property
    def _half_u(self) -> Array:
        """Standard uncertainty of each floor's least known half sum, mm."""
        halves = self.belief.sum_variance.reshape(-1, SUMS)[:, :HALVES].max(axis=1)
        return np.asarray(np.sqrt(np.maximum(halves, 1e-12)))

    @property
    def offset_u(self) -> Array:
        """Standard uncertainty of each floor's offset: of its half sums, by the scale that a fit gave them, mm."""
        return np.asarray(np.hypot(self.scale * self._half_u, self.common))

    def run(self, share: float | None, progress: Callable[[int, int], None] | None) -> None:
        """Add readings until the limit, or until every floor is known to its share."""
        gains = self._gains_anew()
        for step in range(self.limit):
            if self._is_done(share):
                break
            index = self._best(gains)
            gains = self._add(index, gains)
            self._note()
            if progress is not None:
                progress(step + 1, self.limit)
            if step < 8 or step % ANEW == 0:
                gains = self._gains_anew()

    def _is_done(self, share: float | None) -> bool:
        if share is None or (self.counts < self._need).any():
            return False
        return bool((2.0 * self.offset_u[self.room > 0] <= share * self.width[self.room > 0]).all())

    @property
    def _need(self) -> NDArray[np.int64]:
        return np.minimum(LEAST_PER_FLOOR, self.room)

    def _gains_anew(self) -> Array:
        """Sum over the sums of weight × covariance², for every candidate, without rounding carried along.

        Weights are those of the slope of ``Σ (u/width)^(2 POWER)`` along each variance.
        """
        ratio = self._half_u / self.width
        self._weights = ((ratio / ratio.max()) ** (2 * POWER - 2) / self.width**2)[self.owner]
        covariance = self.belief.settle()
        return np.asarray(self._weights.astype(covariance.dtype) @ covariance**2, float)

    def _best(self, gains: Array) -> int:
        """Candidate that lowers the weighted variances most.

        Floors with fewest of their first three come first; the first on a floor is its middle, where a dish shows.
        """
        is_open, short = self.is_left, self.counts < self._need
        if short.any():
            is_open = is_open & (short & (self.counts == self.counts[short].min()))[self.floor]
            is_open &= self.is_middle | (self.counts > 0)[self.floor]
        fall = gains / (np.maximum(self.belief.variance, 0.0) + self.noise2)
        return int(np.argmax(np.where(is_open, fall, -np.inf)))

    def _add(self, index: int, gains: Array) -> Array:
        """Take the reading, and update the gains: Σ w (T − t l)² = Σ w T² − 2 l Σ w t T + l² Σ w t²."""
        weights = self._weights
        change = self.belief.add(index, self.noise2, weights)
        self.picked.append(index)
        self.is_left[index] = False
        self.counts[self.floor[index]] += 1
        return np.asarray(gains - 2.0 * change.row * change.cross + change.row**2 * float(weights @ change.sums**2))

    def _note(self) -> None:
        u = self.offset_u
        self.curve.append((self.known + len(self.picked), float(u.mean()), float(u.max())))


def _belief(
    part: Part, places: list[FloorPlaces], fit: Fit | None, candidates: Array, capacity: int, modes: Modes | None
) -> Belief:
    """What a fit left unknown, or what is unknown before any reading."""
    targets, sums = _sums(places)
    if fit is not None and fit.surface.shapes is not None:
        return Belief(fit.solution, fit.surface.shapes, candidates, targets, sums, capacity)
    families = web_dishes(part)
    return Belief(
        unread(part.bounds, families, likely_with(modes, part.bounds)), families[0], candidates, targets, sums, capacity
    )


def _promised(
    part: Part, greedy: _Greedy, start: Known | None, fit: Fit | None, points: Array, u_mm: float, modes: Modes | None
) -> Array:
    """Standard uncertainty of each floor's offset at the end, mm: what a fit reports once the readings have come in.

    With them read after the known ones, in the order of the points.
    """
    if start is None or fit is None or not len(points):
        return greedy.offset_u
    every = foreseen(fit, start, points, u_mm)
    later = fit_known(every, part.bounds, web_dishes(part), modes)
    if later is None:
        return greedy.offset_u
    later = later.allowing_for_drift(every.points, every.u, np.arange(float(len(every.u))))
    return np.hypot(middle_deviation(later, greedy.points), start.common_u)


def _sums(places: list[FloorPlaces]) -> tuple[Array, Array]:
    """Return target places and the weights of the sums over them, `SUMS` for each floor."""
    targets = np.concatenate([np.vstack([p.pairs.reshape(4, 2), p.middle]) for p in places])
    one = np.zeros((SUMS, 5))
    one[0, :2] = one[1, 2:4] = 0.5
    one[2] = 0.125, 0.125, 0.125, 0.125, 0.5
    # The places alone decide where the web is thinnest and thickest; half weight (tried on plates, see the tests).
    one[HALVES:] = 0.5 * np.eye(5)
    return targets, np.asarray(np.kron(np.eye(len(places)), one), float)


def _width(pocket: Pocket) -> float:
    width = pocket.tightest.width
    return width if np.isfinite(width) and width > 0 else OPEN_WIDTH_MM


def _finish(
    part: Part, greedy: _Greedy, chosen: list[int], count: int | None, share: float | None, end: Array, order: Rows
) -> Plan:
    picked = np.array(greedy.picked, np.intp)
    points, floor = greedy.candidates[picked], greedy.floor[picked]
    unreachable = tuple(part.pockets[chosen[k]].id for k in np.flatnonzero(greedy.room == 0))
    is_known = share is not None and greedy._is_done(share)
    u = np.full(len(part.pockets), np.nan)
    u[chosen] = end
    arrays = points[order], (np.arange(len(picked)) + 1)[order], np.array(greedy.curve).reshape(-1, 3), u
    for array in arrays:
        array.flags.writeable = False
    return Plan(
        points=arrays[0],
        pockets=tuple(part.pockets[chosen[k]].id for k in floor[order]),
        rank=arrays[1],
        curve=arrays[2],
        offset_u=arrays[3],
        is_reached=is_known or (share is None and len(picked) == count),
        path_mm=path_length(arrays[0]),
        unreachable=unreachable,
        findings=tuple(_warnings(greedy, unreachable, count)),
    )


def _warnings(greedy: _Greedy, unreachable: tuple[str, ...], count: int | None) -> list[Finding]:
    found = [
        Finding("no-room", "plan", f"pocket {name}", "the probe finds no room there. Give a smaller radius.", "warning")
        for name in unreachable
    ]
    short = int((greedy.counts < greedy._need).sum())
    if short and greedy.known == 0:
        text = f"{short} floors have fewer than {LEAST_PER_FLOOR} readings. Ask for more readings."
        found.append(Finding("few-readings", "plan", "", text, "warning"))
    if count is not None and len(greedy.candidates) < count:
        text = f"{count} readings were asked for, {len(greedy.candidates)} places are there."
        found.append(Finding("few-places", "plan", "", text, "warning"))
    return found
