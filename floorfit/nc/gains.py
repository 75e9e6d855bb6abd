"""What every motion of a programme gains in height: the answer of the rule."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, field

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["LIFTED", "MOVED", "STRAIGHT_SHARE", "UNTOUCHED", "Gains", "Profile"]

#: Status of a motion: as programmed, moved with its floor, lifted clear of one.
UNTOUCHED, MOVED, LIFTED = range(3)

#: A motion is divided where its gain is off a straight line by more than this share of the tolerance.
STRAIGHT_SHARE = 0.4

#: Gains along one motion: shares of its way and the gain there.
Profile = list[tuple[float, float]]


@dataclass
class Gains:
    """What each motion gains.

    Parameters
    ----------
    node : (n,) ndarray, mm
        Gain at the end of each motion.
    status : (n,) ndarray of int
        UNTOUCHED, MOVED or LIFTED.
    floor : (n,) ndarray of int
        Floor that the end is on, or -1.
    whole : (n,) ndarray of int
        Floor that the motion is on at every place asked, or -1.
    guard_end, guard_whole : (n,) ndarray of int
        Held floor that is cut at the end, and along all, of each motion, or -1.
    breaks : dict of int to list
        Motions to be divided: the inner places (share, gain).
    touched : dict of int to set of int
        Motions that are on one or more floors for a part of their way only.
    guarded : dict of int to set of int
        Motions that cut held floors, and those floors.
    half : list of (int, int)
        Passes that are on a floor for a part of their way and too high or too low for it elsewhere: motion, floor.
    steep_rapids : list of int
        Rapids whose end on a floor would have to be higher than that floor wants.
    """

    node: Array
    status: Rows
    floor: Rows
    whole: Rows
    guard_end: Rows
    guard_whole: Rows
    _: KW_ONLY
    breaks: dict[int, Profile] = field(default_factory=dict)
    touched: dict[int, set[int]] = field(default_factory=dict)
    guarded: dict[int, set[int]] = field(default_factory=dict)
    half: list[tuple[int, int]] = field(default_factory=list)
    steep_rapids: list[int] = field(default_factory=list)

    def rows_on(self, index: int) -> Rows:
        """Motions that are on a floor for some of their way, or end there."""
        mask = (self.floor == index) | (self.whole == index)
        mask[[row for row, floors in self.touched.items() if index in floors]] = True
        return np.flatnonzero(mask)

    def start(self) -> Array:
        """Gain at the start of each motion, mm."""
        return np.concatenate([[0.0], self.node[:-1]])

    def bend(self, row: int) -> float:
        """How far the gain of a motion that is to be divided is off the straight line between its ends, mm.

        Parameters
        ----------
        row : int
        """
        first, last = (self.node[row - 1] if row else 0.0), self.node[row]
        return max(abs(float(gain - first - share * (last - first))) for share, gain in self.breaks[row])
