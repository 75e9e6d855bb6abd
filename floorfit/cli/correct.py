"""``floorfit correct``: the main job."""

from __future__ import annotations

import argparse
import os
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import floorfit
from floorfit.cli.options import add_fact, add_numbers, add_writing, writing_of
from floorfit.cli.output import answer, say, say_findings
from floorfit.cli.steps import Course, shown_steps
from floorfit.errors import Finding, InputError
from floorfit.whole import refuse_existing

if TYPE_CHECKING:
    from collections.abc import Callable

    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.readings.observations import Readings
    from floorfit.record import Record
    from floorfit.report.format import Writing
    from floorfit.run import Result, Settings

_EPILOG = """example:
  floorfit correct sample_parts/bay_frame/part.json sample_parts/bay_frame/readings.csv -o job

Lengths on the command line are in millimetres whatever the part's unit.
Simulate the corrected programme and prove it out above the part before it cuts.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the sub-command's arguments."""
    parser = commands.add_parser(
        "correct",
        help="readings in, an offset for every pocket out: the main job",
        description="Screen the readings, fit the warp, decide an offset for every pocket, write the job folder.",
        epilog=_EPILOG,
    )
    parser.add_argument("part", metavar="PART", help="part file (JSON, floorfit-part/1)")
    parser.add_argument("readings", metavar="READINGS", help="readings file (CSV)")
    parser.add_argument("-o", "--output", metavar="JOB", required=True, help="job folder to make")
    parser.add_argument("--gauge", metavar="GAUGE", help="calibrated gauge (from `floorfit calibrate`), applied first")
    parser.add_argument(
        "--datums", metavar="DATUMS", help="datum points (CSV): the readings are in machine coordinates"
    )
    add_numbers(parser, ("--plate-temperature", "C", "with --datums: allow for growth from 20 °C"))
    parser.add_argument(
        "--expect", metavar="SERIES", help="mean warp of earlier parts (from `floorfit series`), used where it agrees"
    )
    parser.add_argument(
        "--prior", metavar="PRIOR", help="prior from the part's stiffness (from `floorfit prior`), used where it agrees"
    )
    parser.add_argument("--map", metavar="IDS", help="ids of the readings' labels (CSV: label, pocket)")
    _add_identity(parser.add_argument_group("which plate (also as `# serial: …` lines or columns of READINGS)"))
    parser.add_argument("--replace", action="store_true", help="replace an existing job folder")
    parser.add_argument(
        "--no-pictures", action="store_true", help="tables and record only; `floorfit report JOB` makes the rest later"
    )
    add_writing(parser)
    _add_settings(parser.add_argument_group("settings (defaults in brackets; all are kept in record.json)"))


def _add_identity(group: argparse._ArgumentGroup) -> None:
    shims = '--fact "stands_off=+0.48 mm" of a plate that stands so much higher than its datum says'
    add_fact(group, f"a fact, as in --fact serial=0012; {shims}")
    group.add_argument(
        "--require", metavar="FACTS", help="facts that must be stated: serial,operator,gauge,gauge_due,side,…"
    )
    group.add_argument("--shop", metavar="FILE", help='settings of a shop (TOML): require = ["serial", …]')


def _add_settings(group: argparse._ArgumentGroup) -> None:
    add_numbers(
        group,
        ("--reading-u", "MM", "standard uncertainty of a reading [0.010]"),
        ("--z-u", "MM", "standard uncertainty of a measured floor Z [0.005]"),
        ("--machine-u", "MM", "common uncertainty of the machine's Z [0]"),
        ("--level", "P", "probability that makes a floor conform [0.95]"),
    )
    group.add_argument("--most", choices=["shift", "tilt", "follow"], help="the most that the machine can do [follow]")
    add_numbers(
        group,
        ("--limit", "MM", "largest offset allowed, millimetres [2]"),
        ("--max-cut", "MM", "most metal for one finishing pass [finish stock + limit]"),
        ("--min-chip", "MM", "least depth of cut before a note [0.05]"),
        ("--thin-cost", "N", "weight of thin against thick [3]"),
    )
    group.add_argument("--aim", choices=["middle", "nominal"], help="where in the tolerance to aim [middle]")
    bias = "finished webs came out this much thicker than predicted (see verify): taken off every offset [0]"
    add_numbers(
        group,
        ("--probe-radius", "MM", "probe's radius: nearer to a wall is set aside [3]"),
        ("--bias", "MM", bias),
        ("--bias-u", "MM", "standard uncertainty of --bias [half of it]"),
        ("--limit-bias", "MM", "largest --bias that is taken [0.06]"),
    )
    known = "what is known of the roughed floors' Z where the file has no z_mm [measured: hold]"
    group.add_argument("--floor-z", choices=["measured", "as-programmed"], help=known)
    moved = "with --floor-z as-programmed: standard uncertainty of the plate's movement since roughing (no default)"
    add_numbers(
        group,
        ("--moved-u", "MM", moved),
        ("--systematic", "MM", "shared error of the readings that gives exit 1, and holds floors [0.020]"),
        ("--level-part", "P", "probability that the whole part must reach [none]"),
        ("--rib-max", "MM", "widest rib across which steps are listed [12]"),
    )
    group.add_argument("--seed", type=int, metavar="N", help="seed of the joint samples [1]")


def run(args: argparse.Namespace) -> int:
    """Run the main job; return 0 when every pocket conforms, 1 when one does not."""
    settings = _settings(args)
    refuse_existing(args.output, replace=args.replace)
    part = floorfit.read_part(args.part)
    with shown_steps(Course(_rough_count(args.readings), len(part.pockets))) as tell:
        readings, notes = _identified(args, floorfit.read_readings(args.readings, part.units))
        gauge, frame = _aids(args)
        inputs = _inputs(args)
        result = floorfit.correct(
            part, readings, settings, gauge=gauge, frame=frame, progress=tell,
            expected=floorfit.read_expected(args.expect, part) if args.expect is not None else None,
            ids=floorfit.read_ids(args.map) if args.map is not None else None,
            prior=floorfit.read_prior(args.prior) if args.prior is not None else None,
        )  # fmt: skip
        result = replace(result, findings=(*notes, *result.findings))
        _answer(result, writing_of(args))
        tell("making the record")
        record = floorfit.make_record(result, inputs)
        del inputs  # only their digests are needed from here on
        _write(result, record, args, tell)
    _go_on(record, args)
    return 0 if result.conforms else 1


def _inputs(args: argparse.Namespace) -> dict[str, tuple[str, bytes]]:
    """Return name and bytes of every file that goes in, by its role."""
    from floorfit.sealed import input_bytes

    given = {"part": args.part, "readings": args.readings, "gauge": args.gauge, "datums": args.datums}
    given |= {"map": args.map, "shop": args.shop, "expected": args.expect, "prior": args.prior}
    if args.expect:
        from floorfit.verify.expect import series_file  # all of `verify`: a tenth of a second that others need not wait

        given["expected"] = series_file(args.expect)
    return input_bytes({role: path for role, path in given.items() if path is not None})


def _rough_count(path: str) -> float:
    """Readings in a file, by its size: some 35 bytes a row."""
    return os.path.getsize(path) / 35 if os.path.isfile(path) else 0.0


def _answer(result: Result, writing: Writing) -> None:
    """Print findings, the table of pockets and the closing lines, before the record is made."""
    from floorfit.closing import closing_sentence
    from floorfit.report.format import display_for
    from floorfit.report.listing import MOST_ROWS, pocket_table

    say_findings(result.findings)
    most = max(MOST_ROWS, sum(one.action == "hold" for one in result.decisions))
    answer(pocket_table(result.decisions, display_for(result.part.units, writing), most, where=", see offsets.csv"))
    answer(_readings_line(result))
    answer(closing_sentence(result))


def _write(result: Result, record: Record, args: argparse.Namespace, tell: Callable[[str], None]) -> None:
    try:
        floorfit.write(
            result, args.output, record=record, replace=args.replace, writing=writing_of(args),
            pictures=not args.no_pictures, progress=tell,
        )  # fmt: skip
    except KeyboardInterrupt as stopped:
        if not getattr(stopped, "stands", ()):
            say(
                f"The table above stands on the screen only; {args.output} is as it was before. "
                "With --no-pictures the files are written without waiting for the pictures."
            )
        raise


def _go_on(record: Record, args: argparse.Namespace) -> None:
    """Say where the files are and what the next commands are."""
    from floorfit.report.format import display_for
    from floorfit.report.headline import next_steps

    say(f"Written to {args.output}." + (" Pictures: floorfit report " + args.output if args.no_pictures else ""))
    for words, command in next_steps(record, display_for("mm"), args.output, args.part):
        say(f"{words} {command}")


def _identified(args: argparse.Namespace, readings: Readings) -> tuple[Readings, list[Finding]]:
    """Add the facts given as options, and ask for those that are required."""
    from floorfit.identity import gauge_overdue, identity_of, missing_facts

    lines = [(0, f"# {key}: {value}") for key, value in readings.identity.items()]
    identity = identity_of(lines, {key: [value] for key, value in args.fact}, readings.source)
    required: list[str] = (args.require or "").replace(" ", "").split(",")
    if args.shop is not None:
        from floorfit.shop import read_shop

        required += read_shop(args.shop)
    faults = missing_facts(identity, [key for key in dict.fromkeys(required) if key], readings.source)
    late = gauge_overdue(identity, readings.source)
    if "gauge_due" in required:
        faults += late
    if faults:
        raise InputError(faults)
    return replace(readings, identity=identity), late


def _aids(args: argparse.Namespace) -> tuple[Gauge | None, Frame | None]:
    gauge = floorfit.read_gauge(args.gauge) if args.gauge is not None else None
    if args.datums is None:
        if args.plate_temperature is not None:
            raise InputError("--plate-temperature needs --datums: growth is counted from the datum points. Give both.")
        return gauge, None
    warm = 20.0 if args.plate_temperature is None else args.plate_temperature
    return gauge, floorfit.fit_frame(floorfit.read_datums(args.datums), temperature_rise_k=warm - 20.0)


def _settings(args: argparse.Namespace) -> Settings:
    from floorfit.result import Settings

    try:
        return Settings.of(**{name: getattr(args, name, None) for name in Settings().flat()})
    except InputError as error:
        named = [replace(one, source="", place=f"--{one.place.replace('_', '-')}") for one in error.findings]
        raise InputError(named) from error


def _readings_line(result: Result) -> str:
    total, used = len(result.readings), int(result.observations.is_used.sum())
    if used == total:
        return f"{total} readings, all used."
    kinds = Counter(reason.split(":")[0] for reason in result.observations.reason if reason)
    listed = ", ".join(f"{count} {code}" for code, count in kinds.most_common())
    return f"{total} readings, {total - used} set aside: {listed} (see readings.csv)."
