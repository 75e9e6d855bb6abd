"""The sample parts are what their script writes, and what their page says."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import physics
import pytest
from shapely import contains_xy

from floorfit.part.part_file import read_part
from floorfit.readings.readings_file import read_readings

FOLDER = Path(physics.__file__).resolve().parent.parent / "sample_parts"
NAMES = ("bay_frame", "long_rib", "lofted_rib")
FILES = ("part.json", "readings.csv", "truth.json")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import make

    folder = tmp_path_factory.mktemp("made")
    make.write(folder)
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_script_writes_the_kept_bytes(made: Path, name: str) -> None:
    for file in FILES:
        assert (made / name / file).read_bytes() == (FOLDER / name / file).read_bytes()


@pytest.mark.parametrize(
    ("name", "floors", "rows", "unit"),
    [("bay_frame", 18, 144, "mm"), ("long_rib", 70, 490, "in"), ("lofted_rib", 43, 301, "mm")],
)
def test_size_and_unit(name: str, floors: int, rows: int, unit: str) -> None:
    part = read_part(FOLDER / name / "part.json")
    readings = read_readings(FOLDER / name / "readings.csv")
    assert (len(part.pockets), part.units) == (floors, unit)
    assert (len(readings), readings.unit) == (rows, unit)
    assert "invented" in part.name


@pytest.mark.parametrize("name", NAMES)
def test_good_readings_carry_the_true_warp(name: str) -> None:
    part = read_part(FOLDER / name / "part.json")
    r = read_readings(FOLDER / name / "readings.csv")
    truth = json.loads((FOLDER / name / "truth.json").read_text("utf-8"))
    good = np.array([row["fault"] == "" for row in truth["readings"]])
    warp = np.array([row["warp"] for row in truth["readings"]])
    pockets = [part.pocket(str(label)) for label in r.pocket]
    rough, under, steep = (
        np.array([getattr(p, name)(x, y) for p, x, y in zip(pockets, r.x, r.y, strict=True)], float)
        for name in ("rough_z", "underside_at", "steepness_at")
    )
    z = np.where(np.isnan(r.z), rough, r.z)
    error = z - r.thickness * steep - under - warp
    # Noise 0.010 and, where Z was measured, 0.002 mm: the mean of n is within four standard errors of zero, and
    # the standard deviation within 15 % (its own is 1/√(2(n−1)) = 6 % for 140 rows).
    assert abs(error[good].mean()) < 4 * 0.0103 / np.sqrt(good.sum())
    assert error[good].std() == pytest.approx(0.0102, rel=0.15)
    assert 0 < (~good).sum() <= 10


@pytest.mark.parametrize("name", NAMES)
def test_readings_lie_on_their_floors_and_leave_metal(name: str) -> None:
    part = read_part(FOLDER / name / "part.json")
    r = read_readings(FOLDER / name / "readings.csv")
    truth = json.loads((FOLDER / name / "truth.json").read_text("utf-8"))
    for label, x, y in zip(r.pocket, r.x, r.y, strict=True):
        assert contains_xy(part.pocket(str(label)).polygon, x, y)
    if np.isnan(r.z).all():  # floors cut true: what is left above the floor wanted is stock − w
        for row in truth["pockets"]:
            assert row["warp_max"] < part.pocket(row["pocket"]).finish_stock
