"""A reading that its floor's others do not bear out: does it lie, or does this web bend unlike all others?

The fit draws the dishes of all webs from one normal distribution, so that a web that stands out by ten times its size
loses the readings at its middle, and is sure without them. Here each explanation gets what it is worth: one reading in
twenty lies, evenly over a millimetre (as the fit has it), and one web in a hundred bends freely.
A reading that the surface follows alone, at a web's middle or in a corner, may lie as well: it is asked about even
where the fit believes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Decision
from floorfit.decision.rules import Wording
from floorfit.part.lattice import floor_points
from floorfit.part.model import Part, Pocket
from floorfit.surface.fit import Fit
from floorfit.surface.robust import BAD_COST
from floorfit.web import Webs, left_after, margin

__all__ = ["odd_webs"]

#: Share of webs that bend unlike the others; standard deviation of how far, mm; powers that its form may have, as its
#: ribs give or hold, whatever the others' are (`LocalShapes.power`: of like families either may be the likelier); and
#: how far such a form is off, in units of its height: uneven stress makes it lean. Own choices.
ODD_SHARE, ODD_MM, ODD_POWERS, ODD_LEAN = 0.01, 0.2, (1.5, 3.0), 0.2
#: Readings that may lie, at most; and readings of a floor beyond which the surface follows any web by itself.
MOST_BAD, MOST_READINGS = 4, 50
#: Largest share of a variance that a floor's own readings may have taken away: the samples know it no better.
MOST_TAKEN = 0.95


def odd_webs(
    part: Part,
    webs: Webs,
    fit: Fit,
    points: Array,
    u: Array,
    floor: NDArray[np.int64],
    decisions: Sequence[Decision],
    level: float,
) -> dict[int, str]:
    """Floors to hold because their web may bend unlike the others and leave its limits, with words for each.

    Parameters
    ----------
    part, webs, fit
        The nominal part, its webs and the fitted warp.
    points : (m, 2) ndarray, mm
        Places that the fit was made from.
    u : (m,) ndarray, mm
        Standard uncertainty of each.
    floor : (m,) ndarray of int
        On which each lies.
    decisions : sequence of Decision
        In the part's order; floors that are held are not asked about.
    level : float
        Probability that makes a floor conform.

    Returns
    -------
    dict of int to str

    Notes
    -----
    Readings of one floor are Gaussian about what the surface would be without them, which follows from the posterior
    with them; of a reading that the surface follows, the fit without it tells. With an odd web a normal amount of its
    shape is added. Chances are those of all ways in which up to `MOST_BAD` doubted readings may lie (Bayes' theorem).
    """
    out: dict[int, str] = {}
    if fit.surface.shapes is None:
        return out
    lies, wording = _chance_of_lie(fit), Wording(part.units)
    for k in np.unique(floor[((fit.weights < 1) | (lies > 1 - level)) & (floor >= 0)]).tolist():
        rows = np.flatnonzero(floor == k)
        if decisions[k].action == "hold" or len(rows) > MOST_READINGS:
            continue
        followed = rows[(fit.weights[rows] > 0) & (lies[rows] > 1 - level)]
        lone = next((one for one in followed if _is_out_without(part, webs, fit, points, one, decisions[k], k)), None)
        if lone is not None:
            out[k] = (
                f"the reading near {wording.place(points[lone])} stands out, and the floor is cut by it: if it lies "
                f"({100 * lies[lone]:.0f} % likely), the web is out of its limits; take two more readings there"
            )
            continue
        if (fit.weights[rows] == 1).all():
            continue
        chance = _chance_out(part, webs, fit, points, u, rows, decisions[k], k)
        if chance > 1 - level:
            out[k] = (
                f"either a reading of this floor lies, or its web bends unlike all others and is out of its limits "
                f"({100 * chance:.0f} % likely); take two more readings near its middle"
            )
    return out


def _chance_out(
    part: Part, webs: Webs, fit: Fit, points: Array, u: Array, rows: Rows, decision: Decision, index: int
) -> float:
    """Chance that the web is an odd one and, as it is then, out of its limits."""
    pocket = part.pockets[index]
    over = floor_points(pocket)
    told = _Told.of(fit, points[rows], u[rows], rows, over, pocket.id)
    ordinary, odd = [], []
    for is_good, cost in _ways(fit.weights[rows]):
        ordinary.append(cost + told.logs(is_good, 0)[0])
        for power in ODD_POWERS:
            log, change = told.logs(is_good, power)
            odd.append(
                (cost + np.log(ODD_SHARE / len(ODD_POWERS)) + log, _is_out(webs, pocket, decision, over, change))
            )
    highest = max(*ordinary, *(log for log, _ in odd))
    total = sum(np.exp(log - highest) for log in [*ordinary, *(log for log, _ in odd)])
    return float(sum(np.exp(log - highest) for log, is_out in odd if is_out) / total)


def _chance_of_lie(fit: Fit) -> Array:
    """Chance that each reading is bad, by how far it is from the fit without it (Bayes' theorem)."""
    spread = fit.loo.deviation * np.sqrt(fit.dispersion) * fit.scale
    cost = (fit.loo.residual / spread) ** 2 + np.log(2 * np.pi * spread**2) - BAD_COST
    return np.asarray(1 / (1 + np.exp(-0.5 * cost)))


def _is_out_without(part: Part, webs: Webs, fit: Fit, points: Array, row: int, decision: Decision, index: int) -> bool:
    """Whether the web is out of its limits by the fit without one reading, which is exact there: ``f − h·e``."""
    over = floor_points(part.pockets[index])
    samples = fit.posterior.told.samples_at(np.vstack([points[row], over]))
    gain = samples[:, 0] @ samples[:, 1:] / (samples[:, 0] @ samples[:, 0])
    return _is_out(webs, part.pockets[index], decision, over, -gain * fit.loo.leverage[row] * fit.loo.residual[row])


def _is_out(webs: Webs, pocket: Pocket, decision: Decision, over: Array, change: Array) -> bool:
    """Whether a floor leaves its limits, with a change of the warp at places over it."""
    x, y = over.T
    aimed = webs.aimed(x, y)
    reached = left_after(decision.correction.at(x, y), 0.0, webs.left(pocket, x, y) + aimed)
    return bool((margin(pocket.limits_on(x, y), reached - aimed - change) < 0).any())


def _ways(weights: Array) -> Iterator[tuple[Flags, float]]:
    """Which readings are good, and the log of what the others cost, for each way in which doubted ones may lie."""
    doubted = [int(k) for k in np.argsort(weights)[:MOST_BAD] if weights[k] < 1]
    for count in range(len(doubted) + 1):
        for bad in combinations(doubted, count):
            is_good = np.ones(len(weights), bool)
            is_good[list(bad)] = False
            yield is_good, -0.5 * BAD_COST * count


@dataclass(frozen=True)
class _Told:
    """What the surface says of one floor without the floor's own n readings, at them and at p places over it.

    Parameters
    ----------
    off : (n,) ndarray, mm
        Readings less that.
    change : (p,) ndarray, mm
        That less the fit with them.
    covariance : (n, n + p) ndarray, mm²
        Of it, readings first.
    form : (n + p,) ndarray
        Of the web, before it is raised to a power.
    height : float, mm
        Of a web by the reading that is most off: its form is known to a share of that.
    u : (n,) ndarray, mm
    """

    off: Array
    change: Array
    covariance: Array
    form: Array
    height: float
    u: Array

    @classmethod
    def of(cls, fit: Fit, points: Array, u: Array, rows: Rows, over: Array, name: str) -> _Told:
        places, count = np.vstack([points, over]), len(rows)
        shapes = fit.surface.shapes
        assert shapes is not None
        shape = shapes.design(places)[:, [shapes.names.index(name)]].toarray().ravel()
        form = np.maximum(shape, 0.0) ** (1 / shapes.power)
        usual = form[:count] ** ODD_POWERS[0]
        samples = fit.posterior.told.samples_at(places)
        after = samples[:, :count].T @ samples / len(samples)
        u = u * np.sqrt(fit.dispersion) * fit.scale
        inverse = _taken_away(after[:, :count], np.sqrt(fit.weights[rows]) / u)
        misfit = fit.loo.residual[rows] * (1 - fit.loo.leverage[rows])
        change = -after.T @ inverse @ misfit
        off = misfit - change[:count]
        most = int(np.argmax(np.abs(fit.loo.residual[rows]) * usual))
        height = float(np.abs(off[most]) / max(usual[most], 0.1))
        return cls(off, change[count:], after + after[:, :count] @ inverse @ after, form, height, u)

    def logs(self, is_good: Flags, power: float) -> tuple[float, Array]:
        """Log of the density of good readings, of an odd web of that power or with 0 of none, and warp less fit's."""
        good, count = np.flatnonzero(is_good), len(self.off)
        with_shape, noise = self.covariance[good], self.u[good] ** 2
        if power:
            v = self.form**power
            with_shape = with_shape + ODD_MM**2 * np.outer(v[good], v)
            noise = noise + (ODD_LEAN * self.height * v[good]) ** 2
        own = with_shape[:, good] + np.diag(noise)
        answer = np.linalg.solve(own, self.off[good])
        log = -0.5 * float(self.off[good] @ answer + np.linalg.slogdet(2 * np.pi * own)[1])
        return log, self.change + with_shape[:, count:].T @ answer


def _taken_away(after: Array, root: Array) -> Array:
    """``(W⁻¹ − C)⁻¹`` for the covariance C with the readings and their weights W = root²: what undoes them."""
    share, ways = np.linalg.eigh(root[:, None] * after * root)
    return np.asarray(root[:, None] * ((ways / (1 - np.clip(share, 0.0, MOST_TAKEN))) @ ways.T) * root)
