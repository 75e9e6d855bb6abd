"""The command: files, exit codes, and that nothing is written when it refuses."""

from __future__ import annotations

import pytest
import record_factory
from nc_reference import run as run_reference

from floorfit.cli import main
from floorfit.part.part_file import part_from_document
from floorfit.record import Record


def write_job(folder, record):
    folder.mkdir()
    (folder / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    return part_from_document(record.part, "record.json")


def program_for(part) -> str:
    """A short pass on every floor, in mm."""
    lines = ["%", "O7", "G21 G90 G17", "G0 Z90."]
    for pocket in part.pockets:
        spot = pocket.polygon.representative_point()
        z = float(pocket.nominal_z(spot.x, spot.y))
        lines += [f"G0 X{spot.x:.3f} Y{spot.y:.3f}", f"G1 Z{z:.3f} F500.", f"X{spot.x + 1:.3f}", "G0 Z90."]
    return "\n".join([*lines, "M30", "%", ""])


@pytest.fixture
def job(tmp_path):
    part = write_job(tmp_path / "job", record_factory.frame())
    (tmp_path / "finish.nc").write_text(program_for(part), encoding="ascii")
    return tmp_path


def call(folder, *more: str) -> int:
    return main(
        ["apply", str(folder / "job"), str(folder / "finish.nc"), "-o", str(folder / "out.nc"), "--tool", "1", *more]
    )


def test_a_held_floor_is_refused_and_nothing_is_written(job, capsys):
    assert call(job) == 2
    assert "is held" in capsys.readouterr().err
    assert sorted(path.name for path in job.iterdir()) == ["finish.nc", "job"]


def test_the_header_says_which_piece(unpainted, tmp_path):
    """As far as the job has it: part number, serial and side."""
    record = record_factory.frame().model_copy(update={"identity": {"serial": "0012", "side": "top", "operator": "x"}})
    part = write_job(tmp_path / "job", record)
    (tmp_path / "finish.nc").write_text(program_for(part), encoding="ascii")
    call(tmp_path, "--held", "cut")
    head = [line for line in (tmp_path / "out.nc").read_text().splitlines() if "FLOORFIT" in line]
    for words in (f"part {part.name}"[:20], "serial 0012", "side top"):
        assert any(words in line for line in head), words
    assert not any("operator" in line for line in head)


def test_a_tool_that_matters_and_is_not_known_is_refused_by_name(job, capsys):
    args = ["apply", str(job / "job"), str(job / "finish.nc"), "-o", str(job / "out.nc"), "--held", "cut"]
    assert main(args) == 2
    told = capsys.readouterr().err
    assert "cutter of the tool is not known" in told
    assert "--tool 16,0.5" in told


def test_the_header_stands_behind_percent_and_number(job, capsys):
    assert call(job, "--held", "cut") == 1
    lines = (job / "out.nc").read_text().splitlines()
    assert lines[:2] == ["%", "O7"]
    assert lines[2].startswith("(FLOORFIT: job ")
    assert (job / "out.nc.png").read_bytes().startswith(b"\x89PNG")
    rows = (job / "out.nc.csv").read_text().splitlines()
    assert rows[0].startswith("pocket,action,motions,blocks_changed,least_dz_")
    assert len(rows) == 1 + len(record_factory.frame().decisions)
    assert "Simulate" in capsys.readouterr().err


def test_the_programme_gets_the_offsets_of_the_job(unpainted, job):
    """The change at the second end point of each floor is the job's offset there, to 0.001 mm."""
    record = record_factory.frame()
    call(job, "--held", "cut")
    before = [move for move in run_reference((job / "finish.nc").read_text()) if move.kind == "line"]
    after = [move for move in run_reference((job / "out.nc").read_text()) if move.kind == "line"]
    part = part_from_document(record.part, "record.json")
    for index, decision in enumerate(record.decisions):
        old, new = before[2 * index], after[2 * index]
        wanted = 0.0 if decision.action == "hold" else float(decision.correction.at(*old.end[:2]))
        assert new.end[2] - old.end[2] == pytest.approx(wanted, abs=0.00051), part.pockets[index].id


def test_an_existing_output_stays(unpainted, job, capsys):
    (job / "out.nc").write_text("mine")
    assert call(job, "--held", "cut") == 2
    assert (job / "out.nc").read_text() == "mine"
    assert "--replace" in capsys.readouterr().err
    assert call(job, "--held", "cut", "--replace") == 1


def test_the_output_is_never_the_programme_itself(job, capsys):
    args = ["apply", str(job / "job"), str(job / "finish.nc"), "-o", str(job / "finish.nc"), "--replace"]
    assert main(args) == 2
    assert "programme itself" in capsys.readouterr().err


def test_a_programme_with_no_floor_near_is_written_as_it_came(unpainted, job, capsys):
    text = "G21 G90\nG0 X9999 Y9999\nG1 Z-50 F1\n"
    (job / "wrong.nc").write_text(text)
    assert main(["apply", str(job / "job"), str(job / "wrong.nc"), "-o", str(job / "o.nc"), "--held", "cut"]) == 1
    assert (job / "o.nc").read_text() == text
    assert "no motion comes near a floor" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["", "\xff\xfe binary"])
def test_wrong_programmes_exit_2_without_traceback(job, capsys, text):
    (job / "finish.nc").write_text(text, encoding="latin-1")
    assert call(job, "--held", "cut") == 2
    error = capsys.readouterr().err
    assert "finish.nc" in error
    assert "Traceback" not in error


def test_missing_files_are_named(job, capsys):
    assert main(["apply", str(job / "none"), str(job / "finish.nc"), "-o", str(job / "out.nc")]) == 2
    assert main(["apply", str(job / "job"), str(job / "none.nc"), "-o", str(job / "out.nc")]) == 2
    assert "none.nc" in capsys.readouterr().err


def test_programme_or_lines_but_not_both(job, capsys):
    assert main(["apply", str(job / "job"), "-o", str(job / "out.nc")]) == 2
    assert "either PROGRAM or --lines" in capsys.readouterr().err


def test_lines_from_a_template(tmp_path, capsys):
    record = record_factory.frame()
    part = write_job(tmp_path / "job", record)
    template = tmp_path / "lines.txt"
    template.write_text('#{{ 500 + number }}={{ "%.4f"|format(offset_mm) }} ({{ id }} {{ slope_x }} {{ slope_y }})')
    args = ["apply", str(tmp_path / "job"), "--lines", str(template), "-o", str(tmp_path / "out.txt")]
    assert main([*args]) == 2
    assert "is held" in capsys.readouterr().err
    follows = any(decision.action == "follow" for decision in record.decisions)
    assert main([*args, "--held", "skip"]) == (2 if follows else 1)
    assert follows or len((tmp_path / "out.txt").read_text().splitlines()) < len(part.pockets)


def test_odd_names_do_no_harm(unpainted, tmp_path):
    text = record_factory.odd_names().model_dump_json()
    record = Record.model_validate_json(text.replace("line\\nbreak\\ttab", "another name"))
    part = write_job(tmp_path / "job", record)
    (tmp_path / "finish.nc").write_text(program_for(part), encoding="ascii")
    assert call(tmp_path, "--held", "cut") in (0, 1)
    assert (tmp_path / "out.nc").read_bytes().isascii()
