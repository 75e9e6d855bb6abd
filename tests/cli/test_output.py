"""Messages go to stderr, plain where it is no terminal."""

from __future__ import annotations

import pytest

from floorfit.cli.output import progress_bar, say, stderr_console


def test_messages_go_to_stderr(capsys: pytest.CaptureFixture[str]) -> None:
    say("hello")
    stderr_console().print("there")
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == "hello\nthere\n"


def test_piped_console_is_plain_and_80_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    console = stderr_console()
    assert console.width == 80
    assert not console.is_terminal
    assert progress_bar().disable
