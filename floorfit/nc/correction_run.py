"""What the correction of a word-address programme and of cutter-location data have in common."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError, Range, check_ranges
from floorfit.nc.corrected import Corrected, Held, PlanTrace, PocketChange, Walls
from floorfit.nc.floor_bands import CutFloor, floors_of
from floorfit.nc.header import has_header
from floorfit.nc.shifts import Origin
from floorfit.nc.swept_floors import SweptFloor
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools
from floorfit.part.model import Part
from floorfit.units import MM_PER_UNIT

__all__ = ["CorrectionRun", "StatedOfFile", "StatedOfProgramme", "check_corrections", "read_lines"]

#: Greatest number of findings in one refusal.
_MOST_FINDINGS = 25


def check_corrections(part: Part, corrections: Mapping[str, Correction]) -> None:
    """Raise where corrections are not those of the part.

    Parameters
    ----------
    part : Part
    corrections : mapping of str to Correction
        By pocket.

    Raises
    ------
    InputError
        With the pockets that are missing or unknown.
    """
    missing = [pocket.id for pocket in part.pockets if pocket.id not in corrections]
    unknown = sorted(set(corrections) - {pocket.id for pocket in part.pockets})
    if missing or unknown:
        text = f"the corrections are not those of this part (missing: {missing}, not in the part: {unknown})."
        raise InputError(f"{text} Use the job made for it.")


def read_lines(program: bytes | str | Path, name: str) -> tuple[bytes, list[str]]:
    """Bytes of a file, and its lines decoded byte for byte.

    Parameters
    ----------
    program : bytes or path
    name : str
        For messages.

    Raises
    ------
    InputError
        If it cannot be read, is no text, or was corrected before.
    """
    try:
        data = program if isinstance(program, bytes) else Path(program).read_bytes()
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(program), "", text)]) from error
    if b"\x00" in data.strip(b"\x00"):
        text = "is not a text file of one byte per character. Save it as plain text."
        raise InputError([Finding("not-text", name, "", text)])
    # Not str.splitlines: a form feed, or the byte 0x85, ends no line.
    lines = [line.decode("latin-1") for line in data.splitlines(keepends=True)]
    if has_header(lines):
        text = "was corrected before. Applying offsets twice would cut wrong: start from the original file."
        raise InputError([Finding("corrected-before", name, "", text)])
    return data, lines


@dataclass(frozen=True, kw_only=True)
class StatedOfFile:
    """What the user states of a file, whichever kind it is.

    Parameters
    ----------
    held : {"refuse", "skip", "cut"}
        What to do with motion on held floors.
    tolerance_mm : float, mm
        Greatest difference between the offset along a motion and the one wanted.
    units : {"mm", "in"} or None
        In force before the file says so.
    tools : Tools
        The cutters that are known, beside those that the file states; where one is not and its radius matters, the file
        is refused.
    keep : collection of str
        What the user states to move nothing: programmes in other files, as ``"O9000"``, or major words.
    identity : mapping of str to str or None
        What the header says of the part: name, serial, side.
    job, created, source : str
        Job id and date for the header; the file's name.
    progress : callable or None
        Called with stage, lines done and lines in all.
    """

    held: Held = "refuse"
    tolerance_mm: float = 0.005
    units: str | None = None
    tools: Tools = field(default_factory=Tools)
    keep: Collection[str] = ()
    identity: Mapping[str, str] | None = None
    job: str = ""
    created: str = ""
    source: str = ""
    progress: Callable[[str, int, int], None] | None = None

    def check(self) -> None:
        """Refuse what cannot be meant.

        Raises
        ------
        InputError
            If the tolerance is finer than files are written.
        """
        if not self.tolerance_mm >= 0.001:
            text = f"tolerance {self.tolerance_mm:g} mm: expected 0.001 mm or more. Files are rounded to that."
            raise InputError(text)

    def tick(self, stage: str, total: int) -> Callable[[int], None] | None:
        """What is called with the lines done."""
        progress = self.progress
        return None if progress is None else lambda done: progress(stage, done, total)

    @property
    def unit_mm(self) -> float | None:
        """Millimetres in the unit stated."""
        return MM_PER_UNIT.get(self.units or "")


@dataclass(frozen=True, kw_only=True)
class StatedOfProgramme(StatedOfFile):
    """What the user states of a word-address programme.

    Parameters
    ----------
    tip_control : bool
        States that X, Y, Z are the tool tip in the part's frame whatever the rotary words say.
    wear : bool
        States that under G41 and G42 the path is that of the cutter's centre, and D its wear.
    walls : {"move", "keep"}
        A wall cut by a flank tilted on a floor moves by ``dz tan(tilt)``: list that, or refuse over 0.005 mm.
    distance, work_offset : str or None
        In force before the programme says so (``"absolute"``); the offset whose zero is the part's.
    origin : Origin or None
        Where the programme's zero stands on the part; None where it is the part's.
    band_mm, clearance_mm : float or None, mm
        Height above a floor up to which motion moves with it, and least height of other motion above a corrected floor;
        None for 0.4 of the finishing stock and for the band (rapids 0.5 over the stock).
    """

    tip_control: bool = False
    wear: bool = False
    walls: Walls = "move"
    distance: str | None = None
    work_offset: str | None = None
    origin: Origin | None = None
    band_mm: float | None = None
    clearance_mm: float | None = None

    def check(self) -> None:
        """Refuse what cannot be meant."""
        super().check()
        heights = Range("a number, 0 or more, or None", 0.0, may_be_none=True)
        check_ranges("apply", [("band_mm", self.band_mm, heights), ("clearance_mm", self.clearance_mm, heights)])


class CorrectionRun:
    """One file on its way through the steps."""

    #: What a file is called that has no name.
    unnamed = "programme"

    def __init__(
        self, part: Part, corrections: Mapping[str, Correction], program: bytes | str | Path, stated: StatedOfFile,
        band_mm: float | None = None,
    ) -> None:  # fmt: skip
        """Check what is stated, and read the file."""
        check_corrections(part, corrections)
        stated.check()
        # A held floor that is cut as programmed has an offset of 0.
        as_cut = {
            name: replace(one, action="shift", offset=0.0) if one.action == "hold" and stated.held == "cut" else one
            for name, one in corrections.items()
        }
        self.part, self.floors = part, floors_of(part, as_cut, band_mm)
        self.source = stated.source or (self.unnamed if isinstance(program, bytes) else Path(program).name)
        data, lines = read_lines(program, self.source)
        self.digest = hashlib.sha256(data).hexdigest()
        self.bom = lines[0][:3] if lines and lines[0].startswith("\xef\xbb\xbf") else ""
        self.lines = [lines[0][len(self.bom) :], *lines[1:]] if self.bom else lines
        self.file = self.lines
        self.warnings: list[Finding] = []
        #: Lines of the header: of the run, and of the part.
        self.facts = [f"job {stated.job or '-'}", f"date {stated.created or '-'}", f"input {self.source}"]
        self.facts.append(f"sha256 {self.digest}")
        self.who = [f"{name} {text}" for name, text in (stated.identity or {"part": part.name}).items() if text]

    def stop_on(self, findings: Sequence[Finding]) -> None:
        """Keep the warnings.

        Raises
        ------
        InputError
            If there is an error among them.
        """
        errors = [finding for finding in findings if finding.severity == "error"]
        if errors:
            raise InputError(errors[:_MOST_FINDINGS])
        self.warnings += [finding for finding in findings if finding not in self.warnings]

    def proof_failed(self, text: str) -> NoReturn:
        """Stop where the proof does not hold."""
        raise InputError([Finding("proof", self.source, "", f"proof failed: {text}. Nothing was written.")])

    def fine(self, unit_mm: Array, floor_of: Rows, line: NDArray[np.int64], what: str) -> Flags:
        """Rows on floors whose offset would be lost in the decimals in use; say so once for each floor.

        Parameters
        ----------
        unit_mm : (n,) ndarray
            Millimetres in the unit in force.
        floor_of, line : (n,) ndarray of int
            Index of the floor, and line from 0.
        what : str
            What is done about it, in words.
        """
        step = np.where(unit_mm == 1.0, 0.001, 0.0001 * unit_mm)
        most = np.array([max(map(abs, floor.dz_range)) if floor.is_active else 0.0 for floor in self.floors] + [0.0])
        out = np.asarray((most[floor_of] > 0) & (most[floor_of] < 0.5 * step))
        for index in np.unique(floor_of[out]).tolist():
            row = int(np.flatnonzero(out & (floor_of == index))[0])
            text = f"pocket {self.floors[index].pocket.id}: its offset is below the last decimal in use; {what}."
            self.stop_on([Finding("decimals", self.source, f"line {line[row] + 1}", text, "warning")])
        return out

    def to_sweep(self, path: TipPath) -> list[CutFloor]:
        """Floors that must be looked at: those that change or are held, and what a cutter reaches that goes over them.

        Where a floor goes down that is all of them, since nothing else may be lower than it was.
        """
        matter = [floor for floor in self.floors if floor.matters]
        if min((floor.dz_range[0] for floor in matter), default=0.0) < 0:
            return list(self.floors)
        reach = 2 * max(cutter.radius for cutter in path.cutters)
        shapes = [floor.pocket.polygon for floor in matter]
        return [floor for floor in self.floors if any(floor.pocket.polygon.distance(one) <= reach for one in shapes)]

    def changes(
        self, cuts_on: Callable[[int], Rows], floor_of: Rows, added: Array, changed: Flags, upright: Array, ends: Array
    ) -> tuple[PocketChange, ...]:
        """What happened to each floor.

        Parameters
        ----------
        cuts_on : callable
            Cutting motions that are on a floor, by its index, for some of their way.
        floor_of : (n,) ndarray of int
            Floor that each motion ends on, or -1.
        added : (n,) ndarray, mm
            Change of Z at the end of each motion.
        changed : (n,) ndarray of bool
            Motions that are written differently.
        upright : (n,) ndarray
            Z of the axis at the end of each motion.
        ends : (n, 3) ndarray, mm
            Where cuts end; NaN for other motions. A floor without an offset is cut where they lie on it.
        """
        out = []
        for floor in self.floors:
            rows = cuts_on(floor.index)
            rows = rows if len(rows) or floor.matters else floor.met_by(ends)
            on = added[rows[floor_of[rows] == floor.index]]
            least, greatest = (float(on.min()), float(on.max())) if len(on) else (np.nan, np.nan)
            tilt = float(np.degrees(np.arccos(np.clip(upright[rows], -1, 1))).max(initial=0.0))
            aside = max(abs(least), abs(greatest)) * np.tan(np.radians(min(tilt, 89.9))) if len(on) else 0.0
            name, action, done = floor.pocket.id, floor.correction.action, int(changed[rows].sum())
            out.append(PocketChange(name, action, len(rows), done, least, greatest, tilt, float(aside)))
        return tuple(out)

    @staticmethod
    def assemble(
        lines: Sequence[str], blocks: Mapping[int, str | list[str]], head: list[str], place: int
    ) -> tuple[list[str], Rows]:
        """Lines of the new file, and the line of the old one that each came from; -1 for the header.

        Parameters
        ----------
        lines : sequence of str
            The old ones.
        blocks : mapping of int to str or list of str
            What stands in place of a line: one line or several.
        head : list of str
            The header.
        place : int
            Line in front of which it goes.
        """
        out: list[str] = []
        origin: list[int] = []
        for number, line in enumerate(lines):
            if number == place:
                out += head
                origin += [-1] * len(head)
            new = blocks.get(number, line)
            some = new if isinstance(new, list) else [new] if new else []
            out += some
            origin += [number] * len(some)
        return out, np.array(origin, dtype=int)

    def corrected(
        self, lines: Sequence[str], changes: tuple[PocketChange, ...], blocks: int, motions: int, trace: PlanTrace,
        floors: tuple[SweptFloor, ...] = (),
    ) -> Corrected:  # fmt: skip
        """What is handed back.

        Parameters
        ----------
        lines : sequence of str
            The new file.
        changes : tuple of PocketChange
        blocks, motions : int
            Blocks that changed, and motions.
        trace : PlanTrace
            For the picture.
        floors : tuple of SweptFloor
            What the proof found.
        """
        data, before = (self.bom + "".join(lines)).encode("latin-1"), len(self.file)
        found = tuple(self.warnings)
        return Corrected(data, changes, found, self.digest, before, blocks, motions, floors, trace)
