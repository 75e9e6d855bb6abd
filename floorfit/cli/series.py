"""``floorfit series``: what many jobs of one part say together."""

from __future__ import annotations

import argparse

from floorfit.cli.help import HelpFormatter

_EPILOG = """example:
  floorfit series jobs -o learnt
  floorfit correct part.json readings.csv --expect learnt -o job

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
        formatter_class=HelpFormatter,
    )
    parser.add_argument("jobs", metavar="JOB", nargs="+", help="job folders, verification folders, or folders of them")
    parser.add_argument("-o", "--output", metavar="FOLDER", required=True, help="folder to make")
    parser.add_argument("--replace", action="store_true", help="replace an existing folder")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read the series; return 0, or 1 when a job was left out."""
    from pathlib import Path

    from floorfit.cli.output import progress_bar, refuse_existing, say, whole_folder

    refuse_existing(Path(args.output), replace=args.replace)

    from floorfit.verify.parts import read_series
    from floorfit.verify.series_folder import series_answers, write_series

    with whole_folder(args.output, replace=args.replace) as folder:
        with progress_bar() as bar:
            task = bar.add_task("reading jobs", total=None)
            series = read_series(args.jobs, progress=lambda done, total: bar.update(task, completed=done, total=total))
        write_series(series, folder)
    for finding in series.findings[:20]:
        say(f"{finding.severity}: {finding}")
    if len(series.findings) > 20:
        say(f"and {len(series.findings) - 20} more, see series.json")
    say(f"{len(series.jobs)} jobs, {series.verified} verified.")
    for line in series_answers(series):
        say(line)
    return 0 if series.is_whole else 1
