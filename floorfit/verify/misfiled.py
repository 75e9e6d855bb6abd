"""Readings that stand elsewhere than they were taken, were copied or made up, or leave most of a floor to a guess."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.part.model import Part
from floorfit.readings.display import coarsest_step
from floorfit.readings.observations import Readings
from floorfit.units import MM_PER_UNIT
from floorfit.verify.mixed import group_means
from floorfit.verify.predicted import Prediction
from floorfit.verify.taken import Taken, take

__all__ = ["WAYS", "copied", "of_other_plate", "read_in_part", "set_copied_aside", "turned"]

#: Chance, of all pairs of floors together, below which values in the same order are no accident. Own choice.
_CHANCE = 1e-3
#: No gauge repeats better on a milled web, mm (our choice, no source).
_LEAST_SD_MM = 0.003
#: Share of what was predicted along the floors that webs stay below, and standard uncertainties by which they do not
#: follow it, from which they are not of the plate. Own choice: of Gaussian readings as predicted one file in 30,000 is.
_FOLLOWED, _SURE = 0.7, 4.0
#: Least readings that can tell how the file stands, and misfits, as multiples of what is expected and of each other,
#: from which another standing is the better. Own choice: of Gaussian readings in place the median misfit is 0.67.
_LEAST, _MISFIT, _BETTER = 20, 1.0, 0.7
#: By the number of a floor's readings, from each on: share of its length or width beyond all of them from which that is
#: told, and from which the floor is not proved. Own choice: of readings strewn at random, 1 floor in 300 or fewer is
#: left unproved; one alone has to lie in the middle third.
_BEYOND = ((1, 2 / 3, 2 / 3), (5, 1 / 2, 2 / 3), (7, 1 / 2, 0.6), (10, 1 / 2, 1 / 2))
#: Ways in which a file may stand: signs of X and Y about the middle of the part.
WAYS = {"turned by 180 degrees": (-1, -1), "mirrored in X": (-1, 1), "mirrored in Y": (1, -1)}


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
    floors, total = taken.rows_of.values(), int(taken.is_used.sum())
    count = np.unique(thickness[taken.is_used], return_counts=True)[1]
    share = float((count * (count - 1)).sum() / max(total * (total - 1), 1))
    pairs = len(floors) * (len(floors) - 1) / 2
    return [
        (a, b)
        for a, b in combinations(floors, 2)
        if len(a) == len(b) and pairs * share ** len(a) < _CHANCE and (thickness[a] == thickness[b]).all()
    ]


def set_copied_aside(prediction: Prediction, taken: Taken, readings: Readings) -> Taken:
    """Set aside what no gauge read: one floor's values on another, one value all over a floor, what was predicted.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    readings : Readings
    """
    used, reason, thickness = taken.is_used.copy(), taken.reason.copy(), readings.thickness
    rows, floors = np.flatnonzero(used), list(taken.rows_of.values())
    for group in _as_predicted(taken, readings, floors, rows):
        used[group] = False
        reason[group] = "copied: each value is the predicted one to its last digit. No gauge reads so: read again"
    for pair in copied(taken, thickness):
        for mine, others in (pair, pair[::-1]):
            name = prediction.part.pockets[int(taken.floor[others[0]])].id
            used[mine] = False
            reason[mine] = f"copied: the same values in the same order as on {name}. Read both floors again"
    if len(rows) >= _LEAST and np.ptp(thickness[rows]) == 0:
        used[:] = False
        reason[rows] = f"copied: all {len(rows)} readings are {thickness[rows[0]]:g} mm. No gauge reads so: read again"
    elif len(rows) - len(floors) >= _LEAST and all(np.ptp(thickness[mine]) == 0 for mine in floors):
        used[:] = False
        reason[rows] = "copied: the readings of each floor are all one value. No gauge reads so: read again"
    return replace(taken, is_used=used, reason=reason)


def _as_predicted(taken: Taken, readings: Readings, floors: list[Rows], rows: Rows) -> list[Rows]:
    """Floors, or all rows, whose values are those predicted, rounded as the file rounds.

    A good reading is the predicted one, rounded to a step, with a chance below step / (√(2π) sd).
    """
    last = 1e-6 * MM_PER_UNIT[readings.unit]
    step = coarsest_step(readings, (10.0**-k for k in range(6))) or last
    chance = step / (np.sqrt(2 * np.pi) * _LEAST_SD_MM)
    is_equal = np.abs(taken.gap) <= step / 2 + 1e-6
    return [
        one for one in (*floors, rows) if is_equal[one].all() and len(floors) * min(chance, 1.0) ** len(one) < _CHANCE
    ]


def of_other_plate(prediction: Prediction, taken: Taken) -> str:
    """Words where the webs do not follow what was predicted along the floors; ``""`` where they do or none can tell.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken

    Notes
    -----
    Every plate's webs come out near nominal: what is the plate's own is how its webs vary along a floor that was cut by
    one offset. Measured against predicted, by least squares, that is 1; less on another plate, unless it bends alike,
    and 0 in values that were made up.
    """
    held = [k for k in range(len(prediction.part.pockets)) if prediction.is_held(k)]
    rows = np.flatnonzero(taken.is_used & np.isfinite(taken.predicted) & ~np.isin(taken.floor, held))
    floors, group = np.unique(taken.floor[rows], return_inverse=True)
    freedom = len(rows) - len(floors) - 1
    if freedom < _LEAST:
        return ""
    weight = 1 / taken.u[rows] ** 2
    own, predicted = (
        one - group_means(one, group, taken.u[rows])[0][group] for one in (taken.deviation[rows], taken.predicted[rows])
    )
    total = max(float(weight @ predicted**2), 1e-300)
    followed = float(weight @ (predicted * own)) / total
    dispersion = max(1.0, float(weight @ (own - followed * predicted) ** 2) / freedom)
    u = float(np.sqrt(dispersion / total))
    if not followed < min(_FOLLOWED, 1 - _SURE * u):
        return ""
    return (
        f"along the floors the webs follow {followed:.2f} ± {2 * u:.2f} of what was predicted, and 1 was expected: "
        "they are another plate's, made up, or the plate has moved since. Read this plate"
    )


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
    plain = replace(readings, pocket=np.full(len(readings), ""))
    found = {}
    for words, (across, along) in WAYS.items():
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
    gap = taken.gap[rows]
    return float(np.median(np.abs(gap - np.median(gap)) / np.hypot(taken.u[rows], taken.predicted_u[rows])))


def read_in_part(part: Part, taken: Taken) -> dict[int, tuple[str, bool]]:
    """Floors that were read at one end alone: words for each, and whether it is left unproved.

    Parameters
    ----------
    part : Part
    taken : Taken

    Notes
    -----
    The prediction says what a floor is that was cut as decided. Whether it was, along all of it, its readings alone
    can tell: no other floor knows of a tool that was changed half way.
    """
    out = {}
    for index, rows in taken.rows_of.items():
        mine = taken.points[rows]
        low, high = np.array(part.pockets[index].polygon.bounds).reshape(2, 2)
        beyond = float((np.maximum(mine.min(axis=0) - low, high - mine.max(axis=0)) / (high - low)).max())
        told, unproved = [shares for least, *shares in _BEYOND if len(mine) >= least][-1]
        if beyond > told:
            words = (
                f"{100 * beyond:.0f} % of its length or width lies beyond every reading on it, and nobody knows how it "
                "was cut there; read it there too"
            )
            out[index] = words, beyond > unproved
    return out
