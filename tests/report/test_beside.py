"""The second process that draws the PDF: it changes when the picture is drawn, never what is drawn."""

import sys
from pathlib import Path

import pytest
import record_factory

from floorfit.report.beside import drawing_beside
from floorfit.report.map import write_pdf
from floorfit.report.write import write_report

FILES = ["deviation_map.pdf", "deviation_map.png", "report.html"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder whose name is not plain ASCII."""
    made = tmp_path / "Bögen 3"
    made.mkdir()
    return made


def test_second_process_draws_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    record = record_factory.frame()
    file = tmp_path / "record.json"
    file.write_text(record.model_dump_json(), encoding="utf-8")
    with drawing_beside() as beside:
        assert beside is not None
        beside.begin(file, folder)
        assert beside.is_done()
    write_pdf(record, tmp_path)
    assert (folder / "deviation_map.pdf").read_bytes() == (tmp_path / "deviation_map.pdf").read_bytes()


def test_report_is_whole_when_the_second_process_fails(folder: Path, tmp_path: Path) -> None:
    with drawing_beside() as beside:
        write_report(record_factory.no_surface(), folder, beside=beside, record_file=tmp_path / "missing.json")
    assert sorted(path.name for path in folder.iterdir()) == FILES


def test_report_is_whole_where_no_process_can_start(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with drawing_beside() as beside:
        assert beside is None
        write_report(record_factory.no_surface(), folder, beside=beside, record_file=folder)
    assert sorted(path.name for path in folder.iterdir()) == FILES


def test_second_process_ends_with_the_run() -> None:
    with pytest.raises(KeyboardInterrupt, match="stop"), drawing_beside() as beside:
        raise KeyboardInterrupt("stop")
    assert beside is not None
    assert beside.process.poll() is not None
