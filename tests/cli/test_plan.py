"""``floorfit plan`` as a user runs it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import record_factory

from floorfit.cli import main
from floorfit.decision import Reason
from floorfit.readings.readings_file import read_readings

ODD = 'Tür "<script>" é, 7'


def document(unit: str = "mm") -> dict[str, Any]:
    scale = 1.0 if unit == "mm" else 1 / 25.4

    def ring(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
        return [[a * scale, b * scale] for a, b in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]

    return {
        "format": "floorfit-part/1",
        "name": "invented",
        "units": unit,
        "outline": ring(0, 0, 420, 200),
        "underside_z": 0.0,
        "defaults": {"web_tolerance": [-0.1 * scale, 0.1 * scale], "finish_stock": 0.5 * scale},
        "pockets": [
            {"id": ODD, "boundary": ring(10, 10, 207, 190), "floor_z": 2 * scale, "corner_radius": 8 * scale},
            {"id": "B", "boundary": ring(213, 10, 410, 190), "floor_z": 2 * scale, "corner_radius": 8 * scale},
        ],
    }


def part_file(tmp_path: Path, unit: str = "mm") -> Path:
    path = tmp_path / "part.json"
    path.write_text(json.dumps(document(unit)), encoding="utf-8")
    return path


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_points_and_map(tmp_path: Path, unit: str, capsys: pytest.CaptureFixture[str]) -> None:
    part, output = part_file(tmp_path, unit), tmp_path / "points.csv"
    curve = tmp_path / "curve.csv"
    assert main(["plan", str(part), "-o", str(output), "--count", "12", "--curve", str(curve)]) == 0
    readings = read_readings(output)
    assert len(readings) == 12
    assert readings.unit == unit
    assert set(readings.pocket) == {ODD, "B"}
    assert np.isnan(readings.thickness).all()
    assert output.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    assert len(curve.read_text(encoding="utf-8").splitlines()) == 13
    out, err = capsys.readouterr()
    assert out == ""
    assert "12 places on 2 floors" in err


def test_without_a_count_the_share_decides(unpainted, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    part, output = part_file(tmp_path), tmp_path / "points.csv"
    assert main(["plan", str(part), "-o", str(output), "--share", "0.2"]) == 0
    assert "not reached" not in capsys.readouterr().err


def test_nothing_is_overwritten_and_nothing_half_written(
    unpainted, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    part, output = part_file(tmp_path), tmp_path / "points.csv"
    output.with_suffix(".png").write_text("mine", encoding="utf-8")
    assert main(["plan", str(part), "-o", str(output), "--count", "6"]) == 2
    assert "points.png: exists already" in capsys.readouterr().err
    assert not output.exists()
    assert main(["plan", str(part), "-o", str(output), "--count", "6", "--replace"]) == 0
    assert output.exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--count", "0"], "count: 0 came"),
        (["--probe-radius", "95"], "the probe finds room on no floor"),
        (["--u", "-1"], "u_mm: -1.0 came"),
        (["--after", "nowhere"], "cannot be read"),
    ],
)
def test_bad_calls_are_refused(
    tmp_path: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    part, output = part_file(tmp_path), tmp_path / "points.csv"
    assert main(["plan", str(part), "-o", str(output), *arguments]) == 2
    assert message in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["part.json"]


def test_points_must_not_take_the_name_of_the_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(part_file(tmp_path)), "-o", str(tmp_path / "points.png")]) == 2
    assert "the ending .png is that of the map" in capsys.readouterr().err


def test_next_readings_go_where_a_job_is_undecided(
    unpainted, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = record_factory.frame()
    undecided = {d.pocket for d in record.decisions if d.verdict == "undecided"}
    assert undecided
    job, part, output = tmp_path / "job", tmp_path / "part.json", tmp_path / "more.csv"
    job.mkdir()
    (job / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    part.write_text(json.dumps(record.part), encoding="utf-8")
    assert main(["plan", str(part), "--after", str(job), "-o", str(output)]) == 0, capsys.readouterr().err
    planned = set(read_readings(output).pocket)
    assert undecided <= planned
    assert planned <= undecided | {d.pocket for d in record.decisions if d.action == "hold"}


def test_job_with_every_floor_decided_is_said_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = record_factory.frame()
    decided = [replace(d, verdict="conform", reason=Reason()) for d in record.decisions]
    job, part = tmp_path / "job", tmp_path / "part.json"
    job.mkdir()
    text = record.model_copy(update={"decisions": decided}).model_dump_json()
    (job / "record.json").write_text(text, encoding="utf-8")
    part.write_text(json.dumps(record.part), encoding="utf-8")
    assert main(["plan", str(part), "--after", str(job), "-o", str(tmp_path / "more.csv")]) == 2
    assert "every floor is decided" in capsys.readouterr().err


def test_job_of_another_part_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job"
    job.mkdir()
    (job / "record.json").write_text(record_factory.frame().model_dump_json(), encoding="utf-8")
    output = tmp_path / "more.csv"
    assert main(["plan", str(part_file(tmp_path)), "--after", str(job), "-o", str(output)]) == 2
    assert "is the job of another part" in capsys.readouterr().err
    assert not output.exists()


@pytest.mark.parametrize(("key", "by"), [("floor_z", 0.2), ("boundary", 3.0)])
def test_a_part_that_was_changed_since_the_job_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], key: str, by: float
) -> None:
    """Its floors have the names of those that were judged, and are others."""
    record = record_factory.frame()
    job, part, output = tmp_path / "job", tmp_path / "part.json", tmp_path / "more.csv"
    job.mkdir()
    (job / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    changed = json.loads(json.dumps(record.part))
    first = changed["pockets"][0]
    if key == "boundary":
        first[key] = [[x + by, y] for x, y in first[key]]
    else:
        first[key] += by
        first["web"] = first.get("web", changed.get("defaults", {}).get("web")) + by
    part.write_text(json.dumps(changed), encoding="utf-8")
    assert main(["plan", str(part), "--after", str(job), "-o", str(output)]) == 2
    told = capsys.readouterr().err
    assert f"1 pockets changed since ({first['id']})" in told
    assert not output.exists()
