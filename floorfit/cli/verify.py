"""``floorfit verify``: readings of the finished webs against tolerance and against what was predicted."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import floorfit
from floorfit.cli.options import add_numbers, add_writing, writing_of
from floorfit.cli.output import answer, say, say_findings
from floorfit.whole import refuse_existing

_EPILOG = """examples:
  floorfit verify job finished.csv -o proof
  floorfit verify job finished.csv --left corrected.nc.csv -o proof

READINGS has the columns of any readings file; thickness is that of the finished web. Pockets may be missing.
Exit 0: every pocket was read and conforms. Exit 1: a pocket is not read, undecided or does not conform, or many
readings lie off their floors.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "verify",
        help="readings of the finished webs against tolerance and prediction",
        description="Compare readings of finished webs with the tolerance and with what the job predicted.",
        epilog=_EPILOG,
    )
    parser.add_argument("job", metavar="JOB", help="job folder that the webs were cut by")
    parser.add_argument("readings", metavar="READINGS", help="readings of finished webs (CSV)")
    parser.add_argument("-o", "--output", metavar="FOLDER", required=True, help="folder to make")
    parser.add_argument(
        "--left", metavar="TABLE", help="table beside the corrected programme: count what its cutters leave"
    )
    parser.add_argument("--gauge", metavar="GAUGE", help="calibrated gauge (from `floorfit calibrate`), applied first")
    parser.add_argument("--map", metavar="IDS", help="ids of the readings' labels (CSV: label, pocket)")
    parser.add_argument("--replace", action="store_true", help="replace an existing folder")
    add_numbers(
        parser,
        ("--moved", "MM", "movement of the plate to measure again at [0.05]", 0.05),
        ("--limit-bias", "MM", "largest bias offered where the job states no --machine-u [0.06]", 0.06),
    )
    add_writing(parser)


def run(args: argparse.Namespace) -> int:
    """Verify; return 0 when every pocket was read and conforms, 1 when not."""
    from floorfit.verify.afterwards import verification_answers

    refuse_existing(args.output, replace=args.replace)
    tell = (lambda words: say(f"{words} …")) if sys.stderr.isatty() else None
    found = floorfit.verify(
        args.job,
        args.readings,
        left=args.left,
        gauge=floorfit.read_gauge(args.gauge) if args.gauge is not None else None,
        ids=floorfit.read_ids(args.map) if args.map is not None else None,
        movement_limit_mm=args.moved,
        bias_limit_mm=args.limit_bias,
        progress=tell,
    )
    floorfit.write_verification(found, args.output, replace=args.replace, writing=writing_of(args))
    say_findings(found.findings)
    for line in (*verification_answers(found), found.sentence):
        answer(line)
    say(f"Written to {args.output}; the sheet to sign is {Path(args.output, 'verify.pdf')}.")
    if found.offered_bias is not None and not found.conforms:
        say(f"For the pockets that remain: floorfit correct PART READINGS --bias {found.offered_bias:.4f} -o JOB")
    return 0 if found.conforms else 1
