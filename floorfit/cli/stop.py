"""A run that is told to stop ends as after Ctrl-C: what it had begun is taken away, one line is said."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["stoppable"]

#: Ctrl-C, the end asked for by another process, and a terminal that is closed.
_SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


@contextmanager
def stoppable() -> Iterator[None]:
    """Let the signals that ask for an end raise `KeyboardInterrupt`, once: a second one must not stop the cleaning up.

    A signal that was ignored when the run began (``nohup``) stays ignored. Only the first thread can set signals; in
    another one nothing is changed. A library that makes an error of its own of the interrupt does not hide it.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in _SIGNALS}
    taken = [number for number, handler in before.items() if handler is not signal.SIG_IGN]

    came: list[int] = []

    def stop(number: int, frame: object) -> None:
        came.append(number)
        for one in taken:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    try:
        for number in taken:
            signal.signal(number, stop)
        yield
    except Exception as error:
        if not came:
            raise
        raise KeyboardInterrupt from error
    finally:
        for number in taken:
            signal.signal(number, before[number])
