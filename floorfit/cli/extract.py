"""``floorfit extract MODEL -o PART``: pocket geometry from a CAD model or a drawing."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from floorfit.cli.options import add_numbers
from floorfit.cli.output import progress_bar, say, stderr_console
from floorfit.errors import Finding, InputError
from floorfit.plain_text import printable
from floorfit.units import MM_PER_UNIT
from floorfit.whole import refuse_existing, whole_file

if TYPE_CHECKING:
    from floorfit.cad import Extraction

__all__ = ["add_parser", "run"]

_EPILOG = """examples:
  floorfit extract frame.stl --units mm -o frame.json
  floorfit extract frame.step --side bottom --finish-stock 0.5 -o bottom.json
  floorfit extract frame.dxf --layers layers.csv -o frame.json

A picture with the same name and the ending .png is written beside PART. STEP needs the extra [step], DXF the
extra [dxf], 3MF the extra [3mf]. Look at the picture and at the list of faces that were not taken before the part
is used.

A review: JSON with every face that was looked at, taken or not, is written beside PART as PART_faces.json. An edit
list says what is to be done otherwise, and holds for the next revision of the model too, because it names places:
  action,where,value
  take,300 100,            drop,120 80,           split,200 80,200 0 200 160
  merge,120 80,260 80      rename,120 80,BAY-1    tolerance,P02,-0.05 0.1
  stock,all,0.5            web,120 80,2.0
(one action a line; a place is X Y or X Y Z in the part file's unit, well inside the floor.)

exit codes: 0 done; 1 done, but a face with walls round it was left out, two floors meet in a kink, corners scatter, or
a drawing leaves something open (hidden, not an outline, not to scale, unit); 2 refused.

A drawing has an outline for each floor on a layer named FLOOR Z<floor z> WEB<web>, for instance FLOOR Z2.0 WEB2.0,
with the islands inside it on the same layer, and the part's outline on a layer OUTLINE. Other names go into a table
(CSV) for --layers with the columns layer, floor_z, web; a row with floor_z and web empty names the outline.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "extract",
        help="read pocket outlines, floor Z and webs from a CAD model",
        description="Read pocket outlines, floor Z, underside Z and webs from a CAD model into a part file.",
        epilog=_EPILOG,
    )
    # A list that starts with a minus sign, as in --tolerance -0.1,0.1 or --up -1,0,0, is a value and no option.
    parser._negative_number_matcher = re.compile(r"^-[\d.][\d.,eE+-]*$")
    parser.add_argument("model", metavar="MODEL", help="STL, OBJ, PLY, GLB, 3MF, STEP or DXF file")
    parser.add_argument("-o", "--output", metavar="PART", required=True, help="part file to write (JSON)")
    _add_frame(parser)
    _add_choice(parser)
    _add_written(parser)


def _add_frame(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the model")
    group.add_argument(
        "--units", choices=["mm", "cm", "m", "in"], help="unit of the model's numbers, if it states none"
    )
    group.add_argument("--up", type=_direction, metavar="X,Y,Z", help="direction that looks out of the pockets (0,0,1)")
    group.add_argument(
        "--side", choices=["top", "bottom"], default="top", help="bottom: turn half round about X, pockets from below"
    )
    group.add_argument("--origin", type=_direction, metavar="X,Y,Z", help="point of the model that becomes the zero")
    group.add_argument("--x-axis", type=_direction, metavar="X,Y,Z", help="direction in the model that becomes +X")
    group.add_argument("--body", default="", metavar="N|all", help="which body, 1 is the largest, if there are several")
    group.add_argument("--any-size", action="store_true", help="take a part under 20 mm or over 20 m")
    group.add_argument("--repair", action="store_true", help="turn flipped facets, go on with an open mesh; all listed")
    group.add_argument("--layers", metavar="TABLE", help="CSV: layer, floor_z, web (drawings only)")


def _add_choice(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("what is a floor (lengths in mm)")
    add_numbers(
        group,
        ("--max-slope", "DEG", "steepest floor, degrees (5)", 5.0),
        ("--min-area", "MM2", "smallest floor, mm² (100)", 100.0),
        ("--min-width", "MM", "narrowest floor (3)", 3.0),
        ("--bore-max", "MM", "round faces up to here are bores (30)", 30.0),
        ("--web-max", "MM", "thickest web of a pocket (no limit)"),
        ("--flatness", "MM", "facets this near are one plane (0.001)", 0.001),
    )
    group.add_argument("--edit", metavar="EDITS", help="CSV: action, where, value: changes after a review")
    group.add_argument("--ids", metavar="LIST", help="CSV: id in reading order, or id, x, y with a place on each floor")
    group.add_argument("--select", type=_ids, default=(), metavar="IDS", help="floors to keep: P01,P03-P07 (all)")
    group.add_argument(
        "--boundary", choices=["foot", "wall"], default="foot", help="outline where a fillet runs round a floor (foot)"
    )
    add_numbers(group, ("--chord-tolerance", "MM", "chord from its arc, STEP and DXF (0.01)", 0.01))


def _add_written(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("what is written (lengths in mm)")
    group.add_argument("--tolerance", type=_limits, metavar="LOWER,UPPER", help="web tolerance: --tolerance -0.1,0.1")
    add_numbers(group, ("--finish-stock", "MM", "metal that roughing leaves on the floors"))
    group.add_argument("--name", default="", help="name of the part (the model's file name)")
    group.add_argument("--replace", action="store_true", help="overwrite PART and its picture")


def _numbers(text: str, count: int, example: str) -> tuple[float, ...]:
    try:
        values = tuple(float(word) for word in text.split(","))
    except ValueError:
        values = ()
    if len(values) != count:
        raise argparse.ArgumentTypeError(f"{text!r} came, {count} numbers with commas were expected, as in {example}")
    return values


def _direction(text: str) -> tuple[float, ...]:
    return _numbers(text, 3, "0,0,1")


def _limits(text: str) -> tuple[float, ...]:
    lower, upper = _numbers(text, 2, "-0.1,0.1")
    if not lower < upper:
        raise argparse.ArgumentTypeError(f"{text!r} came, the lower limit first was expected, as in -0.1,0.1")
    return (lower, upper)


def _ids(text: str) -> tuple[str, ...]:
    """Spell out a list of ids with ranges."""
    out = []
    for word in filter(None, (word.strip() for word in text.split(","))):
        span = re.fullmatch(r"P(\d+)-P(\d+)", word)
        if span is None and not re.fullmatch(r"P\d+", word):
            raise argparse.ArgumentTypeError(f"{word!r} came, ids were expected, as in P01,P03-P07")
        if span is None:
            out.append(word)
        else:
            first, last = int(span[1]), int(span[2])
            if not 1 <= first <= last <= 99_999:
                raise argparse.ArgumentTypeError(f"{word!r} came, the lower id first was expected, as in P03-P07")
            out += [f"P{number:0{len(span[1])}d}" for number in range(first, last + 1)]
    return tuple(out)


def run(args: argparse.Namespace) -> int:
    """Extract, write PART and its picture, show the table; return 1 where a walled face was left out."""
    part_path = Path(args.output)
    picture_path = part_path.with_suffix(".png")
    faces_path = part_path.with_name(f"{part_path.stem}_faces.json")
    _check_names(Path(args.model), part_path, picture_path)
    for path in (part_path, picture_path, faces_path):
        refuse_existing(path, replace=args.replace)

    from floorfit.cad import extract_pockets

    with progress_bar() as bar:
        task = bar.add_task("", total=1.0)
        extraction = extract_pockets(
            args.model,
            progress=lambda name, share: bar.update(task, description=name, completed=share),
            layers=args.layers,
            **_choices(args),
        )
    _write(extraction, part_path, picture_path, faces_path, args.replace)
    _show(extraction, part_path, picture_path)
    return 1 if extraction.open_questions else 0


def _check_names(model: Path, part_path: Path, picture_path: Path) -> None:
    if picture_path == part_path:
        text = "ends in .png, which is the picture's ending. Give PART the ending .json."
        raise InputError([Finding("bad-output", str(part_path), "", text)])
    if part_path.resolve() == model.resolve():
        raise InputError([Finding("bad-output", str(part_path), "", "is the model itself. Choose another name.")])


#: Options that are handed on as they are.
_AS_GIVEN = (
    *("units", "side", "origin", "x_axis", "boundary", "min_area", "min_width", "bore_max", "web_max"),
    *("chord_tolerance", "select", "any_size", "repair", "body", "finish_stock", "name"),
)


def _choices(args: argparse.Namespace) -> dict[str, Any]:
    from floorfit.cad.edits import read_edits, read_id_list
    from floorfit.part.model import Tolerance

    return {name: getattr(args, name) for name in _AS_GIVEN} | {
        "up": args.up or (0.0, 0.0, 1.0),
        "max_slope_deg": args.max_slope,
        "plane_tolerance": args.flatness,
        "edits": read_edits(args.edit) if args.edit else (),
        "ids": read_id_list(args.ids) if args.ids else (),
        "tolerance": Tolerance(*args.tolerance) if args.tolerance else None,
    }


def _write(extraction: Extraction, part_path: Path, picture_path: Path, faces_path: Path, replace: bool) -> None:
    from floorfit.part.part_file import write_part
    from floorfit.report.faces_file import write_faces
    from floorfit.report.recognised import write_picture

    with (
        whole_file(picture_path, replace=replace) as picture,
        whole_file(part_path, replace=replace) as file,
        whole_file(faces_path, replace=replace) as faces,
    ):
        write_part(extraction.part, file)
        write_faces(extraction, faces)
        write_picture(extraction, picture)


def _show(extraction: Extraction, part_path: Path, picture_path: Path) -> None:
    """Print the floors, the faces that were not taken, and the warnings."""
    console = stderr_console()
    console.print(_floor_table(extraction))
    if extraction.rejected:
        console.print(_rejected_table(extraction))
    for line in _shape_lines(extraction):
        say(line)
    for finding in extraction.findings:
        say(f"warning: {finding}")
    count = len(extraction.floors)
    if extraction.open_questions:
        say(f"{extraction.open_questions} places need a decision: faces left out, or warnings above (exit 1).")
    say(f"{part_path}: {count} floor{'s' if count != 1 else ''}. Look at {picture_path} before the part is used.")


def _floor_table(extraction: Extraction) -> Any:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    unit = extraction.part.units
    scale, places = MM_PER_UNIT[unit], 3 if unit == "mm" else 4
    table = Table(title=f"Floors ({unit}, degrees)", title_justify="left", box=SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for heading in ("pocket", "floor Z", "under Z", "web", "slope", "area", "corner R", "fillet R", "edge"):
        table.add_column(
            heading, justify="left" if heading in ("pocket", "edge") else "right", no_wrap=heading == "pocket"
        )
    for floor in extraction.floors:
        lengths = (floor.floor_z, floor.underside_z, floor.web)
        cells = [f"{value / scale:.{places}f}" for value in lengths]
        radii = [f"{value / scale:.2f}" if value else "–" for value in (floor.corner_radius, floor.fillet_radius)]
        table.add_row(
            floor.id, *cells, f"{floor.slope_deg:.2f}", _area(floor.area / scale**2), *radii,
            floor.edge_words.removesuffix(" 100 %"),  # as wide as a terminal of 80 columns has room for
        )  # fmt: skip
    return table


def _shape_lines(extraction: Extraction) -> list[str]:
    """What is not a plane over a level underside, a line each."""
    unit = extraction.part.units
    scale, places = MM_PER_UNIT[unit], 3 if unit == "mm" else 4
    out = []
    for floor in extraction.floors:
        low, high = (f"{value / scale:.{places}f}" for value in (floor.web_min, floor.web_max))
        if floor.kind != "plane":
            out.append(f"{floor.id}: {floor.kind}, web {low} to {high} {unit}.")
        if floor.edge > 0.0:
            edge = f"{floor.edge / scale:.{places - 1}f} {unit}"
            out.append(
                f"{floor.id}: within {edge} of its outline the web is thicker: the other side's walls or fillets."
            )
    return out


def _area(value: float) -> str:
    return f"{value:.0f}" if value >= 1000.0 else f"{value:.4g}"


def _rejected_table(extraction: Extraction, most: int = 40) -> Any:
    from rich.box import SIMPLE_HEAD
    from rich.markup import escape
    from rich.table import Table

    scale = MM_PER_UNIT[extraction.part.units]
    rows: dict[tuple[str, str, str], list[str]] = {}
    for face in extraction.rejected:
        alike = _area(face.area / scale**2), face.code, escape(printable(face.reason))
        rows.setdefault(alike, []).append(", ".join(f"{value / scale:.5g}" for value in face.place))
    shown, others = list(rows.items())[:most], list(rows.values())[most:]
    caption = f"and {sum(map(len, others))} smaller ones" if others else None
    title = "Faces that look like floors but were not taken"
    table = Table(title=title, title_justify="left", caption=caption, box=SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for heading in ("at X, Y, Z", "area", "code", "reason"):
        table.add_column(heading)
    for alike, places in shown:
        table.add_row(places[0] + (f"\nand {len(places) - 1} more alike" if places[1:] else ""), *alike)
    return table
