"""Readings that stand elsewhere than they were taken, were copied, or leave most of a floor to a guess."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.part.lattice import floor_points
from floorfit.readings.observations import Readings
from floorfit.verify.predicted import Prediction
from floorfit.verify.taken import Taken, take

__all__ = ["copied", "read_in_part", "set_copied_aside", "turned"]

#: Chance, of all pairs of floors together, below which values in the same order are no accident. Own choice.
_CHANCE = 1e-3
#: Least readings that can tell how the file stands, and misfits, as multiples of what is expected and of each other,
#: from which another standing is the better. Own choice: of Gaussian readings in place the median misfit is 0.67.
_LEAST, _MISFIT, _BETTER = 20, 1.0, 0.7
#: Share of a floor that may be further from every reading than this share of its length or width. Own choice.
_UNREAD, _FAR = 0.3, 0.4
#: Ways in which a file may stand: signs of X and Y about the middle of the part.
_WAYS = {"turned by 180 degrees": (-1, -1), "mirrored in X": (-1, 1), "mirrored in Y": (1, -1)}


def copied(taken: Taken, thickness: Array) -> list[tuple[Rows, Rows]]:
    """Pairs of floors on which the same values stand in the same order, as their rows.

    Parameters
    ----------
    taken : Taken
    thickness : (n,) ndarray, mm

    Notes
    -----
    A place of one floor has the value of its place on another by chance as often as any two readings are equal.
    """
    rows = np.flatnonzero(taken.is_used)
    floors = [rows[taken.floor[rows] == k] for k in np.unique(taken.floor[rows])]
    count = np.unique(thickness[rows], return_counts=True)[1]
    share = float((count * (count - 1)).sum() / max(len(rows) * (len(rows) - 1), 1))
    pairs = len(floors) * (len(floors) - 1) / 2
    return [
        (a, b)
        for a, b in combinations(floors, 2)
        if len(a) == len(b) and pairs * share ** len(a) < _CHANCE and (thickness[a] == thickness[b]).all()
    ]


def set_copied_aside(prediction: Prediction, taken: Taken, thickness: Array) -> Taken:
    """Set both aside where one floor has another one's values: nobody knows whose they are; all where all are equal.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    thickness : (n,) ndarray, mm
    """
    used, reason = taken.is_used.copy(), taken.reason.copy()
    for pair in copied(taken, thickness):
        for mine, others in (pair, pair[::-1]):
            name = prediction.part.pockets[int(taken.floor[others[0]])].id
            used[mine] = False
            reason[mine] = f"copied: the same values in the same order as on {name}. Read both floors again"
    rows = np.flatnonzero(taken.is_used)
    if len(rows) >= _LEAST and np.ptp(thickness[rows]) == 0:
        used[rows] = False
        reason[rows] = f"copied: all {len(rows)} readings are {thickness[rows[0]]:g} mm. No gauge reads so: read again"
    return replace(taken, is_used=used, reason=reason)


def turned(prediction: Prediction, readings: Readings, taken: Taken) -> list[Finding]:
    """A warning where the readings fit what was predicted better with the file turned or mirrored.

    Parameters
    ----------
    prediction : Prediction
    readings : Readings
    taken : Taken
    """
    as_it_is = _misfit(taken)
    if not as_it_is > _MISFIT:
        return []
    x0, y0, x1, y1 = prediction.part.bounds
    plain = replace(readings, pocket=np.full(len(readings), "", dtype=object))
    found = {}
    for words, (across, along) in _WAYS.items():
        x = readings.x if across > 0 else x0 + x1 - readings.x
        y = readings.y if along > 0 else y0 + y1 - readings.y
        other = take(prediction, replace(plain, x=x, y=y))
        if other.is_used.sum() >= 0.8 * taken.is_used.sum():
            found[words] = _misfit(other)
    best = min(found, key=lambda one: found[one], default="")
    if not best or not found[best] < _BETTER * as_it_is:
        return []
    text = (
        f"the readings fit what was predicted better {best} (median misfit {found[best]:.1f} in place of "
        f"{as_it_is:.1f} standard uncertainties): what is said of a floor would be another one's. How did the part lie?"
    )
    return [Finding("turned", readings.source, "", text, "warning")]


def _misfit(taken: Taken) -> float:
    """Median of measured less predicted, what all share taken out, in standard uncertainties; NaN for few readings."""
    rows = np.flatnonzero(taken.is_used & np.isfinite(taken.predicted))
    if len(rows) < _LEAST:
        return float("nan")
    gap = taken.deviation[rows] - taken.predicted[rows]
    return float(np.median(np.abs(gap - np.median(gap)) / np.hypot(taken.u[rows], taken.predicted_u[rows])))


def read_in_part(prediction: Prediction, taken: Taken, points: Array, source: str) -> list[Finding]:
    """A warning for each floor most of which lies far from every reading on it.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    points : (n, 2) ndarray, mm
    source : str
        Name of the readings.
    """
    out = []
    for index in np.unique(taken.floor[taken.is_used]):
        pocket = prediction.part.pockets[int(index)]
        x0, y0, x1, y1 = pocket.polygon.bounds
        size = np.array([x1 - x0, y1 - y0])
        mine = points[taken.is_used & (taken.floor == index)]
        apart = np.abs(floor_points(pocket)[:, None] - mine) / size
        away = float((apart.max(axis=2).min(axis=1) > _FAR).mean())
        if len(mine) > 2 and away > _UNREAD:
            text = (
                f"{100 * away:.0f} % of the floor is far from every reading on it (over {_FAR:g} of its length or "
                "width): what is said of that part rests on the other floors. Read it there too."
            )
            out.append(Finding("read-in-part", source, f"pocket {pocket.id}", text, "warning"))
    return out
