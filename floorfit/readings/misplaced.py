"""Name the readings that lie on no floor, or not on the floor that their label names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding, InputError
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.observations import UNLABELLED, Observations
from floorfit.readings.rough_warp import RoughWarp, fit_rough_warp
from floorfit.readings.sites import lies_in_corner
from floorfit.readings.warp import warp_said
from floorfit.units import MM_PER_INCH

__all__ = ["is_lost", "name_misplaced", "refuse_slipped", "whole_file_findings"]

Named = tuple[str, str]

#: A place that fits the rough warp to this many scales explains a reading.
EXPLAINS = 5.0
#: Share of the labelled rows that lie off their floors from which the file is suspect; share of all rows from which
#: nobody knows where any was taken; and the share that another reading of the coordinates must bring right. Own choice.
SUSPECT_SHARE, LOST_SHARE, CURED_SHARE = 0.2, 0.5, 0.8
#: Reasons that a place gives, and the share of all rows with one from which all places are in doubt. Own choice: of
#: places shifted by 10 mm a tenth to a fifth on floors of 200 mm.
OFF_PLACE, OFF_SHARE, LEAST_OFF = ("near-wall", "on-fillet", "off-floor"), 0.08, 5
#: Least readings that can tell of a column that slipped, the share of their scatter that is left then, and how many
#: standard errors they gain: 290 honest plates (tests/benchmarks/conditions.py) gain 2.8 at most. Own choice.
LEAST_SLIPPED, SLIPPED, SURE = 20, 0.5, 3.5
#: Most rows that are asked, the last of the file, and what counts of one gross error, mm.
MOST_ASKED, GROSS_MM = 20_000, 0.5


@dataclass(frozen=True)
class _Other:
    """Another way to read the coordinates of the rows: where they would lie then, and whether that explains them."""

    x: Array
    y: Array
    floor: Rows
    fits: Flags


def _otherwise(x: Array, y: Array) -> dict[str, tuple[Array, Array]]:
    """Other places that coordinates may mean, by what they were taken for."""
    return {
        "swapped": (y, x),
        "inches": (x * MM_PER_INCH, y * MM_PER_INCH),
        "millimetres": (x / MM_PER_INCH, y / MM_PER_INCH),
    }


def name_misplaced(part: Part, seen: Observations, rows: Sequence[int], rough: RoughWarp) -> list[Named]:
    """Name each of the rows given.

    Parameters
    ----------
    part : Part
    seen : Observations
        The readings in its frame, and where they stand.
    rows : sequence of int
        Rows that lie on no floor, or not where their label says.
    rough : RoughWarp
        From the rows in order; tells whether another place would explain an unlabelled reading.

    Returns
    -------
    list of (str, str)
        Code and reason for each of ``rows``.
    """
    return _Namer(part, seen, np.asarray(rows, np.intp), rough).names() if len(rows) else []


@dataclass(frozen=True)
class _Namer:
    part: Part
    seen: Observations
    rows: Rows
    rough: RoughWarp

    def names(self) -> list[Named]:
        """Return code and reason of every row."""
        x, y = self.seen.readings.x[self.rows], self.seen.readings.y[self.rows]
        others = {way: self._other(*at) for way, at in _otherwise(x, y).items()}
        is_at_home = self._fits_nearby(x, y)
        is_corner = lies_in_corner(self.part, x, y)
        return [self._name(k, others, bool(is_at_home[k]), bool(is_corner[k])) for k in range(len(self.rows))]

    def _name(self, k: int, others: dict[str, _Other], is_at_home: bool, is_corner: bool) -> Named:
        if not is_at_home:
            for key, other in others.items():
                if other.fits[k]:
                    return self._read_otherwise(k, key, other)
        if self.seen.floor[self.rows[k]] >= 0:
            return self._wrong_label(k)
        code = "on-fillet" if is_corner else "off-floor"
        return code, reason_of(code)

    def _other(self, x: Array, y: Array) -> _Other:
        """Read the coordinates so; a labelled row fits where its label is met, another where its thickness is."""
        floor = assign_floors(self.part, x, y)
        label = self.seen.label[self.rows]
        factors = (1.0, MM_PER_INCH, 1.0 / MM_PER_INCH)
        is_explained = self._miss(x, y, floor, factors) <= EXPLAINS * self._scale
        return _Other(x, y, floor, np.where(label == UNLABELLED, is_explained, (floor >= 0) & (floor == label)))

    @property
    def _scale(self) -> float:
        """Scale of the rough warp; 0, so that nothing is explained, where there is none."""
        return self.rough.scale if np.isfinite(self.rough.scale) else 0.0

    def _miss(self, x: Array, y: Array, floor: Rows, factors: Sequence[float]) -> Array:
        """Smallest distance of the thickness, times one of the factors, from the rough warp; NaN off the floors."""
        out, known = np.full(len(x), np.nan), np.flatnonzero(floor >= 0)
        at, rows, readings = (x[known], y[known]), self.rows[known], self.seen.readings
        z, thickness = readings.z[rows], readings.thickness[rows]
        said = [warp_said(self.part, floor[known], *at, z, thickness * factor) for factor in factors]
        out[known] = np.abs(said - self.rough.local(*at)).min(axis=0)
        return out

    def _fits_nearby(self, x: Array, y: Array) -> Flags:
        """Whether an unlabelled place lies in the part and its thickness fits on the floor nearest to it."""
        import shapely

        x_min, y_min, x_max, y_max = self.part.bounds
        is_inside = (x >= x_min) & (x <= x_max) & (y >= y_min) & (y <= y_max)
        rows = np.flatnonzero(is_inside & (self.seen.label[self.rows] == UNLABELLED))
        points, floor = shapely.points(x[rows], y[rows]), np.full(len(x), -1, np.intp)
        floor[rows] = np.argmin([shapely.distance(pocket.polygon, points) for pocket in self.part.pockets], axis=0)
        return np.asarray(self._miss(x, y, floor, (1.0,)) <= EXPLAINS * self._scale)

    def _read_otherwise(self, k: int, key: str, other: _Other) -> Named:
        x, y = float(self.seen.readings.x[self.rows[k]]), float(self.seen.readings.y[self.rows[k]])
        pocket = f"pocket {self.part.pockets[other.floor[k]].id}"
        if key == "swapped":
            return "swapped", reason_of("swapped", x=x, y=y, other=pocket)
        hint = f"read as {key} it lies on {pocket}, at ({other.x[k]:.3f}, {other.y[k]:.3f}) mm"
        return "inch", reason_of("inch", what=f"place ({x:.4g}, {y:.4g}) mm", hint=hint)

    def _wrong_label(self, k: int) -> Named:
        row = self.rows[k]
        label = f'"{str(self.seen.readings.pocket[row]).strip()}"'
        if self.seen.label[row] < 0:
            label = f"{label} (no pocket of the part is called so)"
        other = f"pocket {self.part.pockets[self.seen.floor[row]].id}"
        return "wrong-label", reason_of("wrong-label", label=label, other=other)


def is_lost(seen: Observations) -> bool:
    """Whether most rows lie off their floors: those that do lie on one may do so by luck.

    Parameters
    ----------
    seen : Observations
    """
    return len(seen) >= 3 and bool((~seen.is_consistent).mean() >= LOST_SHARE)


def whole_file_findings(part: Part, seen: Observations) -> tuple[Finding, ...]:
    """Warn where many rows lie off their floors: the whole file may be in another unit, order or frame.

    Parameters
    ----------
    part : Part
    seen : Observations
    """
    words = {
        "swapped": "X and Y are exchanged",
        "inches": "the coordinates are inches in a column of millimetres",
        "millimetres": "the coordinates are millimetres in a column of inches",
    }
    n, readings, label = len(seen), seen.readings, seen.label
    bad, is_labelled = ~seen.is_consistent, label != UNLABELLED
    if not is_lost(seen) and (bad & is_labelled).sum() < max(3.0, SUSPECT_SHARE * is_labelled.sum()):
        return _doubtful_places(seen)
    hint = "The coordinates may be shifted, or the labels another numbering's. Check two places by hand."
    if is_lost(seen):
        hint = (
            "They may be the machine's coordinates (`correct --datums`, with points of the same set-up), or another "
            "part's."
        )
        ways = _otherwise(readings.x, readings.y).items()
        cured = (words[way] for way, at in ways if _share(part, *at, label) >= CURED_SHARE)
        hint = next((f"It looks as if {what}." for what in cured), hint)
    text = f"{int(bad.sum())} of {n} readings do not lie on the floor they belong to. {hint}"
    return (Finding("off-their-floors", readings.source, "", text, "warning"),)


def _doubtful_places(seen: Observations) -> tuple[Finding, ...]:
    """Warn where more readings than a hand misses stand at walls, in corners or on ribs."""
    off = sum(reason.partition(":")[0] in OFF_PLACE for reason in seen.reason)
    if off < max(LEAST_OFF, OFF_SHARE * len(seen)):
        return ()
    text = (
        f"{off} of {len(seen)} readings stand at a wall or on a rib: all places may be off by some millimetres. "
        "Check the zero of X and Y, and the way from spindle to probe."
    )
    return (Finding("places-off", seen.readings.source, "", text, "warning"),)


def refuse_slipped(seen: Observations) -> None:
    """Refuse a file in which a column stands a line above or below its places; asked where readings scatter.

    Parameters
    ----------
    seen : Observations
        In the order of the file.

    Raises
    ------
    InputError
        If the thicknesses, the Z or both, from some line on, scatter less than half as much a line further on.
    """
    rows = np.flatnonzero(np.isfinite(seen.warp) & seen.is_consistent)[-MOST_ASKED:]
    own, thickness = _scatter(seen, rows, seen.warp), seen.readings.thickness
    columns = [("thicknesses", "thickness", 1, 0)]
    if seen.is_z_measured[rows].all():
        columns += [("thicknesses and Z", "thickness, z", 1, 1), ("Z", "z", 0, 1)]
    found = []
    for lines, way in ((1, "up"), (-1, "down")):
        by_thickness, by_z = _further(thickness, lines) - thickness, _further(seen.z, lines) - seen.z
        for names, column, is_thickness, is_z in columns:
            moved = seen.warp + is_z * by_z - is_thickness * by_thickness * seen.factor
            kept = np.isfinite(moved[rows])
            slip = _steadier(own[kept], _scatter(seen, rows[kept], moved))
            if slip is not None:
                start, times, gain = slip
                text = (
                    f"from line {seen.readings.line[rows[kept][start]]} on, moved {way} by a line against the places, "
                    f"the {names} scatter {times:.1f} times less: a column has slipped. Correct the file."
                )
                found.append((gain, Finding("slipped", seen.readings.source, f"column {column}", text)))
    if found:
        raise InputError([max(found, key=lambda one: one[0])[1]])


def _further(column: Array, lines: int) -> Array:
    """What stands so many lines below each row; NaN beyond the ends."""
    out = np.roll(column, -lines)
    out[slice(-lines, None) if lines > 0 else slice(None, -lines)] = np.nan
    return out


def _scatter(seen: Observations, rows: Rows, warp: Array) -> Array:
    """How far each row lies from what its neighbours say, mm; one gross error counts as `GROSS_MM`."""
    x, y, w = seen.readings.x[rows], seen.readings.y[rows], warp[rows]
    return np.minimum(np.abs(w - fit_rough_warp(x, y, w).local(x, y)), GROSS_MM)


def _steadier(own: Array, moved: Array) -> tuple[int, float, float] | None:
    """From which row on values scatter less a line further on, by how many times and, in all, by how much (mm).

    That of the run of rows that gains most, where it gains surely: its mean gain beside the standard error of no gain.
    """
    gains = np.concatenate([[0.0], np.cumsum(own - moved)])
    end = int(np.argmax(gains - np.minimum.accumulate(gains)))
    start = int(np.argmin(gains[: end + 1]))
    before, after = own[start:end], moved[start:end]
    gain, error = float((before - after).sum()), float(np.sqrt(((before - after) ** 2).sum()))
    if end - start < LEAST_SLIPPED or gain < SURE * error or after.sum() > SLIPPED * before.sum():
        return None
    return start, float(before.sum() / max(after.sum(), 1e-9)), gain


def _share(part: Part, x: Array, y: Array, label: Rows) -> float:
    floor = assign_floors(part, x, y)
    return float(((floor >= 0) & ((label == UNLABELLED) | (label == floor))).mean())
