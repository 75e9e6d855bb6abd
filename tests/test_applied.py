"""What apply says of floors that the cutters cannot leave as they were decided."""

import re

import numpy as np
import pytest

import floorfit
from floorfit.part import part_from_document
from floorfit.readings import readings_from_arrays


@pytest.fixture(scope="module")
def stepped():
    """Two floors at one level with no wall between, over an underside that is 0.1 low beside the one, 0.1 high beside
    the other, and a pass of a cutter of 16 mm over both. That is no error of the readings: it is stated so."""
    rings = {"A": [[10, 10], [100, 10], [100, 90], [10, 90]], "B": [[100, 10], [190, 10], [190, 90], [100, 90]]}
    document = {
        "format": "floorfit-part/1", "name": "invented", "units": "mm",
        "outline": [[0, 0], [200, 0], [200, 100], [0, 100]],
        "defaults": {"web": 2.0, "web_tolerance": [-0.1, 0.1], "finish_stock": 0.5},
        "pockets": [{"id": name, "boundary": ring, "floor_z": 2.0} for name, ring in rings.items()],
    }  # fmt: skip
    x, y = (one.ravel() for one in np.meshgrid(np.linspace(20, 180, 9), np.linspace(20, 80, 4)))
    warp = np.where(x < 100, -0.1, 0.1) * np.minimum(1.0, np.abs(x - 100) / 30)
    readings = readings_from_arrays(x, y, 2.5 - warp, z=np.full(len(x), 2.5))
    lines = [f"X{(182, 18)[row % 2]}\nY{22 + 4 * row}" for row in range(16)]
    text = "G21 G90 G17\nT1 M6\nG0 X18 Y18 Z20\nG1 Z2. F300\n" + "\n".join(lines) + "\nG0 Z20\n"
    return floorfit.correct(part_from_document(document), readings, floorfit.Settings(systematic=0.5)), text


def test_a_floor_that_the_cutter_leaves_out_of_its_limits_is_not_done(stepped):
    """Beside the seam the lower floor keeps the difference of the two offsets, for one radius: geometry of a disc."""
    job, text = stepped
    a, b = job.decisions
    assert a.verdict == b.verdict == "conform"
    step = b.offset_mm - a.offset_mm
    assert a.web_after_max_mm + step > a.web_upper_limit_mm
    done = floorfit.apply(job, text.encode(), tools="1=16")
    told = [finding.text for finding in done.findings if finding.code == "out-of-limits"]
    assert len(told) == 1 and told[0].startswith("pocket A:")
    found = float(re.search(r"and ([\d.]+) mm", told[0])[1])
    assert found == pytest.approx(a.web_after_max_mm + step, abs=0.005)  # the offset's tolerance along a pass
    assert not done.is_complete
