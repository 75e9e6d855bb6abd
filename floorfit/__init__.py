"""Z offsets for pocket floors, from ultrasonic web readings of a plate that no longer lies flat.

Every command is one call here: ``correct(part, readings)`` returns a frozen `Result`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from floorfit.job import Result, Settings, correct
    from floorfit.part import Part, Pocket, Tolerance, read_part, write_part
    from floorfit.readings import Readings, read_readings, readings_from_arrays

__all__ = [
    "Part",
    "Pocket",
    "Readings",
    "Result",
    "Settings",
    "Tolerance",
    "correct",
    "read_part",
    "read_readings",
    "readings_from_arrays",
    "write_part",
]

_HOME = {
    "Part": "part",
    "Pocket": "part",
    "Tolerance": "part",
    "read_part": "part",
    "write_part": "part",
    "Readings": "readings",
    "read_readings": "readings",
    "readings_from_arrays": "readings",
    "Result": "job",
    "Settings": "job",
    "correct": "job",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that help and version answer at once."""
    if name not in _HOME:
        raise AttributeError(f"module 'floorfit' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"floorfit.{_HOME[name]}"), name)
