"""The plate that surfaces are compared on: bent by the laws of plates, not drawn from a spline."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from physics import Plate, floor_points, random_plate, take_readings

Array = NDArray[np.float64]

BOUNDS = (0.0, 0.0, 4000.0, 1200.0)
NOISE = 0.010


@dataclass(frozen=True)
class Data:
    """Readings to fit and the truth to be judged by, mm."""

    points: Array
    values: Array
    places: Array
    truth: Array


def make_plate(seed: int) -> Plate:
    """4000 × 1200 mm, about 80 floors, warp of 1.5 mm."""
    return random_plate(seed, 4000.0, 1200.0, 5, 14, warp_range=1.5)


def make_data(plate: Plate, count: int, bad: float, seed: int = 5) -> Data:
    """About ``count`` readings on the floors, a share of them bad; judged on a grid over every floor."""
    taken = take_readings(plate, seed, max(3, round(count / len(plate.part.pockets))), noise=NOISE, bad=bad)
    r = taken.readings
    under = np.array([plate.part.pocket(str(label)).underside_z for label in r.pocket])
    values = r.z - r.thickness - under
    kept = np.isfinite(values)
    places = np.vstack([floor_points(pocket, 10) for pocket in plate.part.pockets])
    return Data(np.column_stack([r.x, r.y])[kept], values[kept], places, plate.warp(*places.T))


def scatter(plate: Plate, count: int, seed: int = 5) -> Data:
    """Good readings anywhere on the plate, as many as asked: for questions of size."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(BOUNDS[:2], BOUNDS[2:], (count, 2))
    places = np.vstack([floor_points(pocket, 10) for pocket in plate.part.pockets])
    values = plate.warp(*points.T) + rng.normal(0.0, NOISE, count)
    return Data(points, values, places, plate.warp(*places.T))
