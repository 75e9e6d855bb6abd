"""``floorfit calibrate BLOCKS -o GAUGE``: velocity and zero of the gauge from step-block readings."""

from __future__ import annotations

import argparse
from pathlib import Path

import floorfit
from floorfit.cli.options import add_numbers
from floorfit.cli.output import say, say_findings
from floorfit.errors import InputError
from floorfit.whole import refuse_existing, whole_file

__all__ = ["add_parser", "run"]

_EPILOG = """examples:
  floorfit calibrate blocks.csv -o gauge.json
  floorfit calibrate blocks.csv --part part.json -o gauge.json
  floorfit calibrate blocks.csv --web-min 1.5 --web-max 3 -o gauge.json

BLOCKS has a row for each reading of a step block: true_mm and reading_mm, or true_mm and tof_us (time of flight there
and back); temperature_c and u_mm (standard uncertainty of the block) if known. Repeats are rows. Blocks of the part's
own alloy and heat treatment serve best: the velocity of sound differs between them. Lines `# gauge: UT-1`,
`# gauge_due: 2031-12-31` and `# read_at: 2031-05-17` are kept: `correct` refuses the calibration of another gauge.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "calibrate",
        help="velocity and zero of the gauge from step-block readings",
        description="Calibrate the ultrasonic gauge on step blocks: one point, two points, or a least-squares line.",
        epilog=_EPILOG,
    )
    parser.add_argument("blocks", metavar="BLOCKS", help="block readings (CSV)")
    parser.add_argument("-o", "--output", metavar="GAUGE", required=True, help="gauge file to write (JSON)")
    parser.add_argument(
        "--method", choices=["one-point", "two-point", "line"], help="one, two, or more blocks (by their number)"
    )
    webs = parser.add_argument_group("webs that will be read: refused where the blocks do not reach beyond them")
    webs.add_argument("--part", metavar="PART", help="part file: its webs, finished and roughed")
    add_numbers(webs, ("--web-min", "MM", "thinnest web, mm"), ("--web-max", "MM", "thickest web, mm"))
    add_numbers(
        parser.add_argument_group("the gauge"),
        ("--k", "PER_C", "temperature coefficient of the velocity, 1/°C (-0.000165)"),
        ("--k-u", "PER_C", "its standard uncertainty (0.00001)"),
        ("--resolution", "MM", "display step, mm (0.01)"),
    )
    parser.add_argument("--replace", action="store_true", help="overwrite GAUGE if it exists")


def run(args: argparse.Namespace) -> int:
    """Calibrate and write the gauge file; return 0."""
    from floorfit.identity import gauge_overdue
    from floorfit.readings.gauge_file import gauge_lines, write_gauge
    from floorfit.readings.step_blocks import read_blocks
    from floorfit.sealed import digest

    output = Path(args.output)
    refuse_existing(output, replace=args.replace)
    chosen = {"k_per_c": args.k, "k_u_per_c": args.k_u, "resolution_mm": args.resolution}
    given = {name: value for name, value in chosen.items() if value is not None}
    blocks, web_range = read_blocks(args.blocks), _web_range(args)
    gauge = floorfit.calibrate(blocks, method=args.method, web_range=web_range, **given)
    with whole_file(output, replace=args.replace) as path:
        write_gauge(gauge, path, digest(args.blocks))
    say_findings([*gauge.findings, *gauge_overdue(gauge.identity, gauge.source)])
    for line in gauge_lines(gauge):
        say(line)
    return 0


def _web_range(args: argparse.Namespace) -> tuple[float, float] | None:
    """Take the webs from the part, or from the two limits; both together widen each other."""
    if (args.web_min is None) != (args.web_max is None):
        raise InputError("--web-min and --web-max: one came without the other. Give both, or --part.")
    ranges = []
    if args.web_min is not None:
        if not 0 < args.web_min <= args.web_max:
            raise InputError("--web-min and --web-max: 0 < web-min <= web-max was expected. Correct them.")
        ranges.append((args.web_min, args.web_max))
    if args.part is not None:
        from floorfit.readings.step_blocks import web_range_of

        ranges.append(web_range_of(floorfit.read_part(args.part)))
    return (min(low for low, _ in ranges), max(high for _, high in ranges)) if ranges else None
