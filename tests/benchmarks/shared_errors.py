"""How often errors that readings share are found and named, on invented plates bent by released stress.

    python tests/benchmarks/shared_errors.py [--plates 30] [--first 200] [--kinds pocket …]

For every kind: plates on which it was found by its own name, those whose true size exceeds twice the standard
uncertainty of the search, or twice the uncertainty (k = 2) that the finding states, and how many of these were found.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from physics import Plate, random_plate, take_readings

import floorfit
from floorfit.part.model import Part
from floorfit.readings import systematic
from floorfit.readings.observations import Readings

SIZES = ((1200.0, 500.0, 3, 5), (2400.0, 1000.0, 5, 8), (960.0, 480.0, 3, 4), (4000.0, 1000.0, 4, 12))
Spoil = Callable[[Part, Readings, np.random.Generator], tuple[Readings, str, float]]


def _clean(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    return readings, "", 0.0


def _velocity(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    share = float(rng.choice([-0.03, 0.03]))
    return replace(readings, thickness=readings.thickness * (1 + share)), "thickness", share


def _drift(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    size = float(rng.choice([-0.03, 0.03]))
    return replace(readings, thickness=readings.thickness - size * np.linspace(0, 1, len(readings))), "order", size


def _pocket(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    name, size = str(rng.choice([one.id for one in part.pockets])), float(rng.choice([-0.03, 0.03]))
    here = np.array([label == name for label in readings.pocket])
    return replace(readings, thickness=readings.thickness - size * here), name, size


def _row(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    """The Z of a row of floors along X off."""
    middle = np.array([one.polygon.centroid.y for one in part.pockets])
    level, size = float(rng.choice(middle)), float(rng.choice([-0.03, 0.03]))
    names = [one.id for one, y in zip(part.pockets, middle.tolist(), strict=True) if abs(y - level) < 60.0]
    here = np.array([label in names for label in readings.pocket])
    return replace(readings, z=readings.z + size * here), f"row of {names[0]}", size


def _labels(part: Part, readings: Readings, rng: np.random.Generator) -> tuple[Readings, str, float]:
    """Two pockets' labels swapped, positions right."""
    a, b = rng.choice([one.id for one in part.pockets], 2, replace=False).tolist()
    swap = {a: b, b: a}
    return replace(readings, pocket=tuple(swap.get(label, label) for label in readings.pocket)), f"{a} {b}", 0.0


KINDS: dict[str, Spoil] = {
    "clean": _clean, "velocity": _velocity, "drift": _drift, "pocket": _pocket, "row": _row, "labels": _labels,
}  # fmt: skip


class Watched:
    """Stands in the search's place, and keeps what it was given."""

    def __init__(self) -> None:
        self.find = systematic.find_systematic
        self.data: systematic.Sharers | None = None
        self.columns: list[systematic.Cause] = []

    def __call__(
        self,
        data: systematic.Sharers,
        columns: list[systematic.Cause],
        least_mm: float = 0.0,
        first: systematic.Suspect | None = None,
    ) -> object:
        self.data, self.columns = data, list(columns)
        return self.find(data, columns, least_mm, first)

    def u(self, name: str) -> tuple[float, float]:
        """Estimate of one cause alone, and its uncertainty."""
        (one,) = [column for column in self.columns if column.name == name]
        tried = systematic._tried(self.data, [(one, 1)])
        out = systematic._estimate(tried, 0, self.data.weight * self.data.residual, self.data)
        return out.effect, out.u


def plate_of(seed: int) -> Plate:
    length, width, rows, columns = SIZES[seed % len(SIZES)]
    return random_plate(seed, length, width, rows, columns, warp_range=float(0.3 + 0.1 * (seed % 9)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plates", type=int, default=30)
    parser.add_argument("--first", type=int, default=200)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=list(KINDS))
    arguments = parser.parse_args()
    watched = systematic.find_systematic = Watched()
    for kind in arguments.kinds:
        found = other = 0
        asked, met = np.zeros(2, int), np.zeros(2, int)
        for seed in range(arguments.first, arguments.first + arguments.plates):
            plate = plate_of(seed)
            clean = take_readings(plate, seed + 1000, 7, noise=0.010).readings
            readings, name, size = KINDS[kind](plate.part, clean, np.random.default_rng(seed))
            result = floorfit.correct(plate.part, readings, floorfit.Settings(z_u=0.002))
            names = [one.name for one in result.systematic]
            if kind == "labels":
                hit = sum(reason.startswith("wrong-label") for reason in result.observations.reason) >= 10
                hit = hit or "labels" in " ".join(one.code for one in result.findings)
                can = np.array([True, True])
            elif kind == "clean":
                hit, can = not names, np.array([True, True])
            else:
                effect, u = watched.u(name)
                is_slow = kind == "drift" and any(one.code.startswith("slow-change") for one in result.findings)
                hit, can = name in names or is_slow, abs(size) > u * np.array([2, 4])
                print(kind, seed, f"{size:+.3f} {effect:+.4f} u {u:.4f} hit {hit} {names}", flush=True)
            found, asked, met = found + hit, asked + can, met + (hit & can)
            other += any(one != name for one in names)
        of = ", ".join(f"{m} of {n}" for m, n in zip(met, asked, strict=True))
        print(f"{kind}: found {found} of {arguments.plates}; beyond 2 u and 4 u {of}; other {other}", flush=True)


if __name__ == "__main__":
    main()
