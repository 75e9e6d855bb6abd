"""What is done to a floor, in words and numbers that cannot be misread: the same on map, page, sheets and terminal.

A bare number belongs to a shift alone. A tilt says how steep it is and which way the floor rises, a follow between
which offsets it goes, and a held floor has no number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from floorfit.report.format import Display
from floorfit.report.language import marked

if TYPE_CHECKING:
    from floorfit.record import Decision

__all__ = ["ARROWS", "VERDICTS", "Label", "compass", "label_of", "urgency"]

#: Words of the verdicts.
VERDICTS = {
    "conform": marked("conforms"), "undecided": marked("undecided"), "nonconform": marked("does not conform"),
}  # fmt: skip

#: Arrows for lines of text, counter-clockwise from +X.
ARROWS = "→↗↑↖←↙↓↘"


@dataclass(frozen=True)
class Label:
    """What a label says of a floor.

    Parameters
    ----------
    action : str
        The word.
    number : str
        Offset of a shift, or of a tilt at the centroid, with a mark for a doubtful verdict.
    more : str
        Slope of a tilt or range of a follow; empty for the others.
    angle : float or None, rad
        Way in which a tilted floor rises, counter-clockwise from +X.
    """

    action: str
    number: str = ""
    more: str = ""
    angle: float | None = None

    @property
    def text(self) -> str:
        """All of it in one line, an arrow for the way in which a tilted floor rises."""
        arrow = "" if self.angle is None else compass(self.angle)
        return " ".join(part for part in (self.action, self.number, arrow, self.more) if part)


def urgency(decision: Decision) -> tuple[int, float]:
    """Return the place of a floor in every list: held first, then those not sure to conform, then by margin."""
    rank = 0 if decision.action == "hold" else 1 if decision.verdict != "conform" else 2
    return rank, float("inf") if decision.margin_mm is None else decision.margin_mm


def label_of(decision: Decision, display: Display) -> Label:
    """Return what a label says of a floor.

    Parameters
    ----------
    decision : Decision
    display : Display
    """
    say, offset = display.words, display.length(decision.offset_mm, sign=True)
    mark = {"undecided": " ?", "nonconform": " !"}.get(decision.verdict, "")
    if decision.action == "hold":
        return Label(say("hold"))
    if decision.action == "tilt":
        slope = float(np.hypot(decision.slope_x, decision.slope_y))
        angle = float(np.arctan2(decision.slope_y, decision.slope_x))
        return Label(say("tilt"), offset + mark, f"{display.plain(100 * slope, 3)}/100", angle)
    if decision.action == "follow" and decision.follow is not None:
        offsets = decision.follow.offset_mm
        low, high = (display.length(float(end), sign=True) for end in (offsets.min(), offsets.max()))
        return Label(say("follow") + mark, "", f"{low}…{high}")
    return Label(say(decision.action), offset + mark)


def compass(angle: float) -> str:
    """Return the arrow nearest to an angle, rad counter-clockwise from +X.

    Examples
    --------
    >>> compass(0.0), compass(3.14159 / 2)
    ('→', '↑')
    """
    return ARROWS[round(angle / (np.pi / 4)) % 8]
