"""Errors that readings share: wrong velocity, drift, a step in the path, a pocket or a row of pockets off.

Each cause has a column c of what it adds to the readings. It is estimated jointly with the surface: with P the matrix
that takes the surface's freedom out of the readings (precision of the residuals),

    β = cᵀP y / cᵀP c,    u(β) = √(φ / cᵀP c),    twice the gain in log likelihood = (β / u(β))²

(G. Wahba, Spline Models for Observational Data, 1990, ch. 9: partial splines). What the surface can follow is left to
it, so that an error that no test can see has a large u(β): it is said how large it could be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["Cause", "Sharers", "Systematic", "estimated", "find_systematic", "likeliest"]

#: Smooths columns of values of the places as the fit smoothed the warp: (m, k) to (m, k), mm.
Smooth = Callable[[Array], Array]

#: Chance of a false alarm of each kind; seven kinds together stay at 5 % (Bonferroni).
ALPHA = 0.05 / 7
#: Least share of a variance that is left when what the fit allows for is taken off: rounding.
KEPT = 1e-6
#: Most causes that are told apart in one job.
MOST = 4
#: Groups of a kind (pockets, rows of pockets) that are tried exactly: those that stand out most.
TRIED = 6


@dataclass(frozen=True)
class Cause:
    """What a cause adds to the warp that each reading says.

    Parameters
    ----------
    kind : str
        ``"velocity"``, ``"drift"``, ``"step"``, ``"temperature"``, ``"place"``, ``"pocket"``, ``"row"``,
        ``"side"``.
    name : str
        Which pocket, row, or column of time.
    values : (n,) ndarray
        Added to the warp of each row for an effect of 1 (per unit of ``unit``).
    unit : str
        Of the effect: ``"mm"``, ``"mm/°C"``, ``"1"``.
    allowed : float
        Variance of the effect that the fit allows for already; it is in ``1 / cᵀP c``, and comes off again.
    """

    kind: str
    name: str
    values: Array
    unit: str = "mm"
    allowed: float = 0.0


@dataclass(frozen=True)
class Systematic:
    """An error that readings share.

    Parameters
    ----------
    kind, name, unit
        As in `Cause`.
    effect, u : float
        Estimate and its standard uncertainty, in ``unit``.
    size : float, mm
        The most that it makes of a reading, or between two: a wrong velocity puts all off, whatever they differ by.
    chance : float
        Of such an estimate where there is nothing, the number of causes tried allowed for.
    """

    kind: str
    name: str
    unit: str
    effect: float
    u: float
    size: float
    chance: float


@dataclass(frozen=True)
class Sharers:
    """The readings that a search looks at, n rows on m places.

    Parameters
    ----------
    place : (n,) ndarray of int
        Place of each row, 0 to m − 1.
    weight : (n,) ndarray, 1/mm²
        Robust weight over squared uncertainty; rows that share a place weigh as the fit weighed the place.
    residual : (n,) ndarray, mm
        Warp less what ``smooth`` makes of it: the two belong together, or ``cᵀP y`` is not of the same P.
    square : float
        ``yᵀP y`` of the warp values: what φ, the variance of the readings over what was stated, is found from.
    smooth : callable
        The smoother of the fit.
    """

    place: Rows
    weight: Array
    residual: Array
    square: float
    smooth: Smooth

    @property
    def score(self) -> Array:
        """``P y``, (n,)."""
        return self.weight * self.residual

    def free(self, values: Array) -> Array:
        """``P values``: what the surface cannot follow, weighed; several columns (n, k) at once."""
        total = np.maximum(np.bincount(self.place, self.weight), 1e-300)
        sums = [np.bincount(self.place, self.weight * column) for column in values.T]
        mean = np.stack(sums, axis=1) / total[:, None]
        return np.asarray(self.weight[:, None] * (values - self.smooth(mean)[self.place]))


#: A cause, and what is found of it.
Suspect = tuple[Cause, Systematic]


def find_systematic(
    data: Sharers, columns: Sequence[Cause], least_mm: float = 0.0, first: Suspect | None = None
) -> tuple[Systematic, ...]:
    """Find the errors that readings share, the likeliest first, each with those before it allowed for.

    Parameters
    ----------
    data : Sharers
    columns : sequence of Cause
        Causes to try; of pockets and rows only the `TRIED` that stand out most are.
    least_mm : float, mm
        Smaller ones are not reported: a web's own dish looks like a small error of its pocket.
    first : (Cause, Systematic), optional
        What `likeliest` says of them, where it was asked already.

    Returns
    -------
    tuple of Systematic
        With the smoothing that was chosen without them: a surface that followed an error leaves less to be seen.
    """
    model: list[Cause] = []
    found: list[Systematic] = []
    while len(found) < MOST:
        best = first if first and not model else likeliest(data, columns, model)
        if best is None or best[1].chance > ALPHA:
            break
        model.append(best[0])
        tried = _tried(data, [(one, sum(other.kind == one.kind for other in columns)) for one in model])
        found = [_estimate(tried, k, data) for k in range(len(tried))]
    return tuple(one for one in found if one.size >= least_mm)


@dataclass(frozen=True)
class _Tried:
    column: Cause
    free: Array
    among: int


def likeliest(data: Sharers, columns: Sequence[Cause], model: Sequence[Cause] = ()) -> Suspect | None:
    """Return the cause that is least likely to be chance, beside those that are in the model; None without any.

    Parameters
    ----------
    data : Sharers
    columns, model : sequence of Cause
        Causes to try, and those that are allowed for.
    """
    rest = [one for one in columns if not any(one is other for other in model)]
    tried = _tried(data, [*((one, 1) for one in model), *_standing_out(rest, data)])
    before, best = tried[: len(model)], None
    for one in tried[len(model) :]:
        found = _estimate([*before, one], len(before), data)
        if best is None or found.chance < best[1].chance:
            best = (one.column, found)
    return best


def estimated(data: Sharers, cause: Cause) -> Systematic:
    """Return what the readings say of one cause, there or not: how large it could be, unseen, is in its u.

    Parameters
    ----------
    data : Sharers
    cause : Cause
    """
    return _estimate(_tried(data, [(cause, 1)]), 0, data)


def _tried(data: Sharers, ones: Sequence[tuple[Cause, int]]) -> list[_Tried]:
    """Causes with what the surface cannot follow of them, all in one solution."""
    if not ones:
        return []
    free = data.free(np.stack([one.values for one, _ in ones], axis=1))
    return [_Tried(one, free[:, k], among) for k, (one, among) in enumerate(ones)]


def _standing_out(columns: Sequence[Cause], data: Sharers) -> Iterator[tuple[Cause, int]]:
    """Columns worth an exact look, and how many of their kind there are."""
    for kind in dict.fromkeys(one.kind for one in columns):
        ones = [one for one in columns if one.kind == kind]
        kept = np.arange(len(ones))
        if len(ones) > TRIED:
            values = np.stack([one.values for one in ones])
            rough = np.abs(values @ data.score) / np.sqrt(values**2 @ data.weight + 1e-300)
            kept = np.sort(np.argsort(rough)[-TRIED:])
        for k in kept.tolist():
            yield ones[k], len(ones)


def _estimate(tried: Sequence[_Tried], at: int, data: Sharers) -> Systematic:
    """Estimate one effect with the others in the model."""
    values = np.stack([one.column.values for one in tried])
    gram = values @ np.stack([one.free for one in tried]).T
    column = tried[at].column
    scale = np.sqrt(np.maximum(np.diag(gram), 1e-300))
    # What the surface or the other causes can follow, to one part in a million, says nothing.
    if np.linalg.matrix_rank(gram / np.outer(scale, scale), 1e-6) < len(tried) or gram[at, at] <= 1e-9:
        return Systematic(column.kind, column.name, column.unit, 0.0, float("inf"), 0.0, 1.0)
    inverse, right = np.linalg.inv(gram), values @ data.score
    effect = float((inverse @ right)[at])
    # φ with the model's effects taken out; never below 1, as in the fit.
    left = data.square - float(right @ inverse @ right)
    dispersion = max(1.0, left / max(1, len(data.weight) - 3 - len(tried)))
    variance = max(inverse[at, at] - column.allowed, KEPT * inverse[at, at])
    u = float(np.sqrt(dispersion * variance))
    chance = min(1.0, tried[at].among * math.erfc(abs(effect) / u / math.sqrt(2.0)))
    size = abs(effect) * max(float(np.ptp(column.values)), float(np.abs(column.values).max()))
    return Systematic(column.kind, column.name, column.unit, effect, u, size, chance)
