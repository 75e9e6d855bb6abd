"""``floorfit plan PART -o POINTS``: where to take readings, and in what order."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import floorfit
from floorfit.cli.options import add_numbers
from floorfit.cli.output import counted, say, say_findings
from floorfit.errors import OutputError
from floorfit.whole import refuse_existing, whole_file

if TYPE_CHECKING:
    from floorfit.part.model import Part
    from floorfit.planning.points import Plan

__all__ = ["add_parser", "run"]

_EPILOG = """examples:
  floorfit plan part.json -o points.csv
  floorfit plan part.json --count 120 --probe-radius 4 -o points.csv
  floorfit plan part.json --after job -o more_points.csv

POINTS is a readings file with the thickness left blank, in the order of a short path over the floors and back: half of
each floor's places either way, so that a gauge that drifts shows and is not taken for a tilt. Keep the order. A map
with the same name and the ending .png is written beside it. With --after, places are planned for the floors that the
job left undecided or held for want of readings. Look at the map before a machine follows it: clamps and tool reach are
not known here.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "plan",
        help="where to take readings, and in what order",
        description="Plan where to take readings so that the offsets are known best, in the order of a short path.",
        epilog=_EPILOG,
    )
    parser.add_argument("part", metavar="PART", help="part file (JSON)")
    parser.add_argument("-o", "--output", metavar="POINTS", required=True, help="readings file to fill in (CSV)")
    parser.add_argument("--count", type=int, metavar="N", help="how many readings (as many as --share needs)")
    share = "stop when every offset's expected U (k = 2) is below this share of the web tolerance (0.25)"
    add_numbers(
        parser,
        ("--share", "S", share),
        ("--u", "MM", "standard uncertainty of a reading, mm (0.010)", 0.010),
        ("--probe-radius", "MM", "radius of the probe's foot, mm (3)", 3.0),
        ("--wall", "MM", "gap from the foot to walls, mm (1)", 1.0),
    )
    parser.add_argument("--after", metavar="JOB", help="job folder: plan the next readings of the same part")
    parser.add_argument(
        "--prior", metavar="PRIOR", help="prior from the part's stiffness (from `floorfit prior`): fewer readings do"
    )
    parser.add_argument("--curve", metavar="CURVE", help="also write readings against expected uncertainty (CSV)")
    parser.add_argument("--replace", action="store_true", help="overwrite the files that exist")


def run(args: argparse.Namespace) -> int:
    """Plan the readings and write them with their map; return 0.

    Raises
    ------
    OutputError
        If the map would take the place of the points.
    """
    output = Path(args.output)
    picture = output.with_suffix(".png")
    if picture == output:
        raise OutputError(f"{output}: the ending .png is that of the map. Give POINTS the ending .csv.")
    for path in (output, picture, *([Path(args.curve)] if args.curve else [])):
        refuse_existing(path, replace=args.replace)
    part = floorfit.read_part(args.part)
    with counted("places") as tell:
        plan = floorfit.plan(
            part,
            count=args.count,
            share=args.share,
            u_mm=args.u,
            probe_radius_mm=args.probe_radius,
            wall_mm=args.wall,
            after=args.after,
            prior=None if args.prior is None else floorfit.read_prior(args.prior),
            progress=tell,
        )
    _write(args, part, plan, output, picture)
    return 0


def _write(args: argparse.Namespace, part: Part, plan: Plan, output: Path, picture: Path) -> None:
    from floorfit.planning.points_file import plan_facts, write_curve, write_points
    from floorfit.report.plan_map import write_plan_map

    facts = plan_facts(plan, part.units)
    with whole_file(output, replace=args.replace) as points, whole_file(picture, replace=args.replace) as image:
        write_points(plan, points, part.units)
        write_plan_map(part, plan.points, plan.curve, facts, image)
        if args.curve:
            with whole_file(args.curve, replace=args.replace) as curve:
                write_curve(plan, curve, part.units)
    say_findings(plan.findings)
    say(f"{output}: {' '.join(facts)}")
