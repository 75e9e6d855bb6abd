"""The command line: arguments in, messages and exit codes out; no arithmetic.

Exit codes: 0 done, every pocket corrected and predicted (or verified) to conform; 1 done, at least one pocket is
held or does not conform; 2 the input or the call was refused, and nothing was written.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import sys
from collections.abc import Sequence

from floorfit.cli.help import HelpFormatter
from floorfit.cli.parser import OneLineParser, Print, completion, version
from floorfit.errors import FloorfitError
from floorfit.plain_text import printable
from floorfit.stop import NOTHING, stoppable

__all__ = ["main"]

#: Sub-commands in the order of the work; each is a module here with ``add_parser`` and ``run``.
COMMANDS = ("extract", "prior", "plan", "calibrate", "correct", "apply", "report", "verify", "series", "schema")

_EPILOG = """examples:
  floorfit correct part.json readings.csv -o job
  floorfit COMMAND --help

exit codes: 0 every pocket conforms; 1 a pocket is held or does not conform; 2 refused, nothing written
"""


def build_parser(names: Sequence[str] = COMMANDS) -> argparse.ArgumentParser:
    """Return the parser with some sub-commands, or all; imports nothing heavy."""
    parser = OneLineParser(
        prog="floorfit",
        description="Z offsets for pocket floors, from ultrasonic web readings of a plate that no longer lies flat.",
        epilog=_EPILOG,
        formatter_class=HelpFormatter,
    )
    parser.add_argument("--version", action=Print, const=version, nargs=0, help="show the version and exit")
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    shells = ["bash", "zsh", "tcsh"]
    parser.add_argument(
        "--print-completion", action=Print, const=completion, choices=shells, help="completion for a shell"
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in names:
        importlib.import_module(f"floorfit.cli.{name}").add_parser(commands)
    return parser


_NO_MEMORY = (
    "not enough memory for this input; nothing was written. Give the run more, or fewer readings (every tenth row)."
)
_NOT_READ = "who reads the output stopped before its end. Let it read all, or send it into a file (> table.txt)."


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the programme's name; those of the process when left out.
    """
    words = sys.argv[1:] if argv is None else argv
    debug = "--debug" in words
    gc.set_threshold(100_000, 50, 50)  # a drawing makes many small objects that live: looking them over costs a tenth
    try:
        return _run(words)
    except FloorfitError as error:
        return _refuse(str(error), debug)
    except KeyboardInterrupt as stopped:
        return _refuse(str(stopped) or NOTHING, debug)
    except MemoryError:
        return _refuse(_NO_MEMORY, debug)
    except BrokenPipeError:
        _let_go_of_stdout()
        return _refuse(_NOT_READ, debug)
    except OSError as error:
        return _refuse(f"{error.filename or 'file'}: {error.strerror or error}. Check the path.", debug)
    except BaseException as error:
        if type(error).__name__ == "PanicException":  # of a library in Rust, which no memory ends so
            return _refuse(_NO_MEMORY, debug)
        if not isinstance(error, Exception):
            raise
        text = f"internal fault ({type(error).__name__}: {error}). Nothing was written; run again with --debug."
        return _refuse(text, debug)


def _run(words: Sequence[str]) -> int:
    try:
        with stoppable():
            args = build_parser(words[:1] if words[:1] and words[0] in COMMANDS else COMMANDS).parse_args(words)
            return int(importlib.import_module(f"floorfit.cli.{args.command}").run(args))
    finally:
        sys.stdout.flush()  # here, where what goes wrong with it is said in one line


def _let_go_of_stdout() -> None:
    """Else the interpreter tries to write the rest as it ends (Python's documentation of signal, note on SIGPIPE)."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _refuse(text: str, debug: bool) -> int:
    if debug:
        import traceback

        traceback.print_exc()
    print(printable(f"floorfit: {text}"), file=sys.stderr)
    return 2
