"""Z offsets for pocket floors, from ultrasonic web readings of a plate that no longer lies flat.

Every command is one call here: ``correct(part, readings)`` returns a frozen `Result`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from floorfit.job import Result, Settings, correct
    from floorfit.part import Part, Pocket, Tolerance, read_part, write_part
    from floorfit.part.cad import Extraction, ExtractSettings
    from floorfit.part.cad import extract_pockets as extract
    from floorfit.readings import Readings, read_readings, readings_from_arrays
    from floorfit.readings.blocks import blocks_from_arrays, read_blocks
    from floorfit.readings.gauge import Gauge, calibrate
    from floorfit.readings.gauge_file import read_gauge, write_gauge
    from floorfit.readings.plan import Plan, plan
    from floorfit.verify import read_series, verify_job

__all__ = [
    "ExtractSettings",
    "Extraction",
    "Gauge",
    "Part",
    "Plan",
    "Pocket",
    "Readings",
    "Result",
    "Settings",
    "Tolerance",
    "blocks_from_arrays",
    "calibrate",
    "correct",
    "extract",
    "plan",
    "read_blocks",
    "read_gauge",
    "read_part",
    "read_readings",
    "read_series",
    "readings_from_arrays",
    "verify_job",
    "write_gauge",
    "write_part",
]

#: Where each public name lives: module, and its name there.
_HOME = {
    "ExtractSettings": ("part.cad", "ExtractSettings"),
    "Extraction": ("part.cad", "Extraction"),
    "Gauge": ("readings.gauge", "Gauge"),
    "Part": ("part", "Part"),
    "Plan": ("readings.plan", "Plan"),
    "Pocket": ("part", "Pocket"),
    "Readings": ("readings", "Readings"),
    "Result": ("job", "Result"),
    "Settings": ("job", "Settings"),
    "Tolerance": ("part", "Tolerance"),
    "blocks_from_arrays": ("readings.blocks", "blocks_from_arrays"),
    "calibrate": ("readings.gauge", "calibrate"),
    "correct": ("job", "correct"),
    "extract": ("part.cad", "extract_pockets"),
    "plan": ("readings.plan", "plan"),
    "read_blocks": ("readings.blocks", "read_blocks"),
    "read_gauge": ("readings.gauge_file", "read_gauge"),
    "read_part": ("part", "read_part"),
    "read_readings": ("readings", "read_readings"),
    "read_series": ("verify", "read_series"),
    "readings_from_arrays": ("readings", "readings_from_arrays"),
    "verify_job": ("verify", "verify_job"),
    "write_gauge": ("readings.gauge_file", "write_gauge"),
    "write_part": ("part", "write_part"),
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that help and version answer at once."""
    if name not in _HOME:
        raise AttributeError(f"module 'floorfit' has no attribute {name!r}")
    from importlib import import_module

    module, there = _HOME[name]
    return getattr(import_module(f"floorfit.{module}"), there)
