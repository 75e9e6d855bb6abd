"""The map of a plan: drawn for awkward names and parts, the same bytes each time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from lying_readings import plate
from matplotlib.image import imread
from record_factory import ODD_NAMES

from floorfit.report.plan_map import write_plan_map


def test_awkward_names_and_no_places(tmp_path: Path) -> None:
    part = plate()
    pockets = [replace(p, id=name) for p, name in zip(part.pockets, ODD_NAMES, strict=False)]
    odd = replace(part, name=ODD_NAMES[0] * 5, pockets=tuple(pockets), units="in")
    write_plan_map(odd, np.zeros((0, 2)), np.zeros((0, 3)), ["x" * 300], tmp_path / "map.png")
    # A3 landscape at 150 dots per inch.
    assert imread(tmp_path / "map.png").shape[:2] == (1753, 2480)


def test_same_plan_same_bytes(tmp_path: Path) -> None:
    points = np.random.default_rng(1).uniform((10, 10), (1190, 490), (60, 2))
    curve = np.column_stack([np.arange(1, 61), np.geomspace(100, 0.004, 60), np.geomspace(200, 0.006, 60)])
    for name in ("a.png", "b.png"):
        write_plan_map(plate(), points, curve, ["60 places."], tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
