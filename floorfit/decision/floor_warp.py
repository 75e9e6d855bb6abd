"""The warp under one floor, over the whole of it: best estimate, joint samples, and what roughing left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.part.lattice import floor_points
from floorfit.part.model import LocalLimits, Pocket, Tolerance
from floorfit.surface.posterior import Posterior
from floorfit.web import Webs

__all__ = ["FloorWarp", "floor_warp"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FloorWarp:
    """The warp under one floor.

    Parameters
    ----------
    pocket : Pocket
    points : (k, 2) ndarray, mm
        Inside, edge and corners.
    mean : (k,) ndarray, mm
        Best estimate of the warp less the common bias.
    samples : (count, k) ndarray, mm
        Joint samples of the same, what all readings share included.
    left : (k,) ndarray, mm
        Web left by roughing less nominal web: no cut can leave more.
    limits : Tolerance or LocalLimits
        Of the web at the points.
    """

    pocket: Pocket
    points: Array
    mean: Array
    samples: Array
    left: Array
    limits: Tolerance | LocalLimits

    @property
    def left_samples(self) -> Array:
        """What roughing left, for each joint sample: a plate that stands higher has less web, mm."""
        return np.asarray(self.left + (self.mean - self.samples))

    @property
    def deviation(self) -> Array:
        """Standard uncertainty of the warp at each point, mm."""
        return np.asarray(self.samples.std(axis=0))


def floor_warp(pocket: Pocket, webs: Webs, posterior: Posterior, common: Array) -> FloorWarp:
    """Evaluate surface and samples over a floor.

    Parameters
    ----------
    pocket : Pocket
    webs : Webs
        Best estimate of the warp, and what roughing left.
    posterior : Posterior
        Joint samples of the warp.
    common : (count,) ndarray, mm
        What all readings share, one value a sample.
    """
    points = floor_points(pocket)
    mean = webs.aimed(points[:, 0], points[:, 1])
    samples = mean + posterior.samples_at(points) + common[:, None]
    left, limits = webs.left(pocket, *points.T), pocket.limits_on(*points.T)
    return FloorWarp(pocket, points, mean, samples, left, limits)
