"""The plate-bending simulator that is kept with the sample parts, made importable for the tests."""

from __future__ import annotations

import sys
from pathlib import Path

_FOLDER = str(Path(__file__).resolve().parent.parent / "sample_parts")
if _FOLDER not in sys.path:
    sys.path.insert(0, _FOLDER)

from plate_physics import (  # noqa: E402  (the path is set just above)
    E_MPA,
    NU,
    Deflection,
    Load,
    PlateModel,
    Section,
    deflect,
    mesh_lines,
    parabolic_stress,
    plate_rigidity,
    released_curvature,
    rib_rigidity,
)
from random_plates import (  # noqa: E402
    KINDS,
    FloorTruth,
    Marks,
    Plate,
    build_part,
    even_layout,
    floor_points,
    floor_truth,
    random_plate,
    warp_plate,
    with_tolerance,
)
from random_readings import FAULTS, Disturbance, Taken, spread_points, take_readings  # noqa: E402

__all__ = [
    "E_MPA",
    "FAULTS",
    "KINDS",
    "NU",
    "Deflection",
    "Disturbance",
    "FloorTruth",
    "Load",
    "Marks",
    "Plate",
    "PlateModel",
    "Section",
    "Taken",
    "build_part",
    "deflect",
    "even_layout",
    "floor_points",
    "floor_truth",
    "mesh_lines",
    "parabolic_stress",
    "plate_rigidity",
    "random_plate",
    "released_curvature",
    "rib_rigidity",
    "spread_points",
    "take_readings",
    "warp_plate",
    "with_tolerance",
]
