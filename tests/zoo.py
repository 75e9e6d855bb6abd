"""Named awkward sets of readings for a surface fit: what is wrong with them, and what the answer is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["ANSWERED", "BOX", "REFUSED", "Case", "scatter"]

Array = NDArray[np.float64]
BOX = (0.0, 0.0, 1200.0, 500.0)


@dataclass(frozen=True)
class Case:
    """One set of readings; ``error`` is a piece of the message where it is refused."""

    name: str
    points: Array
    values: Array
    u: float | Array = 0.010
    error: str = ""


def scatter(count: int, seed: int = 3) -> tuple[Array, Array]:
    """Places spread over the box and a bowed warp there with noise of 0.010 mm."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(BOX[:2], BOX[2:], (count, 2))
    u, v = (points[:, 0] - 600) / 600, (points[:, 1] - 250) / 250
    return points, 0.4 * u**2 + 0.15 * v**2 + 0.05 * u * v + rng.normal(0, 0.010, count)


POINTS, VALUES = scatter(30)
LINE = np.column_stack([np.arange(9) * 100.0, np.arange(9) * 40.0])

ANSWERED = [
    Case("three places", POINTS[:3], VALUES[:3]),
    Case("four places", POINTS[:4], VALUES[:4]),
    Case("every place three times", np.vstack([POINTS] * 3), np.concatenate([VALUES, VALUES + 0.01, VALUES - 0.01])),
    Case("three places ten times", np.repeat(POINTS[:3], 10, axis=0), np.repeat(VALUES[:3], 10)),
    Case("all alike", POINTS, np.full(30, 0.25)),
    Case("all in one corner", POINTS / [20, 20] + 30, VALUES),
    Case("outside the bounds", POINTS + np.array([5000, 0]), VALUES),
    Case("uncertainty of a nanometre", POINTS, VALUES, 1e-6),
    Case("uncertainties unequal by a million", POINTS, VALUES, np.geomspace(1e-4, 100, 30)),
]

REFUSED = [
    Case("none", np.empty((0, 2)), np.empty(0), error="Take more readings"),
    Case("one", POINTS[:1], VALUES[:1], error="1 different places"),
    Case("two", POINTS[:2], VALUES[:2], error="2 different places"),
    Case("two places many times", np.repeat(POINTS[:2], 20, axis=0), np.zeros(40), error="2 different places"),
    Case("in one line", LINE, np.arange(9) * 0.01, error="in one line"),
    Case("in a line along Y", LINE * [0, 1] + [7, 0], np.arange(9) * 0.01, error="in one line"),
    Case("in a line far from the origin", LINE + 1e6, np.arange(9) * 0.01, error="in one line"),
    Case("a million at one place", np.full((1_000_000, 2), 250.0), np.zeros(1_000_000), error="in one place"),
]
