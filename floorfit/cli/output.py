"""What commands print: results on stdout, messages on stderr."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from floorfit.plain_text import printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress

__all__ = ["answer", "progress_bar", "say", "stderr_console"]


def say(text: str) -> None:
    """Print one message for a person on stderr."""
    print(printable(text), file=sys.stderr)


def answer(text: str) -> None:
    """Print lines of the result on stdout."""
    print(text)


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
