"""Name the readings that lie on no floor, or not on the floor that their label names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import Finding
from floorfit.part.model import Part, Pocket
from floorfit.readings.assign import assign_floors
from floorfit.readings.expected import RoughWarp
from floorfit.readings.kinds import reason_of
from floorfit.readings.places import UNLABELLED, Places, lies_in_corner
from floorfit.readings.table import Readings
from floorfit.readings.warp import along_z
from floorfit.units import MM_PER_INCH

__all__ = ["name_misplaced", "whole_file_findings"]

Array = NDArray[np.float64]
Named = tuple[str, str]

#: A place that fits the rough warp to this many scales explains a reading.
EXPLAINS = 5.0
#: Share of rows off their floors from which the whole file is suspect, and the share that another reading of
#: the coordinates must bring right.
SUSPECT_SHARE, CURED_SHARE = 0.5, 0.8


@dataclass(frozen=True)
class _Other:
    """Another way to read the coordinates of the rows: where they would lie then."""

    x: Array
    y: Array
    floor: NDArray[np.intp]


def name_misplaced(
    part: Part, readings: Readings, read: Array, places: Places, rows: Sequence[int], rough: RoughWarp
) -> list[Named]:
    """Name each of the rows given.

    Parameters
    ----------
    part, readings, places
        The nominal part, the readings in its frame, and where they stand.
    read : (n,) ndarray, mm
        Thickness of every row.
    rows : sequence of int
        Rows that lie on no floor, or not where their label says.
    rough : RoughWarp
        From the rows in order; tells whether another place would explain an unlabelled reading.

    Returns
    -------
    list of (str, str)
        Code and reason for each of ``rows``.
    """
    index = np.asarray(rows, np.intp)
    x, y = readings.x[index], readings.y[index]
    if len(index) == 0:
        return []
    others = {
        "swapped": _other(part, y, x),
        "inches": _other(part, x * MM_PER_INCH, y * MM_PER_INCH),
        "millimetres": _other(part, x / MM_PER_INCH, y / MM_PER_INCH),
    }
    namer = _Namer(part, readings, read, places, rough)
    return [namer.name(int(row), {key: _one(o, k) for key, o in others.items()}) for k, row in enumerate(index)]


def _other(part: Part, x: Array, y: Array) -> _Other:
    return _Other(x, y, np.asarray(assign_floors(part, x, y), np.intp))


def _one(other: _Other, k: int) -> tuple[float, float, int]:
    return float(other.x[k]), float(other.y[k]), int(other.floor[k])


@dataclass(frozen=True)
class _Namer:
    part: Part
    readings: Readings
    read: Array
    places: Places
    rough: RoughWarp

    def name(self, row: int, others: dict[str, tuple[float, float, int]]) -> Named:
        """Return code and reason of one row."""
        label, floor = int(self.places.label[row]), int(self.places.floor[row])
        if label == UNLABELLED:
            fits = {key: self._explains(row, other) for key, other in others.items()}
        else:
            fits = {key: other[2] == label for key, other in others.items()}
        if label == UNLABELLED and not self._is_outside(row) and self._fits_nearby(row):
            return self._off_floor(row)
        for key, other in others.items():
            if fits[key]:
                return self._read_otherwise(row, key, other)
        return self._wrong_label(row) if floor >= 0 else self._off_floor(row)

    def _read_otherwise(self, row: int, key: str, other: tuple[float, float, int]) -> Named:
        x, y = float(self.readings.x[row]), float(self.readings.y[row])
        pocket = f"pocket {self.part.pockets[other[2]].id}"
        if key == "swapped":
            return "swapped", reason_of("swapped", x=x, y=y, other=pocket)
        hint = f"read as {key} it lies on {pocket}, at ({other[0]:.3f}, {other[1]:.3f}) mm"
        return "inch", reason_of("inch", what=f"place ({x:.4g}, {y:.4g}) mm", hint=hint)

    def _wrong_label(self, row: int) -> Named:
        label = str(self.readings.pocket[row]).strip()
        known = "" if self.places.label[row] >= 0 else " (no pocket of the part is called so)"
        other = f"pocket {self.part.pockets[self.places.floor[row]].id}"
        return "wrong-label", reason_of("wrong-label", label=f"{label}{known}", other=other)

    def _off_floor(self, row: int) -> Named:
        x, y = float(self.readings.x[row]), float(self.readings.y[row])
        if any(lies_in_corner(pocket, x, y) for pocket in self._near(x, y)):
            return "on-fillet", reason_of("on-fillet")
        return "off-floor", reason_of("off-floor")

    def _near(self, x: float, y: float) -> list[Pocket]:
        import shapely

        point = shapely.Point(x, y)
        return [p for p in self.part.pockets if p.corner_radius > 0 and p.polygon.distance(point) < p.corner_radius]

    def _is_outside(self, row: int) -> bool:
        x_min, y_min, x_max, y_max = self.part.bounds
        x, y = self.readings.x[row], self.readings.y[row]
        return not (x_min <= x <= x_max and y_min <= y <= y_max)

    def _explains(self, row: int, other: tuple[float, float, int]) -> bool:
        """Whether the thickness, in mm or in inches, fits the rough warp at another place."""
        x, y, floor = other
        if floor < 0 or not np.isfinite(self.rough.scale):
            return False
        miss = min(abs(self._miss(row, x, y, floor, factor)) for factor in (1.0, MM_PER_INCH, 1.0 / MM_PER_INCH))
        return miss <= EXPLAINS * self.rough.scale

    def _fits_nearby(self, row: int) -> bool:
        """Whether the thickness fits the rough warp on the floor nearest to the place as given."""
        import shapely

        x, y = float(self.readings.x[row]), float(self.readings.y[row])
        distances = [pocket.polygon.distance(shapely.Point(x, y)) for pocket in self.part.pockets]
        if not np.isfinite(self.rough.scale) or not distances:
            return False
        return abs(self._miss(row, x, y, int(np.argmin(distances)), 1.0)) <= EXPLAINS * self.rough.scale

    def _miss(self, row: int, x: float, y: float, floor: int, factor: float) -> float:
        pocket = self.part.pockets[floor]
        z = float(self.readings.z[row])
        z = z if np.isfinite(z) else float(pocket.rough_z(x, y))
        thickness = float(along_z(self.read[row] * factor, pocket.slope))
        return z - thickness - pocket.underside_z - float(self.rough.local([x], [y])[0])


def whole_file_findings(part: Part, readings: Readings, places: Places) -> list[Finding]:
    """Warn where most rows lie off their floors: the whole file may be in another unit, order or frame."""
    n = len(readings)
    bad = ~places.is_consistent
    if n < 3 or bad.mean() < SUSPECT_SHARE:
        return []
    x, y, label = readings.x, readings.y, places.label
    ways = {
        "X and Y are exchanged": (y, x),
        "the coordinates are inches in a column of millimetres": (x * MM_PER_INCH, y * MM_PER_INCH),
        "the coordinates are millimetres in a column of inches": (x / MM_PER_INCH, y / MM_PER_INCH),
    }
    hints = [words for words, (u, v) in ways.items() if _share(part, u, v, label) >= CURED_SHARE]
    hint = f"It looks as if {hints[0]}." if hints else "The coordinates may be the machine's: give --datums."
    text = f"{int(bad.sum())} of {n} readings do not lie on the floor they belong to. {hint}"
    return [Finding("off-their-floors", readings.source, "", text, "warning")]


def _share(part: Part, x: Array, y: Array, label: NDArray[np.intp]) -> float:
    floor = np.asarray(assign_floors(part, x, y), np.intp)
    return float(((floor >= 0) & ((label == UNLABELLED) | (label == floor))).mean())
