import csv
import json
from pathlib import Path

import numpy as np
import pytest
from finished_webs import finished_readings, small_record

from floorfit.cli import main
from floorfit.readings.observations import Readings
from floorfit.record import Record


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return write_job(tmp_path, small_record())


def write_job(tmp_path: Path, record: Record) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    return folder


def write_readings(path: Path, readings: Readings, factor: float = 1.0, unit: str = "mm") -> Path:
    rows = np.column_stack([readings.x, readings.y, readings.thickness]) / factor
    text = "\n".join(",".join(f"{value:.6f}" for value in row) for row in rows)
    path.write_text(f"x_{unit},y_{unit},thickness_{unit}\n{text}\n", encoding="utf-8")
    return path


def test_all_read_and_conform(job: Path, tmp_path: Path, capsys) -> None:
    readings = write_readings(tmp_path / "finished.csv", finished_readings(small_record(), bias=0.01))
    assert main(["verify", str(job), str(readings), "-o", str(tmp_path / "proof")]) == 0
    captured = capsys.readouterr()
    assert "9 of 9 pockets verified to conform" in captured.out
    assert "correct --bias 0.0" in captured.out
    names = {path.name for path in (tmp_path / "proof").iterdir()}
    assert names == {"verdicts.csv", "verify.csv", "verify.html", "verify.json", "verify.png", "verify.pdf"}
    with (tmp_path / "proof" / "verdicts.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [row["pocket"] for row in rows] == [f"P{k}" for k in range(1, 10)]
    assert {row["verdict"] for row in rows} == {"conform"}
    document = json.loads((tmp_path / "proof" / "verify.json").read_text())
    assert document["format"] == "floorfit-verification/1" and document["job"] == small_record().job


def test_part_finished_plate_exits_one(unpainted, job: Path, tmp_path: Path, capsys) -> None:
    readings = write_readings(tmp_path / "f.csv", finished_readings(small_record(), pockets=[0, 1]))
    assert main(["verify", str(job), str(readings), "-o", str(tmp_path / "proof")]) == 1
    assert "7 not read" in capsys.readouterr().out


def test_readings_in_inches_give_the_same(unpainted, job: Path, tmp_path: Path) -> None:
    readings = finished_readings(small_record())
    write_readings(tmp_path / "mm.csv", readings)
    write_readings(tmp_path / "in.csv", readings, 25.4, "in")
    for name in ("mm", "in"):
        main(["verify", str(job), str(tmp_path / f"{name}.csv"), "-o", str(tmp_path / name)])
    first, second = (json.loads((tmp_path / name / "verify.json").read_text()) for name in ("mm", "in"))
    # six decimals of an inch are 25 nm; their mean over 54 readings is less
    assert first["bias_mm"]["value"] == pytest.approx(second["bias_mm"]["value"], abs=2e-5)


def test_same_input_same_bytes(job: Path, tmp_path: Path) -> None:
    readings = write_readings(tmp_path / "f.csv", finished_readings(small_record()))
    for name in ("one", "two"):
        main(["verify", str(job), str(readings), "-o", str(tmp_path / name)])
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()


def test_hostile_names_stay_text(unpainted, tmp_path: Path) -> None:
    document = small_record().model_dump()
    name = "<script>document.title='owned'</script> \"Tür\" ß"
    document["part"]["name"] = name
    document["part"]["pockets"][0]["id"] = document["decisions"][0]["pocket"] = name[:200]
    job = write_job(tmp_path, Record.model_validate(document))
    readings = write_readings(tmp_path / "f.csv", finished_readings(small_record()))
    main(["verify", str(job), str(readings), "-o", str(tmp_path / "proof")])
    page = (tmp_path / "proof" / "verify.html").read_text()
    assert "<script>" not in page and "&lt;script&gt;" in page


@pytest.mark.parametrize(
    "content, words",
    [("x_mm,y_mm\n1,2\n", "thickness"), ("x_mm,y_mm,thickness_mm\n1,2,abc\n", "line 2"), ("", "empty")],
)
def test_bad_readings_are_refused_and_nothing_is_written(job: Path, tmp_path: Path, capsys, content, words) -> None:
    (tmp_path / "f.csv").write_text(content)
    assert main(["verify", str(job), str(tmp_path / "f.csv"), "-o", str(tmp_path / "proof")]) == 2
    assert words in capsys.readouterr().err and not (tmp_path / "proof").exists()


def test_no_job_and_existing_output_are_refused(unpainted, job: Path, tmp_path: Path, capsys) -> None:
    readings = write_readings(tmp_path / "f.csv", finished_readings(small_record()))
    assert main(["verify", str(tmp_path), str(readings), "-o", str(tmp_path / "proof")]) == 2
    assert "Name a job folder" in capsys.readouterr().err
    (tmp_path / "proof").mkdir()
    assert main(["verify", str(job), str(readings), "-o", str(tmp_path / "proof")]) == 2
    assert "--replace" in capsys.readouterr().err
    assert main(["verify", str(job), str(readings), "-o", str(tmp_path / "proof"), "--replace"]) == 0
