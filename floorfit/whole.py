"""Files and folders that appear whole or not at all, and never over what is there unasked."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from floorfit.errors import OutputError
from floorfit.left_behind import HELD, clear_left_behind, passing_folder, temporary_folder
from floorfit.stop import undisturbed

__all__ = ["moment", "refuse_existing", "whole_file", "whole_folder"]


def moment() -> datetime:
    """Return the time now, UTC, or that of SOURCE_DATE_EPOCH where it is set: files then repeat byte for byte."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return datetime.fromtimestamp(int(epoch), UTC) if epoch.isdigit() else datetime.now(UTC)


@contextmanager
def whole_folder(target: str | Path, *, replace: bool) -> Iterator[Path]:
    """Give a temporary folder that becomes ``target`` when the block ends well, and vanishes when it does not.

    Parameters
    ----------
    target : path
        Folder to make.
    replace : bool
        Whether an existing one may be replaced.

    Raises
    ------
    OutputError
        If the target exists and ``replace`` is false, is not a folder, or its parent cannot be written.
    """
    path = Path(target)
    refuse_existing(path, replace=replace)
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path}: is a file, a folder was expected. Choose another name.")
    with passing_folder(path) as temporary:
        yield temporary
        with undisturbed(str(target)):
            _swap(temporary, path)


@contextmanager
def whole_file(target: str | Path, *, replace: bool) -> Iterator[Path]:
    """Give a temporary path that becomes the file ``target`` when the block ends well.

    Parameters
    ----------
    target : path
        File to make.
    replace : bool
        Whether an existing one may be replaced.

    Raises
    ------
    OutputError
        As `whole_folder`.
    """
    path = Path(target)
    refuse_existing(path, replace=replace)
    if path.is_dir():
        raise OutputError(f"{path}: is a folder, a file was expected. Choose another name.")
    with passing_folder(path) as temporary:
        yield temporary / path.name
        with undisturbed(str(target)):
            os.replace(temporary / path.name, path)


def refuse_existing(path: str | Path, *, replace: bool) -> None:
    """Refuse an output that cannot be made; call it before the work starts.

    What runs that were killed left beside it is cleared first.

    Parameters
    ----------
    path : path
        File or folder that will be made.
    replace : bool
        Whether an existing one may be replaced.

    Raises
    ------
    OutputError
        If it exists and ``replace`` is false, or its parent is no folder that can be written.
    """
    target = Path(path)
    parent = target.resolve().parent
    clear_left_behind(parent)
    if target.exists() and not replace:
        raise OutputError(f"{path}: exists already. Choose another name, or give --replace to overwrite it.")
    if not (parent.is_dir() and os.access(parent, os.W_OK)):
        raise OutputError(f"{parent}: cannot be written. Make the folder first.")


def _swap(temporary: Path, path: Path) -> None:
    """Put the new result in the old one's place; the old one comes back whatever stops this half way."""
    if not path.exists():
        os.rename(temporary, path)
        return
    old = temporary_folder(path, is_old=True)
    try:
        os.rename(path, old / HELD)
        os.rename(temporary, path)
    finally:
        if not path.exists():
            os.rename(old / HELD, path)
        shutil.rmtree(old, ignore_errors=True)
