"""Progress of long work on a terminal: which step, what share is done, how long it will take."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

__all__ = ["Course", "shown_steps"]

#: Seconds that a step takes on one processor: fixed, for a thousand readings, for a pocket. Measured on the samples, a
#: spar of 120 pockets and a million readings; the time left corrects itself by the steps that are over.
STEPS = {
    "reading": (0.1, 0.004, 0.0), "screening": (0.1, 0.02, 0.0), "fitting": (0.8, 0.01, 0.01),
    "deciding": (0.2, 0.002, 0.01), "making": (0.1, 0.006, 0.0), "writing the tables": (0.05, 0.025, 0.0),
    "drawing the maps": (1.5, 0.001, 0.012), "drawing the signer's": (0.6, 0.0, 0.008),
    "writing the page": (0.4, 0.001, 0.003),
}  # fmt: skip


@dataclass
class Course:
    """Where the work stands: the step, and the seconds that steps take by estimate and by the clock."""

    readings: float
    pockets: int = 100
    clock: Callable[[], float] = time.monotonic
    begun: float = 0.0
    step: str = "reading"
    words: str = "reading the files"
    since: float = field(default=0.0)

    def __post_init__(self) -> None:
        """Start the clock."""
        self.begun = self.since = self.clock()

    def begin(self, words: str) -> None:
        """Begin a step; words that are not known count for the step before."""
        self.words = words
        found = next((name for name in STEPS if words.startswith(name)), None)
        if found is not None:
            self.step, self.since = found, self.clock()

    def expected(self, name: str) -> float:
        """Return the seconds that a step should take."""
        fixed, thousand, pocket = STEPS[name]
        return fixed + thousand * self.readings / 1000 + pocket * self.pockets

    def line(self) -> str:
        """Return the step, the share of the work that is done, and the time that is left."""
        names = list(STEPS)
        at, now = names.index(self.step), self.clock()
        before = sum(self.expected(name) for name in names[:at])
        after = sum(self.expected(name) for name in names[at + 1 :])
        slower = (self.since - self.begun) / before if before > 0.5 else 1.0
        here = max(self.expected(self.step) * slower, (now - self.since) * 1.05)
        done = self.since - self.begun + (now - self.since)
        left = here - (now - self.since) + after * slower
        share = done / max(done + left, 1e-9)
        return f"{self.words} ({at + 1} of {len(names)}), {100 * share:.0f} %, about {_span(left)} left"


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


@contextmanager
def shown_steps(course: Course) -> Iterator[Callable[[str], None]]:
    """Show the course of the work on stderr while the block runs; nothing where that is not a terminal.

    Yields
    ------
    callable
        To be told the words of each step as it begins.
    """
    if not sys.stderr.isatty():
        yield course.begin
        return
    from rich.live import Live
    from rich.text import Text

    from floorfit.cli.output import stderr_console

    with Live(
        console=stderr_console(), transient=True, refresh_per_second=4, get_renderable=lambda: Text(course.line())
    ):
        yield course.begin
