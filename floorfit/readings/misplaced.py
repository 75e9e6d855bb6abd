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
from floorfit.readings.warp import nominal_levels, slope_factors
from floorfit.units import MM_PER_INCH

__all__ = ["is_lost", "name_misplaced", "refuse_slipped", "whole_file_findings"]

Named = tuple[str, str]

#: A place that fits the rough warp to this many scales explains a reading.
EXPLAINS = 5.0
#: Share of the labelled rows that lie off their floors from which the file is suspect; share of all rows from which
#: nobody knows where any was taken; and the share that another reading of the coordinates must bring right. Own choice.
SUSPECT_SHARE, LOST_SHARE, CURED_SHARE = 0.2, 0.5, 0.8
#: Least readings that can tell of a column that slipped, and the share of their scatter that is left then. Own choice.
LEAST_SLIPPED, SLIPPED = 20, 0.5


@dataclass(frozen=True)
class _Other:
    """Another way to read the coordinates of the rows: where they would lie then, and whether that explains them."""

    x: Array
    y: Array
    floor: Rows
    fits: Flags


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
    if len(rows) == 0:
        return []
    namer = _Namer(part, seen, np.asarray(rows, np.intp), rough)
    return namer.names()


@dataclass(frozen=True)
class _Namer:
    part: Part
    seen: Observations
    rows: Rows
    rough: RoughWarp

    def names(self) -> list[Named]:
        """Return code and reason of every row."""
        x, y = self.seen.readings.x[self.rows], self.seen.readings.y[self.rows]
        others = {
            "swapped": self._other(y, x),
            "inches": self._other(x * MM_PER_INCH, y * MM_PER_INCH),
            "millimetres": self._other(x / MM_PER_INCH, y / MM_PER_INCH),
        }
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
        is_explained = (floor >= 0) & (self._miss(x, y, floor, factors) <= EXPLAINS * self._scale)
        return _Other(x, y, floor, np.where(label == UNLABELLED, is_explained, (floor >= 0) & (floor == label)))

    @property
    def _scale(self) -> float:
        """Scale of the rough warp; 0, so that nothing is explained, where there is none."""
        return self.rough.scale if np.isfinite(self.rough.scale) else 0.0

    def _miss(self, x: Array, y: Array, floor: Rows, factors: Sequence[float]) -> Array:
        """Smallest distance of the thickness, times one of the factors, from the rough warp; inf off the floors."""
        out = np.full(len(x), np.inf)
        known = np.flatnonzero(floor >= 0)
        if len(known) == 0:
            return out
        rough, underside = nominal_levels(self.part, x[known], y[known], floor[known])
        z = self.seen.readings.z[self.rows[known]]
        z = np.where(np.isfinite(z), z, rough)
        thickness = self.seen.readings.thickness[self.rows[known]] * slope_factors(
            self.part, floor[known], x[known], y[known]
        )
        expected = z - underside - self.rough.local(x[known], y[known])
        out[known] = np.min([np.abs(thickness * factor - expected) for factor in factors], axis=0)
        return out

    def _fits_nearby(self, x: Array, y: Array) -> Flags:
        """Whether an unlabelled place lies in the part and its thickness fits on the floor nearest to it."""
        import shapely

        x_min, y_min, x_max, y_max = self.part.bounds
        is_inside = (x >= x_min) & (x <= x_max) & (y >= y_min) & (y <= y_max)
        rows = np.flatnonzero(is_inside & (self.seen.label[self.rows] == UNLABELLED))
        out = np.zeros(len(x), bool)
        if len(rows) == 0:
            return out
        points = shapely.points(x[rows], y[rows])
        distances = np.stack([shapely.distance(pocket.polygon, points) for pocket in self.part.pockets])
        floor = np.full(len(x), -1, np.intp)
        floor[rows] = distances.argmin(axis=0)
        out[rows] = self._miss(x, y, floor, (1.0,))[rows] <= EXPLAINS * self._scale
        return out

    def _read_otherwise(self, k: int, key: str, other: _Other) -> Named:
        x, y = self._place(k)
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

    def _place(self, k: int) -> tuple[float, float]:
        return float(self.seen.readings.x[self.rows[k]]), float(self.seen.readings.y[self.rows[k]])


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
    n, readings, label = len(seen), seen.readings, seen.label
    bad = ~seen.is_consistent
    if not is_lost(seen) and (bad & (label != UNLABELLED)).sum() < max(
        3.0, SUSPECT_SHARE * (label != UNLABELLED).sum()
    ):
        return ()
    x, y = readings.x, readings.y
    ways = {
        "X and Y are exchanged": (y, x),
        "the coordinates are inches in a column of millimetres": (x * MM_PER_INCH, y * MM_PER_INCH),
        "the coordinates are millimetres in a column of inches": (x / MM_PER_INCH, y / MM_PER_INCH),
    }
    hints = [words for words, (u, v) in ways.items() if _share(part, u, v, label) >= CURED_SHARE]
    hint = (
        f"It looks as if {hints[0]}."
        if hints
        else (
            "They may be the machine's coordinates (`correct --datums`, with points of the same set-up), or another "
            "part's."
        )
    )
    if not is_lost(seen):
        hint = "The coordinates may be shifted, or the labels another numbering's. Check two places by hand."
    text = f"{int(bad.sum())} of {n} readings do not lie on the floor they belong to. {hint}"
    return (Finding("off-their-floors", readings.source, "", text, "warning"),)


def refuse_slipped(seen: Observations) -> None:
    """Refuse a file whose thicknesses stand a line above or below their places; asked where readings scatter.

    Parameters
    ----------
    seen : Observations
        In the order of the file.

    Raises
    ------
    InputError
        If the thicknesses, or these and the Z, scatter less than half as much about the rough warp a line further on.
    """
    rows = np.flatnonzero(np.isfinite(seen.warp) & seen.is_consistent)
    if len(rows) < LEAST_SLIPPED:
        return
    x, y, own = seen.readings.x[rows], seen.readings.y[rows], seen.warp[rows]
    read = seen.readings.thickness[rows] * seen.factor[rows]
    scale = fit_rough_warp(x, y, own).scale
    for lines, way in ((-1, "up"), (1, "down")):
        for names, moved in (
            ("thicknesses", own + read - np.roll(read, lines)),
            ("thicknesses and Z", np.roll(own, lines)),
        ):
            other = fit_rough_warp(x, y, moved).scale
            if other < SLIPPED * scale:
                text = (
                    f"moved {way} by a line against the places, the {names} scatter {scale / other:.1f} times less: a "
                    "column has slipped. Correct the file."
                )
                raise InputError([Finding("slipped", seen.readings.source, "column thickness", text)])


def _share(part: Part, x: Array, y: Array, label: Rows) -> float:
    floor = assign_floors(part, x, y)
    return float(((floor >= 0) & ((label == UNLABELLED) | (label == floor))).mean())
