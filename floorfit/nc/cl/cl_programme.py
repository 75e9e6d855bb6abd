"""Apply the offsets of a job to cutter-location data: read, plan by the one rule, write, prove."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.nc.cl.cl_check import check_gains, check_locations
from floorfit.nc.cl.cl_proof import ProvedLocations, prove_locations
from floorfit.nc.cl.cl_reader import read_locations
from floorfit.nc.cl.cl_second import Heard, hear
from floorfit.nc.cl.cl_writer import WrittenLocations, write_locations
from floorfit.nc.cl.location_path import LocationPath, location_path
from floorfit.nc.cl.locations import FileFrame, Locations
from floorfit.nc.corrected import Corrected, Held, PocketChange, SectionTrace
from floorfit.nc.cutter import Cutter
from floorfit.nc.floor_bands import Floor, floors_of
from floorfit.nc.header import MARK, plain
from floorfit.nc.motions import CUTTING
from floorfit.nc.rule import Gains, plan_gains
from floorfit.part.model import Part

__all__ = ["apply_to_locations", "frame_of"]

_CAUTIONS = (
    "Points over pocket floors were moved along Z of the part. Nothing else was.",
    "Post, simulate, and prove out again. Never for a programme that is frozen.",
    "Licensed and local practice decides. Do not apply twice.",
)
#: Greatest number of findings in one refusal, and points of one trace.
_MOST_FINDINGS, _TRACE_POINTS = 25, 600


@dataclass(frozen=True)
class _LocationOptions:
    source: str
    held: Held
    tolerance_mm: float
    units: str | None
    frame: FileFrame
    keep: tuple[str, ...]
    cutters: Mapping[str, Cutter]
    progress: Callable[[str, int, int], None] | None

    def tick(self, stage: str, total: int) -> Callable[[int], None] | None:
        progress = self.progress
        return None if progress is None else lambda done: progress(stage, done, total)


def frame_of(text: str, unit_mm: float) -> FileFrame:
    """Frame of 12 numbers between commas, lengths in a unit.

    Raises
    ------
    InputError
        If they are not 12, or not a rotation and a way.
    """
    try:
        return FileFrame.of([float(part) for part in text.split(",")], unit_mm)
    except ValueError as error:
        raise InputError(
            f"--frame {text}: {error}. Give the file's X, Y, Z and zero in the part's frame, row by row: "
            "1,0,0,DX,0,1,0,DY,0,0,1,DZ only shifts."
        ) from error


def apply_to_locations(
    part: Part,
    corrections: Mapping[str, Correction],
    program: bytes | str | Path,
    *,
    held: Held = "refuse",
    tolerance_mm: float = 0.005,
    units: str | None = None,
    frame: FileFrame | None = None,
    keep: Collection[str] = (),
    cutters: Mapping[str, Cutter] | None = None,
    job: str = "",
    created: str = "",
    source: str = "",
    progress: Callable[[str, int, int], None] | None = None,
) -> Corrected:
    """Apply offsets to cutter-location data; linear in its lines in time and memory.

    Parameters
    ----------
    part, corrections : Part, mapping of str to Correction
        The nominal part, and the offset field of every pocket by id.
    program : bytes or path
        Cutter-location data as text (wording of ISO 4343), or its file.
    held : {"refuse", "cut"}
        What to do with motion on held floors.
    tolerance_mm : float, mm
        Greatest difference between the offset along a motion and the one wanted.
    units : {"mm", "in"} or None
        In force before the file says ``UNITS``.
    frame : FileFrame or None
        Where the file's frame is in the part's.
    keep : collection of str
        Major words that the user states to move nothing.
    cutters : mapping of str to Cutter, or None
        Cutters by number of the tool, where the file states none.
    job, created, source : str
        Job id and date for the header; the file's name.
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
    name = source or ("cutter-location data" if isinstance(program, bytes) else Path(program).name)
    options = _LocationOptions(
        name, held, tolerance_mm, units, frame or FileFrame.none(), tuple(keep), dict(cutters or {}), progress
    )
    if not tolerance_mm >= 0.001:
        raise InputError(f"tolerance {tolerance_mm:g} mm: expected 0.001 mm or more. Files are rounded to that.")
    data = program if isinstance(program, bytes) else _read(Path(program))
    floors = floors_of(part, corrections)
    floors = tuple(map(_as_programmed, floors)) if held == "cut" else floors
    return _LocationRun(part, floors, _lines(data, name), options).result(data, job, created)


def _as_programmed(floor: Floor) -> Floor:
    """A held floor that is cut as programmed: its offset is 0."""
    if not floor.is_held:
        return floor
    return replace(floor, correction=replace(floor.correction, action="shift", offset=0.0))


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error


def _lines(data: bytes, name: str) -> list[str]:
    if b"\x00" in data:
        text = "is not a text file of one byte per character. Save it as plain text."
        raise InputError([Finding("not-text", name, "", text)])
    # Not str.splitlines: a form feed, or the byte 0x85, ends no line.
    lines = [line.decode("latin-1") for line in data.splitlines(keepends=True)]
    if any(MARK in line for line in lines[:100]):
        text = "was corrected before. Applying offsets twice would cut wrong: start from the original file."
        raise InputError([Finding("corrected-before", name, "", text)])
    return lines


@dataclass
class _LocationRun:
    """One file on its way through the steps."""

    part: Part
    floors: tuple[Floor, ...]
    lines: list[str]
    options: _LocationOptions
    warnings: list[Finding] = field(default_factory=list)

    def result(self, data: bytes, job: str, created: str) -> Corrected:
        options = self.options
        bom = self.lines[0][:3] if self.lines and self.lines[0].startswith("\xef\xbb\xbf") else ""
        self.lines[:1] = [line[len(bom) :] for line in self.lines[:1]]
        found = read_locations(
            self.lines,
            source=options.source,
            units=options.units,
            frame=options.frame,
            keep=options.keep,
            tick=options.tick("reading", len(self.lines)),
        )
        self._stop_on(found.findings)
        way, gains, node, breaks = self._plan(found)
        written = write_locations(
            self.lines,
            found,
            node,
            breaks,
            source=options.source,
            fine=self._fine(found, gains, way),
            tick=options.tick("writing", len(self.lines)),
        )
        self._stop_on(written.findings)
        digest = hashlib.sha256(data).hexdigest()
        out, origin, head = self._assemble(written, job, created, digest)
        proved = self._prove(found, way, (node, breaks), out, origin)
        self._stop_on(proved.findings)
        changes = self._changes(found, way, gains, written, proved)
        text = (bom + "".join(out)).encode("latin-1")
        changed = sum(block != [self.lines[line]] for line, block in written.blocks.items())
        traces = self._traces(found, way, gains, proved.added)
        return Corrected(
            text, changes, tuple(self.warnings), digest, len(self.lines), changed, len(found), head, traces
        )

    def _stop_on(self, findings: Sequence[Finding]) -> None:
        errors = [finding for finding in findings if finding.severity == "error"]
        if errors:
            raise InputError(errors[:_MOST_FINDINGS])
        self.warnings += [finding for finding in findings if finding not in self.warnings]

    def _plan(
        self, found: Locations
    ) -> tuple[LocationPath, Gains, NDArray[np.float64], dict[int, list[tuple[float, float]]]]:
        options = self.options
        way = location_path(found, dict(options.cutters))
        gains = plan_gains(way.path, self.floors, self.part.outline, tolerance_mm=options.tolerance_mm)
        self._stop_on(check_locations(found, way, gains, self.floors, options.source))
        self._stop_on(check_gains(found, way, gains, self.floors, held=options.held, source=options.source))
        node, breaks = way.to_rows(gains.node, gains.breaks)
        return way, gains, node, breaks

    def _fine(self, found: Locations, gains: Gains, way: LocationPath) -> NDArray[np.bool_]:
        """Rows on floors whose offset would be lost in the decimals in use; say so once."""
        units = found.field("unit_mm").astype(float)
        step = np.where(units == 1.0, 0.001, 0.0001 * units)
        most = np.array([max(map(abs, floor.dz_range)) if floor.is_active else 0.0 for floor in self.floors] + [0.0])
        floor = self._floor_of_rows(found, gains, way)
        fine = np.asarray((most[floor] > 0) & (most[floor] < 0.5 * step))
        for index in np.unique(floor[fine]).tolist():
            row = int(np.flatnonzero(fine & (floor == index))[0])
            pocket = self.floors[index].pocket.id
            text = f"pocket {pocket}: its offset is below the last decimal in use; points have more decimals there."
            place = f"line {found.line[row] + 1}"
            self.warnings.append(Finding("decimals", self.options.source, place, text, "warning"))
        return fine

    def _floor_of_rows(self, found: Locations, gains: Gains, way: LocationPath) -> NDArray[np.intp]:
        out = np.full(len(found), -1)
        out[way.row] = gains.floor
        return out

    # -- the new file, and the proof ---------------------------------------------------------------------------------

    def _assemble(
        self, written: WrittenLocations, job: str, created: str, digest: str
    ) -> tuple[list[str], NDArray[np.intp], int]:
        texts = [f"job {job or '-'}", f"date {created or '-'}", f"input {self.options.source}", f"sha256 {digest}"]
        end = next((line[len(line.rstrip("\r\n")) :] for line in self.lines if line.endswith(("\n", "\r"))), "\n")
        head = [f"$$ {MARK} {plain(text).replace('$', ' ')}{end}" for text in (*texts, *_CAUTIONS)]
        place = 1 if self.lines and re.match(r"\s*\d*\s*PARTNO", self.lines[0], re.IGNORECASE) else 0
        if place == len(self.lines):
            place = 0
        out: list[str] = []
        origin: list[int] = []
        for number, line in enumerate(self.lines):
            if number == place:
                out += head
                origin += [-1] * len(head)
            new = written.blocks.get(number, [line])
            out += new
            origin += [number] * len(new)
        return out, np.array(origin, dtype=int), len(head)

    def _prove(
        self,
        found: Locations,
        way: LocationPath,
        planned: tuple[NDArray[np.float64], dict[int, list[tuple[float, float]]]],
        out: list[str],
        origin: NDArray[np.intp],
    ) -> ProvedLocations:
        options = self.options
        before, after = self._hear("".join(self.lines)), self._hear("".join(out))
        if len(before.kind) != len(found):
            text = f"proof failed: two readers see {len(found)} and {len(before.kind)} motions. Nothing was written."
            return ProvedLocations((Finding("proof", options.source, "", text),), np.zeros(0), ())
        path = way.path
        sizes = np.zeros((len(found), 2))
        sizes[way.row] = np.array([[one.radius, one.corner] for one in path.cutters])[path.cutter]
        matter = [floor for floor in self.floors if floor.is_active or floor.is_held]
        lowest = min((floor.dz_range[0] for floor in matter), default=0.0)
        swept = matter if lowest >= 0 else list(self.floors)
        pairs = [(floor.pocket, floor.correction) for floor in swept]
        return prove_locations(before, after, origin, pairs, sizes, planned, source=options.source)

    def _hear(self, text: str) -> Heard:
        options = self.options
        unit = {"mm": 1.0, "in": 25.4}.get(options.units or "")
        try:
            return hear(text, unit_mm=unit, turn=options.frame.rotation, way=options.frame.shift, keep=options.keep)
        except ValueError as error:
            finding = Finding("proof", options.source, "", f"proof failed: {error}. Nothing was written.")
            raise InputError([finding]) from error

    # -- what is told ------------------------------------------------------------------------------------------------

    def _rows_on(self, found: Locations, way: LocationPath, gains: Gains, floor: Floor) -> NDArray[np.intp]:
        mask = (gains.floor == floor.index) | (gains.whole == floor.index)
        for row, touched in gains.touched.items():
            mask[row] |= floor.index in touched
        rows = np.unique(way.row[mask])
        return rows[np.isin(found.kind[rows], CUTTING)]

    def _changes(
        self, found: Locations, way: LocationPath, gains: Gains, written: WrittenLocations, proved: ProvedLocations
    ) -> tuple[PocketChange, ...]:
        self._tell_what_is_left(proved)
        changed = np.zeros(len(found), dtype=bool)
        changed[list(written.rows)] = True
        floor_of = self._floor_of_rows(found, gains, way)
        out = []
        for floor in self.floors:
            rows = self._rows_on(found, way, gains, floor)
            on = proved.added[rows[floor_of[rows] == floor.index]]
            least, greatest = (float(on.min()), float(on.max())) if len(on) else (np.nan, np.nan)
            tilt = float(np.degrees(np.arccos(np.clip(found.axis[rows, 2], -1, 1))).max(initial=0.0))
            aside = max(abs(least), abs(greatest)) * np.tan(np.radians(min(tilt, 89.9))) if len(on) else 0.0
            action = floor.correction.action
            out.append(
                PocketChange(
                    floor.pocket.id, action, len(rows), int(changed[rows].sum()), least, greatest, tilt, float(aside)
                )
            )
        return tuple(out)

    def _tell_what_is_left(self, proved: ProvedLocations) -> None:
        for one in proved.floors:
            if one.high_mm > 0.02:
                text = (
                    f"pocket {one.pocket}: up to {one.high_mm:.3f} mm is left above what is wanted, on "
                    f"{one.high_area_mm2:.0f} mm²: the cutter cannot follow at an edge or a seam."
                )
                self.warnings.append(Finding("left-high", self.options.source, "", text, "warning"))

    def _traces(
        self, found: Locations, way: LocationPath, gains: Gains, added: NDArray[np.float64]
    ) -> tuple[SectionTrace, ...]:
        """Z along the passes over each floor that has motion, before and after."""
        out = []
        length = np.nan_to_num(np.linalg.norm(found.tip - found.start, axis=1))
        for floor in self.floors:
            rows = self._rows_on(found, way, gains, floor)
            if len(rows):
                path = np.cumsum(length[rows])
                keep = np.unique(np.linspace(0, len(rows) - 1, min(len(rows), _TRACE_POINTS)).astype(int))
                z = found.tip[rows[keep], 2]
                out.append(SectionTrace(floor.pocket.id, path[keep], z, z + added[rows[keep]]))
        return tuple(out)
