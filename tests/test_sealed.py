"""A job that was edited by hand is noticed by every command that reads it; an untouched one never is."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest
import small_part

from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.record import Record, read_record
from floorfit.sealed import digest, write_sealed
from floorfit.verify.parts import series as series_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    (folder / "part.json").write_text(json.dumps(small_part.document()), encoding="utf-8")
    (folder / "readings.csv").write_text(small_part.readings_csv(), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("floorfit.folder.write_report", lambda *_, **__: None)
        assert (
            main(["correct", str(folder / "part.json"), str(folder / "readings.csv"), "-o", str(folder / "job")]) == 0
        )
    return folder / "job"


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "job"))


def _offset_changed(text: str) -> str:
    offset = json.loads(text)["decisions"][1]["offset_mm"]
    return text.replace(f'"offset_mm":{offset}', '"offset_mm":0.5', 1)


EDITS = {
    "an offset in the record": ("record.json", _offset_changed),
    "a setting in the record": ("record.json", lambda text: text.replace('"level":0.95', '"level":0.85')),
    "the seal itself": (
        "record.json",
        lambda text: text.replace('"seal":{"record.json":"', '"seal":{"record.json":"0'),
    ),
    "the record set out anew": ("record.json", lambda text: json.dumps(json.loads(text), indent=1)),
    "a row of offsets.csv": ("offsets.csv", lambda text: text.replace("shift,0.", "shift,1.", 1)),
    "a row of readings.csv": ("readings.csv", lambda text: text.replace("yes", "no", 1)),
}


@pytest.mark.parametrize("name", EDITS)
def test_edit_is_refused_with_the_file_and_the_remedy(job: Path, name: str) -> None:
    file, edit = EDITS[name]
    before = (job / file).read_text(encoding="utf-8")
    (job / file).write_text(edit(before), encoding="utf-8")
    assert (job / file).read_text(encoding="utf-8") != before
    with pytest.raises(InputError, match=rf"{file}: was changed after .*run `correct` again"):
        read_record(job)
    with pytest.raises(InputError, match=f"{file}: was changed"):  # no other job is left to read
        series_of([job])


@pytest.mark.parametrize("command", ["apply", "report", "verify"])
def test_commands_refuse_a_changed_job(job: Path, command: str, tmp_path: Path, capsys) -> None:
    (job / "offsets.csv").write_text((job / "offsets.csv").read_text().replace("0.1", "0.2"), encoding="utf-8")
    (tmp_path / "x").write_text("G21 G90\nM30\n")
    words = {"apply": [str(tmp_path / "x")], "verify": [str(tmp_path / "x")], "report": []}[command]
    assert main([command, str(job), *words, "-o", str(tmp_path / "out")]) == 2
    assert "offsets.csv: was changed" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_series_names_a_changed_job_and_leaves_it_out(job: Path, made: Path, tmp_path: Path) -> None:
    whole = shutil.copytree(made, tmp_path / "whole")
    (job / "offsets.csv").write_text("pocket\n")
    series = series_of([whole, job])
    assert len(series.jobs) == 1 and not series.is_whole
    assert "was changed" in " ".join(str(one) for one in series.findings)


def test_untouched_job_is_read_also_after_a_move_and_without_its_tables(job: Path, tmp_path: Path) -> None:
    there = shutil.move(job, tmp_path / "elsewhere")
    record = read_record(there)
    alone = tmp_path / "record.json"
    shutil.copy(Path(there) / "record.json", alone)
    assert read_record(alone).model_dump_json() == record.model_dump_json()


def test_seal_is_that_of_the_bytes(job: Path) -> None:
    # SHA-256 (FIPS 180-4) by the standard library, of the record's bytes with "seal":null, and of the table's.
    text = (job / "record.json").read_text(encoding="utf-8")
    seal = json.loads(text)["seal"]
    open_text = text[: text.index(',"seal":')] + ',"seal":null}'
    assert seal["record.json"] == hashlib.sha256(open_text.encode()).hexdigest()
    assert seal["offsets.csv"] == hashlib.sha256((job / "offsets.csv").read_bytes()).hexdigest()


def test_pieces_are_the_record(job: Path) -> None:
    record = read_record(job)
    assert "".join(record.pieces()) == record.model_dump_json()


def test_record_without_a_seal_is_read_as_before(job: Path) -> None:
    record = read_record(job).model_copy(update={"seal": None})
    (job / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    (job / "offsets.csv").write_text("pocket\n")
    assert read_record(job).model_dump_json() == record.model_dump_json()


def test_a_record_with_another_last_entry_is_not_sealed(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="last entry"):
        write_sealed(['{"seal":null,', '"more":"than that"}'], tmp_path / "record.json")
    assert list(Record.model_fields)[-1] == "seal"


def test_digest_of_a_known_text(tmp_path: Path) -> None:
    # FIPS 180-4 example: SHA-256 of "abc".
    path = tmp_path / "text"
    path.write_bytes(b"abc")
    assert digest(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
