"""Options of every command that writes pages: unit, language, decimal sign."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorfit.report.format import Writing

__all__ = ["add_writing", "writing_of"]


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
