"""The tip's path: how the tool leans under rotary words."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from floorfit.nc.reader import read_motions
from floorfit.nc.shifts import Origin, tip_path
from floorfit.nc.tools import Tools


@pytest.mark.parametrize("angle", [0.0, 90.0, -30.0])
@pytest.mark.parametrize(("a", "b"), [(0, 0), (10, 0), (0, -20), (10, -20), (-35, 40), (80, 60)])
def test_tool_is_turned_about_x_and_then_about_y(a: float, b: float, angle: float) -> None:
    # Rotary words A and B turn about X and Y (ISO 841); the part may be turned about Z on the table. scipy's rotations.
    motions = read_motions([f"{line}\n" for line in ("G21 G90 G43.4 H1", f"G1 X1. Y2. Z3. A{a}. B{b}. F100")])
    path = tip_path(motions, Tools(), np.ones(len(motions), bool), Origin(angle=angle))
    turned = Rotation.from_euler("xyz", [a, b, angle], degrees=True).apply([0.0, 0.0, 1.0])
    assert path.axis[-1] == pytest.approx(turned, abs=1e-12)
