"""Apply the offsets of a job to a finishing programme: read, plan, check, write, prove."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.decision.decision import Correction
from floorfit.errors import Finding, Range, check_ranges
from floorfit.nc.corrected import Corrected, Held, PocketChange, Walls
from floorfit.nc.correction_run import CorrectionRun, check_corrections, check_tolerance, floors_for
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import Gains
from floorfit.nc.header import header_lines, header_place
from floorfit.nc.motions import CUTTING, FLOW, JUMP, UNKNOWN, Motions
from floorfit.nc.part_fit import check_fit
from floorfit.nc.programme_check import check_plan, check_programme
from floorfit.nc.proof import Claim, Proved, prove_programme
from floorfit.nc.reader import read_motions
from floorfit.nc.rewrite import write_plan
from floorfit.nc.shifts import PATHS, Origin, make_plan, tip_path
from floorfit.nc.skip import skip_held
from floorfit.nc.subprogrammes import unseen_calls
from floorfit.nc.summary import changes_of, plan_trace, what_is_left
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tool_check import check_tools
from floorfit.nc.tools import Tools
from floorfit.part.model import Part

__all__ = ["apply_offsets"]

#: Sideways movement of a wall, mm, that counts as none where walls must keep their place. Own choice, no source.
WALL_LIMIT_MM = 0.005


@dataclass(frozen=True)
class _Options:
    source: str
    tip_control: bool
    walls: Walls
    held: Held
    tolerance_mm: float
    units: str | None
    distance: str | None
    work_offset: str | None
    tools: Tools
    origin: Origin
    clearance_mm: float | None
    identity: Mapping[str, str]
    progress: Callable[[str, int, int], None] | None
    keep: Sequence[str]

    def tick(self, stage: str, total: int) -> Callable[[int], None] | None:
        progress = self.progress
        return None if progress is None else lambda done: progress(stage, done, total)

    def read(self, lines: Sequence[str], stage: str) -> Motions:
        tick = self.tick(stage, len(lines))
        return read_motions(lines, source=self.source, units=self.units, distance=self.distance, tick=tick)


def apply_offsets(
    part: Part,
    corrections: Mapping[str, Correction],
    program: bytes | str | Path,
    *,
    tip_control: bool = False,
    walls: Walls = "move",
    held: Held = "refuse",
    tolerance_mm: float = 0.005,
    units: str | None = None,
    distance: str | None = None,
    work_offset: str | None = None,
    tools: Tools | None = None,
    origin: Origin | None = None,
    band_mm: float | None = None,
    clearance_mm: float | None = None,
    identity: Mapping[str, str] | None = None,
    keep: Sequence[str] = (),
    job: str = "",
    created: str = "",
    source: str = "",
    progress: Callable[[str, int, int], None] | None = None,
) -> Corrected:
    """Apply offsets to a finishing programme; linear in its blocks in time and memory.

    Parameters
    ----------
    part, corrections : Part, mapping of str to Correction
        The nominal part, in whose frame X, Y, Z are, and the offset field of every pocket by id.
    program : bytes or path
        The programme (RS274/NGC or ISO 6983-1 word address), or its file.
    tip_control : bool
        States that X, Y, Z are the tool tip in the part's frame whatever the rotary words say.
    walls : {"move", "keep"}
        A wall cut by a flank tilted on a floor moves by ``dz tan(tilt)``: list that, or refuse over 0.005 mm.
    held : {"refuse", "skip", "cut"}
        What to do with motion on held floors.
    tolerance_mm : float, mm
        Greatest difference between the offset along a motion and the one wanted.
    units, distance, work_offset : str or None
        In force before the programme says so (``"mm"``, ``"absolute"``); the offset whose zero is the part's.
    tools : Tools or None
        The cutters that are known; where one is not and its radius matters, the programme is refused.
    origin : Origin or None
        Where the programme's zero stands on the part; None where it is the part's.
    band_mm, clearance_mm : float or None, mm
        Height above a floor up to which motion moves with it, and least height of other motion above a corrected floor;
        None for 0.4 of the finishing stock and for the band (rapids 0.5).
    identity : mapping of str to str or None
        What the header says of the part: name, serial, side.
    keep : sequence of str
        Programmes in other files that are called and cut no floor, as ``"O9000"``.
    job, created, source : str
        Job id and date for the header; the programme's name.
    progress : callable or None
        Called with stage, lines done and lines in all.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        If it cannot be rewritten safely, is not for this part, a height is negative or none, or the proof fails.
    """
    name = source or ("programme" if isinstance(program, bytes) else Path(program).name)
    options = _Options(
        name,
        tip_control,
        walls,
        held,
        tolerance_mm,
        units,
        distance,
        work_offset or None,
        tools or Tools(),
        origin or Origin(),
        clearance_mm,
        identity or {"part": part.name},
        progress,
        keep,
    )
    check_corrections(part, corrections)
    check_tolerance(tolerance_mm)
    heights = Range("a number, 0 or more, or None", 0.0, may_be_none=True)
    check_ranges("apply", [("band_mm", band_mm, heights), ("clearance_mm", clearance_mm, heights)])
    return _Run(part, floors_for(part, corrections, held, band_mm), program, options).result(job=job, created=created)


@dataclass(frozen=True)
class _Understood:
    """What a programme does, and what the rule asks of it."""

    motions: Motions
    path: TipPath
    gains: Gains


class _Run(CorrectionRun):
    """One programme on its way through the steps."""

    def __init__(
        self, part: Part, floors: tuple[CutFloor, ...], program: bytes | str | Path, options: _Options
    ) -> None:
        super().__init__(part, floors, program, options.source)
        self.options = options
        self.active = tuple(floor for floor in floors if floor.is_active)
        self.guarded = tuple(floor for floor in floors if floor.is_held)
        self.is_elsewhere = False

    def result(self, *, job: str, created: str) -> Corrected:
        seen = self._understand()
        if self.guarded:
            seen = self._without_held(seen)
        if self.is_elsewhere:
            return self._untouched(seen)
        motions, path, gains, options = seen.motions, seen.path, seen.gains, self.options
        numbers, tolerance = options.tools.numbers(motions), options.tolerance_mm
        self.stop_on(check_tools(motions, path, self.floors, self.part.outline, numbers, source=self.source))
        self.stop_on(check_plan(motions, path, self.active, gains, source=self.source, tolerance_mm=tolerance))
        units = motions.field("unit_mm").astype(float) if len(motions) else np.zeros(0)
        fine = self.fine(units, gains.floor, motions.line, "Z has more decimals there")
        tick = options.tick("writing", len(self.lines))
        written = write_plan(self.lines, motions, gains, self.source, fine=fine, tick=tick)
        self.stop_on(written.findings)
        out, origin, head = self._assemble(written.blocks, job, created)
        proved = self._prove(out, origin, seen)
        self.stop_on([*proved.findings, *what_is_left(proved.floors, self.source)])
        changes = self._changes(seen, written.offset, written.blocks)
        self._check_walls(changes)
        count = len(written.blocks) + sum(finding.code == "skipped" for finding in self.warnings)
        return Corrected(
            (self.bom + "".join(out)).encode("latin-1"),
            changes,
            tuple(self.warnings),
            self.digest,
            len(self.lines),
            count,
            len(motions),
            head,
            proved.floors,
            plan_trace(path, gains, self.floors),
        )

    def _understand(self) -> _Understood:
        options = self.options
        motions = options.read(self.lines, "reading")
        usable = ~np.isin(motions.kind, (JUMP, FLOW, UNKNOWN))
        if options.work_offset and len(motions):
            usable &= motions.field("work_offset").astype(str) == options.work_offset.upper()
        path = tip_path(motions, options.tools, usable, options.origin)
        gains = make_plan(
            motions,
            path,
            self.floors,
            self.part.outline,
            tolerance_mm=options.tolerance_mm,
            clearance_mm=options.clearance_mm,
        )
        findings = check_programme(
            motions,
            path,
            self.active + self.guarded,
            gains,
            source=self.source,
            tip_control=options.tip_control,
            work_offset=options.work_offset,
        )
        findings += [finding for finding in motions.findings if finding.severity == "warning"]
        findings += unseen_calls(motions, self.lines, options.keep, self.source)
        self.stop_on(findings)
        self._check_part(motions, path)
        return _Understood(motions, path, gains)

    def _check_part(self, motions: Motions, path: TipPath) -> None:
        lost = (motions.kind == UNKNOWN) | np.isnan(motions.xyz).any(axis=1)
        if not self.active and not self.guarded and np.any(lost & (motions.kind != JUMP)):
            return
        cutting = np.isin(motions.kind, CUTTING)
        lost = bool(((motions.kind == UNKNOWN) | (cutting & np.isnan(motions.xyz).any(axis=1))).any())
        told = check_fit(
            path, cutting, motions.line, self.floors, self.part.outline, self.source, lost=lost, unit=self.part.units
        )
        told = [
            replace(one, text=one.text + self._turned(motions)) if one.code == "other-part" else one for one in told
        ]
        self.stop_on(told)
        self.is_elsewhere = any(finding.code == "no-floor" for finding in told)

    def _turned(self, motions: Motions) -> str:
        """What is to be said where motion in a turned frame was not counted for any floor."""
        rows = np.flatnonzero((motions.kind == UNKNOWN) & (motions.field("transform").astype(str) != ""))
        if not len(rows):
            return ""
        name, line = motions.modals[motions.modal[rows[0]]].transform, motions.line[rows[0]] + 1
        return f" {len(rows)} motions under {name}, the first in line {line}, are not counted: post them without it."

    def _untouched(self, seen: _Understood) -> Corrected:
        """The very bytes that came in, without a header: no floor is near."""
        count, nothing = len(seen.motions), np.zeros(len(seen.motions))
        data = (self.bom + "".join(self.lines)).encode("latin-1")
        trace = plan_trace(seen.path, seen.gains, self.floors)
        changes = self._changes(seen, nothing, {})
        return Corrected(data, changes, tuple(self.warnings), self.digest, len(self.lines), 0, count, 0, (), trace)

    # -- the proof ---------------------------------------------------------------------------------------------------

    def _prove(self, out: list[str], origin: Rows, seen: _Understood) -> Proved:
        motions, options, gains = seen.motions, self.options, seen.gains
        rows = np.flatnonzero(np.isin(motions.kind, PATHS))
        line = motions.line[rows]
        inner = {int(motions.line[row]): some for row, some in gains.breaks.items()}
        claim = Claim(origin, line, motions.xyz[rows], gains.node[rows], inner)
        tools = {number: options.tools.get(number) for number in np.unique(options.tools.numbers(motions)).tolist()}
        sizes = {number: (one.radius, one.corner) for number, one in tools.items() if one is not None}
        return prove_programme(
            self.lines,
            out,
            claim,
            [(floor.pocket, floor.correction) for floor in self.to_sweep(seen.path)],
            sizes,
            frame=options.origin.frame(),
            unit_mm={"mm": 1.0, "in": 25.4}.get(options.units or ""),
            absolute=None if options.distance is None else options.distance == "absolute",
            skipped=line[~seen.path.is_usable[rows]],
            source=self.source,
        )

    # -- held floors -------------------------------------------------------------------------------------------------

    def _without_held(self, seen: _Understood) -> _Understood:
        rows = self._held_rows(seen)
        if not rows:
            return seen
        if self.options.held == "refuse":
            self.stop_on([_held_finding(seen.motions, floor, some, self.source) for floor, some in rows])
        skipped = skip_held(self.lines, seen.motions, [floor for floor, _ in rows], seen.gains, self.source)
        self.stop_on(skipped.findings)
        self.lines = skipped.lines
        seen = self._understand()
        left = self._held_rows(seen)
        self.stop_on([_held_finding(seen.motions, floor, some, self.source) for floor, some in left])
        return seen

    def _held_rows(self, seen: _Understood) -> list[tuple[CutFloor, list[int]]]:
        out = []
        for floor in self.guarded:
            rows = [row for row, floors in sorted(seen.gains.guarded.items()) if floor.index in floors]
            rows = [row for row in rows if seen.motions.kind[row] in CUTTING]
            out += [(floor, rows)] if rows else []
        return out

    # -- the new file, and what is told ------------------------------------------------------------------------------

    def _assemble(self, blocks: dict[int, str | list[str]], job: str, created: str) -> tuple[list[str], Rows, int]:
        notes = [finding.text for finding in self.warnings if finding.code == "skipped"]
        head = header_lines(
            self.lines,
            job=job or "-",
            created=created or "-",
            input_name=self.source,
            digest=self.digest,
            notes=[*(f"{name} {text}" for name, text in self.options.identity.items() if text), *notes],
        )
        out, origin = self.assemble(blocks, head, header_place(self.lines))
        return out, origin, len(head)

    def _changes(
        self, seen: _Understood, added: Array, blocks: Mapping[int, str | list[str]]
    ) -> tuple[PocketChange, ...]:
        motions, gains = seen.motions, seen.gains

        def rows_on(floor: CutFloor) -> Rows:
            rows = gains.rows_on(floor.index)
            return rows[np.isin(motions.kind[rows], CUTTING)]

        changed = np.isin(motions.line, np.array(list(blocks), dtype=int))
        upright = seen.path.axis[:, 2]
        return changes_of(self.floors, rows_on, floor_of=gains.floor, added=added, changed=changed, upright=upright)

    def _check_walls(self, changes: Sequence[PocketChange]) -> None:
        if self.options.walls == "move":
            return
        moved = [change for change in changes if change.sideways > WALL_LIMIT_MM]
        self.stop_on(
            [
                Finding(
                    "walls",
                    self.source,
                    f"pocket {change.pocket}",
                    f"a wall cut by the flank at {change.tilt_deg:.1f} degrees would move {change.sideways:.3f} mm "
                    "sideways. Use --walls move to accept that, or cut the wall in a pass of its own.",
                )
                for change in moved
            ]
        )


def _held_finding(motions: Motions, floor: CutFloor, rows: Sequence[int], source: str) -> Finding:
    place = f"line {motions.line[rows[0]] + 1}"
    text = (
        f"pocket {floor.pocket.id} is held and the programme cuts it, less than {floor.guard:g} mm above its floor "
        f"({len(rows)} motions). Say --held skip to take them out, or --held cut to leave them as programmed."
    )
    return Finding("held", source, place, text)
