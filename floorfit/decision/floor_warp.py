"""A floor as points: the whole of it, its edge and corners, not only where readings were taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.part.model import Pocket
from floorfit.surface.posterior import Posterior
from floorfit.web import Webs

__all__ = ["FloorWarp", "floor_points", "floor_warp", "grid_spacing"]

Array = NDArray[np.float64]

#: About this many points inside, and this many along the edge. The warp bends by some 2e-5 /mm at most (reference:
#: released stress, Treuting & Read 1951), so that 10 mm between points miss an extreme by w'' s²/8 < 0.3 µm.
INSIDE, ALONG = 200, 96


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
    """

    pocket: Pocket
    points: Array
    mean: Array
    samples: Array
    left: Array

    @property
    def left_samples(self) -> Array:
        """What roughing left, for each joint sample: a plate that stands higher has less web, mm."""
        return np.asarray(self.left + (self.mean - self.samples))

    @property
    def deviation(self) -> Array:
        """Standard uncertainty of the warp at each point, mm."""
        return np.asarray(self.samples.std(axis=0))


def floor_points(pocket: Pocket, *, inside: int = INSIDE, along: int = ALONG) -> Array:
    """Points over a whole floor: an even lattice inside, and its edges with every vertex.

    Parameters
    ----------
    pocket : Pocket
    inside, along : int
        About how many points inside, and at most how many between the vertices of all edges.

    Returns
    -------
    (k, 2) ndarray, mm
    """
    import shapely

    polygon = pocket.polygon
    spacing = grid_spacing(pocket, inside)
    x0, y0, x1, y1 = polygon.bounds
    xs = np.arange(x0 + spacing / 2, x1, spacing)
    ys = np.arange(y0 + spacing / 2, y1, spacing)
    lattice = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1).reshape(-1, 2)
    kept = lattice[shapely.contains_xy(polygon, lattice[:, 0], lattice[:, 1])]
    step = max(polygon.length / along, spacing / 2)
    edge = shapely.get_coordinates(shapely.segmentize(polygon, step))
    return np.vstack([kept, edge])


def grid_spacing(pocket: Pocket, inside: int = INSIDE) -> float:
    """Spacing of an even lattice that puts about ``inside`` points on the floor, mm."""
    return float(np.sqrt(pocket.polygon.area / inside))


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
    return FloorWarp(pocket, points, mean, samples, webs.left(pocket, points[:, 0], points[:, 1]))
