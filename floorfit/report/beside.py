"""A second process that draws the PDF while the first draws the PNG and writes the page.

Drawing is most of a run's time, and the drawing library alone takes most of a second to load. The second process is
started when the inputs are known to be good; by the time there is a record it has loaded everything. It reads the
record from its file, as ``floorfit report`` does. Where it cannot run, the first process draws the PDF itself.
"""

from __future__ import annotations

import gc
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Beside", "drawing_beside"]


@dataclass(frozen=True)
class Beside:
    """A running second process that waits for a record to draw."""

    process: subprocess.Popen[bytes]

    def begin(self, record_file: Path, folder: Path) -> None:
        """Let it draw ``deviation_map.pdf`` of a record into a folder."""
        line = json.dumps([str(record_file.resolve()), str(folder.resolve())])
        assert self.process.stdin is not None
        with suppress(OSError):
            self.process.stdin.write(line.encode() + b"\n")
            self.process.stdin.close()

    def is_done(self) -> bool:
        """Wait for the end; whether the PDF was written."""
        return self.process.wait() == 0


@contextmanager
def drawing_beside() -> Iterator[Beside | None]:
    """Start the second process; None where there is one processor only or no process can be started.

    Yields
    ------
    Beside or None
        It is stopped at the end, whatever happened.
    """
    process = _started() if (os.cpu_count() or 1) > 1 else None
    try:
        yield None if process is None else Beside(process)
    finally:
        if process is not None:
            _stop(process)


def _started() -> subprocess.Popen[bytes] | None:
    """Python without the working folder on its path, so that nothing lying there is run."""
    call = [sys.executable, "-P", "-m", __name__]
    silent = subprocess.DEVNULL
    try:
        return subprocess.Popen(call, stdin=subprocess.PIPE, stdout=silent, stderr=silent)
    except OSError:
        return None


def _stop(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
    assert process.stdin is not None
    with suppress(OSError):
        process.stdin.close()


def _main() -> None:
    from floorfit.record import read_record
    from floorfit.report.map import load, write_pdf

    gc.set_threshold(100_000, 50, 50)  # as floorfit.cli.main
    load()
    line = sys.stdin.readline()
    if not line:
        sys.exit(1)
    record_file, folder = json.loads(line)
    write_pdf(read_record(record_file), folder)


if __name__ == "__main__":
    _main()
