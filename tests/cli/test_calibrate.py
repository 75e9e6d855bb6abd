"""``floorfit calibrate`` as a user runs it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from floorfit.cli import main
from floorfit.readings.gauge_file import read_gauge

BLOCKS = "true_mm,reading_mm\n1.000,1.010\n5.000,5.030\n"
PART = {
    "format": "floorfit-part/1",
    "name": "invented",
    "units": "mm",
    "outline": [[0, 0], [300, 0], [300, 200], [0, 200]],
    "underside_z": 0.0,
    "defaults": {"web_tolerance": [-0.1, 0.1], "finish_stock": 0.5},
    "pockets": [{"id": "A", "boundary": [[10, 10], [290, 10], [290, 190], [10, 190]], "floor_z": 2.0}],
}


@pytest.fixture
def blocks(tmp_path: Path) -> Path:
    path = tmp_path / "blocks.csv"
    path.write_text(BLOCKS, encoding="utf-8")
    return path


def test_two_blocks(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    output = tmp_path / "gauge.json"
    assert main(["calibrate", str(blocks), "-o", str(output), "--web-min", "1.5", "--web-max", "3"]) == 0
    # By hand: gain 4/4.02; 2.034 becomes 2.01890547264.
    assert read_gauge(output).thickness(2.034) == pytest.approx(2.01890547264, abs=1e-11)
    out, err = capsys.readouterr()
    assert out == ""
    assert "two-point: scale 0.995025, zero -0.0050 mm" in err
    document = json.loads(output.read_text(encoding="utf-8"))
    assert document["format"] == "floorfit-gauge/1"
    assert document["source_sha256"] == hashlib.sha256(BLOCKS.encode()).hexdigest()


def test_webs_of_the_part_must_lie_between_the_blocks(
    blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    part = tmp_path / "part.json"
    part.write_text(json.dumps(PART), encoding="utf-8")
    output = tmp_path / "gauge.json"
    assert main(["calibrate", str(blocks), "-o", str(output), "--part", str(part)]) == 0
    output.unlink()
    blocks.write_text("true_mm,reading_mm\n1.000,1.010\n2.200,2.212\n", encoding="utf-8")
    assert main(["calibrate", str(blocks), "-o", str(output), "--part", str(part)]) == 2
    assert "the webs from 2 to 2.5 mm" in capsys.readouterr().err
    assert not output.exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--web-min", "1"], "one came without the other"),
        (["--web-min", "3", "--web-max", "1"], "web-min <= web-max was expected"),
        (["--method", "one-point"], "2 different thicknesses came"),
    ],
)
def test_bad_calls_are_refused(
    blocks: Path, tmp_path: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    output = tmp_path / "gauge.json"
    assert main(["calibrate", str(blocks), "-o", str(output), *arguments]) == 2
    assert message in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [blocks]


def test_existing_gauge_is_kept_unless_told(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    output = tmp_path / "gauge.json"
    output.write_text("mine", encoding="utf-8")
    assert main(["calibrate", str(blocks), "-o", str(output)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert output.read_text(encoding="utf-8") == "mine"
    assert main(["calibrate", str(blocks), "-o", str(output), "--replace"]) == 0
    assert "floorfit-gauge/1" in output.read_text(encoding="utf-8")


def test_same_blocks_same_bytes(blocks: Path, tmp_path: Path) -> None:
    for name in ("a.json", "b.json"):
        assert main(["calibrate", str(blocks), "-o", str(tmp_path / name)]) == 0
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()
