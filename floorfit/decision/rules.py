"""When not to cut, and in which words: the contract's reasons, each with what would free the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.decision.candidates import Proposal
from floorfit.decision.decision import Reason, verdict_of
from floorfit.decision.floor_warp import FloorWarp
from floorfit.decision.settings import DecisionSettings
from floorfit.units import MM_PER_UNIT, Unit
from floorfit.web import depth_of_cut

__all__ = ["Wording", "hold_reason", "metal_notes"]


@dataclass(frozen=True)
class Wording:
    """Numbers as the part's drawing would write them.

    Parameters
    ----------
    unit : {"mm", "in"}
        Unit of the part file.
    """

    unit: Unit

    def length(self, value_mm: float) -> str:
        """A small length with its unit, to 1 µm or 0.0001 in."""
        value = value_mm / MM_PER_UNIT[self.unit]
        return f"{value:.3f} mm" if self.unit == "mm" else f"{value:.4f} in"

    def place(self, point: Array) -> str:
        """A plan position, to 1 mm or 0.1 in."""
        x, y = (float(v) / MM_PER_UNIT[self.unit] for v in point)
        return f"({x:.0f}, {y:.0f})" if self.unit == "mm" else f"({x:.1f}, {y:.1f})"


def hold_reason(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    """Reason to hold, or an empty one; the first that applies.

    Parameters
    ----------
    floor : FloorWarp
    chosen : Proposal
    settings : DecisionSettings
    wording : Wording
    """
    for rule in (_outside_readings, _over_limit, _no_stock, _over_stock, _tolerance):
        reason = rule(floor, chosen, settings, wording)
        if reason:
            return reason
    return Reason()


def metal_notes(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> list[str]:
    """What a person should know of the metal, where the floor is cut all the same.

    Parameters
    ----------
    floor : FloorWarp
    chosen : Proposal
        What was decided.
    settings : DecisionSettings
    wording : Wording
        Unit of the lengths in the words.
    """
    chip = depth_of_cut(chosen.offset, floor.mean, floor.left)
    least = int(np.argmin(chip))
    where = wording.place(floor.points[least])
    told = (
        ["limits by region, each judged on its own places; the tightest are shown"] if floor.pocket.tolerances else []
    )
    if chip[least] <= 0:
        short = wording.length(-float(chip[least]))
        told += [f"roughing already went {short} below the floor wanted near {where}; the web there is what it left"]
    elif chip[least] < settings.min_chip:
        told += [f"only {wording.length(float(chip[least]))} of metal near {where}: the cutter may rub"]
    return told


def _outside_readings(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    if chosen.chances.conform >= settings.level:
        return Reason()
    deviation = floor.deviation
    worst = int(np.argmax(deviation))
    width = floor.pocket.tightest.width
    allowed = settings.max_u * width if np.isfinite(width) else settings.max_u_open
    if deviation[worst] <= allowed:
        return Reason()
    return Reason(
        "outside-readings",
        f"the warp is known to {wording.length(2 * float(deviation[worst]))} only (k = 2) near "
        f"{wording.place(floor.points[worst])}; one or two readings there would decide it",
    )


def _over_limit(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    worst = int(np.argmax(np.abs(chosen.offset)))
    size = float(chosen.offset[worst])
    if abs(size) <= settings.limit:
        return Reason()
    return Reason(
        "over-limit",
        f"an offset of {wording.length(size)} near {wording.place(floor.points[worst])} is beyond the "
        f"limit of {wording.length(settings.limit)}; check datum and clamping, then set --limit if it is true",
    )


def _no_stock(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    lower, _ = floor.limits.limits
    room = floor.left - lower
    worst = int(np.argmin(room))
    missing = -float(room[worst])
    if missing <= 0:
        return Reason()
    return Reason(
        "no-stock",
        f"the web will be {wording.length(missing)} under its limit near "
        f"{wording.place(floor.points[worst])} whatever is cut: roughing left too little",
    )


def _over_stock(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    chip = depth_of_cut(chosen.offset, floor.mean, floor.left)
    worst = int(np.argmax(chip))
    most = floor.pocket.finish_stock + settings.limit if settings.max_cut is None else settings.max_cut
    if chip[worst] <= most:
        return Reason()
    return Reason(
        "over-stock",
        f"{wording.length(float(chip[worst]))} of metal near {wording.place(floor.points[worst])}, more "
        f"than the {wording.length(most)} of one finishing pass; rough again, or set --max-cut",
    )


def _tolerance(floor: FloorWarp, chosen: Proposal, settings: DecisionSettings, wording: Wording) -> Reason:
    if verdict_of(chosen.chances.conform, settings.level) != "nonconform":
        return Reason()
    spread = wording.length(float(np.ptp(floor.mean - (chosen.offset - chosen.plane[0]))))
    cure = {
        "shift": "a tilt or the surface may (allow --most tilt or follow)",
        "tilt": "following the surface may (allow --most follow)",
        "follow": "more readings here may",
    }[settings.most]
    return Reason(
        "tolerance",
        f"no {settings.most} brings the whole floor within its limits (it bends by {spread}); {cure}",
    )
