"""The plan as files: a readings file that the reader takes, and the curve."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from lying_readings import plate

from floorfit.planning.points import plan
from floorfit.planning.points_file import plan_facts, write_curve, write_points
from floorfit.readings.readings_file import read_readings


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_points_are_a_readings_file_with_the_thickness_left_blank(tmp_path: Path, unit: str) -> None:
    result = plan(plate(), count=54)
    path = tmp_path / "points.csv"
    write_points(result, path, unit)  # type: ignore[arg-type]
    readings = read_readings(path)
    # Half of the last digit written, 0.001 mm or 0.00001 in.
    assert np.column_stack([readings.x, readings.y]) == pytest.approx(result.points, abs=0.00051)
    assert np.isnan(readings.thickness).all()
    assert readings.pocket.tolist() == list(result.pockets)
    assert readings.unit == unit


def test_curve_in_the_unit_of_the_part(tmp_path: Path) -> None:
    result = plan(plate(), count=30)
    path = tmp_path / "curve.csv"
    write_curve(result, path, "in")
    with path.open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert [int(row["readings"]) for row in rows] == list(range(1, 31))
    # Six digits are written.
    assert float(rows[-1]["offset_u_mean_in"]) == pytest.approx(result.curve[-1, 1] / 25.4, rel=1e-5)


def test_facts_name_count_path_and_uncertainty() -> None:
    facts = " ".join(plan_facts(plan(plate(), count=54), "mm"))
    assert "54 places on 18 floors" in facts
    assert "Expected U of an offset, k = 2: up to 0.0" in facts
    assert "not reached" not in facts
    few = " ".join(plan_facts(plan(plate(), count=20, share=0.01), "mm"))
    assert "not reached" in few
