"""What applying the offsets gave: frozen, millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.nc.swept_floors import SweptFloor

__all__ = ["Corrected", "Held", "PlanTrace", "PocketChange", "Walls"]

#: What to do with motion over held floors.
Held = Literal["cut", "skip", "refuse"]
#: Whether a wall that the flank cuts in the same motion may move sideways.
Walls = Literal["keep", "move"]


#: Findings that leave open whether every floor comes out as decided.
OPEN = frozenset({
    "aside", "behind-end", "cut-again", "cycle-left", "cycle-stock", "floor-off", "length-shared", "out-of-limits",
    "over-walls", "turned-frame", "unknown-code", "unseen", "written-out", "zero-set",
})  # fmt: skip


@dataclass(frozen=True)
class PocketChange:
    """What happened to one floor.

    Parameters
    ----------
    pocket : str
        Its id.
    action : str
        shift, tilt, follow or hold.
    motions : int
        Cutting motions on the floor in the programme.
    changed : int
        Blocks of those that are written differently (divided blocks count once).
    least, greatest : float
        Least and greatest change of Z on the floor, mm; NaN without motion.
    tilt_deg : float
        Greatest angle of the tool to Z on the floor, from the rotary words; 0 without.
    sideways : float
        Greatest ``|dz| tan(tilt)``: how far a wall cut by the flank moves, mm.
    """

    pocket: str
    action: str
    motions: int
    changed: int
    least: float
    greatest: float
    tilt_deg: float = 0.0
    sideways: float = 0.0


@dataclass(frozen=True)
class PlanTrace:
    """Motion near the floors in plan, for a picture.

    Parameters
    ----------
    start, end : (n, 2) ndarray, mm
        Straight motions in the part's frame; arcs come as chords.
    status : (n,) ndarray of int
        0 untouched, 1 moved with a floor, 2 lifted clear of one.
    """

    start: Array
    end: Array
    status: Rows


@dataclass(frozen=True)
class Corrected:
    """A corrected programme, proved.

    Parameters
    ----------
    data : bytes
        The programme with its header.
    pockets : tuple of PocketChange
        A row for each floor of the part, in its order.
    findings : tuple of Finding
        Warnings.
    sha256 : str
        Digest of the input.
    blocks : int
        Lines of the input.
    changed_blocks : int
        Lines that are written differently.
    motions : int
        Motions compared by the proof.
    floors : tuple of SweptFloor
        What the two sweeps say, for the floors that a known cutter comes near.
    plan : PlanTrace or None
        For the picture.
    """

    data: bytes
    pockets: tuple[PocketChange, ...]
    findings: tuple[Finding, ...]
    sha256: str
    blocks: int
    changed_blocks: int
    motions: int
    floors: tuple[SweptFloor, ...] = ()
    plan: PlanTrace | None = None

    @property
    def is_complete(self) -> bool:
        """Whether every floor was corrected, from a programme that cuts it whole and at its Z, and nothing is open."""
        is_everywhere = all(change.motions and change.action != "hold" for change in self.pockets)
        is_open = any(finding.code in OPEN for finding in self.findings)
        return is_everywhere and not is_open and all(floor.is_whole and not floor.is_off for floor in self.floors)
