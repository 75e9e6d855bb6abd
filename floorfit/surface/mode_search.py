"""Whether modes of a whole plate stand beside the spline, and how far they go: by the same evidence as smoothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from floorfit.surface.modes import Modes
from floorfit.surface.reml import Equations, Prior, Solution
from floorfit.surface.search import LIKELY, NOT_UNLIKELY, best_prior, best_smoothing

__all__ = ["likely_priors"]

#: Sizes s that are tried, mm: from what no reading shows to plates that warp by several millimetres, each 1.6 times the
#: one before. Beforehand they are equally likely, and all together as likely as no modes at all.
SIZES_MM = np.geomspace(0.01, 10.0, 16)

_Found = list[tuple[Solution, float, float]]


def likely_priors(
    equations: Equations, start: Prior, modes: Modes | None
) -> tuple[tuple[tuple[Prior, float, float], ...], float, Solution]:
    """What is likely of smoothing and shape, without modes of the whole plate and, where there are some, with them.

    Parameters
    ----------
    equations : Equations
    start : Prior
        Where the search begins, as for `best_prior`.
    modes : Modes or None

    Returns
    -------
    priors : tuple of (Prior, spread, share)
        Best first: the standard deviation of log λ at each, and how likely each is; the shares add up to 1.
    evidence : float
        Twice the negative log of that of the best.
    solution : Solution
        At the best.
    """
    found = best_prior(equations, replace(start, modes=None, modes_size=0.0))
    found = found if modes is None else _with_modes(equations, found, modes)
    likely = np.exp(-0.5 * np.array([evidence - found[0][2] for _, _, evidence in found]))
    shares = likely / likely.sum()
    priors = tuple((one[0].prior, one[1], float(share)) for one, share in zip(found, shares, strict=True))
    return priors, found[0][2], found[0][0]


def _with_modes(equations: Equations, plain: _Found, modes: Modes) -> _Found:
    """Add modes to what is likely without them, best first."""
    begun = replace(plain[0][0].prior, smooth_length=LIKELY.smooth_length, tension=0.0)
    begun = replace(begun, modes=modes.placed_on(equations.grid))
    sizes = 2 * float(np.log(len(SIZES_MM)))
    likely = [(*one[:2], one[2] + sizes) for one in best_prior(equations, _likeliest_size(equations, begun))]
    found = sorted([*plain, *likely], key=lambda one: one[2])
    return [one for one in found if one[2] < found[0][2] + NOT_UNLIKELY]


def _likeliest_size(equations: Equations, begun: Prior) -> Prior:
    """The likeliest size at one smoothness length, with its smoothing."""
    tried: dict[int, Solution] = {}

    def at(k: int) -> float:
        if not 0 <= k < len(SIZES_MM):
            return float("inf")
        if k not in tried:
            near = min(tried, key=lambda other: abs(other - k), default=None)
            smoothing = begun.smoothing if near is None else tried[near].prior.smoothing
            prior = replace(begun, smoothing=smoothing, modes_size=float(SIZES_MM[k]))
            tried[k] = best_smoothing(equations, prior, step=1.0)[0]
        return tried[k].criterion

    size = len(SIZES_MM) // 2
    while at(ahead := min((size - 1, size + 1), key=at)) < at(size):
        size = ahead
    return tried[size].prior
