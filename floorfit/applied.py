"""A job and a finishing programme in, the corrected programme out: ``floorfit apply`` as one call."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.as_cut import pockets_by_region, with_left
from floorfit.cutter_left import CutterLeft
from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.identity import SAME_PIECE, refuse_other_clamping, refuse_other_piece, thermal_growth
from floorfit.json_file import read_text
from floorfit.nc.cl import apply_to_locations, frame_of, is_cutter_location
from floorfit.nc.corrected import Corrected, Held
from floorfit.nc.lines import render_lines
from floorfit.nc.programme import apply_offsets
from floorfit.nc.shifts import Origin
from floorfit.nc.tools import Tools, joined, tool_of
from floorfit.part.model import Part
from floorfit.readings.datum import Datums, read_datums, same_shape
from floorfit.record import Record, record_of
from floorfit.units import MM_PER_UNIT, Unit
from floorfit.whole import moment

if TYPE_CHECKING:
    from floorfit.result import Result

__all__ = ["apply", "lines_for", "part_and_corrections"]

#: Statements that only one kind of programme knows.
WORD_ADDRESS_ONLY = ("tip_control", "wear", "walls", "distance", "work_offset", "origin", "band_mm", "clearance_mm")
LOCATIONS_ONLY = ("frame",)


def apply(
    job: Record | Result | str | Path,
    program: bytes | str | Path,
    *,
    facts: Mapping[str, str] | None = None,
    datums: Datums | str | Path | None = None,
    tools: Tools | str | Sequence[str] = (),
    progress: Callable[[str, int, int], None] | None = None,
    **stated: Any,
) -> Corrected:
    """Apply the offsets of a job to a finishing programme or to cutter-location data, told apart by what is in it.

    Parameters
    ----------
    job : Record, Result or path
        A run, its record, or its job folder.
    program : bytes or path
        The programme or its file.
    facts : mapping of str to str, optional
        What the programme is for, as ``{"serial": "0012"}``: refused where the job is of another.
    datums : Datums or path, optional
        Points measured where the webs were read and as the part is clamped now: another clamping is taken where they
        keep their shape.
    tools : Tools, str or sequence of str
        The cutters that are known: ``"1=16,0.5"`` is a tool number, its diameter and its corner radius, mm; without
        number and ``=`` it stands for every tool.
    progress : callable, optional
        Called with stage, lines done and lines in all.
    **stated
        What else is known of the programme: fields of `floorfit.nc.programme.StatedOfProgramme` (``tip_control``,
        ``wear``, ``walls``, ``held``, ``tolerance_mm``, ``units``, ``distance``, ``work_offset``, ``origin``,
        ``band_mm``, ``clearance_mm``, ``keep``; lengths in mm), of cutter-location data ``held``, ``tolerance_mm``,
        ``units``, ``frame`` and ``keep``.
        ``origin`` and ``frame`` may be text as in the command, lengths in the part's unit.

    Returns
    -------
    Corrected
        Its ``data`` are the bytes to write.

    Raises
    ------
    InputError
        If it cannot be rewritten safely, is not for this part or plate, the proof fails, or something is stated that
        this kind of programme does not know.
    """
    record = record_of(job)
    name = str(stated.pop("source", "")) or ("programme" if isinstance(program, bytes) else Path(program).name)
    doubts = _doubts(record, facts, datums, name)
    part, corrections = part_and_corrections(record)
    data = program if isinstance(program, bytes) else Path(program)
    wanted: dict[str, Any] = {
        "job": record.job, "created": moment().date().isoformat(), "source": name, "progress": progress,
        "identity": {"part": part.name, **{key: record.identity[key] for key in SAME_PIECE if key in record.identity}},
    }  # fmt: skip
    if not isinstance(tools, Tools):
        tools = joined([tool_of(one) for one in ([tools] if isinstance(tools, str) else tools)])
    wanted["tools"] = tools
    if is_cutter_location(data):
        more = _of_locations(stated, part.units)
        done = apply_to_locations(part, corrections, data, **wanted, **more)
    else:
        done = apply_offsets(part, corrections, data, **wanted, **_of_word_address(stated, part.units))
    return replace(done, findings=(*doubts, *done.findings, *_out_of_limits(record, done, name)))


def _out_of_limits(record: Record, done: Corrected, source: str) -> list[Finding]:
    """A warning for each floor that is decided to conform, and does not with what the cutters leave of it."""
    decisions, by_region = {decision.pocket: decision for decision in record.decisions}, pockets_by_region(record)
    out = []
    for floor in done.floors:
        left = CutterLeft(floor.deep_mm, floor.high_mm, floor.off_mm if floor.is_off else 0.0)
        decision = decisions[floor.pocket]
        if not decision.is_sure:
            continue
        cut = with_left(decision, left, source, by_region=floor.pocket in by_region)
        if cut.verdict != "conform":
            text = (
                f"pocket {floor.pocket}: with what the cutters leave, the web comes out between "
                f"{cut.web_after_min_mm:.3f} and {cut.web_after_max_mm:.3f} mm, out of its limits. See the table "
                "beside the programme; cut what is left with a smaller cutter, or in another pass."
            )
            out.append(Finding("out-of-limits", source, "", text, "warning"))
    return out


def lines_for(
    job: Record | Result | str | Path,
    template: Path,
    *,
    held: Held = "refuse",
    facts: Mapping[str, str] | None = None,
    datums: Datums | str | Path | None = None,
) -> tuple[str, list[Finding]]:
    """Return a line for each pocket from a template file, for controls that take offsets as variables.

    Parameters
    ----------
    job : Record, Result or path
        A run, its record, or its job folder.
    template : Path
        UTF-8 text, see `floorfit.nc.render_lines`.
    held : {"refuse", "skip", "cut"}
        What to do with held pockets.
    facts : mapping of str to str, optional
        What the lines are for; refused where the job is of another.
    datums : Datums or path, optional
        As for `apply`.

    Returns
    -------
    (str, list of Finding)
        The lines, and what a person should know.

    Raises
    ------
    InputError
        If the template cannot be read or is wrong, a pocket's correction does not fit in a line, or the job is of
        another plate.
    """
    record = record_of(job)
    doubts = _doubts(record, facts, datums, template.name)
    text = read_text(template)
    return render_lines(*part_and_corrections(record), text, held=held, source=template.name), doubts


def _doubts(
    record: Record, facts: Mapping[str, str] | None, datums: Datums | str | Path | None, name: str
) -> list[Finding]:
    """Refuse what is stated to be for another part, serial, side or clamping than the job's."""
    known, found = dict(facts or {}), []
    if datums is None:
        refuse_other_clamping(record.identity, known, name)
    else:
        move = same_shape(datums if isinstance(datums, Datums) else read_datums(datums))
        words = (
            f"the plate kept its shape: {1000 * move.rms:.0f} µm rms at {len(move.names)} points after a rigid move."
        )
        found.append(Finding("same-shape", "", "", words, "note"))
    if "clamping" in record.identity and "clamping" not in known:
        words = f'states no clamping; the webs were read in "{record.identity["clamping"]}".'
        found.append(Finding("clamping-not-stated", name, "", words, "warning"))
    outline = np.array(record.part["outline"], float) * MM_PER_UNIT[record.part["units"]]
    length = float(np.ptp(outline, axis=0).max())
    found += thermal_growth(record.identity, known, length, name)
    return [*found, *refuse_other_piece(record.identity, known, name)]


def part_and_corrections(record: Record) -> tuple[Part, dict[str, Correction]]:
    """Return what a record holds for a programme: the part, and the offset field of every pocket by id."""
    return record.nominal(), {decision.pocket: decision.correction for decision in record.decisions}


def _of_locations(stated: Mapping[str, Any], unit: Unit) -> dict[str, Any]:
    """Return what is stated of cutter-location data; a frame may be its 12 numbers as text."""
    _refuse_unknown(stated, WORD_ADDRESS_ONLY, "word-address programmes, and this is cutter-location data")
    if stated.get("held") == "skip":
        raise InputError(
            "--held skip: cutter-location data has no block delete. Take the floor out, or say --held cut."
        )
    known = {name: value for name, value in stated.items() if name not in WORD_ADDRESS_ONLY}
    if isinstance(known.get("frame"), str):
        known["frame"] = frame_of(known["frame"], MM_PER_UNIT[unit]) if known["frame"] else None
    return known


def _of_word_address(stated: Mapping[str, Any], unit: Unit) -> dict[str, Any]:
    """Return what is stated of a word-address programme; an origin may be its three or four numbers as text."""
    _refuse_unknown(stated, LOCATIONS_ONLY, "cutter-location data, and this is a word-address programme")
    known = {name: value for name, value in stated.items() if name not in LOCATIONS_ONLY}
    if isinstance(known.get("origin"), str):
        known["origin"] = Origin.of(known["origin"], unit)
    return known


def _refuse_unknown(stated: Mapping[str, Any], others: tuple[str, ...], words: str) -> None:
    given = [name.removesuffix("_mm") for name in others if name != "walls" and stated.get(name)]
    if given:
        options = ", ".join("--" + name.replace("_", "-") for name in given)
        raise InputError(f"{options}: for {words}. Leave it out.")
