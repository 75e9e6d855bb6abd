"""`apply` with cutter-location data: told by what is in the file, exit codes, what is refused."""

from __future__ import annotations

import pytest
import record_factory

from floorfit.cli import main
from floorfit.part.part_file import part_from_document


@pytest.fixture
def job(tmp_path):
    record = record_factory.frame()
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    part = part_from_document(record.part, "record.json")
    (tmp_path / "finish.cl").write_text(locations_for(part), encoding="ascii")
    return tmp_path


def locations_for(part) -> str:
    """A short pass on every floor, in mm."""
    lines = ["UNITS/MM", "LOADTL/1", "CUTTER/1,0", "RAPID", "GOTO/0,0,90"]
    for pocket in part.pockets:
        spot = pocket.polygon.representative_point()
        places = [(spot.x, spot.y), (spot.x + 1, spot.y)]
        down = [f"GOTO/{x:.3f},{y:.3f},{float(pocket.nominal_z(x, y)):.3f}" for x, y in places]
        up = [f"GOTO/{x:.3f},{y:.3f},90" for x, y in places]
        lines += ["RAPID", up[0], "FEDRAT/500,MMPM", *down, "RAPID", up[1]]
    return "\n".join([*lines, "FINI", ""])


def call(folder, *more: str, out: str = "out.cl") -> int:
    return main(["apply", str(folder / "job"), str(folder / "finish.cl"), "-o", str(folder / out), *more])


def test_a_file_is_corrected_and_says_what_was_done(job, capsys):
    assert call(job, "--held", "cut") == 1
    told = capsys.readouterr().err
    assert "Simulate" in told
    lines = (job / "out.cl").read_text().splitlines()
    assert lines[0].startswith("$$ FLOORFIT: job ")
    assert any("prove out again" in line and "frozen" in line for line in lines[:8])
    before = [line for line in (job / "finish.cl").read_text().splitlines() if not line.startswith("GOTO")]
    assert [line for line in lines if not line.startswith(("GOTO", "$$"))] == before


def test_it_is_not_corrected_twice(unpainted, job, capsys):
    call(job, "--held", "cut")
    (job / "finish.cl").write_bytes((job / "out.cl").read_bytes())
    assert call(job, "--held", "cut", out="again.cl") == 2
    assert "corrected before" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("option", "told"),
    [
        (["--tip-control"], "--tip-control"),
        (["--distance", "absolute"], "--distance"),
        (["--held", "skip"], "no block delete"),
        (["--frame", "1,0,0"], "--frame"),
        (["--frame=1,0,0,5000,0,1,0,0,0,0,1,0", "--held", "cut"], "lies on any floor"),
    ],
)
def test_what_does_not_belong_to_it_is_refused(job, capsys, option, told):
    assert call(job, *option) == 2
    assert told in capsys.readouterr().err
    assert not (job / "out.cl").exists()


def test_frame_and_keep_are_for_cutter_location_data_alone(job, capsys):
    (job / "finish.cl").write_text("%\nG21 G90\nG0 Z9\nM30\n%\n")
    assert call(job, "--keep", "POLISH") == 2
    assert "cutter-location data" in capsys.readouterr().err


def test_a_cutter_stated_on_the_command_line_is_as_good_as_one_in_the_file(unpainted, job, capsys):
    """The same cutter, told either way, gives the same path (ISO 4343: CUTTER states it in the file)."""
    call(job, "--held", "cut")
    told = [line for line in (job / "out.cl").read_text().splitlines() if line.startswith("GOTO")]
    text = (job / "finish.cl").read_text().replace("CUTTER/1,0\n", "")
    (job / "finish.cl").write_text(text)
    capsys.readouterr()
    assert call(job, "--held", "cut", out="none.cl") == 2 and not (job / "none.cl").exists()
    assert "cutter" in capsys.readouterr().err.lower()
    assert call(job, "--held", "cut", "--tool", "1=1", out="stated.cl") == 1
    stated = [line for line in (job / "stated.cl").read_text().splitlines() if line.startswith("GOTO")]
    assert stated == told
