"""Every bad file of the zoo is refused: by the readers, and by the command with exit 2 and no output."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from bad_inputs import BAD_PARTS, BAD_READINGS, BadFile, good_part, good_readings

from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.part import read_part
from floorfit.readings import read_readings

_part_cases = pytest.mark.parametrize("bad", BAD_PARTS, ids=lambda bad: bad.name)
_readings_cases = pytest.mark.parametrize("bad", BAD_READINGS, ids=lambda bad: bad.name)


def test_zoo_is_large_and_names_are_unique():
    names = [f"part {bad.name}" for bad in BAD_PARTS] + [f"readings {bad.name}" for bad in BAD_READINGS]
    assert len(names) >= 50
    assert len(set(names)) == len(names)


def test_good_files_are_accepted(tmp_path):
    """The bad files differ from these by one thing, so that one thing is what is refused."""
    part, readings = tmp_path / "part.json", tmp_path / "readings.csv"
    part.write_text(json.dumps(good_part()))
    readings.write_bytes(good_readings())
    assert len(read_part(part).pockets) == 2
    assert len(read_readings(readings)) == 32


@_part_cases
def test_part_is_refused(bad: BadFile, tmp_path: Path):
    path = tmp_path / "bad.json"
    path.write_bytes(bad.content)
    with pytest.raises(InputError, match=r"bad\.json") as caught:
        read_part(path)
    _says(str(caught.value), bad)


@_readings_cases
def test_readings_are_refused(bad: BadFile, tmp_path: Path):
    path = tmp_path / "bad.csv"
    path.write_bytes(bad.content)
    with pytest.raises(InputError, match=r"bad\.csv") as caught:
        read_readings(path)
    _says(str(caught.value), bad)


@_part_cases
def test_command_refuses_part(bad: BadFile, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "bad.json").write_bytes(bad.content)
    (tmp_path / "readings.csv").write_bytes(good_readings())
    _command_refuses(tmp_path, "bad.json", "readings.csv", bad, capsys)


@_readings_cases
def test_command_refuses_readings(bad: BadFile, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "part.json").write_text(json.dumps(good_part()))
    (tmp_path / "bad.csv").write_bytes(bad.content)
    _command_refuses(tmp_path, "part.json", "bad.csv", bad, capsys)


@pytest.mark.parametrize("missing", ["part.json", "readings.csv"])
def test_command_refuses_a_missing_file(missing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "part.json").write_text(json.dumps(good_part()))
    (tmp_path / "readings.csv").write_bytes(good_readings())
    (tmp_path / missing).unlink()
    bad = BadFile("missing", b"", missing, "Check the path")
    _command_refuses(tmp_path, "part.json", "readings.csv", bad, capsys)


def _command_refuses(folder: Path, part: str, readings: str, bad: BadFile, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted(path.name for path in folder.iterdir())
    code = main(["correct", str(folder / part), str(folder / readings), "-o", str(folder / "job")])
    printed = capsys.readouterr()
    assert code == 2
    assert printed.out == ""
    assert "Traceback" not in printed.err
    assert printed.err.count("floorfit: ") == 1
    assert "internal fault" not in printed.err
    _says(printed.err, bad)
    assert sorted(path.name for path in folder.iterdir()) == before  # nothing written, nothing left over


def _says(message: str, bad: BadFile) -> None:
    assert bad.place in message
    assert bad.remedy in message
