"""``floorfit report``: map, page and 3-D mesh of a job, made again from its record alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from floorfit.cli.help import HelpFormatter
from floorfit.cli.writing import add_writing

_EPILOG = """examples:
  floorfit report job
  floorfit report job -o pictures
  floorfit report job --mesh underside.glb --exaggeration 200
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "report",
        help="make map, page and 3-D mesh again from a job's record",
        description="Make the deviation map and the report again from record.json alone, or a 3-D mesh of the warp.",
        epilog=_EPILOG,
        formatter_class=HelpFormatter,
    )
    parser.add_argument("job", metavar="JOB", help="job folder, or a record.json")
    parser.add_argument("-o", "--output", metavar="FOLDER", help="folder for maps, page and sheet to sign [the job]")
    parser.add_argument("--mesh", metavar="FILE", help="write the warped underside as a .glb (m) or .ply (mm) mesh")
    parser.add_argument(
        "--exaggeration", type=float, metavar="F", help="factor on the warp in the mesh (default: round)"
    )
    parser.add_argument("--replace", action="store_true", help="overwrite what exists")
    add_writing(parser)
    parser.set_defaults(run=run)


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
    from floorfit.cli.output import refuse_existing

    _check(args)
    for target in (args.output, args.mesh):
        if target is not None:
            refuse_existing(Path(target), replace=args.replace)
    from floorfit.record import read_record

    record = read_record(args.job)
    if args.mesh is not None:
        _mesh(record, args)
    if args.output is not None or args.mesh is None:
        _pictures(record, args)
    return 0


def _check(args: argparse.Namespace) -> None:
    from floorfit.errors import InputError

    if args.mesh is not None and Path(args.mesh).suffix.lower() not in (".glb", ".ply"):
        raise InputError(f"--mesh {args.mesh}: a .glb or .ply file was expected. Choose one of the two endings.")
    if args.exaggeration is not None and not 0 < args.exaggeration < float("inf"):
        raise InputError(f"--exaggeration {args.exaggeration}: a number above zero was expected. Give another factor.")
    if args.exaggeration is not None and args.mesh is None:
        raise InputError("--exaggeration goes with --mesh FILE. Add the file or leave the factor out.")


def _mesh(record, args: argparse.Namespace) -> None:  # type: ignore[no-untyped-def]
    from floorfit.cli.output import say, whole_file
    from floorfit.report.mesh_export import write_mesh

    with whole_file(args.mesh, replace=args.replace) as file:
        factor = write_mesh(record, file, exaggeration=args.exaggeration)
    say(f"{args.mesh}: underside of job {record.job}, its warp shown {factor:g} times as high as it is.")


def _pictures(record, args: argparse.Namespace) -> None:  # type: ignore[no-untyped-def]
    from floorfit.cli.output import say, whole_folder
    from floorfit.cli.steps import Course, shown_steps
    from floorfit.cli.writing import writing_of
    from floorfit.report.write import write_report

    course = Course(len(record.readings.used), len(record.decisions))
    with shown_steps(course) as tell:
        if args.output is None:
            names = _into_job(record, args, tell)
        else:
            with whole_folder(args.output, replace=args.replace) as folder:
                write_report(record, folder, writing=writing_of(args), progress=tell)
                names = sorted(file.name for file in folder.iterdir())
    say(f"{args.output or args.job}: {', '.join(names)} of job {record.job}.")


def _into_job(record, args: argparse.Namespace, tell) -> list[str]:  # type: ignore[no-untyped-def]
    """Write the pictures into the job's own folder, once all of them are made."""
    import os
    import tempfile

    from floorfit.cli.output import refuse_existing
    from floorfit.cli.writing import writing_of
    from floorfit.report.write import FILES, write_report

    job = Path(args.job) if Path(args.job).is_dir() else Path(args.job).parent
    for name in FILES:
        refuse_existing(job / name, replace=args.replace)
    with tempfile.TemporaryDirectory(prefix=".pictures.", dir=job) as folder:
        write_report(record, folder, writing=writing_of(args), progress=tell)
        for name in FILES:
            os.replace(Path(folder, name), job / name)
    return list(FILES)
