"""Apply the offsets of a job to a finishing programme: read, plan, check, write, prove."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.nc.corrected import Corrected, PocketChange
from floorfit.nc.correction_run import CorrectionRun, StatedOfProgramme
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.header import header_lines, header_place
from floorfit.nc.motions import CUTTING, JUMP, UNKNOWN, Motions
from floorfit.nc.part_fit import check_fit
from floorfit.nc.programme_check import check_plan, check_programme
from floorfit.nc.proof import ProgrammeProof, is_heard_alike
from floorfit.nc.reader import read_motions
from floorfit.nc.rewrite import PlanWriter
from floorfit.nc.shifts import PATHS, Origin, make_plan, tip_path
from floorfit.nc.skip import skip_held
from floorfit.nc.subprogrammes import behind_end, unroll, unseen_calls
from floorfit.nc.summary import cut_again, floor_off, heights_of_tips, plan_trace, what_is_left
from floorfit.nc.swept_floors import Proved
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tool_check import check_tools
from floorfit.nc.understood import Understood
from floorfit.part.model import Part

__all__ = ["StatedOfProgramme", "apply_offsets"]

#: Sideways movement of a wall, mm, that counts as none where walls must keep their place. Own choice, no source.
WALL_LIMIT_MM = 0.005


def apply_offsets(
    part: Part, corrections: Mapping[str, Correction], program: bytes | str | Path, **stated: Any
) -> Corrected:
    """Apply offsets to a finishing programme; linear in its blocks in time and memory.

    Parameters
    ----------
    part, corrections : Part, mapping of str to Correction
        The nominal part, in whose frame X, Y, Z are, and the offset field of every pocket by id.
    program : bytes or path
        The programme (RS274/NGC or ISO 6983-1 word address), or its file.
    **stated
        Fields of `StatedOfProgramme`.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        If it cannot be rewritten safely, is not for this part, a height is negative or none, or the proof fails.
    """
    return _Run(part, corrections, program, StatedOfProgramme(**stated)).result()


class _Run(CorrectionRun):
    """One programme on its way through the steps."""

    def __init__(
        self, part: Part, corrections: Mapping[str, Correction], program: bytes | str | Path, stated: StatedOfProgramme
    ) -> None:
        super().__init__(part, corrections, program, stated, stated.band_mm)
        self.options, self.origin = stated, stated.origin or Origin()
        self.is_elsewhere = False
        self.unrolled = unroll(self.file, self.source)
        if self.unrolled is not None:
            super().stop_on(behind_end(self.unrolled.not_run(), 0, self.source))
            self.lines = self.unrolled.lines

    def stop_on(self, findings: Sequence[Finding]) -> None:
        """As for every file; lines that run are said as lines of the file."""
        if self.unrolled is not None:
            where = self.unrolled.in_file
            findings = [replace(one, place=where(one.place), text=where(one.text)) for one in findings]
        super().stop_on(findings)

    def result(self) -> Corrected:
        seen = self._without_held(self._understand())
        motions, path, gains, options = seen.motions, seen.path, seen.gains, self.options
        count, trace = len(motions), plan_trace(path, gains, self.floors)
        if self.is_elsewhere:  # the file as it came: no motion comes near a floor of the part
            return self.corrected(self.file, self._changes(seen, np.zeros(count), {}), 0, count, trace)
        self.stop_on(check_tools(seen, self.part.outline))
        self.stop_on(check_plan(seen, options.tolerance_mm))
        units = motions.field("unit_mm").astype(float)
        fine = self.fine(units, gains.floor, motions.line, "Z has more decimals there")
        written = PlanWriter(seen, fine)
        written.run(options.tick("writing", len(self.lines)))
        self.stop_on(written.findings)
        out, came = self._assemble(self.lines, written.blocks)
        proved = self._prove(out, came, seen)
        left = what_is_left(proved.floors, self.source, is_beside=bool(path.aside.any()))
        self.stop_on([*proved.findings, *left, *self._doubts(seen, proved)])
        changes = self._changes(seen, written.offset, written.blocks)
        self._check_walls(changes)
        origin = self.unrolled.origin if self.unrolled else range(len(self.lines))
        skipped = sum(finding.code == "skipped" for finding in self.warnings)
        blocks = len({origin[number] for number in written.blocks}) + skipped
        out = self._folded(out, written.blocks)
        return self.corrected(out, changes, blocks, count, trace, proved.floors)

    def _doubts(self, seen: Understood, proved: Proved) -> list[Finding]:
        """What the programme's motion gives away, beside what the proof saw."""
        swept = {one.pocket for one in proved.floors if one.off_mm == one.off_mm}
        high = heights_of_tips(seen.path, seen.cuts, self.floors)
        off = [floor_off(name, off_mm, self.source) for name, off_mm in high if name not in swept]
        return [*off, *cut_again(seen)]

    def _understand(self, *, is_part_known: bool = False) -> Understood:
        options = self.options
        stated, tick = {"units": options.units, "distance": options.distance}, options.tick("reading", len(self.lines))
        motions = read_motions(self.lines, source=self.source, tick=tick, **stated)
        usable = np.ones(len(motions), dtype=bool)
        if options.work_offset:
            usable = motions.field("work_offset").astype(str) == options.work_offset.upper()
        path = tip_path(motions, options.tools, usable, self.origin)
        path = replace(path, aside=np.zeros(len(path))) if options.wear else path
        tolerance, clearance = options.tolerance_mm, options.clearance_mm
        gains = make_plan(motions, path, self.floors, self.part.outline, tolerance_mm=tolerance, clearance_mm=clearance)
        seen = Understood(self.source, self.lines, self.floors, motions, path, gains)
        findings = check_programme(seen, options)
        known = tuple(f"{word.strip().upper()} is not known" for word in options.keep)
        told = [finding for finding in motions.findings if finding.severity == "warning"]
        findings += [finding for finding in told if not finding.text.startswith(known)]
        findings += unseen_calls(motions, options.keep, self.source)
        self.stop_on(findings)
        if not is_part_known:
            self._check_part(motions, path)
        return seen

    def _check_part(self, motions: Motions, path: TipPath) -> None:
        lost = (motions.kind == UNKNOWN) | np.isnan(motions.xyz).any(axis=1)
        if not any(floor.matters for floor in self.floors) and np.any(lost & (motions.kind != JUMP)):
            return
        cutting = np.isin(motions.kind, CUTTING)
        lost = bool(((motions.kind == UNKNOWN) | (cutting & np.isnan(motions.xyz).any(axis=1))).any())
        told = check_fit(path, cutting, motions.line, self.floors, self.part, self.source, lost=lost)
        more = {"other-part": self._turned(motions)}
        self.stop_on([replace(one, text=one.text + more.get(one.code, "")) for one in told])
        self.is_elsewhere = any(finding.code == "no-floor" for finding in told)

    def _turned(self, motions: Motions) -> str:
        """What is to be said where motion in a turned frame was not counted for any floor."""
        rows = np.flatnonzero((motions.kind == UNKNOWN) & (motions.field("transform").astype(str) != ""))
        if not len(rows):
            return ""
        name, line = motions.modals[motions.modal[rows[0]]].transform, motions.line[rows[0]] + 1
        return f" {len(rows)} motions under {name}, the first in line {line}, are not counted: post them without it."

    def _prove(self, out: list[str], origin: Rows, seen: Understood) -> Proved:
        motions, options, gains = seen.motions, self.options, seen.gains
        rows = np.flatnonzero(np.isin(motions.kind, PATHS))
        line = motions.line[rows]
        inner = {int(motions.line[row]): some for row, some in gains.breaks.items()}
        claim = origin, line, motions.xyz[rows], gains.node[rows], inner
        tools = {number: options.tools.get(number) for number in np.unique(options.tools.numbers(motions)).tolist()}
        sizes = {number: (one.radius, one.corner) for number, one in tools.items() if one is not None}
        floors = [(floor.pocket, floor.correction) for floor in self.to_sweep(seen.path)]
        absolute = None if options.distance is None else options.distance == "absolute"
        skipped, frame = line[~seen.path.is_usable[rows]], self.origin.frame()
        return ProgrammeProof(
            self.source, self.lines, out, *claim, floors, sizes, frame, options.unit_mm, absolute, skipped,
            options.wear,
        ).run()  # fmt: skip

    # -- held floors -------------------------------------------------------------------------------------------------

    def _without_held(self, seen: Understood) -> Understood:
        rows = self._held_rows(seen)
        if not rows:
            return seen
        if self.options.held == "refuse":
            self.stop_on([_held_finding(seen.motions, floor, some, self.source) for floor, some in rows])
        floors = [floor for floor, _ in rows]
        lines, told = skip_held(seen, floors)
        self.stop_on(told)
        self.lines = lines
        seen = self._understand(is_part_known=True)
        left = self._held_rows(seen)
        self.stop_on([_held_finding(seen.motions, floor, some, self.source) for floor, some in left])
        return seen

    def _held_rows(self, seen: Understood) -> list[tuple[CutFloor, Rows]]:
        cut = [(floor, seen.cuts_into(floor.index)) for floor in self.floors]
        return [(floor, rows) for floor, rows in cut if len(rows)]

    # -- the new file, and what is told ------------------------------------------------------------------------------

    def _assemble(self, lines: list[str], blocks: dict[int, str | list[str]]) -> tuple[list[str], Rows]:
        notes = [finding.text for finding in self.warnings if finding.code in ("skipped", "written-out")]
        head = header_lines(self.file, self.facts, [*self.who, *notes])
        return self.assemble(lines, blocks, head, header_place(self.file))

    def _folded(self, out: list[str], blocks: dict[int, str | list[str]]) -> list[str]:
        """The file whose blocks run as the ones that were proved; both readers follow its calls and must say so."""
        if self.unrolled is None:
            return out
        now = [blocks.get(number, line) for number, line in enumerate(self.lines)]
        try:
            file = self._assemble(self.file, self.unrolled.folded(now))[0]
        except InputError as error:
            return self._written_out(out, now, error)
        again = unroll(file, self.source)
        is_other = "".join(again.lines if again else file).rstrip() != "".join(out).rstrip()
        if is_other or not (is_heard_alike(self.file, self.unrolled.lines) and is_heard_alike(file, out)):
            self.proof_failed("the calls do not run as they were read. Have them written out")
        return file

    def _written_out(self, out: list[str], now: list[str | list[str]], why: InputError) -> list[str]:
        """The blocks as they run, without those that called, for runs that come out in several ways."""
        runs = self.unrolled
        kept = runs.without_calls() if runs else []
        if not kept or runs is None:
            raise why
        text = (
            "the calls of subprogrammes are written out, for one offset does not suit all their runs: "
            f"{len(kept)} blocks for {len(self.file)}. It is a new programme: prove it out as one."
        )
        self.stop_on([Finding("written-out", self.source, "", text, "warning")])
        file = self._assemble(self.lines, {**dict.fromkeys(range(len(now)), ""), **{k: now[k] for k in kept}})[0]
        if not (is_heard_alike(self.file, runs.lines) and is_heard_alike(file, out)):
            self.proof_failed("the calls do not run as they were read. Have them written out")
        return file + [line for line in self.file[-1:] if line.startswith("%")]

    def _changes(
        self, seen: Understood, added: Array, blocks: Mapping[int, str | list[str]]
    ) -> tuple[PocketChange, ...]:
        changed = np.isin(seen.motions.line, np.array(list(blocks), dtype=int))
        ends = np.where(np.isin(seen.motions.kind, CUTTING)[:, None], seen.path.end, np.nan)
        return self.changes(seen.cuts_on, seen.gains.floor, added, changed, seen.path.axis[:, 2], ends)

    def _check_walls(self, changes: Sequence[PocketChange]) -> None:
        if self.options.walls == "move":
            return
        out = []
        for change in changes:
            text = (
                f"a wall cut by the flank at {change.tilt_deg:.1f} degrees would move {change.sideways:.3f} mm "
                "sideways. Use --walls move to accept that, or cut the wall in a pass of its own."
            )
            if change.sideways > WALL_LIMIT_MM:
                out.append(Finding("walls", self.source, f"pocket {change.pocket}", text))
        self.stop_on(out)


def _held_finding(motions: Motions, floor: CutFloor, rows: Rows, source: str) -> Finding:
    place = f"line {motions.line[rows[0]] + 1}"
    text = (
        f"pocket {floor.pocket.id} is held and the programme cuts it, less than {floor.guard:g} mm above its floor "
        f"({len(rows)} motions). Say --held skip to take them out, or --held cut to leave them as programmed."
    )
    return Finding("held", source, place, text)
