"""Whether finished webs look as if the offsets had been applied otherwise than decided.

Measured less predicted of a floor is a bias that all share, plus a multiple of its own offset: 0 where it was cut as
decided, -1 where offsets were not applied, -2 where their sign was turned, 1 where they were applied twice. Two floors
that got each other's offset differ by the offsets' difference, up and down. None of that need put a web out of its
limits, and all of it means that the next part will be cut wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.part.lattice import floor_points
from floorfit.verify.bias import student_factor
from floorfit.verify.misfiled import WAYS
from floorfit.verify.mixed import Grouped, dispersion_of, fit_grouped, group_means
from floorfit.verify.predicted import Prediction
from floorfit.verify.proved import Intervals
from floorfit.verify.taken import Taken
from floorfit.verify.webs import Step

__all__ = ["cut_otherwise", "not_as_predicted", "tilts_unread"]

#: Multiples of the offsets that have a cause, and what they look like.
_CAUSES = {
    -2.0: "the sign of the offsets had been turned",
    -1.0: "the offsets had not been applied",
    1.0: "the offsets had been applied twice, or the part had lain flat when it was cut",
}
#: The same of what is not a shift: tilts, and surfaces that are followed.
_TILT_CAUSES = {
    -2.0: "the sign of the tilts had been turned",
    -1.0: "the tilts had not been applied",
    1.0: "the tilts had been applied twice",
}
#: How a list of offsets slips.
_ON_LIST = {"one down on the list": 1, "one up on the list": -1}
#: A multiple this near to one of them is that one, and a standard uncertainty above this tells nothing. Own choice.
_NEAR, _MOST_U = 0.4, 0.2
#: Share of a floor's extent across the line of its readings that they have to span to show a tilt there. Own choice.
_ACROSS = 1 / 3
#: Standard uncertainties by which floors must be off, and agree, to have got each other's offset. Own choice: of good
#: Gaussian floors one in 16,000 is off by so much.
_OFF, _AGREE = 4.0, 2.5
#: Least scatter of floors, mm: see `floorfit.verify.bias`.
_SCATTER_MM = 0.010
#: Greatest number of pairs that are told. Own choice.
_MOST_PAIRS = 3
#: A share of readings in their intervals surely below this, of at least so many, is not as predicted. Own choice.
_LEAST_SHARE, _LEAST_READINGS = 0.85, 20


def cut_otherwise(
    prediction: Prediction, taken: Taken, steps: Mapping[int, Step], source: str
) -> tuple[list[Finding], str]:
    """Return what is found, and why no bias may be carried to other pockets; ``""`` where nothing is.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    steps : mapping of int to Step
        By floor: measured less predicted.
    source : str
        Name of the readings.
    """
    cut = [k for k in sorted(steps) if not prediction.is_held(k)]
    if len(cut) < 4:
        return [], ""
    rows, group, offset = _offsets(prediction, taken, cut)
    own, *middle = (np.bincount(group, one) / np.bincount(group) for one in (offset, *taken.points[rows].T))
    off = np.array([steps[k].bias for k in cut])
    cause = (
        _multiple(offset, taken, rows, group, _CAUSES)
        or _multiple(offset - own[group], taken, rows, group, _TILT_CAUSES)
        or _elsewhere(own, off, np.column_stack(middle))
    )
    if cause:
        text = (
            f"the webs look as if {cause}. Look at the programme that was run, and at its proof, before the next part."
        )
        return [Finding("applied-otherwise", source, "", text, "warning")], f"it looks as if {cause}"
    return _exchanged(prediction, np.array(cut), own, off, steps, source), ""


def _offsets(prediction: Prediction, taken: Taken, cut: Sequence[int]) -> tuple[Rows, Rows, Array]:
    """Rows of the used readings on some floors, which of them each stands on, and the offset decided there."""
    rows = np.flatnonzero(taken.is_used & np.isin(taken.floor, cut))
    offset = np.zeros(len(rows))
    for k in cut:
        mine = taken.floor[rows] == k
        offset[mine] = prediction.record.decisions[k].correction.at(*taken.points[rows[mine]].T)
    return rows, np.searchsorted(cut, taken.floor[rows]), offset


def _followed(offset: Array, taken: Taken, rows: Rows, group: Rows) -> Grouped | None:
    """A bias that all floors share and the multiple of the offsets the webs differ by; None where none can tell."""
    gap, u = taken.gap[rows], taken.u[rows]
    if not len(rows) or np.ptp(offset) < 3 * float(np.median(u)):
        return None
    design = np.column_stack([np.ones(len(gap)), offset])
    # What the multiple explains along the floors is no scatter of the readings.
    along, own = (one - group_means(one, group, u)[0][group] for one in (offset, gap))
    total = float(along @ along)
    plain = gap - offset * float(along @ own) / total if total > 1e-12 else gap
    return fit_grouped(design, gap, group, u * np.sqrt(dispersion_of(plain, group, u)))


def _multiple(offset: Array, taken: Taken, rows: Rows, group: Rows, causes: Mapping[float, str]) -> str:
    """What the multiple of the offsets looks like that the webs differ by; ``""`` where it is none of those."""
    found = _followed(offset, taken, rows, group)
    if found is None:
        return ""
    multiple, multiple_u = float(found.beta[1]), float(np.sqrt(found.covariance[1, 1]))
    nearest = min(causes, key=lambda one: abs(one - multiple))
    is_sure = multiple_u <= _MOST_U and abs(multiple) > student_factor(found.dof) * multiple_u
    # Where floors differ by more than half of what the multiple explains between them, it is something else.
    between = float(group_means(offset, group, taken.u[rows])[0].std())
    is_sure = is_sure and (between < 1e-9 or found.between <= 0.5 * abs(multiple) * between)
    return causes[nearest] if is_sure and abs(multiple - nearest) <= _NEAR else ""


def _elsewhere(own: Array, off: Array, middle: Array) -> str:
    """What it looks like that every floor is off by what another one's offset is off its own; ``""`` where not."""
    low, high = middle.min(axis=0), middle.max(axis=0)
    ways = {words: _partners(middle, low, high, signs) for words, signs in WAYS.items()}
    count = len(own)
    ways |= {words: np.roll(np.arange(count), k) for words, k in _ON_LIST.items()}
    misfit = {
        words: _typical(off - (own[partner] - own))
        for words, partner in ways.items()
        if len(np.unique(partner)) == count and _typical(own[partner] - own) > 2 * _SCATTER_MM
    }
    best = min(misfit, key=lambda one: misfit[one], default="")
    if not best or misfit[best] > _typical(off) / 3:
        return ""
    return f"other floors had got the offsets ({best})"


def _partners(middle: Array, low: Array, high: Array, signs: tuple[int, int]) -> Rows:
    """The floor nearest to where each one comes when the part is turned or mirrored."""
    there = np.where(np.array(signs) > 0, middle, low + high - middle)
    return np.asarray(np.linalg.norm(there[:, None] - middle, axis=2).argmin(axis=1))


def _typical(values: Array) -> float:
    """Median distance from the median."""
    return float(np.median(np.abs(values - np.median(values))))


def _exchanged(
    prediction: Prediction, cut: Rows, own: Array, off: Array, steps: Mapping[int, Step], source: str
) -> list[Finding]:
    """Pairs of floors that are off by what the other one's offset is off their own."""
    off, u = off - np.median(off), np.hypot([steps[int(k)].bias_u for k in cut], _SCATTER_MM)
    some = np.flatnonzero(np.abs(off) > _OFF * u).tolist()
    is_met = np.abs(off[:, None] - (own - own[:, None])) <= _AGREE * u[:, None]
    pairs = [(p, q) for p, q in combinations(some, 2) if is_met[p, q] and is_met[q, p]]
    # Where other floors are off as well, two that fit each other are chance.
    if len(pairs) > _MOST_PAIRS or sorted(k for pair in pairs for k in pair) != some:
        return []
    out = []
    for p, q in pairs:
        names = [prediction.part.pockets[int(cut[k])].id for k in (p, q)]
        text = (
            f"pockets {names[0]} and {names[1]} look as if they had got each other's offset ({own[p]:+.3f} and "
            f"{own[q]:+.3f} mm). Look at the programme that was run."
        )
        out.append(Finding("offsets-exchanged", source, f"pocket {names[0]}", text, "warning"))
    return out


def not_as_predicted(intervals: Intervals, limits: tuple[float, float], source: str) -> list[Finding]:
    """A warning where fewer readings than promised lie where they were predicted, the common bias taken out.

    Parameters
    ----------
    intervals : Intervals
    limits : (float, float)
        95 % limits of the share without the common bias.
    source : str
        Name of the readings.
    """
    if intervals.total < _LEAST_READINGS or not limits[1] < _LEAST_SHARE:
        return []
    text = (
        f"{intervals.inside_without_bias} of {intervals.total} readings lie where they were predicted, with the common "
        "bias taken out, and 95 % should. Were all floors cut as decided, with one tool length, and is it this job's "
        "plate? A gauge that scatters more than stated does this too."
    )
    return [Finding("not-as-predicted", source, "", text, "warning")]


def tilts_unread(prediction: Prediction, taken: Taken) -> dict[int, tuple[str, bool]]:
    """Floors cut with a tilt that neither their readings nor all tilted floors together show, as `read_in_part`.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken

    Notes
    -----
    Readings in one line are the same whatever the tilt across it: a floor is told where it would leave its limits with
    that part of the tilt turned in sign. Where the readings of all of them follow their tilts, it is none.
    """
    decisions = prediction.record.decisions
    tilted = {k: taken.points[rows] for k, rows in taken.rows_of.items() if decisions[k].action in ("tilt", "follow")}
    unread = {k: _unread_ways(mine, prediction, k) for k, mine in tilted.items()}
    # Floors that are read in one line say nothing of what is across it, however many they are.
    shown = [k for k in tilted if not unread[k]]
    rows, group, offset = _offsets(prediction, taken, shown)
    offset -= group_means(offset, group, taken.u[rows])[0][group]
    found = _followed(offset, taken, rows, group)
    if found and abs(found.beta[1]) <= _NEAR and np.sqrt(found.covariance[1, 1]) <= _MOST_U:
        return {}
    out = {}
    for index, mine in tilted.items():
        decision, pocket = decisions[index], prediction.part.pockets[index]
        floor = floor_points(pocket)
        aside = floor - mine.mean(axis=0)
        offset = decision.correction.at(*floor.T)
        slope = np.linalg.lstsq(np.column_stack([np.ones(len(floor)), aside]), offset, rcond=None)[0][1:]
        turned = prediction.deviation(index, *floor.T) - 2 * sum(aside @ way * (slope @ way) for way in unread[index])
        lower, upper = pocket.limits_on(*floor.T).limits
        if unread[index] and ((turned < lower) | (turned > upper)).any():
            words = (
                f"it was cut with a {decision.action}, and its readings, {len(mine)} nearly in one line or place, "
                "would be the same had that been turned in sign across it; read it beside that line too"
            )
            out[index] = words, True
    return out


def _unread_ways(mine: Array, prediction: Prediction, index: int) -> list[Array]:
    """Directions of a floor that its readings do not span: across their line, or both."""
    floor = np.array(prediction.part.pockets[index].polygon.exterior.coords)
    ways = np.linalg.svd(mine - mine.mean(axis=0))[2]
    return [way for way in ways if np.ptp(mine @ way) < _ACROSS * np.ptp(floor @ way)]
