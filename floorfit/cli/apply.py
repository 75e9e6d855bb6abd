"""``floorfit apply``: a finishing programme with the offsets of a job, or a line for each pocket from a template."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import floorfit
from floorfit.cli.options import add_fact, add_numbers, writing_of
from floorfit.cli.output import progress_bar, say, say_findings, stderr_console
from floorfit.errors import InputError
from floorfit.plain_text import printable
from floorfit.units import MM_PER_UNIT, Unit
from floorfit.whole import refuse_existing, whole_file

if TYPE_CHECKING:
    from floorfit.nc.corrected import Corrected
    from floorfit.nc.tools import Tools
    from floorfit.record import Record

_EPILOG = """examples:
  floorfit apply job finish.nc -o corrected.nc --tool 1=20 --tool 2=16,0.5
  floorfit apply job five_axis.nc -o corrected.nc --tip-control
  floorfit apply job finish.cl -o corrected.cl
  floorfit apply job --lines template.txt -o offsets.txt

A template is rendered once for each pocket and may use number, id, action, held, offset_mm, offset_in, slope_x,
slope_y, first and last:
  #{{ 500 + number }}={{ "%.4f" | format(offset_mm) }} ({{ id }})
The number of a variable is the shop's own choice: look up which are free. A line that sets a work offset (G10) moves
everything that is cut under it, so that no example of one is given here; only G10 L2 or L20 with P1 to P9 is written.

Motion from 0.05 mm below a floor to 0.4 of its finishing stock above it moves with the floor. Higher motion is lifted
where the corrected floor would come too near. The cutter counts: give its diameter, and its corner radius if it has
one, with --tool or --tools; where it matters and is not known, apply refuses and says so. Beside the programme stand
a picture in plan (.png) and a table of what the cutter leaves on each floor (.csv).

exit codes: 0 every pocket was corrected and is predicted to conform; 1 a pocket is held, has no motion in the
programme, or is not predicted to conform; 2 refused, nothing written
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "apply",
        help="apply the offsets of a job to a finishing programme",
        description="Write a finishing programme with the offsets of a job: only Z over the pocket floors changes.",
        epilog=_EPILOG,
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job folder written by `floorfit correct`")
    parser.add_argument("program", metavar="PROGRAM", type=Path, nargs="?", help="the finishing programme")
    parser.add_argument(
        "-o", "--output", required=True, type=Path, help="file to write; a picture and a table go beside it"
    )
    parser.add_argument("--replace", action="store_true", help="overwrite existing files")
    parser.add_argument("--lines", metavar="TEMPLATE", type=Path, help="write a line for each pocket instead")
    parser.add_argument(
        "--held", choices=["refuse", "skip", "cut"], default="refuse", help="motion on held floors (default: refuse)"
    )
    add_fact(parser, "what the programme is for, as in --fact serial=0012: refused where the job is of another")
    parser.add_argument(
        "--datums", metavar="DATUMS", type=Path,
        help="points measured where the webs were read (x_mm …) and as clamped now (measured_x_mm …): another clamping "
        "is taken where they keep their shape",
    )  # fmt: skip
    parser.add_argument("--show", choices=["mm", "in"], help="unit of picture and terminal [the part's]")
    parser.add_argument("--language", choices=["en", "de"], default="en", help="of the picture [en]")
    _add_statements(parser)
    parser.set_defaults(decimal=None)


def _add_statements(parser: argparse.ArgumentParser) -> None:
    """Add what only the user can know about the programme."""
    group = parser.add_argument_group("what you state about the programme")
    group.add_argument(
        "--tip-control", action="store_true", help="X, Y, Z are the tool tip in the part's frame; A, B, C only tilt"
    )
    group.add_argument(
        "--wear", action="store_true", help="G41 and G42: the path is the cutter's centre's, and D its wear"
    )
    group.add_argument(
        "--walls", choices=["move", "keep"], default="move", help="walls cut by the flank: list their move, or refuse"
    )
    add_numbers(group, ("--tolerance", "MM", "of the offset (default: 0.005 mm)", 0.005))
    group.add_argument("--units", choices=["mm", "in"], help="in force before the programme says G20 or G21")
    group.add_argument(
        "--distance", choices=["absolute", "incremental"], help="in force before the programme says G90 or G91"
    )
    group.add_argument(
        "--frame", metavar="N,N,…", help="cutter-location data: its X, Y, Z and zero in the part's frame, 12 numbers"
    )
    kept = "cutter-location data: a word that moves nothing; programmes: one called that cuts no floor (O9000)"
    group.add_argument("--keep", metavar="WORD", action="append", default=[], help=kept)
    group.add_argument("--work-offset", metavar="G5x", help="the work offset whose zero is the part's")
    origin = "the programme's zero on the part, in the part file's unit, and its X axis in degrees"
    group.add_argument("--origin", metavar="X,Y,Z[,ANGLE]", help=origin)
    _add_cutters(parser)


def _add_cutters(parser: argparse.ArgumentParser) -> None:
    """Add the ways to say which cutter is in the spindle."""
    group = parser.add_argument_group("cutters, in mm")
    tool = "diameter and corner radius of a tool; without T= of every tool"
    group.add_argument("--tool", metavar="T=D[,R]", action="append", default=[], help=tool)
    group.add_argument("--tools", metavar="CSV", type=Path, help="table with tool, diameter_mm (or _in), corner_mm")
    group.add_argument(
        "--tool-comment", metavar="TEXT", help="how comments give them, with {T}, {D} and {R}: '(T{T} D={D} CR={R})'"
    )
    add_numbers(
        group,
        ("--band", "MM", "height that moves with a floor (default: 0.4 of stock)"),
        ("--clearance", "MM", "least height of other motion over raised floors"),
    )


def run(args: argparse.Namespace) -> int:
    """Apply and write; return 0 or 1.

    Raises
    ------
    InputError
        If neither a programme nor a template is given, or both.
    """
    if (args.program is None) == (args.lines is None):
        raise InputError("apply: give either PROGRAM or --lines TEMPLATE. See `floorfit apply --help`.")
    refuse_existing(args.output, replace=args.replace)
    if args.lines is None:
        for ending in (".png", ".csv"):
            refuse_existing(_beside(args.output, ending), replace=args.replace)
        _refuse_same(args.program, args.output)
    record = floorfit.read_record(args.job)
    conforming = all(decision.is_sure for decision in record.decisions)
    if args.lines is not None:
        _write_lines(args, record)
        return 0 if conforming else 1
    corrected = _corrected(args, record)
    _write(args, corrected, record)
    _tell(corrected, args.show or record.part["units"])
    return 0 if conforming and corrected.is_complete else 1


def _beside(output: Path, ending: str) -> Path:
    return output.with_name(output.name + ending)


def _refuse_same(program: Path, output: Path) -> None:
    if output.exists() and program.exists() and output.samefile(program):
        raise InputError(f"{output}: is the programme itself. Write to another name, so that the original stays.")


def _write_lines(args: argparse.Namespace, record: Record) -> None:
    text, findings = floorfit.lines_for(record, args.lines, held=args.held, facts=dict(args.fact), datums=args.datums)
    with whole_file(args.output, replace=args.replace) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="")
    say_findings(findings)
    say(f"{args.output}: {len(text.splitlines())} lines. Check them against the control's manual before loading.")


def _corrected(args: argparse.Namespace, record: Record) -> Corrected:
    names = ("tip_control", "wear", "walls", "held", "units", "distance", "work_offset", "origin", "frame", "keep")
    stated = {name: getattr(args, name) for name in names}
    stated |= {"tolerance_mm": args.tolerance, "band_mm": args.band, "clearance_mm": args.clearance}
    with progress_bar() as bar:
        task = bar.add_task("reading", total=1)

        def progress(stage: str, done: int, total: int) -> None:
            bar.update(task, description=stage, completed=done, total=max(total, 1))

        return floorfit.apply(
            record, args.program, facts=dict(args.fact), datums=args.datums, tools=_tools(args), progress=progress,
            **stated,
        )  # fmt: skip


def _tools(args: argparse.Namespace) -> Tools:
    from floorfit.nc.cl import is_cutter_location
    from floorfit.nc.tools import joined, read_tool_comments, read_tool_table, tool_of

    table = read_tool_table(args.tools) if args.tools else {}
    comments = {}
    if args.tool_comment:
        if is_cutter_location(args.program):
            raise InputError(
                "--tool-comment: for word-address programmes, and this is cutter-location data. Leave it out."
            )
        text = args.program.read_bytes().decode("latin-1") if args.program.exists() else ""
        comments = read_tool_comments(text.splitlines(), args.tool_comment, args.program.name)
    return joined([tool_of(text) for text in args.tool], table, comments)


def _write(args: argparse.Namespace, corrected: Corrected, record: Record) -> None:
    from floorfit.nc.left_table import left_table
    from floorfit.report.motion_plan import write_plan_picture

    part = record.nominal()
    decisions = {decision.pocket: decision for decision in record.decisions}
    table = left_table(corrected, decisions, part.units)
    with (
        whole_file(_beside(args.output, ".png"), replace=args.replace) as png,
        whole_file(_beside(args.output, ".csv"), replace=args.replace) as rows,
        whole_file(args.output, replace=args.replace) as temporary,
    ):
        if corrected.plan is not None:
            title = f"{args.program.name}, job {record.job}"
            write_plan_picture(part, corrected.plan, corrected.floors, title, png, writing_of(args))
        rows.write_text(table, encoding="utf-8", newline="")
        temporary.write_bytes(corrected.data)
        if temporary.read_bytes() != corrected.data:
            raise InputError(f"{args.output}: reads back differently from what was proved. Check the disk.")


def _tell(corrected: Corrected, unit: Unit) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for heading in ("pocket", "action"):
        table.add_column(heading)
    for heading in ("motions", "blocks", f"least dZ {unit}", f"greatest dZ {unit}", f"wall moves {unit}"):
        table.add_column(heading, justify="right")
    for change in corrected.pockets:
        table.add_row(*[Text(printable(cell)) for cell in _cells(change, unit)])
    stderr_console().print(table)
    for finding in corrected.findings:
        say(f"warning: {finding}" if finding.severity == "warning" else str(finding))
    for change in corrected.pockets:
        if not change.motions:
            say(f"pocket {change.pocket}: no motion in this programme lies on its floor; nothing was changed for it.")
    say(f"{corrected.changed_blocks} of {corrected.blocks} blocks changed; {corrected.motions} motions compared.")
    say("Simulate, then prove out above the part. Licensed and local practice decides.")


def _cells(change: Any, unit: Unit) -> list[str]:
    scale, decimals = MM_PER_UNIT[unit], 4 if unit == "mm" else 5
    moved = bool(change.motions) and change.least == change.least
    ends = [f"{value / scale:+.{decimals}f}" for value in (change.least, change.greatest)] if moved else ["-", "-"]
    wall = f"{change.sideways / scale:.{decimals}f}" if moved and change.tilt_deg > 0 else "-"
    return [change.pocket, change.action, str(change.motions), str(change.changed), *ends, wall]
