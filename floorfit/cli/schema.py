"""``floorfit schema``: the JSON Schema of the part file or of the record, on stdout."""

from __future__ import annotations

import argparse
import json
import sys

import floorfit

_EPILOG = """example:
  floorfit schema part > part.schema.json
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "schema",
        help="print the JSON Schema of the part file or of record.json",
        description="Print the JSON Schema (draft 2020-12) of the part file or of a job's record.",
        epilog=_EPILOG,
    )
    parser.add_argument("which", choices=["part", "part-2", "record"], help="which file")


def run(args: argparse.Namespace) -> int:
    """Print the schema; return 0."""
    json.dump(floorfit.schema(args.which), sys.stdout, indent=2, sort_keys=True)
    sys.stdout.write("\n")
    return 0
