"""Whether finished webs look as if the offsets had been applied otherwise than decided.

Measured less predicted of a floor is a bias that all share, plus a multiple of its own offset: 0 where it was cut as
decided, -1 where offsets were not applied, -2 where their sign was turned, 1 where they were applied twice. Two floors
that got each other's offset differ by the offsets' difference, up and down. None of that need put a web out of its
limits, and all of it means that the next part will be cut wrong.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.verify.bias import student_factor
from floorfit.verify.mixed import dispersion_of, fit_grouped
from floorfit.verify.predicted import Prediction
from floorfit.verify.proved import Intervals
from floorfit.verify.taken import Taken
from floorfit.verify.webs import Step

__all__ = ["cut_otherwise", "not_as_predicted"]

#: Multiples of the offsets that have a cause, and what they look like.
_CAUSES = {
    -2.0: "the sign of the offsets had been turned",
    -1.0: "the offsets had not been applied",
    1.0: "the offsets had been applied twice, or the part had lain flat when it was cut",
}
#: A multiple this near to one of them is that one, and a standard uncertainty above this tells nothing. Own choice.
_NEAR, _MOST_U = 0.4, 0.2
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
    prediction: Prediction, taken: Taken, points: Array, steps: Mapping[int, Step], source: str
) -> tuple[list[Finding], str]:
    """Return what is found, and why no bias may be carried to other pockets; ``""`` where nothing is.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    points : (n, 2) ndarray, mm
        Places of the readings.
    steps : mapping of int to Step
        By floor: measured less predicted.
    source : str
        Name of the readings.
    """
    cut = [k for k in sorted(steps) if not prediction.is_held(k)]
    if len(cut) < 4:
        return [], ""
    rows = np.flatnonzero(taken.is_used & np.isin(taken.floor, cut))
    offset = np.zeros(len(rows))
    for k in cut:
        mine = taken.floor[rows] == k
        offset[mine] = prediction.record.decisions[k].correction.at(*points[rows[mine]].T)
    cause = _multiple(offset, taken, rows, np.searchsorted(cut, taken.floor[rows]))
    if cause:
        text = (
            f"the webs look as if {cause}. Look at the programme that was run, and at its proof, before the next part."
        )
        return [Finding("applied-otherwise", source, "", text, "warning")], f"it looks as if {cause}"
    return _exchanged(prediction, np.array(cut), offset, taken.floor[rows], steps, source), ""


def _multiple(offset: Array, taken: Taken, rows: Rows, group: Rows) -> str:
    """What the multiple of the offsets looks like that the webs differ by; ``""`` where it is none of those."""
    gap, u = taken.deviation[rows] - taken.predicted[rows], taken.u[rows]
    if np.ptp(offset) < 3 * float(np.median(u)):
        return ""
    design = np.column_stack([np.ones(len(gap)), offset])
    found = fit_grouped(design, gap, group, u * np.sqrt(dispersion_of(gap, group, u)))
    multiple, multiple_u = float(found.beta[1]), float(np.sqrt(found.covariance[1, 1]))
    nearest = min(_CAUSES, key=lambda one: abs(one - multiple))
    is_sure = multiple_u <= _MOST_U and abs(multiple) > student_factor(found.dof) * multiple_u
    return _CAUSES[nearest] if is_sure and abs(multiple - nearest) <= _NEAR else ""


def _exchanged(
    prediction: Prediction, cut: Rows, offset: Array, floor: Rows, steps: Mapping[int, Step], source: str
) -> list[Finding]:
    """Pairs of floors that are off by what the other one's offset is off their own."""
    own = np.array([offset[floor == k].mean() for k in cut])
    off = np.array([steps[int(k)].bias for k in cut])
    off, u = off - np.median(off), np.hypot([steps[int(k)].bias_u for k in cut], _SCATTER_MM)
    some = np.flatnonzero(np.abs(off) > _OFF * u).tolist()
    pairs = [(p, q) for i, p in enumerate(some) for q in some[i + 1 :] if _fits(off, own, u, p, q)]
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


def _fits(off: Array, own: Array, u: Array, p: int, q: int) -> bool:
    way = own[q] - own[p]
    return bool(abs(off[p] - way) <= _AGREE * u[p] and abs(off[q] + way) <= _AGREE * u[q])


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
