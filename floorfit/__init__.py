"""Z offsets for pocket floors, from ultrasonic web readings of a plate that no longer lies flat.

Every command is one call here: ``correct(part, readings)`` returns a frozen `Result`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from floorfit.cad import Extraction, ExtractSettings
    from floorfit.cad import extract_pockets as extract
    from floorfit.part import Part, Pocket, Tolerance, read_part, write_part
    from floorfit.planning.points import Plan, plan
    from floorfit.readings import Readings, read_readings, readings_from_arrays
    from floorfit.readings.gauge import Gauge, calibrate
    from floorfit.readings.gauge_file import read_gauge, write_gauge
    from floorfit.readings.step_blocks import blocks_from_arrays, read_blocks
    from floorfit.run import Result, Settings, correct
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
    "ExtractSettings": ("cad", "ExtractSettings"),
    "Extraction": ("cad", "Extraction"),
    "Gauge": ("readings.gauge", "Gauge"),
    "Part": ("part", "Part"),
    "Plan": ("planning.points", "Plan"),
    "Pocket": ("part", "Pocket"),
    "Readings": ("readings", "Readings"),
    "Result": ("result", "Result"),
    "Settings": ("result", "Settings"),
    "Tolerance": ("part", "Tolerance"),
    "blocks_from_arrays": ("readings.step_blocks", "blocks_from_arrays"),
    "calibrate": ("readings.gauge", "calibrate"),
    "correct": ("run", "correct"),
    "extract": ("cad", "extract_pockets"),
    "plan": ("planning.points", "plan"),
    "read_blocks": ("readings.step_blocks", "read_blocks"),
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
