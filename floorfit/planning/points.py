"""Where to take readings: each one where it tells most about the offsets, until they are known well enough.

An offset is the middle between the highest and the lowest warp on a floor (equal margin to both limits), and a
smooth warp has these at opposite ends. So the plan makes small not the variance of the warp here or there but that of
the half sums over opposite ends of each floor, and of the ends themselves, weighted by the floor's tolerance; greedily,
one reading at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from floorfit.errors import ABOVE_ZERO, NOT_NEGATIVE, Finding, InputError, Range, check_ranges
from floorfit.part.model import Part, Pocket
from floorfit.planning.kriging import Posterior, make_prior
from floorfit.planning.path import order_by_group, path_length
from floorfit.planning.standing import FloorPlaces, floor_places
from floorfit.readings.screening import PROBE_RADIUS_MM
from floorfit.readings.warp import DEFAULT_U_MM

__all__ = ["Known", "Plan", "known_readings", "plan", "surface_variance", "wants_readings"]

Array = NDArray[np.float64]

#: Variance of the surface, factor of r² ln r, where no job has estimated it: of the size that a 1200 × 500 mm plate
#: with half a millimetre of bow gives (reference values T9: 6.2e-8), mm² per mm².
TAU2 = 6e-8
#: Readings a floor should have at least: they carry a plane, and a lost one leaves two.
LEAST_PER_FLOOR = 3
#: Candidates on a floor, at least and at most, and on the whole part.
CANDIDATES_LEAST, CANDIDATES_MOST, CANDIDATES_IN_ALL = 16, 600, 5000
#: A plan without a count stops here: readings per floor.
MOST_PER_FLOOR = 12
#: Tolerance width of a floor with an open side, mm, for the weights only.
OPEN_WIDTH_MM = 0.2
#: Readings after which the gains are computed anew, to keep rounding away: often at first, then seldom.
ANEW = 64
#: Sums looked at on each floor: two half sums over opposite ends, then its four ends.
SUMS = 6
#: More known readings than this are thinned.
MOST_KNOWN = 3000


@dataclass(frozen=True)
class Known:
    """Readings that exist already.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
        Places.
    u : (n,) ndarray, mm
        Standard uncertainties.
    """

    points: Array
    u: Array


def known_readings(
    x: Sequence[float],
    y: Sequence[float],
    u: Sequence[float | None],
    used: Sequence[bool],
    *,
    inflation: float = 1.0,
) -> Known:
    """Readings of a job that was run: those that its fit used.

    Parameters
    ----------
    x, y : sequence of n float, mm
        Places.
    u : sequence of n float or None, mm
        Standard uncertainties; `DEFAULT_U_MM` where not stated.
    used : sequence of n bool
        Whether the fit used each.
    inflation : float
        φ of the fit: variance of the readings over what was stated.
    """
    rows = [k for k, is_used in enumerate(used) if is_used]
    points = np.array([(x[k], y[k]) for k in rows], float).reshape(-1, 2)
    stated = [u[k] for k in rows]
    sigma = np.array([DEFAULT_U_MM if s is None else s for s in stated], float) * np.sqrt(inflation)
    return Known(points, sigma)


def surface_variance(smoothing: float, inflation: float) -> float:
    """Variance τ² of a fitted surface, factor of r² ln r: φ/(8πλ) (reference values T1, T10), mm² per mm².

    Parameters
    ----------
    smoothing : float
        λ, in units where readings are weighted by 1/u².
    inflation : float
        φ of the fit.
    """
    return inflation / (8.0 * np.pi * smoothing)


def wants_readings(verdict: str, code: str) -> bool:
    """Whether more readings can settle a floor: its verdict is undecided, or the code of its reason says too few.

    Parameters
    ----------
    verdict : {"conform", "undecided", "nonconform"}
    code : str
        Of the reason; empty where there is none.
    """
    return verdict == "undecided" or code in ("no-readings", "too-few-readings", "outside-readings")


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
    tau2: float | None = None,
    start: Known | None = None,
    floors: Sequence[str] | None = None,
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
    tau2 : float, mm² per mm²
        Variance of the surface, factor of r² ln r; φ/(8πλ) for a surface fitted with smoothing λ and noise
        inflation φ. `TAU2` where nothing is known.
    start : Known, optional
        Readings that exist already. `LEAST_PER_FLOOR` a floor are added where neither count nor share is given.
    floors : sequence of str, optional
        Ids of the floors to plan for; all when left out.
    progress : callable, optional
        Called with readings placed and readings expected.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        For numbers out of range, an unknown floor, or where the probe finds room on no floor.

    Notes
    -----
    Cost is readings × candidates × (floors + readings); 840 readings on 120 floors take some seconds.
    """
    _check(part, count, share, u_mm, probe_radius_mm, wall_mm, tau2, floors)
    chosen = [k for k, pocket in enumerate(part.pockets) if floors is None or pocket.id in set(floors)]
    if start is not None and count is None and share is None:
        count = LEAST_PER_FLOOR * len(chosen)
    limit = count if count is not None else MOST_PER_FLOOR * len(chosen)
    wanted = share if share is not None or count is not None else 0.25
    clearance = probe_radius_mm + wall_mm
    places = _places([part.pockets[k] for k in chosen], clearance, limit)
    # Two threads that contend for one product of this size take several times as long as one.
    with threadpool_limits(1):
        greedy = _Greedy(part, chosen, places, u_mm, tau2 or TAU2, start, limit)
        greedy.run(limit, wanted, progress)
    return _finish(part, greedy, chosen, count, wanted)


def _check(
    part: Part,
    count: int | None,
    share: float | None,
    u_mm: float,
    probe_radius_mm: float,
    wall_mm: float,
    tau2: float | None,
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
            ("tau2", tau2, Range("a number above 0", 0, is_open=True, may_be_none=True)),
        ],
    )
    known = {pocket.id for pocket in part.pockets}
    faults = [
        Finding("unknown-floor", "plan", "floors", f'the part has no pocket "{name}". Correct the name.')
        for name in floors or ()
        if name not in known
    ]
    if floors is not None and not floors:
        faults.append(
            Finding(
                "no-floors",
                "plan",
                "floors",
                "every floor is decided, or held for another reason than readings: none to plan for.",
            )
        )
    if faults:
        raise InputError(faults)


def _places(pockets: list[Pocket], clearance: float, limit: int) -> list[FloorPlaces]:
    """Candidates of each floor: more on large floors, and several for each reading wanted."""
    most = min(CANDIDATES_IN_ALL, max(30 * len(pockets), 4 * limit))
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
        self, part: Part, chosen: list[int], places: list[FloorPlaces], u_mm: float, tau2: float,
        start: Known | None, limit: int,
    ) -> None:  # fmt: skip
        self.candidates = np.concatenate([p.candidates for p in places])
        self.floor = np.repeat(np.arange(len(places)), [len(p.candidates) for p in places])
        targets, sums, self.owner = _sums(places)
        self.limit = min(limit, len(self.candidates))
        prior = make_prior(*part.bounds, tau2)
        self.posterior = Posterior(prior, self.candidates, targets, sums, self.limit)
        if start is not None:
            known = _thinned(start)
            self.posterior.add_known(known.points, known.u**2)
        self.known = 0 if start is None else len(start.u)
        self.width = np.array([_width(part.pockets[k]) for k in chosen])
        self.noise2 = u_mm**2
        self.picked: list[int] = []
        self.counts = np.zeros(len(places), int)
        self.room = np.bincount(self.floor, minlength=len(places))
        self.is_left = np.ones(len(self.candidates), bool)
        self.curve: list[tuple[int, float, float]] = []
        self.is_wanting = np.ones(len(places), bool)

    @property
    def offset_u(self) -> Array:
        """Standard uncertainty of each floor's offset: that of its least known half sum, mm."""
        halves = self.posterior.sum_variance.reshape(-1, SUMS)[:, :2].max(axis=1)
        return np.asarray(np.sqrt(np.maximum(halves, 0.0)))

    def run(self, limit: int, share: float | None, progress: Callable[[int, int], None] | None) -> None:
        """Add readings until the limit, or until every floor is known to its share."""
        gains = self._gains_anew(share)
        for step in range(self.limit):
            if self._is_done(share):
                break
            index = self._best(gains, limit - step)
            if index < 0:
                break
            gains = self._add(index, gains)
            self._note()
            if progress is not None:
                progress(step + 1, self.limit)
            if step < 8 or (step & (step - 1)) == 0 or step % ANEW == 0:
                gains = self._gains_anew(share)

    def _is_done(self, share: float | None) -> bool:
        if share is None:
            return False
        need = np.minimum(LEAST_PER_FLOOR, self.room)
        is_covered = self.known > 0 or bool((self.counts >= need).all())
        return is_covered and bool((2.0 * self.offset_u[self.room > 0] <= share * self.width[self.room > 0]).all())

    def _weights(self) -> Array:
        return np.asarray((self.is_wanting / self.width**2)[self.owner])

    def _gains_anew(self, share: float | None) -> Array:
        """Sum over the sums of weight × covariance², for every candidate, without rounding carried along."""
        if share is not None and len(self.picked) >= 3:
            self.is_wanting = 2.0 * self.offset_u > share * self.width
            if not self.is_wanting.any():
                self.is_wanting[:] = True
        covariance = self.posterior.settle()
        return np.asarray(self._weights().astype(covariance.dtype) @ covariance**2, float)

    def _best(self, gains: Array, left: int) -> int:
        """Candidate that lowers the weighted variances most; floors short of readings come first near the end."""
        need = np.maximum(np.minimum(LEAST_PER_FLOOR, self.room) - self.counts, 0)
        is_open = self.is_left
        if self.known == 0 and need.sum() >= left and need.any():
            short = self.counts == self.counts[need > 0].min() if need.sum() > left else np.ones(len(need), bool)
            is_open = is_open & (need > 0)[self.floor] & short[self.floor]
        if not is_open.any():
            return -1
        fall = gains / (np.maximum(self.posterior.variance, 0.0) + self.noise2)
        return int(np.argmax(np.where(is_open, fall, -np.inf)))

    def _add(self, index: int, gains: Array) -> Array:
        """Take the reading, and update the gains: Σ w (T − t l)² = Σ w T² − 2 l Σ w t T + l² Σ w t²."""
        weights = self._weights()
        taken = self.posterior.add(index, self.noise2, weights)
        self.picked.append(index)
        self.is_left[index] = False
        self.counts[self.floor[index]] += 1
        return np.asarray(gains - 2.0 * taken.row * taken.cross + taken.row**2 * float(weights @ taken.sums**2))

    def _note(self) -> None:
        u = self.offset_u
        self.curve.append((self.known + len(self.picked), float(u.mean()), float(u.max())))


def _sums(places: list[FloorPlaces]) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return target places, the weights of the sums over them, and the floor of each sum, `SUMS` for each."""
    targets: Array = np.concatenate([p.pairs.reshape(-1, 2) for p in places])
    one = np.zeros((SUMS, 4))
    one[0, :2] = one[1, 2:] = 0.5
    # The ends alone decide where the web is thinnest and thickest; half weight (tried on plates, see the tests).
    one[2:] = 0.5 * np.eye(4)
    owner = np.repeat(np.arange(len(places), dtype=np.intp), SUMS)
    return targets, np.asarray(np.kron(np.eye(len(places)), one), float), owner


def _width(pocket: Pocket) -> float:
    width = pocket.tolerance.width
    return width if np.isfinite(width) and width > 0 else OPEN_WIDTH_MM


def _thinned(start: Known) -> Known:
    """Every k-th reading with its share of the uncertainty, where there are too many."""
    k = -(-len(start.u) // MOST_KNOWN)
    return start if k <= 1 else Known(start.points[::k], start.u[::k] / np.sqrt(k))


def _finish(part: Part, greedy: _Greedy, chosen: list[int], count: int | None, share: float | None) -> Plan:
    picked = np.array(greedy.picked, np.intp)
    points, floor = greedy.candidates[picked], greedy.floor[picked]
    order = order_by_group(points, floor)
    unreachable = tuple(part.pockets[chosen[k]].id for k in np.flatnonzero(greedy.room == 0))
    is_known = share is not None and greedy._is_done(share)
    u = np.full(len(part.pockets), np.nan)
    u[chosen] = greedy.offset_u
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
    short = int((greedy.counts < np.minimum(LEAST_PER_FLOOR, greedy.room)).sum())
    if short and greedy.known == 0:
        text = f"{short} floors have fewer than {LEAST_PER_FLOOR} readings. Ask for more readings."
        found.append(Finding("few-readings", "plan", "", text, "warning"))
    if count is not None and len(greedy.candidates) < count:
        text = f"{count} readings were asked for, {len(greedy.candidates)} places are there."
        found.append(Finding("few-places", "plan", "", text, "warning"))
    return found
