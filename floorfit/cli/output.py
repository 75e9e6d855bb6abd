"""What commands print: results on stdout, messages on stderr."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from floorfit.plain_text import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from rich.console import Console
    from rich.progress import Progress

    from floorfit.errors import Finding

__all__ = ["answer", "counted", "progress_bar", "say", "say_findings", "stderr_console"]


def say(text: str) -> None:
    """Print one message for a person on stderr."""
    print(printable(text), file=sys.stderr)


def say_findings(findings: Iterable[Finding]) -> None:
    """Print findings on stderr, a line each."""
    for finding in findings:
        say(f"{finding.severity}: {finding}")


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


@contextmanager
def counted(words: str) -> Iterator[Callable[[int, int], None]]:
    """Show what is being counted while the block runs; yields what is to be told how many are done, of how many."""
    with progress_bar() as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
