"""``floorfit prior PART -o PRIOR``: what the part's own stiffness makes likely before any reading."""

from __future__ import annotations

import argparse
from pathlib import Path

import floorfit
from floorfit.cli.options import add_numbers
from floorfit.cli.output import counted, say
from floorfit.whole import refuse_existing, whole_file

__all__ = ["add_parser", "run"]

_EPILOG = """examples:
  floorfit prior part.json -o prior.json
  floorfit prior part.json --thickness 60 -o prior.json
  floorfit correct part.json readings.csv --prior prior.json -o job

Plates of the part's own ribs and webs are bent by random released stress. `correct` and `plan` use what they have in
common, as far as the readings speak for it; it is worth most where readings are few, one to three on a floor.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "prior",
        help="what the part's own stiffness makes likely before any reading",
        description="Simulate the part under random released stress, and keep how it bends as a prior.",
        epilog=_EPILOG,
    )
    parser.add_argument("part", metavar="PART", help="part file (JSON)")
    parser.add_argument("-o", "--output", metavar="PRIOR", required=True, help="prior file to write (JSON)")
    add_numbers(parser, ("--thickness", "MM", "height of the ribs above the underside, mm (20 webs)"))
    parser.add_argument("--fields", type=int, metavar="N", help="simulated plates (1500)")
    lengths = "correlation lengths of the stress (0.2, 0.8 of the longer side)"
    parser.add_argument("--lengths", type=_numbers, metavar="MM,MM,…", help=lengths)
    parser.add_argument("--seed", type=int, metavar="N", help="seed of the plates (1)")
    parser.add_argument("--replace", action="store_true", help="overwrite PRIOR if it exists")


def run(args: argparse.Namespace) -> int:
    """Simulate and write the prior file; return 0."""
    output = Path(args.output)
    refuse_existing(output, replace=args.replace)
    part = floorfit.read_part(args.part)
    chosen = {"thickness_mm": args.thickness, "fields": args.fields, "lengths_mm": args.lengths, "seed": args.seed}
    given = {name: value for name, value in chosen.items() if value is not None}
    with counted("plates") as tell:
        prior = floorfit.prior(part, **given, progress=tell)
    with whole_file(output, replace=args.replace) as path:
        floorfit.write_prior(prior, path)
    for line in prior.lines():
        say(line)
    say(f"Written to {args.output}. Next: floorfit correct {args.part} READINGS --prior {args.output} -o JOB")
    return 0


def _numbers(text: str) -> list[float]:
    try:
        return [float(one) for one in text.split(",")]
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} came, numbers with commas between were expected") from error
