"""Where a probe can stand on a floor, and where a floor's offset is decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from floorfit.arrays import Array
from floorfit.part.model import Pocket

__all__ = ["FloorPlaces", "floor_places"]

#: Directions in which a floor is farthest from its middle: its corners, where a smooth warp has its extremes.
ACROSS = np.array([[1.0, 1.0], [1.0, -1.0]]) / np.sqrt(2.0)
#: Directions whose extremes of the reachable region are always candidates.
DIRECTIONS = np.vstack([ACROSS, [[1.0, 0.0], [0.0, 1.0]]])
#: Vertices of the floor that tie for an extreme to this share of its size share one: their middle.
TIE_SHARE = 1e-3


@dataclass(frozen=True)
class FloorPlaces:
    """Candidates for readings on one floor, and the places that its offset hangs on.

    Parameters
    ----------
    candidates : (m, 2) ndarray, mm
        Where the probe can stand; none where the floor is too narrow.
    pairs : (2, 2, 2) ndarray, mm
        Opposite ends of the floor in the two directions of `ACROSS`: an offset is a mid-range, so that it is half
        the sum of the warp at one such pair wherever the warp is smooth.
    middle : (2,) ndarray, mm
        Place farthest from the walls, where a dished web stands out most; what an island covers counts.
    """

    candidates: Array
    pairs: Array
    middle: Array


def floor_places(pocket: Pocket, clearance_mm: float, wanted: int) -> FloorPlaces:
    """Find candidates and deciding places of a floor.

    Parameters
    ----------
    pocket : Pocket
        The floor.
    clearance_mm : float, mm
        Distance that the probe's middle keeps from walls and islands.
    wanted : int
        About how many candidates.

    Returns
    -------
    FloorPlaces
    """
    floor = _cut_floor(pocket)
    # Arcs are chords: a ten-thousandth more keeps the chords as far from the walls as the arcs.
    inside = floor.buffer(-clearance_mm * 1.0001, quad_segs=64)
    middle = _middle(pocket)
    return FloorPlaces(_candidates(inside, middle, wanted), _pairs(floor), middle)


def _middle(pocket: Pocket) -> Array:
    """Middle of the largest circle within the floor's outline."""
    import shapely

    circle = shapely.maximum_inscribed_circle(shapely.Polygon(pocket.boundary))
    return np.asarray(shapely.get_coordinates(circle)[0])


def _cut_floor(pocket: Pocket) -> Any:
    """The floor as the cutter leaves it: corners rounded."""
    radius = pocket.corner_radius
    if radius <= 0:
        return pocket.polygon
    rounded = pocket.polygon.buffer(-radius).buffer(radius).intersection(pocket.polygon)
    return pocket.polygon if rounded.is_empty else rounded


def _candidates(inside: Any, middle: Array, wanted: int) -> Array:
    """The web's middle or what is nearest to it, a grid over the reachable region, and points along its edge."""
    import shapely

    if inside.is_empty or inside.area <= 0:
        return np.zeros((0, 2))
    step = float(np.sqrt(inside.area / max(wanted, 4) * 1.4))
    grid = _grid(inside, step)
    rings = shapely.get_rings(shapely.get_parts(inside))
    edge = np.concatenate([_along(ring, step) for ring in rings])
    corners = np.concatenate([_sharp(ring) for ring in rings])
    nearest = shapely.get_coordinates(shapely.shortest_line(inside, shapely.Point(middle)))[:1]
    return _spaced(np.concatenate([nearest, corners, edge, grid]), 0.35 * step)


def _grid(inside: Any, step: float) -> Array:
    import shapely

    x0, y0, x1, y1 = inside.bounds
    nx, ny = max(1, round((x1 - x0) / step)), max(1, round((y1 - y0) / step))
    x, y = (x0 + (np.arange(nx) + 0.5) * (x1 - x0) / nx), (y0 + (np.arange(ny) + 0.5) * (y1 - y0) / ny)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return np.asarray(points[shapely.contains_xy(inside, points[:, 0], points[:, 1])])


def _along(ring: Any, step: float) -> Array:
    import shapely

    count = max(4, int(np.ceil(ring.length / step)))
    return shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) / count, normalized=True))


def _sharp(ring: Any) -> Array:
    """Extremes of a ring in `DIRECTIONS` and their opposites: its corners, round or sharp."""
    vertices = np.asarray(ring.coords)[:-1]
    reach = vertices @ np.vstack([DIRECTIONS, -DIRECTIONS]).T
    return np.asarray(vertices[np.unique(reach.argmax(axis=0))])


def _spaced(points: Array, least: float) -> Array:
    """Keep points, first come first kept, that lie at least this far apart."""
    kept: list[Array] = []
    for point in points:
        if not kept or float(np.min(np.sum((np.array(kept) - point) ** 2, axis=1))) >= least**2:
            kept.append(point)
    return np.array(kept)


def _pairs(floor: Any) -> Array:
    shell = max(floor.geoms, key=lambda part: part.area) if hasattr(floor, "geoms") else floor
    vertices = np.asarray(shell.exterior.coords)[:-1]
    return np.array([[_extreme(vertices, d), _extreme(vertices, -d)] for d in ACROSS])


def _extreme(vertices: Array, direction: Array) -> Array:
    """Farthest vertex in a direction; the middle of those that tie."""
    reach = vertices @ direction
    ties = reach >= reach.max() - TIE_SHARE * np.ptp(vertices, axis=0).max()
    return np.asarray((vertices[ties].min(axis=0) + vertices[ties].max(axis=0)) / 2)
