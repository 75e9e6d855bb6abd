"""How many readings of finished webs lie in the interval that was predicted for them, where nothing went wrong.

    python tests/benchmarks/finished.py [--plates 8] [--first 600] [--per-floor 7]

Invented plates bent by released stress; every floor is cut with its offset, and each web is then read at other places
with the gauge's noise and no bias. A 95 % interval holds 95 % (JCGM 100:2008, G.1.3).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from physics import Plate, take_readings
from shared_errors import plate_of

import floorfit
from floorfit.readings.observations import Readings, readings_from_arrays

NOISE = 0.010


def finished(plate: Plate, result: floorfit.Result, seed: int) -> Readings:
    """Readings of the finished webs: nominal web plus offset less the true warp, along the floor's normal."""
    at = take_readings(plate, seed + 5000, 6, noise=NOISE).readings
    index = {pocket.id: k for k, pocket in enumerate(plate.part.pockets)}
    warp, noise = plate.warp(at.x, at.y), np.random.default_rng(seed).normal(0.0, NOISE, len(at))
    read = np.full(len(at), np.nan)
    for row, label in enumerate(at.pocket):
        pocket, decision = plate.part.pockets[index[str(label)]], result.decisions[index[str(label)]]
        if decision.action != "hold":
            x, y = float(at.x[row]), float(at.y[row])
            web = float(pocket.nominal_web(x, y)) + float(decision.correction.at(x, y)) - float(warp[row])
            read[row] = web / np.sqrt(1 + pocket.slope[0] ** 2 + pocket.slope[1] ** 2) + noise[row]
    return readings_from_arrays(at.x, at.y, read, pocket=list(at.pocket))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plates", type=int, default=8)
    parser.add_argument("--first", type=int, default=600)
    parser.add_argument("--per-floor", type=int, default=7)
    arguments = parser.parse_args()
    inside = total = 0
    for seed in range(arguments.first, arguments.first + arguments.plates):
        plate = plate_of(seed)
        taken = take_readings(plate, seed + 1000, arguments.per_floor, noise=NOISE).readings
        result = floorfit.correct(plate.part, taken, floorfit.Settings(z_u=0.002))
        found = floorfit.verify(result.record(), finished(plate, result, seed)).intervals
        inside, total = inside + found.inside, total + found.total
        print(f"plate {seed}: {found.inside} of {found.total} inside", flush=True)
    print(f"{arguments.per_floor} a floor: {inside / total:.3f} of {total} readings lie in their prediction")


if __name__ == "__main__":
    main()
