"""The pieces that a picture in plan is drawn from: an arc comes as chords, head to tail, on its circle."""

from __future__ import annotations

import numpy as np
from nc_cases import PART, TOOLS, corrections

from floorfit.nc.programme import apply_offsets

QUARTERS = "G21 G90 G17\nG0 X30. Y20. Z5.\nG1 Z2. F500.\nG3 X20. Y30. I-10. J0.\nG3 X10. Y20. I0. J-10.\nG0 Z50.\n"


def test_chords_of_an_arc_follow_each_other_on_its_circle() -> None:
    done = apply_offsets(PART, corrections(A=0.01), QUARTERS.encode(), tools=TOOLS)
    assert done.plan is not None
    start, end = done.plan.start, done.plan.end
    moved = np.hypot(*(end - start).T) > 0
    start, end = start[moved], end[moved]
    assert len(start) >= 10
    assert np.abs(start[1:] - end[:-1]).max() < 1e-9
    on_circle = np.hypot(*(np.concatenate([start, end[-1:]]) - (20.0, 20.0)).T)
    assert np.abs(on_circle - 10.0).max() < 1e-9  # x² + y² = r²
