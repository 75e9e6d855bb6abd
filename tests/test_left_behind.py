"""What killed runs leave beside an output is cleared by a later run; nobody else's folder ever is."""

from __future__ import annotations

import importlib
import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest
import small_part

import floorfit
from floorfit.left_behind import HELD, clear_left_behind, temporary_folder
from floorfit.whole import whole_folder

#: A run that is half way: its folder is made, nothing is in place.
HALF_WAY = """
import sys, time
from floorfit.whole import whole_folder
with whole_folder(sys.argv[1], replace=True) as folder:
    (folder / "half.txt").write_text("half")
    print("half way", flush=True)
    time.sleep(60)
"""


def _killed(target: Path) -> None:
    """Leave behind what a run killed by SIGKILL leaves (POSIX: it can be neither caught nor ignored)."""
    with subprocess.Popen([sys.executable, "-c", HALF_WAY, str(target)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "half way\n"
        process.send_signal(signal.SIGKILL)


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def _of_the_dead(folder: Path) -> Path:
    """The same folder under the number of a process that has ended."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    return folder.rename(folder.with_name(folder.name.replace(f"-{os.getpid()}-", f"-{ended.pid}-")))


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_later_run_clears_what_a_killed_one_left(tmp_path: Path) -> None:
    _killed(tmp_path / "job")
    assert len(_names(tmp_path)) == 1
    assert not (tmp_path / "job").exists()
    with whole_folder(tmp_path / "another", replace=False):
        pass
    assert _names(tmp_path) == ["another"]


def test_a_run_that_lives_is_left_alone(tmp_path: Path) -> None:
    folder = temporary_folder(tmp_path / "job")
    clear_left_behind(tmp_path)
    assert _names(tmp_path) == [folder.name]


@pytest.mark.parametrize(
    "change",
    [
        lambda name: name.replace(".floorfit-", ".other-"),
        lambda name: name.replace("floorfit-", "floorfit-0"),  # a host of another name
        lambda name: name.lstrip("."),
        lambda name: name + ".bak",
        lambda name: ".job.floorfit-notes",
    ],
)
def test_a_strangers_folder_is_left_alone(tmp_path: Path, change) -> None:
    folder = _of_the_dead(temporary_folder(tmp_path / "job"))
    stranger = folder.rename(folder.with_name(change(folder.name)))
    clear_left_behind(tmp_path)
    assert _names(tmp_path) == [stranger.name]


def test_a_link_of_such_a_name_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "work.txt").write_text("mine")
    folder = _of_the_dead(temporary_folder(tmp_path / "job"))
    folder.rmdir()
    folder.symlink_to(tmp_path / "own", target_is_directory=True)
    clear_left_behind(tmp_path)
    assert (tmp_path / "own" / "work.txt").read_text() == "mine"
    assert folder.is_symlink()


def test_an_old_result_that_lost_its_place_is_put_back(tmp_path: Path) -> None:
    folder = temporary_folder(tmp_path / "job", is_old=True)
    (folder / HELD).mkdir()
    (folder / HELD / "offsets.csv").write_text("old")
    _of_the_dead(folder)
    clear_left_behind(tmp_path)
    assert _names(tmp_path) == ["job"]
    assert (tmp_path / "job" / "offsets.csv").read_text() == "old"


def test_an_old_result_gives_way_where_the_new_one_came(tmp_path: Path) -> None:
    folder = temporary_folder(tmp_path / "job", is_old=True)
    (folder / HELD).mkdir()
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "offsets.csv").write_text("new")
    _of_the_dead(folder)
    clear_left_behind(tmp_path)
    assert (tmp_path / "job" / "offsets.csv").read_text() == "new"
    assert _names(tmp_path) == ["job"]


@pytest.mark.parametrize("step", [0, 1])
def test_stop_between_the_two_renames_keeps_the_old_result(tmp_path: Path, monkeypatch, step: int) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "offsets.csv").write_text("old")
    renamed, real = [], os.rename

    def stopping(a, b) -> None:
        if len(renamed) == step:
            renamed.append(a)
            raise KeyboardInterrupt
        renamed.append(a)
        real(a, b)

    monkeypatch.setattr(os, "rename", stopping)
    with pytest.raises(KeyboardInterrupt), whole_folder(tmp_path / "job", replace=True):
        pass
    assert _names(tmp_path) == ["job"]
    assert (tmp_path / "job" / "offsets.csv").read_text() == "old"


def test_stop_while_the_folder_is_made_leaves_none(tmp_path: Path, monkeypatch) -> None:
    real = Path.mkdir

    def stopping(folder: Path) -> None:
        real(folder)
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "mkdir", stopping)
    with pytest.raises(KeyboardInterrupt), whole_folder(tmp_path / "job", replace=False):
        pass
    assert _names(tmp_path) == []


def test_pictures_of_a_killed_run_are_cleared_by_the_next(tmp_path: Path, monkeypatch) -> None:
    write, job = importlib.import_module("floorfit.report.write"), tmp_path / "job"
    left = []

    def killed(record: object, folder: Path, **options: object) -> None:
        left.append(_of_the_dead(Path(folder)))

    floorfit.correct(small_part.part(), small_part.readings(small_part.plane)).save(job, pictures=False)
    monkeypatch.setattr(write, "write_report", killed)
    with pytest.raises(FileNotFoundError):
        floorfit.report(job)
    assert left[0].parent == job and left[0].is_dir()
    with pytest.raises(FileNotFoundError):
        floorfit.report(job)
    assert not left[0].exists()


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("number", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_told_to_stop_ends_clean_with_one_line_and_exit_2(tmp_path: Path, number: str) -> None:
    here = tmp_path / "here"
    here.mkdir()
    (tmp_path / "part.json").write_text(json.dumps(small_part.document()), encoding="utf-8")
    (tmp_path / "readings.csv").write_text(small_part.readings_csv(), encoding="utf-8")
    call = [sys.executable, "-m", "floorfit", "correct", tmp_path / "part.json", tmp_path / "readings.csv", "-o", "job"]
    # A shell starts what runs behind it with SIGINT ignored, and a run keeps to that: here it must hear.
    heard = partial(signal.signal, getattr(signal, number), signal.SIG_DFL)
    with subprocess.Popen(call, cwd=here, stderr=subprocess.PIPE, text=True, preexec_fn=heard) as process:
        end = time.monotonic() + 60
        while not _names(here) and time.monotonic() < end:
            time.sleep(0.01)
        process.send_signal(getattr(signal, number))
        _, said = process.communicate(timeout=60)
    assert process.returncode == 2
    assert said.splitlines()[-1] == "floorfit: stopped; nothing was written."
    assert "Traceback" not in said
    assert _names(here) == []
