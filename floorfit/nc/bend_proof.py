"""For the proof: arcs in planes that hold Z come out shifted whole, or as chords as high over the arc as planned.

It works on what the second reader heard, and shares no code with the rule, the reader or the writer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.nc.second import BEND, FEED, HeardProgramme

__all__ = ["ARC_RAD", "PLAN_MM", "ROUNDING_MM", "wrong_bends"]

#: Rounding to 0.001 mm or 0.0001 in, twice: of a place in plan, and of a height, mm.
PLAN_MM, ROUNDING_MM = 0.006, 0.0027
#: What the rounding of both ends does to an angle, radians.
ARC_RAD = 2e-3
#: How far a chord may be off its arc, mm.
_SAG_MM = 0.01


def wrong_bends(
    old: HeardProgramme,
    new: HeardProgramme,
    row: Rows,
    planned: Array,
    inner: Mapping[int, Sequence[tuple[float, float]]],
) -> Flags:
    """Return which motions of the result are no right heirs of an arc.

    Parameters
    ----------
    old, new : HeardProgramme
        Both programmes.
    row : (n,) ndarray of int
        Motion of the original that each of the result belongs to.
    planned : (m,) ndarray, mm
        What the end of each motion of the original gains.
    inner : mapping of int to sequence of (float, float)
        By line: what is added at shares of a divided motion.
    """
    wrong = np.zeros(len(row), dtype=bool)
    whole = np.flatnonzero((old.kind[row] == BEND) & (new.kind == BEND))
    lift = np.zeros((len(whole), 3))
    lift[:, 2] = new.start[whole, 2] - old.start[row[whole], 2]
    moved = new.centre[whole] - old.centre[row[whole]] - old.in_plane(row[whole], lift)
    off = ~(np.hypot(*moved.T) <= ROUNDING_MM) | (np.abs(new.turn[whole] - old.turn[row[whole]]) > ARC_RAD)
    wrong[whole] = off & (moved == moved).all(axis=1)
    lines = np.flatnonzero((old.kind[row] == BEND) & (new.kind == FEED))
    for one in np.unique(row[lines]).tolist():
        pieces = lines[row[lines] == one]
        gains = [*inner.get(int(old.line[one]), ()), (1.0, float(planned[one]))]
        wrong[pieces] = _are_no_chords(old, one, new.tip[pieces], np.array(gains))
    return wrong


def _are_no_chords(old: HeardProgramme, one: int, ends: Array, gains: Array) -> bool:
    share = np.append(0.0, gains[:, 0])
    if len(gains) != len(ends) or (np.diff(share) <= 0).any():
        return True
    rows = np.full(len(share), one)
    want = old.on_arcs(rows, share)[1:]
    want[:, 2] += gains[:, 1]
    away = np.abs(want - ends)
    radius = float(np.hypot(*(old.in_plane(rows[:1], old.start[rows[:1]]) - old.centre[rows[:1]])[0]))
    sag = radius * (1 - np.cos(np.minimum(np.abs(old.turn[one]) * np.diff(share), np.pi) / 2))
    return bool((away[:, :2] > PLAN_MM).any() or (away[:, 2] > ROUNDING_MM).any() or (sag > _SAG_MM).any())
