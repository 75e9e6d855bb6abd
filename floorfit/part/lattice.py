"""A floor as points: the whole of it, its edge and corners, not only where readings were taken."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.part.model import Pocket

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["floor_points", "grid_spacing"]

#: About this many points inside, and this many along the edge. The warp bends by some 2e-5 /mm at most (reference:
#: released stress, Treuting & Read 1951), so that 10 mm between points miss an extreme by w'' s²/8 < 0.3 µm.
INSIDE, ALONG = 200, 96
#: Distance from the edge of a region at which both sides of it are judged, mm.
_BESIDE_MM = 1e-3


def floor_points(pocket: Pocket) -> NDArray[np.float64]:
    """Points over a whole floor: an even lattice inside, and its edges with every vertex.

    Parameters
    ----------
    pocket : Pocket

    Returns
    -------
    (k, 2) ndarray, mm
    """
    import shapely

    polygon = pocket.polygon
    spacing = grid_spacing(pocket)
    step = max(polygon.length / ALONG, spacing / 2)
    edge = shapely.get_coordinates(shapely.segmentize(polygon, step))
    return np.vstack([_lattice(polygon, spacing), edge, *_in_regions(pocket, step, spacing)])


def _lattice(shape: BaseGeometry, spacing: float) -> NDArray[np.float64]:
    """Even lattice of places inside a shape."""
    import shapely

    x0, y0, x1, y1 = shape.bounds
    lines = np.arange(x0 + spacing / 2, x1, spacing), np.arange(y0 + spacing / 2, y1, spacing)
    places = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 2)
    return places[shapely.contains_xy(shape, places[:, 0], places[:, 1])]


def _in_regions(pocket: Pocket, step: float, spacing: float) -> list[NDArray[np.float64]]:
    """Places on both sides of the edges of regions with limits of their own, and inside regions that are small."""
    import shapely

    out = []
    for region, _ in pocket.tolerances:
        shape = shapely.Polygon(region).intersection(pocket.polygon)
        for by in (-_BESIDE_MM, _BESIDE_MM):
            near = shapely.Polygon(region).buffer(by, join_style="mitre").intersection(pocket.polygon)
            out.append(shapely.get_coordinates(shapely.segmentize(near, min(step, max(shape.length / 24, 0.1)))))
        finer = min(spacing, float(np.sqrt(shape.area / 25)))
        if shape.area and finer < spacing:
            out.append(_lattice(shape, finer))
    return out


def grid_spacing(pocket: Pocket) -> float:
    """Spacing of an even lattice that puts about `INSIDE` points on the floor, mm.

    Parameters
    ----------
    pocket : Pocket
    """
    return float(np.sqrt(pocket.polygon.area / INSIDE))
