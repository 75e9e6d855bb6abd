"""Apply the offsets of a job to a finishing programme: read, plan, check, write, prove."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.nc.corrected import Corrected, Held, PocketChange, Walls
from floorfit.nc.floor_bands import Floor, floors_of
from floorfit.nc.header import has_header, header_lines, header_place
from floorfit.nc.motions import CUTTING, FLOW, JUMP, UNKNOWN, Motions
from floorfit.nc.programme_check import check_plan, check_programme
from floorfit.nc.reader import read_motions
from floorfit.nc.rewrite import write_plan
from floorfit.nc.rule import Gains
from floorfit.nc.shifts import Origin, make_plan, tip_path
from floorfit.nc.skip import skip_held
from floorfit.nc.summary import changes_of
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools
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
    tools: Tools
    origin: Origin
    clearance_mm: float | None
    identity: Mapping[str, str]
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
    tools: Tools | None = None,
    origin: Origin | None = None,
    band_mm: float | None = None,
    clearance_mm: float | None = None,
    identity: Mapping[str, str] | None = None,
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
    )
    _check_arguments(part, corrections, options)
    data = program if isinstance(program, bytes) else _read(Path(program))
    lines = _lines(data, name)
    return _Run(part, floors_of(part, corrections, band_mm), lines, options).result(data, job=job, created=created)


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


@dataclass(frozen=True)
class _Understood:
    """What a programme does, and what the rule asks of it."""

    motions: Motions
    path: TipPath
    gains: Gains


class _Run:
    """One programme on its way through the steps."""

    def __init__(self, part: Part, floors: tuple[Floor, ...], lines: list[str], options: _Options) -> None:
        self.part, self.floors, self.options = part, floors, options
        self.active = tuple(floor for floor in floors if floor.is_active)
        self.guarded = tuple(floor for floor in floors if floor.is_held and options.held != "cut")
        self.bom = lines[0][:3] if lines and lines[0].startswith("\xef\xbb\xbf") else ""
        self.lines = [lines[0][len(self.bom) :], *lines[1:]] if self.bom else lines
        self.warnings: list[Finding] = []

    def result(self, data: bytes, *, job: str, created: str) -> Corrected:
        seen = self._understand()
        if self.guarded:
            seen = self._without_held(seen)
        motions, gains, options = seen.motions, seen.gains, self.options
        self._stop_on(
            check_plan(
                motions, seen.path, self.active, gains, source=options.source, tolerance_mm=options.tolerance_mm
            )
        )
        fine = self._fine(motions, gains)
        tick = options.tick("writing", len(self.lines))
        written = write_plan(self.lines, motions, gains, options.source, fine=fine, tick=tick)
        self._stop_on(written.findings)
        digest = hashlib.sha256(data).hexdigest()
        out, origin, head = self._assemble(written.blocks, job, created, digest)
        self._prove(out, origin, seen)
        changes = changes_of(motions, self.floors, gains, written.offset, written.blocks)
        self._check_walls(changes)
        count = len(written.blocks) + sum(finding.code == "skipped" for finding in self.warnings)
        text = (self.bom + "".join(out)).encode("latin-1")
        return Corrected(text, changes, tuple(self.warnings), digest, len(self.lines), count, len(motions), head)

    def _prove(self, out: list[str], origin: NDArray[np.intp], seen: _Understood) -> None:
        pass

    def _fine(self, motions: Motions, found: Gains) -> NDArray[np.bool_]:
        """Rows on floors whose offset would be lost in the decimals in use; say so once."""
        units = motions.field("unit_mm").astype(float) if len(motions) else np.zeros(0)
        step = np.where(units == 1.0, 0.001, 0.0001 * units)
        most = np.array([*(max(abs(value) for value in floor.dz_range) for floor in self.floors), 0.0])
        most[[not floor.is_active for floor in self.floors] + [True]] = 0.0
        size = most[found.floor]
        fine = np.asarray((size > 0) & (size < 0.5 * step))
        for floor in self.active:
            rows = np.flatnonzero(fine & (found.floor == floor.index))
            if len(rows):
                text = (
                    f"pocket {floor.pocket.id}: its offset is below the last decimal in use; Z has more decimals there."
                )
                place = f"line {motions.line[rows[0]] + 1}"
                self.warnings.append(Finding("decimals", self.options.source, place, text, "warning"))
        return fine

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
            self.floors if options.held != "cut" else _as_programmed(self.floors),
            self.part.outline,
            tolerance_mm=options.tolerance_mm,
            clearance_mm=options.clearance_mm,
        )
        findings = check_programme(
            motions,
            path,
            self.active + self.guarded,
            gains,
            source=options.source,
            tip_control=options.tip_control,
            work_offset=options.work_offset,
        )
        findings += [finding for finding in motions.findings if finding.severity == "warning"]
        self._stop_on(findings)
        self._check_part(motions, gains)
        return _Understood(motions, path, gains)

    def _stop_on(self, findings: Sequence[Finding]) -> None:
        errors = [finding for finding in findings if finding.severity == "error"]
        if errors:
            raise InputError(errors[:_MOST_FINDINGS])
        self.warnings += [finding for finding in findings if finding not in self.warnings]

    def _check_part(self, motions: Motions, found: Gains) -> None:
        on_floor = (found.floor >= 0) | (found.whole >= 0)
        if found.touched or found.guarded or np.any(on_floor & np.isin(motions.kind, CUTTING)):
            return
        lost = (motions.kind == UNKNOWN) | np.isnan(motions.xyz).any(axis=1)
        if not self.active and not self.guarded and np.any(lost & (motions.kind != JUMP)):
            return
        text = "no cutting motion lies on any floor of this part. Is it this part's finishing programme, in its frame?"
        raise InputError([Finding("other-part", self.options.source, "", text)])

    def _without_held(self, seen: _Understood) -> _Understood:
        rows = self._held_rows(seen)
        if not rows:
            return seen
        if self.options.held == "refuse":
            self._stop_on([_held_finding(seen.motions, floor, some, self.options.source) for floor, some in rows])
        skipped = skip_held(self.lines, seen.motions, [floor for floor, _ in rows], seen.gains, self.options.source)
        self._stop_on(skipped.findings)
        self.lines = skipped.lines
        seen = self._understand()
        left = self._held_rows(seen)
        self._stop_on([_held_finding(seen.motions, floor, some, self.options.source) for floor, some in left])
        return seen

    def _held_rows(self, seen: _Understood) -> list[tuple[Floor, list[int]]]:
        out = []
        for floor in self.guarded:
            rows = [row for row, floors in sorted(seen.gains.guarded.items()) if floor.index in floors]
            rows = [row for row in rows if seen.motions.kind[row] in CUTTING]
            out += [(floor, rows)] if rows else []
        return out

    def _assemble(
        self, blocks: dict[int, list[str]], job: str, created: str, digest: str
    ) -> tuple[list[str], NDArray[np.intp], int]:
        options = self.options
        notes = [finding.text for finding in self.warnings if finding.code == "skipped"]
        head = header_lines(
            self.lines,
            job=job or "-",
            created=created or "-",
            input_name=options.source,
            digest=digest,
            notes=[*(f"{name} {text}" for name, text in options.identity.items() if text), *notes],
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

    def _check_walls(self, changes: Sequence[PocketChange]) -> None:
        if self.options.walls == "move":
            return
        moved = [change for change in changes if change.sideways > WALL_LIMIT_MM]
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


def _as_programmed(floors: Sequence[Floor]) -> tuple[Floor, ...]:
    """The same floors, where a held one is cut as programmed: its offset is 0."""
    out = []
    for floor in floors:
        correction = replace(floor.correction, action="shift", offset=0.0) if floor.is_held else floor.correction
        out.append(replace(floor, correction=correction))
    return tuple(out)


def _held_finding(motions: Motions, floor: Floor, rows: Sequence[int], source: str) -> Finding:
    place = f"line {motions.line[rows[0]] + 1}"
    text = (
        f"pocket {floor.pocket.id} is held and the programme cuts it, less than {floor.guard:g} mm above its floor "
        f"({len(rows)} motions). Say --held skip to take them out, or --held cut to leave them as programmed."
    )
    return Finding("held", source, place, text)
