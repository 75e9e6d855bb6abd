"""What changes along one axis: an error of the machine's Z, or a plate that breaks over its ribs.

A measured Z has the errors of the machine's guides in it, the same for every reading at one X. A plate that bends
along X has the same look; where it breaks over the ribs between its floors, the bends stand at the ribs, which a guide
does not know. Each is fitted beside the surface, and counts by its likelihood: what is the plate's own goes into the
surface, what is an error does not, and where the readings cannot tell, the interval holds both.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.border import Slow
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.reml import Prior, Solution
from floorfit.surface.slow import FEWEST, MOST, TRIED, combined, hats, likeliest_slow, likely_step

__all__ = ["OF_FLOORS", "Model", "models_of"]

_Priors = tuple[tuple[Prior, float, float], ...]
_Search = Callable[[Slow | None, Prior], tuple[_Priors, float]]

#: Lengths, mm, over which an error of Z is alike, and its standard deviations, mm, those to begin with first: guides
#: wave over some hundreds of millimetres, by a few micrometres (common practice, no source).
LENGTHS_MM = (160.0, 80.0, 320.0)
SIZES_MM = (0.006, 0.003, 0.012)
#: Standard deviations of the angle, rad, by which a plate breaks over one rib, that to begin with first: 0.0003 over
#: floors of 300 mm lifts them by some 0.02 mm.
ANGLES = (2e-4, 6e-4, 2e-3)
#: Knots between two of an error's lengths, and the most knots.
KNOTS, MOST_KNOTS = 2, 120
#: Twice the log likelihood gained at the same smoothing from which one is looked at closely, and from which it is
#: tried.
WORTH_A_LOOK, LEAST_GAIN = 0.0, 2.0
#: How likely each is beside the surface alone, before any reading: an error in the order of the readings, one of Z, and
#: a plate that breaks.
ORDER_ODDS, ERROR_ODDS, BREAK_ODDS = 0.3, 0.1, 0.2
#: The most that an error of Z is believed: a plate may wave along an axis by itself.
MOST_ERROR = 0.5
#: Times that the place of a step is looked for, each beside the one before. It is one of as many as there are readings,
#: where another error is one of `TRIED`: the likelihood that the choice alone gains is taken off.
STEP_ROUNDS = 3
#: A model less likely than this is left out.
LEAST_SHARE = 0.03


@dataclass(frozen=True)
class Model:
    """One explanation of the readings: the surface alone, or with something beside it.

    Parameters
    ----------
    priors : tuple of (Prior, spread, share)
        Smoothing and shape (smoothness length or tension), best first: the standard deviation of log λ at each, and how
        likely each shape is.
    slow : Slow or None
        All that stands beside the surface.
    in_order : Slow or None
        What of it is an error in the order of the readings.
    errors, breaks : str
        Axes of an error of Z, or `OF_FLOORS`, and axes of a plate that breaks.
    share : float
        How likely it is.
    """

    priors: _Priors
    slow: Slow | None = None
    in_order: Slow | None = None
    errors: str = ""
    breaks: str = ""
    share: float = 1.0

    @property
    def modes_share(self) -> float:
        """Share of it that modes of the whole plate have beside the spline alone."""
        return sum(share for prior, _, share in self.priors if prior.modes is not None)

    @property
    def odds(self) -> float:
        """Before any reading, beside the surface alone."""
        parts = ((self.in_order, ORDER_ODDS), (self.errors, ERROR_ODDS), (self.breaks, BREAK_ODDS))
        return float(np.prod([odds for part, odds in parts if part]))


@dataclass(frozen=True)
class _Part:
    """What may stand beside the surface along one axis or both."""

    slow: Slow
    errors: str = ""
    breaks: str = ""
    gain: float = 0.0


#: Errors that the readings of a floor share: sizes tried, mm, and readings a floor from which.
FLOOR_SIZES_MM, ON_A_FLOOR = (0.008, 0.004, 0.016, 0.03), 3.0
#: What a model has in place of axes whose error is one of floors.
OF_FLOORS = "floors"


def models_of(
    points: Array,
    shapes: LocalShapes,
    priors: _Priors,
    order: Array | None,
    beside: Callable[[Slow | None], Solution],
    left: Callable[[Solution], Array],
    search: _Search,
    *,
    is_z_measured: bool,
) -> tuple[Model, ...]:
    """Find the models that are not unlikely, with their shares; first the likeliest that has no error of Z.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
        Places of the readings.
    shapes : LocalShapes
        Lines that none of them crosses are where the plate may break.
    priors : tuple of (Prior, spread, share)
        Of the surface alone.
    order : (n,) ndarray or None
        Time or number of each reading, to look for an error that changes slowly along them.
    beside : callable
        The solution at the likeliest prior of the surface alone with something beside it.
    left : callable
        What the surface of a solution leaves of each reading that counts, (n,), mm; NaN where it does not.
    search : callable
        Priors with something beside the surface, from one to begin with, and twice the negative log of their evidence.
    is_z_measured : bool
        Whether an error of Z can be in the readings.
    """
    in_order = None
    if order is not None:
        in_order = _in_order(order, beside, left)
    own = [None] if in_order is None else [None, in_order]
    parts = _parts(points, shapes, own, beside, is_z_measured=is_z_measured)
    if not parts and in_order is None:
        return (Model(priors),)
    return _shared([_searched(one, part, priors[0][0], search) for one in own for part in (None, *parts)])


def _in_order(
    order: Array, beside: Callable[[Slow | None], Solution], left: Callable[[Solution], Array]
) -> Slow | None:
    """The likeliest error in the order of the readings, at the scatter that is left beside it."""
    alone = beside(None).criterion

    def at(dispersion: float) -> Slow | None:
        return likeliest_slow(order, lambda slow: alone - beside(slow).criterion, dispersion)

    found = at(1.0)
    if found is not None and beside(found).dispersion != 1.0:
        found = at(beside(found).dispersion)
    if found is None:
        return None
    solution, chosen = beside(found), 2 * float(np.log(len(order) / TRIED))
    for _ in range(STEP_ROUNDS):
        step = likely_step(order, left(solution), solution.dispersion)
        if step is None or step.step == found.step:
            break
        solution = beside(step)
        gain = alone - solution.criterion - chosen
        found = replace(step, gain=gain) if gain > found.gain else found
    return found


def _searched(in_order: Slow | None, part: _Part | None, start: Prior, search: _Search) -> tuple[Model, float]:
    """A model and twice the negative log of its evidence; breaks may be all that the ground was rough for."""
    if part is None:
        priors, evidence = search(in_order, start)
        return Model(priors, in_order, in_order), evidence
    slow = combined(in_order, part.slow)
    starts = [start, replace(start, rough=None)] if part.breaks and start.rough is not None else [start]
    priors, evidence = min((search(slow, one) for one in starts), key=lambda found: found[1])
    return Model(priors, slow, in_order, part.errors, part.breaks), evidence


def _shared(found: Sequence[tuple[Model, float]]) -> tuple[Model, ...]:
    """With their shares, those of an error of Z limited; the unlikely ones left out."""
    log = np.array([np.log(model.odds) - evidence / 2 for model, evidence in found])
    is_error = np.array([bool(model.errors) for model, _ in found])
    likely = np.exp(log - log.max())
    likely /= likely.sum()
    if likely[is_error].sum() > MOST_ERROR:
        # Each kind for itself: an error of Z may be so likely that nothing is left of the others in double precision.
        for these, share in ((is_error, MOST_ERROR), (~is_error, 1 - MOST_ERROR)):
            own = np.exp(log[these] - log[these].max())
            likely[these] = share * own / own.sum()
    likely = np.where(likely < LEAST_SHARE, 0.0, likely)
    likely /= likely.sum()
    order = sorted(range(len(found)), key=lambda k: (is_error[k], -likely[k]))
    return tuple(replace(found[k][0], share=float(likely[k])) for k in order if likely[k] > 0.0)


def _parts(
    points: Array,
    shapes: LocalShapes,
    own: Sequence[Slow | None],
    beside: Callable[[Slow | None], Solution],
    *,
    is_z_measured: bool,
) -> list[_Part]:
    """Likeliest angles and likeliest error of Z, where the readings speak for any."""
    if not FEWEST <= len(points) <= MOST:
        return []
    alone = [beside(one).criterion for one in own]

    def gained(part: _Part) -> _Part:
        costs = [beside(combined(one, part.slow)).criterion for one in own]
        return replace(part, gain=max(before - after for before, after in zip(alone, costs, strict=True)))

    families = [[_breaks(points, shapes, k) for k in (0, 1)]]
    families += [[_errors(points, k) for k in (0, 1)]] if is_z_measured else []
    families += [[_of_floors(points, shapes)]]
    both = [[_likeliest(one, gained) for one in family] for family in families]
    return [part for found in both for part in _together([one for one in found if one is not None])]


def _likeliest(family: Sequence[_Part], gained: Callable[[_Part], _Part]) -> _Part | None:
    """Likeliest of one family, or None where its first is not worth a look."""
    if not family:
        return None
    first = gained(family[0])
    if first.gain < WORTH_A_LOOK:
        return None
    best = max([first, *(gained(one) for one in family[1:])], key=lambda one: one.gain)
    return best if best.gain > LEAST_GAIN else None


def _together(found: Sequence[_Part]) -> list[_Part]:
    """One along both axes where each speaks for it."""
    if len(found) < 2:
        return list(found)
    first, second = found
    slow = combined(first.slow, second.slow)
    return [replace(first, slow=slow, errors=first.errors + second.errors, breaks=first.breaks + second.breaks)]


def _errors(points: Array, axis: int) -> list[_Part]:
    """Errors of Z along an axis: a smooth process of Gaussian covariance, linear between knots."""
    x, out = points[:, axis], []
    low, extent = float(x.min()), float(np.ptp(x))
    for length in LENGTHS_MM:
        count = int(np.ceil(KNOTS * extent / length)) + 1
        if length > extent / 2 or count > MOST_KNOTS:
            continue
        knots = np.linspace(low, low + extent, count)
        shape = np.exp(-0.5 * ((knots[:, None] - knots) / length) ** 2) + 1e-4 * np.eye(count)
        design = hats(x, knots)
        slow = [Slow(design, size**2 * shape, size, length) for size in SIZES_MM]
        out += [_Part(one, errors="XY"[axis]) for one in slow]
    return out


def _of_floors(points: Array, shapes: LocalShapes) -> list[_Part]:
    """Errors that the readings of a floor share, each floor its own: a Z that was measured once, couplant."""
    from scipy.sparse import csr_array

    row, column = shapes.design(points)[:, : shapes.count - shapes.forms].nonzero()
    names, floor = np.unique(column, return_inverse=True)
    if len(names) < 2 or len(row) < ON_A_FLOOR * len(names):
        return []
    design = csr_array((np.ones(len(row)), (row, floor)), shape=(len(points), len(names)))
    slow = [Slow(design, size**2 * np.eye(len(names)), size, np.inf) for size in FLOOR_SIZES_MM]
    return [_Part(one, errors=OF_FLOORS) for one in slow]


def _breaks(points: Array, shapes: LocalShapes, axis: int) -> list[_Part]:
    """Ramps from each line on, independent of each other."""
    from scipy.sparse import csr_array

    x = points[:, axis]
    lines = _lines(shapes, axis)
    lines = lines[(lines > x.min()) & (lines < x.max())]
    if not len(lines):
        return []
    design = csr_array(np.maximum(x[:, None] - lines, 0.0))
    places = tuple((axis, float(line)) for line in lines)
    slow = [Slow(design, angle**2 * np.eye(len(lines)), angle, float("inf"), breaks=places) for angle in ANGLES]
    return [_Part(one, breaks="XY"[axis]) for one in slow]


def _lines(shapes: LocalShapes, axis: int) -> Array:
    """Lines across an axis that no shape lies on, between the first and the last."""
    ends = np.array(sorted((table.low[axis], table.high[axis]) for table in shapes.tables))
    reached = np.maximum.accumulate(ends[:, 1])
    free = ends[1:, 0] > reached[:-1]
    return np.asarray((ends[1:, 0] + reached[:-1])[free] / 2)
