import json
from pathlib import Path

import pytest

from floorfit.errors import InputError
from floorfit.verify.trend import read_accuracy, write_trend


def accuracy(folder: Path, name: str, rms: float, false: int, held: int = 0) -> Path:
    summary = {"floors": 10, "held": held, "offset_rms": rms, "web_rms": 2 * rms, "offset_coverage": 0.95,
               "web_coverage": 0.9, "false_accepts": false}  # fmt: skip
    other = {**summary, "floors": 30, "offset_rms": 3 * rms}
    file = folder / f"{name}.json"
    file.write_text(json.dumps({"a": {"summary": summary, "floors": []}, "b": {"summary": other, "floors": []}}))
    return file


def test_runs_come_in_order_of_date_with_plates_together(tmp_path: Path) -> None:
    late, early = accuracy(tmp_path, "0.2_2026-05-01", 0.002, 1), accuracy(tmp_path, "0.1_2026-03-01", 0.004, 3)
    runs = read_accuracy([late, early])
    assert [(run.version, run.date) for run in runs] == [("0.1", "2026-03-01"), ("0.2", "2026-05-01")]
    # Mean square over 10 and 30 floors: sqrt((10 r² + 30 (3 r)²) / 40) = r sqrt(7).
    assert runs[1].offset_rms == pytest.approx(0.002 * 7**0.5)
    assert runs[1].floors == 40 and runs[1].false_accepts == 2


def test_made_entry_goes_before_the_name(tmp_path: Path) -> None:
    file = accuracy(tmp_path, "x_2026-01-01", 0.002, 0)
    document = {"made": {"version": "9.9", "date": "2026-02-02"}, **json.loads(file.read_text())}
    file.write_text(json.dumps(document))
    assert read_accuracy([file])[0].version == "9.9" and read_accuracy([file])[0].date == "2026-02-02"


def test_page_shows_every_run(tmp_path: Path) -> None:
    runs = read_accuracy([accuracy(tmp_path, f"0.{k}_2026-0{k}-01", 0.001 * k, k) for k in (1, 2, 3)])
    write_trend(runs, tmp_path)
    page = (tmp_path / "trend.html").read_text("utf-8")
    assert all(f"0.{k}" in page and f"2026-0{k}-01" in page for k in (1, 2, 3))
    assert "3 runs, 2026-01-01 to 2026-03-01" in page
    # The last and the one before it, error r √7 as above: 0.003 and 0.002 times 2.6458.
    assert "0.3: error of offsets 0.0079 mm" in page and "before 0.0053 mm" in page
    assert (tmp_path / "trend.csv").read_text().count("\n") == 4 and (tmp_path / "trend.png").stat().st_size > 1000


@pytest.mark.parametrize("text", ["{", "{}", '{"a": 1}', "[]"])
def test_other_files_are_refused_by_name(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.json").write_text(text)
    with pytest.raises(InputError, match=r"a\.json: is not an accuracy file"):
        read_accuracy([tmp_path / "a.json"])
