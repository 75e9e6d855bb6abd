"""The warp under one floor, over the whole of it: best estimate, joint samples, and what roughing left."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from floorfit.arrays import Array
from floorfit.part.lattice import floor_points
from floorfit.part.model import LocalLimits, Part, Pocket, Tolerance
from floorfit.web import Webs, left_after

__all__ = ["FloorMean", "FloorWarp", "floor_means", "floor_warp"]


@dataclass(frozen=True)
class FloorMean:
    """The best estimate under one floor.

    Parameters
    ----------
    pocket : Pocket
    points : (k, 2) ndarray, mm
        Inside, edge and corners.
    mean : (k,) ndarray, mm
        Best estimate of the warp less the common bias.
    left : (k,) ndarray, mm
        Web left by roughing less nominal web: no cut can leave more.
    """

    pocket: Pocket
    points: Array
    mean: Array
    left: Array


@dataclass(frozen=True)
class FloorWarp(FloorMean):
    """The warp under one floor: the best estimate, and how sure it is.

    Parameters
    ----------
    samples : (count, k) ndarray, mm
        Joint samples of the warp less the common bias, what all readings share included.
    limits : Tolerance or LocalLimits
        Of the web at the points.
    """

    samples: Array
    limits: Tolerance | LocalLimits

    def reached(self, offset: Array) -> Array:
        """dz that the cut reaches with an offset (k,), mm: in each joint sample it leaves a web of that less the warp.

        A plate that stands higher has less web left: ``min(dz − w, L + mean − w) = min(dz, L + mean) − w``.
        """
        return left_after(offset, 0.0, self.left + self.mean)

    def ends(self, height: Array) -> tuple[Array, Array]:
        """Least and greatest of ``height − w`` over the floor, for each joint sample, (count,), mm.

        Parameters
        ----------
        height : (k,) ndarray, mm
        """
        if np.ptp(height) == 0.0:
            lowest, highest = self._extremes
            return height[0] - highest, height[0] - lowest
        gap = height - self.samples
        return gap.min(axis=1), gap.max(axis=1)

    @cached_property
    def _extremes(self) -> tuple[Array, Array]:
        return self.samples.min(axis=1), self.samples.max(axis=1)

    @cached_property
    def deviation(self) -> Array:
        """Standard uncertainty of the warp at each point, mm."""
        return np.asarray(self.samples.std(axis=0))


def floor_means(part: Part, webs: Webs) -> tuple[FloorMean, ...]:
    """Evaluate the surface over every floor, all places at once.

    Parameters
    ----------
    part : Part
    webs : Webs
        Best estimate of the warp, and what roughing left.
    """
    places = [floor_points(pocket) for pocket in part.pockets]
    x, y = np.concatenate(places).T
    ends = np.cumsum([len(points) for points in places])[:-1]
    aimed, over = (np.split(values, ends) for values in webs.aimed_and_left(x, y))
    return tuple(
        FloorMean(pocket, points, mean, pocket.finish_stock + more)
        for pocket, points, mean, more in zip(part.pockets, places, aimed, over, strict=True)
    )


def floor_warp(places: FloorMean, deviations: Array, common: Array) -> FloorWarp:
    """Add the joint samples to what is known of a floor.

    Parameters
    ----------
    places : FloorMean
    deviations : (count, k) ndarray, mm
        Joint samples of the warp less the best estimate, at its places.
    common : (count,) ndarray, mm
        What all readings share, one value a sample.
    """
    samples = places.mean + deviations
    samples += common[:, None]
    limits = places.pocket.limits_on(*places.points.T)
    return FloorWarp(places.pocket, places.points, places.mean, places.left, samples, limits)
