"""Apply the offsets of a job to cutter-location data: read, plan by the one rule, write, prove."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from floorfit.arrays import Rows
from floorfit.decision.decision import Correction
from floorfit.errors import InputError
from floorfit.nc.cl.cl_check import check_gains, check_locations
from floorfit.nc.cl.cl_proof import LocationProof
from floorfit.nc.cl.cl_reader import read_locations
from floorfit.nc.cl.cl_second import Heard, hear
from floorfit.nc.cl.cl_writer import LocationWriter
from floorfit.nc.cl.location_path import location_path
from floorfit.nc.cl.locations import FileFrame
from floorfit.nc.corrected import Corrected
from floorfit.nc.correction_run import CorrectionRun, StatedOfFile
from floorfit.nc.header import MARK, line_end, plain
from floorfit.nc.motions import CUTTING
from floorfit.nc.part_fit import check_fit
from floorfit.nc.rule import plan_gains
from floorfit.nc.summary import plan_trace, what_is_left
from floorfit.nc.swept_floors import Proved
from floorfit.part.model import Part

__all__ = ["StatedOfLocations", "apply_to_locations", "frame_of"]

_CAUTIONS = (
    "Points over pocket floors were moved along Z of the part. Nothing else was.",
    "Post, simulate, and prove out again. Never for a programme that is frozen.",
    "Licensed and local practice decides. Do not apply twice.",
)

#: Places (mm) and axes that two readers see are the same up to rounding.
_SAME = 1e-6


@dataclass(frozen=True, kw_only=True)
class StatedOfLocations(StatedOfFile):
    """What the user states of cutter-location data.

    Parameters
    ----------
    frame : FileFrame or None
        Where the file's frame is in the part's.
    """

    frame: FileFrame | None = None


def frame_of(text: str, unit_mm: float) -> FileFrame:
    """Frame of 12 numbers between commas, lengths in a unit.

    Parameters
    ----------
    text : str
        12 numbers between commas, row by row.
    unit_mm : float
        Millimetres in the unit of the lengths.

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
    part: Part, corrections: Mapping[str, Correction], program: bytes | str | Path, **stated: Any
) -> Corrected:
    """Apply offsets to cutter-location data; linear in its lines in time and memory.

    Parameters
    ----------
    part, corrections : Part, mapping of str to Correction
        The nominal part, and the offset field of every pocket by id.
    program : bytes or path
        Cutter-location data as text (wording of ISO 4343), or its file.
    **stated
        Fields of `StatedOfLocations`.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        If it cannot be rewritten safely, is not for this part, or the proof fails.
    """
    return _LocationRun(part, corrections, program, StatedOfLocations(**stated)).result()


class _LocationRun(CorrectionRun):
    """One file on its way through the steps."""

    unnamed = "cutter-location data"

    def __init__(
        self, part: Part, corrections: Mapping[str, Correction], program: bytes | str | Path, stated: StatedOfLocations
    ) -> None:
        super().__init__(part, corrections, program, stated)
        self.options, self.frame = stated, stated.frame or FileFrame()

    def result(self) -> Corrected:
        options, lines = self.options, self.lines
        tick = options.tick("reading", len(lines))
        found = self.found = read_locations(
            lines, source=self.source, units=options.units, frame=self.frame, keep=options.keep, tick=tick
        )
        self.stop_on(found.findings)
        self._plan()
        unit_mm = found.field("unit_mm").astype(float)
        fine = self.fine(unit_mm, self.floor_of, found.line, "points have more decimals there")
        written = LocationWriter(lines, found, self.node, self.breaks, self.source, fine)
        written.run(options.tick("writing", len(lines)))
        self.stop_on(written.findings)
        out, origin = self._assemble(written)
        proved = self._prove(out, origin)
        self.stop_on([*proved.findings, *what_is_left(proved.floors, self.source)])
        changed = np.isin(np.arange(len(found)), list(written.rows))
        ends = np.where(np.isin(found.kind, CUTTING)[:, None], found.tip, np.nan)
        changes = self.changes(self._cuts_on, self.floor_of, proved.added, changed, found.axis[:, 2], ends)
        count = sum(block != lines[line] and block != [lines[line]] for line, block in written.blocks.items())
        trace = plan_trace(self.way.path, self.gains, self.floors)
        return self.corrected(out, changes, count, len(found), trace, proved.floors)

    def _plan(self) -> None:
        """The path, what the rule asks of it, and both by rows of the file."""
        options, found, outline = self.options, self.found, self.part.outline
        way = self.way = location_path(found, options.tools)
        gains = self.gains = plan_gains(way.path, self.floors, outline, tolerance_mm=options.tolerance_mm)
        self.stop_on(check_locations(found, way, gains, self.floors, self.source))
        line, cutting = found.line[way.row], ~way.path.is_rapid
        self.stop_on(check_fit(way.path, cutting, line, self.floors, self.part, self.source, is_location=True))
        self.stop_on(check_gains(found, way, gains, self.floors, held=options.held, source=self.source))
        self.node, self.breaks = way.to_rows(gains.node, gains.breaks)
        self.floor_of = np.full(len(found), -1)
        self.floor_of[way.row] = gains.floor

    # -- the new file, and the proof ---------------------------------------------------------------------------------

    def _assemble(self, written: LocationWriter) -> tuple[list[str], Rows]:
        texts = [plain(text).replace("$", " ") for text in (*self.facts, *self.who, *_CAUTIONS)]
        head = [f"$$ {MARK} {text}{line_end(self.lines)}" for text in texts]
        place = 1 if self.lines and re.match(r"\s*\d*\s*PARTNO", self.lines[0], re.IGNORECASE) else 0
        return self.assemble(self.lines, written.blocks, head, 0 if place == len(self.lines) else place)

    def _prove(self, out: list[str], origin: Rows) -> Proved:
        before, after, count = self._hear("".join(self.lines)), self._hear("".join(out)), len(self.found)
        if len(before.kind) != count:
            self.proof_failed(f"two readers see {count} and {len(before.kind)} motions")
        one, other = (np.hstack([heard.tip, heard.axis]) for heard in (self.found, before))
        if not np.allclose(one, other, rtol=0.0, atol=_SAME, equal_nan=True):
            self.proof_failed("two readers see the tool at different places")
        path, sizes = self.way.path, np.zeros((count, 2))
        sizes[self.way.row] = np.array([[one.radius, one.corner] for one in path.cutters])[path.cutter]
        pairs = [(floor.pocket, floor.correction) for floor in self.to_sweep(path)]
        return LocationProof(self.source, before, after, origin, sizes, (self.node, self.breaks)).run(pairs)

    def _hear(self, text: str) -> Heard:
        unit, keep = self.options.unit_mm, tuple(self.options.keep)
        try:
            return hear(text, unit_mm=unit, turn=self.frame.rotation, way=self.frame.shift, keep=keep)
        except ValueError as error:
            self.proof_failed(str(error))

    def _cuts_on(self, index: int) -> Rows:
        rows = self.way.rows(self.gains.rows_on(index))
        return rows[np.isin(self.found.kind[rows], CUTTING)]
