"""Temporary folders beside an output: named after who made them, so that a later run can clear what a killed one left.

A name is ``.TARGET.floorfit-HOST-PID-RANDOM``; with ``-old`` after ``floorfit`` it holds an old result while a new one
takes its place. A folder is cleared only where the name is ours to the letter, the host is this one, its owner is who
runs now, and no process of that number lives. Anything else is a stranger's and is left alone.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from floorfit.errors import OutputError

__all__ = ["HELD", "clear_left_behind", "passing_folder", "temporary_folder"]

#: Name of an old result inside the folder that holds it for the moment of a replacement.
HELD = "was"

_NAME = re.compile(r"\.(?P<target>.+)\.floorfit(?P<old>-old)?-(?P<host>[0-9a-f]{8})-(?P<pid>\d+)-[0-9A-Za-z_]{8}")


@contextmanager
def passing_folder(target: Path) -> Iterator[Path]:
    """Give a folder as `temporary_folder` makes it, which vanishes with the block, whatever stopped its making.

    Parameters
    ----------
    target : Path
        What will be made.
    """
    folder = _named(target, "floorfit")
    try:
        yield _made(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def temporary_folder(target: Path, *, is_old: bool = False) -> Path:
    """Make an empty folder beside a target, on the same disk.

    Parameters
    ----------
    target : Path
        What will be made.
    is_old : bool
        Whether it holds the old result, which a later run puts back where the new one never came.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        If the parent cannot be written.
    """
    return _made(_named(target, "floorfit-old" if is_old else "floorfit"))


def _named(target: Path, kind: str) -> Path:
    return target.resolve().parent / f".{target.name}.{kind}-{_host()}-{os.getpid()}-{secrets.token_hex(4)}"


def _made(folder: Path) -> Path:
    try:
        folder.mkdir()
    except OSError as error:
        raise OutputError(f"{folder.parent}: cannot be written ({error.strerror}). Make the folder first.") from error
    return folder


def clear_left_behind(parent: Path) -> None:
    """Remove what killed runs left in a folder; an old result that lost its place is put back.

    Parameters
    ----------
    parent : Path
        Where outputs go. One that cannot be read is passed over.
    """
    try:
        entries = [Path(entry.path) for entry in os.scandir(parent) if entry.name.startswith(".")]
    except OSError:
        return
    for path in entries:
        found = _NAME.fullmatch(path.name)
        if found is not None and _is_dead(path, found):
            if found["old"]:
                _put_back(path / HELD, parent / found["target"])
            shutil.rmtree(path, ignore_errors=True)


def _put_back(held: Path, target: Path) -> None:
    if held.exists() and not target.exists():
        os.rename(held, target)


def _is_dead(path: Path, found: re.Match[str]) -> bool:
    """Whether the folder was made on this host, by this user, in a process that is no more."""
    if found["host"] != _host() or path.is_symlink() or not path.is_dir():
        return False
    if hasattr(os, "getuid") and path.stat().st_uid != os.getuid():
        return False
    return not _lives(int(found["pid"]))


def _lives(pid: int) -> bool:
    if os.name != "posix" or pid < 1:  # elsewhere asking after a process may end it
        return True
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def _host() -> str:
    import platform

    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]
