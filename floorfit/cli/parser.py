"""The parser of arguments: a wrong call is answered in one line that names what helps."""

from __future__ import annotations

import argparse
import difflib
import sys
from collections.abc import Callable
from typing import Any, NoReturn

from floorfit.cli.help import HelpFormatter

__all__ = ["OneLineParser", "Print", "completion", "version"]


class OneLineParser(argparse.ArgumentParser):
    """Refuses in one line: what is wrong, the nearest option, and where all of them are listed."""

    def __init__(self, **stated: Any) -> None:
        """Take what an `argparse.ArgumentParser` takes."""
        super().__init__(**{"formatter_class": HelpFormatter, **stated})
        self.register("action", None, _StoreOnce)

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with 2."""
        self.exit(2, f"{self.prog}: {message.rstrip('.')}.{self._nearest(message)} See `{self.prog} --help`.\n")

    def _nearest(self, message: str) -> str:
        """Return the option most like one that is not known."""
        _, found, rest = message.partition("unrecognized arguments: ")
        known = self._known_options()
        near = difflib.get_close_matches(rest.split()[0].split("=")[0], known, 1) if found else []
        return f" Did you mean {near[0]}?" if near else ""

    def _known_options(self) -> list[str]:
        """Return the options of this parser and of the command that was called."""
        called = [action.choices for action in self._actions if isinstance(action, argparse._SubParsersAction)]
        parsers = [self, *(one for choices in called for name, one in choices.items() if name in sys.argv)]
        return [name for one in parsers for name in one._option_string_actions]


class _StoreOnce(argparse.Action):
    """Keep a value, and refuse a second one: of two that differ the first was dropped without a word."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: Any, option_string: Any = None
    ) -> None:
        """Keep it."""
        given = vars(namespace).setdefault("given", set())
        if option_string and self.dest in given:
            parser.error(f"{option_string} is given twice, once was expected")
        given.add(self.dest)
        setattr(namespace, self.dest, values)


class Print(argparse.Action):
    """Print a text and leave; what makes it, the action's ``const``, is called only then."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: Any, option_string: Any = None
    ) -> None:
        """Print it."""
        text: Callable[[argparse.ArgumentParser, Any], str] = self.const
        print(text(parser, values))
        parser.exit(0)


def completion(parser: argparse.ArgumentParser, shell: str) -> str:
    """Return the completion script of a shell.

    Parameters
    ----------
    parser : argparse.ArgumentParser
    shell : str
    """
    import shtab

    return str(shtab.complete(parser, shell=shell))


def version(parser: argparse.ArgumentParser, values: object) -> str:
    """Return name and version of what is installed.

    Parameters
    ----------
    parser, values : object
        As every `Print` hands on; not needed.
    """
    from floorfit.versions import version_of

    return f"floorfit {version_of('floorfit')}"
