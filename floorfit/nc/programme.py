"""Apply the offsets of a job to a finishing programme: read, recognise, plan, write, prove."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.nc.corrected import Corrected, Held, Walls
from floorfit.nc.floor_index import Floor, Matches, floors_of, match
from floorfit.nc.header import has_header, header_lines, header_place
from floorfit.nc.motions import CUTTING, FLOW, JUMP, UNKNOWN, Motions
from floorfit.nc.programme_check import check_plan, check_programme
from floorfit.nc.proof import prove
from floorfit.nc.reader import read_motions
from floorfit.nc.rewrite import write_plan
from floorfit.nc.shifts import make_plan
from floorfit.nc.skip import skip_held
from floorfit.nc.summary import changes_of, traces_of
from floorfit.part.model import Part

__all__ = ["apply_offsets"]

#: Sideways movement of a wall, mm, that counts as none where walls must keep their place. Own choice, no source.
WALL_LIMIT_MM = 0.005
#: Greatest number of findings in one refusal.
_MOST_FINDINGS = 25


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
    progress: Callable[[str, int, int], None] | None

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
        If it cannot be rewritten safely, is not for this part, or the proof fails.
    """
    name = source or ("programme" if isinstance(program, bytes) else Path(program).name)
    options = _Options(name, tip_control, walls, held, tolerance_mm, units, distance, work_offset or None, progress)
    _check_arguments(part, corrections, options)
    data = program if isinstance(program, bytes) else _read(Path(program))
    lines = _lines(data, name)
    return _Run(floors_of(part, corrections), lines, options).result(data, job=job, created=created)


def _check_arguments(part: Part, corrections: Mapping[str, Correction], options: _Options) -> None:
    missing = [pocket.id for pocket in part.pockets if pocket.id not in corrections]
    unknown = sorted(set(corrections) - {pocket.id for pocket in part.pockets})
    if missing or unknown:
        text = f"the corrections are not those of this part (missing: {missing}, not in the part: {unknown})."
        raise InputError(f"{text} Use the job made for it.")
    if not options.tolerance_mm >= 0.001:
        raise InputError(
            f"tolerance {options.tolerance_mm:g} mm: expected 0.001 mm or more. Programmes are rounded to that."
        )


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error


def _lines(data: bytes, name: str) -> list[str]:
    if b"\x00" in data.strip(b"\x00"):
        raise InputError(
            [Finding("not-text", name, "", "is not a text file of one byte per character. Save it as plain text.")]
        )
    lines = [line.decode("latin-1") for line in data.splitlines(keepends=True)]
    if has_header(lines):
        text = "was corrected before. Applying offsets twice would cut wrong: start from the original programme."
        raise InputError([Finding("corrected-before", name, "", text)])
    return lines


class _Run:
    """One programme on its way through the steps."""

    def __init__(self, floors: tuple[Floor, ...], lines: list[str], options: _Options) -> None:
        self.floors, self.options = floors, options
        self.active = tuple(floor for floor in floors if floor.is_active)
        self.guarded = tuple(floor for floor in floors if floor.is_held and options.held != "cut")
        self.bom = lines[0][:3] if lines and lines[0].startswith("\xef\xbb\xbf") else ""
        self.lines = [lines[0][len(self.bom) :], *lines[1:]] if self.bom else lines
        self.warnings: list[Finding] = []

    def result(self, data: bytes, *, job: str, created: str) -> Corrected:
        motions, found, usable = self._understand()
        if self.guarded:
            motions, found, usable = self._without_held(motions, found, usable)
        plan = make_plan(motions, self.floors, found, self.options.tolerance_mm)
        findings = check_plan(
            motions, self.active, found, plan, source=self.options.source, tolerance_mm=self.options.tolerance_mm
        )
        self._stop_on(findings)
        tick = self.options.tick("writing", len(self.lines))
        fine = self._fine(motions, found)
        written = write_plan(self.lines, motions, plan, self.options.source, fine=fine, tick=tick)
        self._stop_on(written.findings)
        digest = hashlib.sha256(data).hexdigest()
        out, origin, head = self._assemble(written.blocks, job, created, digest)
        added = self._prove(motions, out, origin, usable)
        changes = changes_of(motions, self.floors, found, added, written.blocks)
        self._check_walls(changes)
        count = len(written.blocks) + sum(finding.code == "skipped" for finding in self.warnings)
        traces = traces_of(motions, self.floors, found, added)
        text = (self.bom + "".join(out)).encode("latin-1")
        return Corrected(
            text, changes, tuple(self.warnings), digest, len(self.lines), count, len(motions), head, traces
        )

    def _fine(self, motions: Motions, found: Matches) -> NDArray[np.bool_]:
        """Rows on floors whose offset would be lost in the decimals in use; say so once."""
        units = motions.field("unit_mm").astype(float)
        step = np.where(units == 1.0, 0.001, 0.0001 * units)
        most = np.array([*(max(abs(value) for value in floor.dz_range) for floor in self.floors), 0.0])
        most[[not floor.is_active for floor in self.floors] + [True]] = 0.0
        size = most[found.node]
        fine = np.asarray((size > 0) & (size < 0.5 * step))
        for floor in self.active:
            rows = np.flatnonzero(fine & (found.node == floor.index))
            if len(rows):
                text = (
                    f"pocket {floor.pocket.id}: its offset is below the last decimal in use; Z has more decimals there."
                )
                place = f"line {motions.line[rows[0]] + 1}"
                self.warnings.append(Finding("decimals", self.options.source, place, text, "warning"))
        return fine

    def _understand(self) -> tuple[Motions, Matches, NDArray[np.bool_]]:
        options = self.options
        motions = options.read(self.lines, "reading")
        usable = ~np.isin(motions.kind, (JUMP, FLOW))
        if options.work_offset and len(motions):
            usable &= motions.field("work_offset").astype(str) == options.work_offset.upper()
        found = match(motions, self.floors, usable)
        matters = self.active + self.guarded
        findings = check_programme(
            motions,
            matters,
            found,
            source=options.source,
            tip_control=options.tip_control,
            work_offset=options.work_offset,
        )
        findings += [finding for finding in motions.findings if finding.severity == "warning"]
        self._stop_on(findings)
        self._check_part(motions, found)
        return motions, found, usable

    def _stop_on(self, findings: Sequence[Finding]) -> None:
        errors = [finding for finding in findings if finding.severity == "error"]
        if errors:
            raise InputError(errors[:_MOST_FINDINGS])
        self.warnings += findings

    def _check_part(self, motions: Motions, found: Matches) -> None:
        on_floor = (found.node >= 0) | (found.whole >= 0)
        if found.partial or np.any(on_floor & np.isin(motions.kind, CUTTING)):
            return
        lost = (motions.kind == UNKNOWN) | np.isnan(motions.xyz).any(axis=1)
        if not self.active and not self.guarded and np.any(lost & (motions.kind != JUMP)):
            return
        text = "no cutting motion lies on any floor of this part. Is it this part's finishing programme, in its frame?"
        raise InputError([Finding("other-part", self.options.source, "", text)])

    def _without_held(
        self, motions: Motions, found: Matches, usable: NDArray[np.bool_]
    ) -> tuple[Motions, Matches, NDArray[np.bool_]]:
        rows = [(floor, _cut_rows(motions, found, floor)) for floor in self.guarded]
        rows = [(floor, some) for floor, some in rows if len(some)]
        if not rows:
            return motions, found, usable
        if self.options.held == "refuse":
            self._stop_on([_held_finding(motions, floor, some, self.options.source) for floor, some in rows])
        skipped = skip_held(self.lines, motions, [floor for floor, _ in rows], found, self.options.source)
        self._stop_on(skipped.findings)
        self.lines = skipped.lines
        motions, found, usable = self._understand()
        self._stop_on(
            [
                _held_finding(motions, floor, left, self.options.source)
                for floor, _ in rows
                if len(left := _cut_rows(motions, found, floor))
            ]
        )
        return motions, found, usable

    def _assemble(
        self, blocks: dict[int, list[str]], job: str, created: str, digest: str
    ) -> tuple[list[str], NDArray[np.intp], int]:
        options = self.options
        notes = [finding.text for finding in self.warnings if finding.code == "skipped"]
        head = header_lines(
            self.lines, job=job or "-", created=created or "-", input_name=options.source, digest=digest, notes=notes
        )
        place = header_place(self.lines)
        out: list[str] = []
        origin: list[int] = []
        for number, line in enumerate(self.lines):
            if number == place:
                out += head
                origin += [-1] * len(head)
            new = blocks.get(number)
            if new is not None:
                out += new
                origin += [number] * len(new)
            elif line:
                out.append(line)
                origin.append(number)
        return out, np.array(origin, dtype=int), len(head)

    def _prove(
        self, motions: Motions, out: list[str], origin: NDArray[np.intp], usable: NDArray[np.bool_]
    ) -> NDArray[np.float64]:
        options = self.options
        again = "".join(out).encode("latin-1").splitlines(keepends=True)
        after = options.read([line.decode("latin-1") for line in again], "proving")
        findings, added = prove(
            motions, after, origin, self.active, usable, source=options.source, tolerance_mm=options.tolerance_mm
        )
        self._stop_on(findings)
        return added

    def _check_walls(self, changes: Sequence[object]) -> None:
        from floorfit.nc.corrected import PocketChange

        if self.options.walls == "move":
            return
        moved = [change for change in changes if isinstance(change, PocketChange) and change.sideways > WALL_LIMIT_MM]
        self._stop_on(
            [
                Finding(
                    "walls",
                    self.options.source,
                    f"pocket {change.pocket}",
                    f"a wall cut by the flank at {change.tilt_deg:.1f} degrees would move {change.sideways:.3f} mm "
                    "sideways. Use --walls move to accept that, or cut the wall in a pass of its own.",
                )
                for change in moved
            ]
        )


def _cut_rows(motions: Motions, found: Matches, floor: Floor) -> NDArray[np.intp]:
    mask = (found.node == floor.index) | (found.whole == floor.index)
    for row, touched in found.partial.items():
        mask[row] |= floor.index in touched
    return np.flatnonzero(mask & np.isin(motions.kind, CUTTING))


def _held_finding(motions: Motions, floor: Floor, rows: NDArray[np.intp], source: str) -> Finding:
    place = f"line {motions.line[rows[0]] + 1}"
    text = (
        f"pocket {floor.pocket.id} is held and the programme cuts its floor ({len(rows)} motions). Say --held skip to "
        "take them out, or --held cut to leave them as programmed."
    )
    return Finding("held", source, place, text)
