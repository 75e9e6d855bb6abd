import json
from pathlib import Path

import pytest
from finished_webs import bent, rough_readings, small_part, small_record

from floorfit.cli import main
from floorfit.part.part_file import write_part


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    for k in range(3):
        record = bent(small_record(), k, 1.0 + 0.01 * k, 0.0)
        (tmp_path / "jobs" / f"j{k}").mkdir(parents=True)
        (tmp_path / "jobs" / f"j{k}" / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    return tmp_path / "jobs"


def test_series_then_expectation(unpainted, jobs: Path, tmp_path: Path, capsys) -> None:
    assert main(["series", str(jobs), "-o", str(tmp_path / "learnt")]) == 0
    captured = capsys.readouterr()
    assert "3 jobs, 0 verified" in captured.out and "always bends the same way" in captured.out
    assert "For the next part: floorfit correct" in captured.err
    part, readings = small_part(), rough_readings(small_part(), 3, seed=5)
    write_part(part, tmp_path / "part.json")
    rows = zip(readings.x, readings.y, readings.thickness, strict=True)
    text = "\n".join(f"{x:.3f},{y:.3f},{t:.3f}" for x, y, t in rows)
    (tmp_path / "r.csv").write_text(f"x_mm,y_mm,thickness_mm\n{text}\n")
    arguments = ["correct", str(tmp_path / "part.json"), str(tmp_path / "r.csv"), "-o", str(tmp_path / "job")]
    arguments.append("--no-pictures")
    assert main([*arguments, "--expect", str(tmp_path / "learnt"), "--bias", "-0.02"]) in (0, 1)
    assert "mean warp of earlier parts" in capsys.readouterr().err
    record = json.loads((tmp_path / "job" / "record.json").read_text())
    assert record["inputs"]["expected"]["name"] == "series.json" and record["settings"]["bias"] == -0.02


def test_no_expectation_is_recommended_of_parts_that_do_not_bend_alike(unpainted, jobs: Path, tmp_path, capsys) -> None:
    # The second and third are bent the other way: the mean of the others then says nothing of a part.
    for k, scale in ((1, -1.0), (2, 0.1)):
        record = bent(small_record(), k, scale, 0.0)
        (jobs / f"j{k}" / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    assert main(["series", str(jobs), "-o", str(tmp_path / "learnt")]) == 0
    captured = capsys.readouterr()
    assert "does not bend the same way" in captured.out and "--expect" not in captured.err


def test_broken_job_is_named_and_skipped(unpainted, jobs: Path, tmp_path: Path, capsys) -> None:
    (jobs / "j1" / "record.json").write_text("{")
    assert main(["series", str(jobs), "-o", str(tmp_path / "learnt")]) == 1
    printed = capsys.readouterr()
    assert "j1" in printed.err and "2 jobs" in printed.out


def test_nothing_there_is_refused(tmp_path: Path, capsys) -> None:
    assert main(["series", str(tmp_path / "none"), "-o", str(tmp_path / "learnt")]) == 2
    assert "Check the path" in capsys.readouterr().err and not (tmp_path / "learnt").exists()
