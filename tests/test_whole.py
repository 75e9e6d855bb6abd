"""Files and folders that appear whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from floorfit.errors import OutputError
from floorfit.whole import refuse_existing, whole_file, whole_folder


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_folder_appears_when_the_block_ends_well(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "job", replace=False) as folder:
        (folder / "a.txt").write_text("a")
        assert "job" not in _names(tmp_path)
    assert _names(tmp_path) == ["job"]
    assert _names(tmp_path / "job") == ["a.txt"]


def test_folder_vanishes_when_the_block_fails(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="half way"), whole_folder(tmp_path / "job", replace=False) as folder:
        (folder / "a.txt").write_text("a")
        raise RuntimeError("half way")
    assert _names(tmp_path) == []


def test_old_folder_survives_a_failure_and_is_replaced_by_success(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "old.txt").write_text("old")
    with pytest.raises(RuntimeError, match="half way"), whole_folder(tmp_path / "job", replace=True):
        raise RuntimeError("half way")
    assert _names(tmp_path / "job") == ["old.txt"]
    with whole_folder(tmp_path / "job", replace=True) as folder:
        (folder / "new.txt").write_text("new")
    assert _names(tmp_path) == ["job"]
    assert _names(tmp_path / "job") == ["new.txt"]


def test_file_appears_whole(tmp_path: Path) -> None:
    with whole_file(tmp_path / "part.json", replace=False) as path:
        path.write_text("{}")
    assert _names(tmp_path) == ["part.json"]
    with pytest.raises(RuntimeError, match="half way"), whole_file(tmp_path / "part.json", replace=True) as path:
        path.write_text("half")
        raise RuntimeError("half way")
    assert (tmp_path / "part.json").read_text() == "{}"


@pytest.mark.parametrize("whole", [whole_file, whole_folder])
def test_existing_output_is_refused(whole, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(OutputError, match=r"exists already.*--replace"), whole(tmp_path / "out", replace=False):
        pass
    with pytest.raises(OutputError, match="--replace"):
        refuse_existing(tmp_path / "out", replace=False)
    refuse_existing(tmp_path / "out", replace=True)
    refuse_existing(tmp_path / "other", replace=False)


def test_file_and_folder_are_not_mixed_up(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a folder"), whole_file(tmp_path / "folder", replace=True):
        pass
    with pytest.raises(OutputError, match="is a file"), whole_folder(tmp_path / "file", replace=True):
        pass


def test_missing_parent_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="Make the folder first"), whole_file(tmp_path / "no" / "x", replace=False):
        pass
