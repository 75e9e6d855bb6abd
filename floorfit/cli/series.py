"""``floorfit series``: what many jobs of one part say together."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import floorfit
from floorfit.cli.options import add_writing, writing_of
from floorfit.cli.output import answer, counted, say, say_findings
from floorfit.errors import InputError
from floorfit.whole import refuse_existing, whole_folder

if TYPE_CHECKING:
    from floorfit.verify.parts import Series

_EPILOG = """example:
  floorfit series jobs -o learnt
  floorfit correct part.json readings.csv --expect learnt -o job

  floorfit series --accuracy 0.1.0_2026-03-14.json 0.2.0_2026-05-02.json -o trend

JOB is a job folder, a folder made by verify, or a folder that holds such folders.
Exit 1: a job is broken or of another part; it is named and left out.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "series",
        help="what many jobs of one part say together",
        description="Mean warp and spread, shapes, control charts of the offsets and capability of finished webs.",
        epilog=_EPILOG,
    )
    parser.add_argument("jobs", metavar="JOB", nargs="*", help="job folders, verification folders, or folders of them")
    parser.add_argument("--accuracy", metavar="FILE", nargs="+", help="accuracy files by version: a trend page")
    parser.add_argument("-o", "--output", metavar="FOLDER", required=True, help="folder to make")
    parser.add_argument("--replace", action="store_true", help="replace an existing folder")
    add_writing(parser)


def run(args: argparse.Namespace) -> int:
    """Read the series; return 0, or 1 when a job was left out.

    Raises
    ------
    InputError
        If there is neither a job nor an accuracy file.
    """
    if not args.jobs and not args.accuracy:
        raise InputError("series: give a JOB, or --accuracy FILE. See `floorfit series --help`.")
    refuse_existing(Path(args.output), replace=args.replace)
    with whole_folder(args.output, replace=args.replace) as folder:
        if args.accuracy:
            _trend(args, folder)
        found = _series(args, folder) if args.jobs else None
    say(f"Written to {args.output}.")
    if found is not None and found.alike.answer in ("yes", "partly"):
        say(f"For the next part: floorfit correct PART READINGS --expect {args.output} -o JOB")
    return 0 if found is None or found.is_whole else 1


def _trend(args: argparse.Namespace, folder: Path) -> None:
    from floorfit.verify.trend import read_accuracy, write_trend

    runs = read_accuracy(args.accuracy)
    write_trend(runs, folder, writing_of(args))
    answer(f"{len(runs)} accuracy files, newest {runs[-1].version} of {runs[-1].date}: see trend.html.")


def _series(args: argparse.Namespace, folder: Path) -> Series:
    from floorfit.verify.series_folder import fill_series, series_answers

    with counted("reading jobs") as tell:
        series = floorfit.series(args.jobs, progress=tell)
    fill_series(series, folder, writing_of(args))
    say_findings(series.findings[:20])
    if len(series.findings) > 20:
        say(f"and {len(series.findings) - 20} more, see series.json")
    answer(f"{len(series.jobs)} jobs, {series.verified} verified.")
    for line in series_answers(series):
        answer(line)
    return series
