"""``floorfit report``: map, page and 3-D mesh of a job, made again from its record alone."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import floorfit
from floorfit.cli.options import add_numbers, add_writing, writing_of
from floorfit.cli.output import say
from floorfit.cli.steps import Course, shown_steps
from floorfit.errors import InputError
from floorfit.whole import refuse_existing, whole_file

if TYPE_CHECKING:
    from floorfit.record import Record

_EPILOG = """examples:
  floorfit report job
  floorfit report job -o pictures
  floorfit report job --left corrected.nc.csv -o as_cut
  floorfit report job --mesh underside.glb --exaggeration 200
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "report",
        help="make map, page and 3-D mesh again from a job's record",
        description="Make the deviation map and the report again from record.json alone, or a 3-D mesh of the warp.",
        epilog=_EPILOG,
    )
    parser.add_argument("job", metavar="JOB", help="job folder, or a record.json")
    parser.add_argument("-o", "--output", metavar="FOLDER", help="folder for maps, page and sheet to sign [the job]")
    parser.add_argument(
        "--left", metavar="TABLE", help="table beside a corrected programme: webs as its cutters leave them (with -o)"
    )
    parser.add_argument("--mesh", metavar="FILE", help="write the warped underside as a .glb (m) or .ply (mm) mesh")
    add_numbers(parser, ("--exaggeration", "F", "factor on the warp in the mesh (default: round)"))
    parser.add_argument("--replace", action="store_true", help="overwrite what exists")
    add_writing(parser)


def run(args: argparse.Namespace) -> int:
    """Write what was asked for.

    Returns
    -------
    int
        0; whether pockets conform is what ``correct`` answered.

    Raises
    ------
    InputError
        If the record or the mesh's ending is refused.
    OutputError
        If an output exists and ``--replace`` was not given.
    """
    _check(args)
    for target in (args.output, args.mesh):
        if target is not None:
            refuse_existing(Path(target), replace=args.replace)
    record = floorfit.read_record(args.job)
    if args.mesh is not None:
        _mesh(record, args)
    if args.output is not None or args.mesh is None:
        _pictures(record, args)
    return 0


def _check(args: argparse.Namespace) -> None:
    if args.mesh is not None and Path(args.mesh).suffix.lower() not in (".glb", ".ply"):
        raise InputError(f"--mesh {args.mesh}: a .glb or .ply file was expected. Choose one of the two endings.")
    if args.left is not None and args.output is None:
        raise InputError("--left goes with -o FOLDER: the pictures in the job stay those of the decision. Say where.")
    if args.exaggeration is not None and not 0 < args.exaggeration < float("inf"):
        raise InputError(f"--exaggeration {args.exaggeration}: a number above zero was expected. Give another factor.")
    if args.exaggeration is not None and args.mesh is None:
        raise InputError("--exaggeration goes with --mesh FILE. Add the file or leave the factor out.")


def _mesh(record: Record, args: argparse.Namespace) -> None:
    from floorfit.report.mesh_export import write_mesh

    with whole_file(args.mesh, replace=args.replace) as file:
        factor = write_mesh(record, file, exaggeration=args.exaggeration)
    say(f"{args.mesh}: underside of job {record.job}, its warp shown {factor:g} times as high as it is.")


def _pictures(record: Record, args: argparse.Namespace) -> None:
    shown = args.job if args.left is None else floorfit.as_cut(record, args.left)
    with shown_steps(Course(len(record.readings.used), len(record.decisions))) as tell:
        made = floorfit.report(shown, args.output, replace=args.replace, writing=writing_of(args), progress=tell)
    names = ", ".join(sorted(path.name for path in made))
    say(f"{args.output or args.job}: {names} of job {record.job}.")
