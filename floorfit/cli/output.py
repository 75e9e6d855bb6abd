"""Where commands write: results on stdout, messages on stderr, and files that appear whole or not at all."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from floorfit.cli.left_behind import HELD, clear_left_behind, temporary_folder
from floorfit.errors import OutputError
from floorfit.plain_text import printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress

__all__ = [
    "answer", "progress_bar", "refuse_existing", "say", "stderr_console", "stdout_console", "whole_file",
    "whole_folder",
]  # fmt: skip


def say(text: str) -> None:
    """Print one message for a person on stderr."""
    print(printable(text), file=sys.stderr)


def answer(text: str) -> None:
    """Print one line of the result on stdout."""
    print(text)


def stdout_console() -> Console:
    """Return a rich console on stdout: no colour when piped or with NO_COLOR, 120 columns when piped."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 120, highlight=False)


def stderr_console() -> Console:
    """Return a rich console on stderr: no colour when piped or with NO_COLOR, 80 columns when piped."""
    from rich.console import Console

    width = None if sys.stderr.isatty() else 80
    return Console(stderr=True, width=width, highlight=False, soft_wrap=False)


def progress_bar() -> Progress:
    """Return a progress bar on stderr that shows nothing when stderr is not a terminal."""
    from rich.progress import Progress

    console = stderr_console()
    return Progress(console=console, transient=True, disable=not console.is_terminal)


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
    temporary = temporary_folder(path)
    try:
        yield temporary
        _swap(temporary, path)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


@contextmanager
def whole_file(target: str | Path, *, replace: bool) -> Iterator[Path]:
    """Give a temporary path that becomes the file ``target`` when the block ends well.

    Raises
    ------
    OutputError
        As `whole_folder`.
    """
    path = Path(target)
    refuse_existing(path, replace=replace)
    if path.is_dir():
        raise OutputError(f"{path}: is a folder, a file was expected. Choose another name.")
    temporary = temporary_folder(path)
    try:
        yield temporary / path.name
        os.replace(temporary / path.name, path)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def refuse_existing(path: Path, *, replace: bool) -> None:
    """Raise `OutputError` if ``path`` exists and may not be replaced; call it before the work starts.

    What runs that were killed left beside it is cleared first.
    """
    clear_left_behind(path.resolve().parent)
    if path.exists() and not replace:
        raise OutputError(f"{path}: exists already. Choose another name, or give --replace to overwrite it.")


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
