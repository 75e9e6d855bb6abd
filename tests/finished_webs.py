"""An invented job and invented readings of its finished webs: known bias, known movement, fixed seeds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from typing import Any
from unittest.mock import patch

import numpy as np

from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import Readings, readings_from_arrays
from floorfit.record import Record
from floorfit.recording import make_record
from floorfit.run import Settings, correct
from floorfit.verify.misfiled import set_copied_aside
from floorfit.verify.predicted import Prediction
from floorfit.verify.taken import Taken, set_lonely_aside, take

#: Gauge noise of every invented reading, mm.
NOISE = 0.010


def small_part(columns: int = 3, rows: int = 3, unit: str = "mm", **changes: Any) -> Part:
    """An invented plate of 120 mm × 90 mm cells with ribs of 10 mm.

    The warp takes 0.07 mm of a web's tolerance of 0.15 in the steepest pockets: what a test adds decides, not the fit.
    """
    pockets = []
    for k in range(columns * rows):
        x0, y0 = 10 + 130 * (k % columns), 10 + 100 * (k // columns)
        ring = ((x0, y0), (x0 + 120.0, y0), (x0 + 120.0, y0 + 90.0), (x0, y0 + 90.0))
        pockets.append(Pocket(f"P{k + 1}", ring, (), 2.0, 2.0, Tolerance(-0.15, 0.15), finish_stock=0.5))
    width, height = 130.0 * columns + 10, 100.0 * rows + 10
    edge = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    return Part("invented plate", edge, tuple(pockets), unit)  # type: ignore[arg-type]


def warp(x: Any, y: Any) -> Any:
    """The invented warp, mm."""
    return 0.15 * ((np.asarray(x) - 200) / 200) ** 2 - 0.06 * (np.asarray(y) - 155) / 155


def places(part: Part, per_pocket: int, seed: int) -> tuple[Any, Any, Any]:
    """x, y and index of the floor of random places, 10 mm from the walls."""
    generator = np.random.default_rng(seed)
    boxes = np.array([pocket.polygon.bounds for pocket in part.pockets])
    floor = np.repeat(np.arange(len(boxes)), per_pocket)
    low, high = boxes[floor, :2] + 10, boxes[floor, 2:] - 10
    x, y = generator.uniform(low, high).T
    return x, y, floor


def rough_readings(part: Part, per_pocket: int = 6, seed: int = 1) -> Readings:
    """Readings of the roughed webs: nominal web and stock less the warp."""
    x, y, floor = places(part, per_pocket, seed)
    noise = np.random.default_rng(seed + 1000).normal(0.0, NOISE, len(x))
    web = np.array([part.pockets[k].web + part.pockets[k].finish_stock for k in floor])
    return readings_from_arrays(x, y, web - warp(x, y) + noise, z=web)


@lru_cache(maxsize=4)
def small_record(bias: float = 0.0) -> Record:
    """The record of a job on the plate, made once."""
    part = small_part()
    return make_record(correct(part, rough_readings(part), Settings(bias=bias)))


@lru_cache(maxsize=1)
def small_prediction() -> Prediction:
    """What that job predicts, read back once."""
    return Prediction.of(small_record())


def taken(readings: Readings) -> Taken:
    """Readings of that job's webs as `verify` takes them, for what is told of them before any surface is fitted."""
    placed = take(small_prediction(), readings)
    return set_lonely_aside(set_copied_aside(small_prediction(), placed, readings), readings.thickness)


@contextmanager
def unfitted() -> Iterator[None]:
    """Inside, `verify` fits no surface, half of its time: for tests of findings and biases, which hang on none."""
    with patch.object(import_module("floorfit.verify.verify_job"), "fit_field", lambda *_: None):
        yield


def bent(record: Record, number: int, amount: float, lift: float) -> Record:
    """Another job of the same part: the warp times ``amount`` plus ``lift``, the offsets lifted with it."""
    document = record.model_dump()
    document["surface"]["coefficients_mm"] = (amount * np.array(document["surface"]["coefficients_mm"]) + lift).tolist()
    for dish in document["surface"]["dishes"]:
        dish["warp_mm"] *= amount
    for decision in document["decisions"]:
        decision["offset_mm"] += lift
    document.update(job=f"{number:012x}", created=f"2024-01-{1 + number // 24:02d}T{number % 24:02d}:00:00Z")
    return Record.model_validate(document)


def finished_readings(
    record: Record,
    *,
    bias: float = 0.0,
    moved: Callable[[Any, Any], Any] = lambda x, y: 0.0 * x,
    pockets: Sequence[int] | None = None,
    scatter: float = 0.0,
    per_pocket: int = 6,
    seed: int = 7,
) -> Readings:
    """Readings of finished webs: the true warp under the offsets of a job, a bias, a scatter of pockets, a movement."""
    prediction = Prediction.of(record)
    x, y, floor = places(prediction.part, per_pocket, seed)
    generator = np.random.default_rng(seed + 1)
    own = generator.normal(0.0, scatter, len(prediction.part.pockets))[floor]
    noise = generator.normal(0.0, NOISE, len(x))
    offset = np.array([float(record.decisions[k].correction.at(a, b)) for k, a, b in zip(floor, x, y, strict=True)])
    web = 2.0 + offset - warp(x, y) + bias + own + moved(x, y) + noise
    chosen = np.isin(floor, range(len(record.decisions)) if pockets is None else list(pockets))
    return readings_from_arrays(x[chosen], y[chosen], web[chosen])
