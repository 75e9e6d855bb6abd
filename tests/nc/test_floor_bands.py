"""Which heights a floor takes up, whatever its shape."""

from __future__ import annotations

import numpy as np
import pytest
from curved_floors import PART, given

from floorfit.nc.floor_bands import CutFloor


@pytest.mark.parametrize("index", range(3))
def test_range_of_heights_holds_every_height_and_little_more(index: int) -> None:
    pocket = PART.pockets[index]
    x0, y0, x1, y1 = pocket.polygon.bounds
    z = pocket.floor_at(*np.random.default_rng(1).uniform([[x0], [y0]], [[x1], [y1]], (2, 5000)))
    low, high = CutFloor(index, pocket, given()[pocket.id]).z_range
    rise = float(np.ptp(z))
    # Holds all; beyond them it may lie by a step of the lattice, and what 5,000 places miss of the corners.
    assert low <= z.min() and z.max() <= high
    assert z.min() - low < rise / 16 and high - z.max() < rise / 16
