"""Signals that ask for an end, inside one process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from pydantic import BaseModel, field_serializer

from floorfit.stop import Stopped, stoppable, undisturbed

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")


def test_first_signal_stops_and_a_second_does_not_disturb_the_cleaning_up() -> None:
    cleaned = False
    with pytest.raises(KeyboardInterrupt), stoppable():
        try:
            signal.raise_signal(signal.SIGTERM)
        finally:
            signal.raise_signal(signal.SIGTERM)
            signal.raise_signal(signal.SIGINT)
            cleaned = True
    assert cleaned


def test_handlers_are_as_before_afterwards() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt), stoppable():
        signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) is before


def test_what_was_ignored_stays_ignored() -> None:
    # `nohup` starts a command with SIGHUP ignored (POSIX, nohup utility).
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stoppable():
            signal.raise_signal(signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)


def test_other_threads_change_nothing() -> None:
    seen = []

    def inside() -> None:
        with stoppable():
            seen.append(signal.getsignal(signal.SIGTERM))

    before = signal.getsignal(signal.SIGTERM)
    thread = threading.Thread(target=inside)
    thread.start()
    thread.join()
    assert seen == [before]


class _Stopped(BaseModel):
    """Is told to stop while it is written; pydantic makes an error of its own of what a serializer raises."""

    number: int = 1

    @field_serializer("number")
    def written(self, number: int) -> int:
        signal.raise_signal(signal.SIGTERM)
        return number


def test_a_library_that_wraps_the_interrupt_does_not_hide_it() -> None:
    with pytest.raises(KeyboardInterrupt), stoppable():
        _Stopped().model_dump_json()


def test_an_error_of_its_own_stays_what_it_is() -> None:
    with pytest.raises(ZeroDivisionError), stoppable():
        raise ZeroDivisionError


class _Forgetful:
    """Is told to stop while Python clears it away: what is raised there is passed over (documentation of __del__)."""

    def __del__(self) -> None:
        signal.raise_signal(signal.SIGTERM)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_request_that_was_swallowed_comes_out_before_the_result_stands() -> None:
    with pytest.raises(Stopped, match="nothing was written"), stoppable():
        _Forgetful()
        with undisturbed("job"):
            pytest.fail("put in place")


def test_a_request_while_the_result_is_put_in_place_comes_after_and_says_what_stands() -> None:
    done = False
    with pytest.raises(Stopped, match="written before that: job"), stoppable(), undisturbed("job"):
        signal.raise_signal(signal.SIGTERM)
        done = True
    assert done
    with pytest.raises(Stopped, match="nothing was written"), stoppable():
        signal.raise_signal(signal.SIGTERM)


def test_a_request_inside_exec_leaves_the_exit_code(tmp_path: Path) -> None:
    # A plain KeyboardInterrupt there ends `python -m` by SIGINT (CPython, Python/pythonrun.c): so ours is none.
    code = """
import sys
from floorfit.stop import Stopped
try:
    exec("raise Stopped([])")
except KeyboardInterrupt:
    sys.exit(2)
"""
    (tmp_path / "told.py").write_text(code)
    assert subprocess.run([sys.executable, "-m", "told"], cwd=tmp_path, check=False).returncode == 2


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_whatever_asks_for_an_end_stops(name: str) -> None:
    # The default action of all three ends a process (POSIX, signal.h): the interrupt, the end, a closed terminal.
    number = getattr(signal, name)
    before = signal.signal(number, signal.SIG_DFL)
    try:
        with pytest.raises(Stopped), stoppable():
            assert signal.getsignal(number) is not signal.SIG_DFL
            signal.raise_signal(number)
        assert signal.getsignal(number) is signal.SIG_DFL
    finally:
        signal.signal(number, before)
