"""Options that several commands share: numbers, facts of a plate, and how pages are written."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorfit.report.format import Writing

__all__ = ["add_fact", "add_numbers", "add_writing", "writing_of"]


def add_numbers(
    group: argparse._ActionsContainer, *options: tuple[str, str, str] | tuple[str, str, str, float]
) -> None:
    """Add options that take a number: name, unit, help, and the value it has when it is not given (else None)."""
    for name, unit, words, *default in options:
        group.add_argument(name, type=float, metavar=unit, help=words, default=default[0] if default else None)


def add_fact(group: argparse._ActionsContainer, words: str) -> None:
    """Add the option that states a fact of the plate."""
    group.add_argument("--fact", action="append", default=[], type=_fact, metavar="KEY=TEXT", help=words)


def _fact(text: str) -> tuple[str, str]:
    """Return a key and its text; argparse names the option."""
    from floorfit.errors import InputError
    from floorfit.identity import KEYS, identity_of

    key, _, value = text.partition("=")
    if key.strip() not in KEYS or not value.strip():
        raise argparse.ArgumentTypeError(f"{text!r} came, KEY=TEXT was expected with a key of {', '.join(KEYS)}")
    try:
        identity_of([(1, f"{key.strip()}: {value.strip()}")], {}, "--fact")
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    return key.strip(), value.strip()


def add_writing(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("how it is written")
    group.add_argument("--show", choices=["mm", "in"], help="unit of pages, pictures and table [the part's]")
    group.add_argument("--language", choices=["en", "de"], default="en", help="of pages and pictures [en]")
    group.add_argument(
        "--decimal", choices=["point", "comma"], help="sign before decimals; comma also in CSV files, then with ;"
    )


def writing_of(args: argparse.Namespace) -> Writing:
    """Return how the user wants it."""
    from floorfit.report.format import Writing
    from floorfit.report.language import language

    return Writing(args.show, language(args.language), {"point": ".", "comma": ",", None: None}[args.decimal])
