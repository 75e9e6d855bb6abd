"""Invented ultrasonic readings of an invented plate, with known noise and known faults.

Lengths in mm; w > 0 where the plate stands high; a reading gives w = z − t − underside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from plate_physics import Array
from random_plates import Plate

from floorfit.part.model import Part, Pocket
from floorfit.readings.observations import Readings, readings_from_arrays

#: Kinds of bad reading: a gross error, an echo counted twice, couplant film, no reading, another row's value.
FAULTS = ("gross", "double", "couplant", "blank", "row")


@dataclass(frozen=True)
class Disturbance:
    """Errors that neighbours in the path share.

    Parameters
    ----------
    drift : float, mm
        Of the thickness, from the first reading to the last.
    step : float, mm
        Of the thickness, at a reading of the middle eight tenths.
    right : float or None
        Where in a drift or step the gauge is right, 0 at its start to 1 at its end: drawn where none is given.
    warming : float
        Share of the path over which the drift dies away, to 1/e (Newton's law of cooling); 0: it is even.
    correlated : float, mm
        Standard deviation of a slow change of the thickness, correlated by e^(−k/30) over k readings.
    z_wave : float, mm
        Amplitude of a wave along X of 700 mm in the measured Z, as a guide way has.
    """

    drift: float = 0.0
    step: float = 0.0
    right: float | None = 0.5
    warming: float = 0.0
    correlated: float = 0.0
    z_wave: float = 0.0

    def thickness(self, count: int, rng: np.random.Generator) -> Array:
        """Error of each thickness in path order, mm."""
        steps = rng.normal(0.0, self.correlated, count)
        keep = np.exp(-1 / PATH_READINGS)
        slow = np.empty(count)
        slow[0] = steps[0]
        for k in range(1, count):
            slow[k] = keep * slow[k - 1] + np.sqrt(1 - keep**2) * steps[k]
        share = np.linspace(0.0, 1.0, count)
        right = float(rng.uniform()) if self.right is None else self.right
        jump = self.step * ((share >= rng.uniform(0.1, 0.9)) - right) if self.step else 0.0
        return slow + self.drift * (self._path(share) - right) + jump

    def _path(self, share: Array) -> Array:
        """Drift so far, of the whole: 0 to 1."""
        if not self.warming:
            return share
        return np.asarray((1 - np.exp(-share / self.warming)) / (1 - np.exp(-1 / self.warming)))

    def z(self, x: Array) -> Array:
        """Error of each measured Z, mm."""
        return np.asarray(self.z_wave * np.sin(2 * np.pi * x / Z_WAVE_MM))


#: Readings over which a slow change is correlated, and length of a wave in the machine's Z (invented).
PATH_READINGS, Z_WAVE_MM = 30.0, 700.0


@dataclass(frozen=True)
class Taken:
    """Readings and what is true of them.

    Parameters
    ----------
    readings : Readings
    fault : (n,) ndarray of str
        ``""`` for a good reading, else one of `FAULTS`.
    warp : (n,) ndarray, mm
        True warp at each place.
    """

    readings: Readings
    fault: NDArray[np.str_]
    warp: Array


def take_readings(
    plate: Plate,
    seed: int,
    per_pocket: int = 7,
    *,
    noise: float = 0.010,
    bad: float = 0.0,
    measured_z: bool = True,
    resolution: float = 0.001,
    margin: float = 8.0,
    disturbance: Disturbance | None = None,
) -> Taken:
    """Take ultrasonic readings of the roughed webs.

    With ``measured_z`` the stress let go after roughing: plate and floor moved together, the web is what roughing
    left (nominal + stock, within 0.005 mm) and the floor's measured Z carries the warp. Without, the floor was cut
    true on a plate already warped: it lies at its programmed Z and the thickness carries the warp.

    Parameters
    ----------
    plate : Plate
    seed : int
    per_pocket : int
        Places a floor, spread over it, no nearer to a wall than ``margin``.
    noise : float, mm
        Standard deviation of a good thickness; a measured Z has 0.002 mm.
    bad : float
        Share of bad readings, 0 to 1.
    measured_z : bool
    resolution : float, mm
        Last digit of the gauge.
    margin : float, mm
    disturbance : Disturbance, optional
        Errors that neighbours in the path share; none if left out.
    """
    rng = np.random.default_rng(seed)
    places = [spread_points(pocket, per_pocket, rng, margin) for pocket in plate.part.pockets]
    labels = np.repeat(np.arange(len(places)), [len(p) for p in places])
    x, y = np.round(np.concatenate(places), 1).T
    warp = plate.warp(x, y)
    cut = rng.normal(0.0, 0.005 / 3, len(x)) if measured_z else np.zeros(len(x))
    rough = _by_floor(plate.part, labels, x, y, "rough_z") + cut
    under = _by_floor(plate.part, labels, x, y, "underside_at")
    web = rough - under - (0.0 if measured_z else warp)
    # A gauge on a curved floor stands along its normal; the plane floors' slopes are too small to tell (0.0001 mm).
    web /= np.where(
        [bool(plate.part.pockets[k].floor) for k in labels], _by_floor(plate.part, labels, x, y, "steepness_at"), 1.0
    )
    thickness = web + rng.normal(0.0, noise, len(x))
    fault = _draw_faults(rng, len(x), bad)
    thickness = np.round(_spoil(thickness, fault, labels, rng) / resolution) * resolution
    z = np.round(rough + warp + rng.normal(0.0, 0.002, len(x)), 4) if measured_z else None
    if disturbance is not None:
        thickness = thickness + disturbance.thickness(len(x), rng)
        z = None if z is None else z + disturbance.z(x)
    names = [plate.part.pockets[k].id for k in labels]
    return Taken(readings_from_arrays(x, y, thickness, pocket=names, z=z, unit=plate.part.units), fault, warp)


def _by_floor(part: Part, labels: NDArray[np.intp], x: Array, y: Array, method: str) -> Array:
    values = np.empty(len(x))
    for k, pocket in enumerate(part.pockets):
        rows = labels == k
        values[rows] = getattr(pocket, method)(x[rows], y[rows])
    return values


def _draw_faults(rng: np.random.Generator, n: int, share: float) -> NDArray[np.str_]:
    fault = np.full(n, "", dtype="<U8")
    rows = rng.choice(n, size=round(share * n), replace=False)
    fault[rows] = rng.choice(FAULTS, size=len(rows), p=[0.35, 0.15, 0.2, 0.15, 0.15])
    return fault


def _spoil(thickness: Array, fault: NDArray[np.str_], labels: NDArray[np.intp], rng: np.random.Generator) -> Array:
    """Apply the faults; a couplant film of 0.05 mm glycerin reads 0.165 mm too thick (velocities 6.35 and 1.92)."""
    spoilt = thickness.copy()
    gross = rng.choice([-1.0, 1.0], len(spoilt)) * rng.uniform(0.08, 0.6, len(spoilt))
    other = rng.permutation(len(spoilt))
    spoilt[fault == "gross"] += gross[fault == "gross"]
    spoilt[fault == "double"] *= 2.0
    spoilt[fault == "couplant"] += 0.05 * 6.35 / 1.92
    spoilt[fault == "row"] = thickness[other][fault == "row"]
    spoilt[fault == "blank"] = np.nan
    return spoilt


def spread_points(pocket: Pocket, count: int, rng: np.random.Generator, margin: float) -> Array:
    """Random places on a floor, each the farthest of many candidates from those before it, (count, 2), mm."""
    from shapely import contains_xy

    area = pocket.polygon.buffer(-margin)
    area = pocket.polygon if area.is_empty else area
    x0, y0, x1, y1 = area.bounds
    pool = np.empty((0, 2))
    while len(pool) < 12 * count:
        draw = rng.uniform((x0, y0), (x1, y1), (20 * count, 2))
        pool = np.vstack([pool, draw[contains_xy(area, *draw.T)]])
    chosen = [0]
    nearest = np.linalg.norm(pool - pool[0], axis=1)
    while len(chosen) < count:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.linalg.norm(pool - pool[chosen[-1]], axis=1))
    return pool[chosen]
