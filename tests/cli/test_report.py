from pathlib import Path

import pytest
import record_factory

from floorfit.cli import main


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "record.json").write_text(record_factory.inch_part().model_dump_json(), encoding="utf-8")
    return folder


def test_pictures_and_page_come_from_the_record_alone(job: Path, tmp_path: Path, capsys) -> None:
    assert main(["report", str(job), "-o", str(tmp_path / "out")]) == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["deviation_map.pdf", "deviation_map.png", "report.html", "sign_off.pdf"]
    captured = capsys.readouterr()
    assert captured.out == "" and "report.html" in captured.err


def test_mesh_states_its_factor(job: Path, tmp_path: Path, capsys) -> None:
    assert main(["report", str(job), "--mesh", str(tmp_path / "u.ply"), "--exaggeration", "300"]) == 0
    assert "300 times" in capsys.readouterr().err
    assert b"height times 300" in (tmp_path / "u.ply").read_bytes()[:600]


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["--mesh", "u.stl"], ".glb or .ply"),
        (["--mesh", "u.glb", "--exaggeration", "-2"], "above zero"),
        (["-o", "out", "--exaggeration", "2"], "goes with --mesh"),
    ],
)
def test_calls_that_make_no_sense_are_refused(job: Path, tmp_path: Path, monkeypatch, capsys, arguments, words) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(job), *arguments]) == 2
    assert words in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_existing_output_stays_unless_replaced(job: Path, tmp_path: Path, capsys) -> None:
    target = tmp_path / "u.glb"
    target.write_text("mine")
    assert main(["report", str(job), "--mesh", str(target)]) == 2
    assert target.read_text() == "mine" and "--replace" in capsys.readouterr().err
    assert main(["report", str(job), "--mesh", str(target), "--replace"]) == 0
    assert target.read_bytes()[:4] == b"glTF"


def test_record_of_another_version_is_refused(job: Path, tmp_path: Path, capsys) -> None:
    file = job / "record.json"
    file.write_text(file.read_text().replace("floorfit-record/1", "floorfit-record/9"))
    assert main(["report", str(job), "-o", str(tmp_path / "out")]) == 2
    message = capsys.readouterr().err
    assert "record.json" in message and "floorfit-record/1" in message
    assert not (tmp_path / "out").exists()


def test_job_without_a_record_is_refused(tmp_path: Path, capsys) -> None:
    assert main(["report", str(tmp_path), "-o", str(tmp_path / "out")]) == 2
    assert "record.json" in capsys.readouterr().err


def test_without_a_folder_pictures_go_into_the_job(job: Path, capsys, request) -> None:
    assert main(["report", str(job), "--language", "de", "--show", "mm"]) == 0
    names = {path.name for path in job.iterdir()}
    assert names == {"record.json", "deviation_map.pdf", "deviation_map.png", "report.html", "sign_off.pdf"}
    assert "durchweg" not in capsys.readouterr().err and 'lang="de"' in (job / "report.html").read_text("utf-8")
    request.getfixturevalue("unpainted")  # what is painted was seen
    assert main(["report", str(job)]) == 2 and "--replace" in capsys.readouterr().err
    assert main(["report", str(job), "--replace"]) == 0
