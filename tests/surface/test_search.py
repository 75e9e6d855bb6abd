"""Where a search for the smoothing begins: on the likeliest rung of a wide ladder, whatever the ground is like."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from floorfit.errors import NumericalError
from floorfit.surface.grid import make_grid
from floorfit.surface.reml import Equations, Prior, Solution, assemble, solve
from floorfit.surface.search import START, best_smoothing, likely_starts

#: Rungs of the ladder, units of log λ about the start.
RUNGS = (-24, -16, -8, 0, 8)
U = 0.01


def ground(waves: float, length: float) -> Equations:
    """A plane with waves of a height, mm, and a length of 2π ``length``, read at 250 places; cells of 25 mm."""
    rng = np.random.default_rng(5)
    points = rng.uniform((0, 0), (1200, 500), (250, 2))
    values = waves * np.sin(points[:, 0] / length) * np.cos(points[:, 1] / length / 1.3) + rng.normal(0, U, 250)
    return assemble(make_grid((0, 0, 1200, 500), 25.0), points, values - values.mean(), np.full(250, U**-2), 250.0)


def at(equations: Equations, rung: int) -> Solution:
    return solve(equations, replace(START, smoothing=START.smoothing * float(np.exp(rung))))


@pytest.mark.parametrize(
    ("waves", "length", "best"), [(0.0, 60.0, 8), (0.02, 60.0, 0), (0.3, 60.0, -8), (500.0, 60.0, -16)]
)
def test_what_the_ladder_leaves_out_is_less_likely(waves: float, length: float, best: int) -> None:
    # Twice the negative log of a likelihood is the log of |N + λ S| / |λ S|, which falls with λ, and what is not
    # negative (D. Harville, JASA 72, 320, 1977): so from the top the search may stop, and it does.
    equations = ground(waves, length)
    criteria = {rung: at(equations, rung).criterion for rung in RUNGS}
    found = likely_starts(equations, START)
    assert min(criteria, key=criteria.__getitem__) == best
    likeliest = min(found, key=lambda one: found[one].criterion)
    assert likeliest == pytest.approx(np.log(START.smoothing) + best)
    assert found[likeliest].criterion == pytest.approx(criteria[best])
    # One rung beyond the likeliest tells that the others need not be tried.
    assert min(found) > np.log(START.smoothing) + best - 16.5


def test_of_two_maxima_the_likelier_is_found() -> None:
    # Waves of 200 mm between places 49 mm apart: a surface that follows them, or a plane under a noise that makes up
    # for them. Begun on the side of the plane, a search does not see the surface.
    equations = ground(0.2, 32.0)
    start = replace(START, smoothing=START.smoothing * float(np.exp(4.0)))
    found = likely_starts(equations, START)
    solution, _ = best_smoothing(equations, start, known=found)
    alone, _ = best_smoothing(equations, start)
    assert solution.prior.smoothing < START.smoothing < alone.prior.smoothing
    assert solution.criterion < alone.criterion
    assert solution.criterion <= min(one.criterion for one in found.values())


def test_equations_that_no_smoothing_solves_say_why(monkeypatch: pytest.MonkeyPatch) -> None:
    def unsolved(equations: Equations, prior: Prior) -> Solution:
        raise NumericalError("the normal matrix is not positive definite")

    monkeypatch.setattr("floorfit.surface.search.solve", unsolved)
    with pytest.raises(NumericalError, match="not positive definite"):
        likely_starts(ground(0.0, 60.0), START)
