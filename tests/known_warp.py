"""A warp that is known in closed form, in place of a fitted one, and floors to decide on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.decision.floor_warp import FloorWarp
from floorfit.part import Part, Pocket, Tolerance
from floorfit.part.lattice import floor_points
from floorfit.web import Webs

__all__ = ["FLOOR", "KnownSurface", "SharedError", "floor_at", "known_fit", "one_pocket_part", "rectangle"]

Array = NDArray[np.float64]
Warp = Callable[[Array, Array], Array]


def rectangle(x: float, y: float, width: float, height: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


#: 160 x 120 mm, centred on the origin; web 2 ± 0.1 mm; 0.5 mm left by roughing.
FLOOR = Pocket("P1", rectangle(-80, -60, 160, 120), (), 2.0, 2.0, Tolerance(-0.1, 0.1), finish_stock=0.5)


def one_pocket_part(pocket: Pocket = FLOOR, units: str = "mm") -> Part:
    return Part("invented", rectangle(-100, -80, 200, 160), (pocket,), units)  # type: ignore[arg-type]


@dataclass(frozen=True)
class KnownSurface:
    """Has what the decision asks of a surface."""

    warp: Warp

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        return np.asarray(self.warp(xs, ys) + np.zeros(xs.shape))

    def on_grid(self, xs: ArrayLike, ys: ArrayLike) -> Array:
        return self.at(np.asarray(xs, float)[:, None], np.asarray(ys, float)[None, :])


@dataclass(frozen=True)
class SharedError:
    """Samples whose error is the same all over the part: probabilities then have a closed form."""

    error: Array

    @property
    def count(self) -> int:
        return len(self.error)

    def samples_over(self, places: Sequence[Array]) -> Callable[[int], Array]:
        return lambda group: np.repeat(self.error[:, None], len(places[group]), axis=1)

    def std_at(self, x: ArrayLike, y: ArrayLike) -> Array:
        return np.full(np.broadcast(x, y).shape, self.error.std())


def _gaussian(sd: float, count: int) -> Array:
    """Quantiles of a Gaussian: a sample of it without sampling error."""
    from scipy.stats import norm

    return np.asarray(sd * norm.ppf((np.arange(count) + 0.5) / count))


def known_webs(warp: Warp, available: Warp | None = None, bias: float = 0.0) -> Any:
    return Webs(KnownSurface(warp), None if available is None else KnownSurface(available), bias)  # type: ignore[arg-type]


def known_fit(warp: Warp, sd: float = 0.001, count: int = 2000) -> Any:
    return SimpleNamespace(surface=KnownSurface(warp), posterior=SharedError(_gaussian(sd, count)))


def floor_at(warp: Warp, sd: float = 0.001, pocket: Pocket = FLOOR, count: int = 2000, **changes: Any) -> FloorWarp:
    """A floor with that warp under it, and the same error everywhere."""
    pocket = replace(pocket, **changes)
    points = floor_points(pocket)
    mean = warp(points[:, 0], points[:, 1]) + np.zeros(len(points))
    samples = mean + _gaussian(sd, count)[:, None]
    limits = pocket.limits_on(*points.T)
    return FloorWarp(pocket, points, mean, pocket.finish_stock - mean, samples, limits)
