"""Whether modes of a whole plate stand beside the spline, and how far they go: by the same evidence as smoothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from floorfit.surface.modes import Modes
from floorfit.surface.reml import Equations, Prior, Solution
from floorfit.surface.search import LIKELY, best_prior, best_smoothing

__all__ = ["with_modes"]

#: Sizes s that are tried, mm: from what no reading shows to plates that warp by several millimetres, each 1.6 times the
#: one before. The prior is even over them and over the families; half of it is on no modes at all.
SIZES_MM = np.geomspace(0.01, 10.0, 16)
#: Candidates less likely than the best by more, twice the log, are left out.
LEAST = 6.0

_Found = list[tuple[Solution, float, float]]


def with_modes(equations: Equations, plain: _Found, families: Sequence[Modes]) -> _Found:
    """Add modes to what is likely.

    Parameters
    ----------
    equations : Equations
    plain : list of (Solution, spread, evidence)
        Without modes, best first, as from `best_prior`.
    families : sequence of Modes
        Each of another spectrum.

    Returns
    -------
    list of (Solution, spread, evidence)
        Best first.
    """
    cost = 2 * float(np.log(len(families) * len(SIZES_MM)))
    found = list(plain)
    for family in families:
        start = replace(plain[0][0].prior, smooth_length=LIKELY.smooth_length, modes=family.placed_on(equations.grid))
        likely = best_prior(equations, _climbed(equations, start))
        found += [(solution, spread, evidence + cost) for solution, spread, evidence in likely]
    least = min(evidence for _, _, evidence in found) + LEAST
    return sorted((one for one in found if one[2] < least), key=lambda one: one[2])


def _climbed(equations: Equations, start: Prior) -> Prior:
    """The likeliest size at one smoothness length, with its smoothing."""
    tried: dict[int, Solution] = {}

    def at(k: int) -> float:
        if not 0 <= k < len(SIZES_MM):
            return float("inf")
        if k not in tried:
            near = min(tried, key=lambda other: abs(other - k), default=None)
            smoothing = start.smoothing if near is None else tried[near].prior.smoothing
            prior = replace(start, smoothing=smoothing, modes_size=float(SIZES_MM[k]))
            tried[k] = best_smoothing(equations, prior, step=1.0)[0]
        return tried[k].criterion

    size = len(SIZES_MM) // 2
    while (ahead := min((size - 1, size + 1), key=at)) in tried and at(ahead) < at(size):
        size = ahead
    return tried[size].prior
