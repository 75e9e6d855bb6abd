"""A run that is told to stop ends as after Ctrl-C: what it had begun is taken away, one line is said."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

__all__ = ["NOTHING", "Stopped", "stoppable", "undisturbed"]

#: Ctrl-C, the end asked for by another process, and a terminal that is closed.
_SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))

NOTHING = "stopped; nothing was written."


class Stopped(KeyboardInterrupt):
    """The run was told to stop; its text says whether a result stands.

    A class of its own: after one plain `KeyboardInterrupt` inside ``exec`` (a frozen class that is being made),
    ``python -m`` ends by SIGINT in place of the exit code (CPython, ``Python/pythonrun.c``).

    Parameters
    ----------
    stands : list of str
        Results that were in their place before.
    """

    def __init__(self, stands: list[str]) -> None:
        """Say it in one line."""
        super().__init__(f"stopped; written before that: {', '.join(stands)}." if stands else NOTHING)
        self.stands = tuple(stands)


@dataclass
class _Heard:
    """What the process heard while it listened; signals are the process's, so this is too."""

    came: bool = False
    held: bool = False
    stands: list[str] = field(default_factory=list)


_heard = _Heard()


@contextmanager
def stoppable() -> Iterator[None]:
    """Let the signals that ask for an end raise `Stopped`, once: a second one must not stop the cleaning up.

    A signal that was ignored when the run began (``nohup``) stays ignored. Only the first thread can set signals; in
    another one nothing is changed. A library that makes an error of its own of the interrupt does not hide it.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in _SIGNALS}
    taken = [number for number, handler in before.items() if handler is not signal.SIG_IGN]

    def stop(number: int, frame: object) -> None:
        _heard.came = True
        for one in taken:
            signal.signal(one, signal.SIG_IGN)
        if not _heard.held:
            raise Stopped(_heard.stands)

    try:
        for number in taken:
            signal.signal(number, stop)
        yield
    except Exception as error:
        if not _heard.came:
            raise
        raise Stopped(_heard.stands) from error
    finally:
        for number in taken:
            signal.signal(number, before[number])
        _heard.came, _heard.stands = False, []


@contextmanager
def undisturbed(result: str) -> Iterator[None]:
    """Put a result in its place: a request to stop comes before or after, and is never lost.

    Parameters
    ----------
    result : str
        What stands afterwards.

    Raises
    ------
    Stopped
        If a request came before and a library has swallowed it (what is raised while Python clears an object away is
        printed and passed over: Python's documentation of ``object.__del__``); or came meanwhile.
    """
    if _heard.came:
        raise Stopped(_heard.stands)
    _heard.held = True
    try:
        yield
        _heard.stands.append(result)
    finally:
        _heard.held = False
    if _heard.came:
        raise Stopped(_heard.stands)
