"""Local dishing of thin webs that readings do not resolve.

A web may stand a few micrometres in or out between its ribs: released stress is not even over a pocket. Seven readings
of 0.010 mm see that only in part, and the surface, which knows no ribs, smooths over it. Each floor is therefore given
a dish of its own, of unknown sign, with the shape of a clamped plate: nothing at the wall, level there and in the
middle. Its size, one for the part, comes from the readings' residuals.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from floorfit.part.model import Part, Pocket

__all__ = ["LEAST_DISH_MM", "dish_shape", "estimate_dish"]

Array = NDArray[np.float64]

#: Standard deviation of the dish in the middle of a web that is taken where the residuals show none, mm. (The scatter
#: of seven readings of 0.010 mm hides 0.003 mm; common practice, no source.)
LEAST_DISH_MM = 0.003
#: Largest that the residuals may make it, mm.
MOST_DISH_MM = 0.030


def dish_shape(pocket: Pocket, points: Array) -> Array:
    """Shape of the dish, 0 at the wall and 1 where the floor is widest.

    Parameters
    ----------
    pocket : Pocket
    points : (k, 2) ndarray, mm
        On the floor.

    Returns
    -------
    (k,) ndarray
        ``d² (3 − 2d)`` of the distance d to the wall over the floor's inscribed radius: zero slope at both ends, as a
        clamped plate has.
    """
    import shapely

    walls = pocket.polygon.boundary
    radius = shapely.maximum_inscribed_circle(pocket.polygon).length
    distance = shapely.distance(shapely.points(points), walls)
    share = np.clip(distance / max(radius, 1e-9), 0.0, 1.0)
    return np.asarray(share**2 * (3 - 2 * share))


def estimate_dish(part: Part, floor: Sequence[int], points: Array, residuals: Array, u: Array) -> float:
    """Standard deviation of the dish over the floors of a part, mm.

    Each floor's amplitude by least squares of its residuals on the shape; the mean square of the amplitudes beyond
    what the readings' own scatter makes of them (method of moments).

    Parameters
    ----------
    part : Part
    floor : (n,) sequence of int
        Floor of each reading that was used.
    points : (n, 2) ndarray, mm
    residuals, u : (n,) ndarray, mm
        Reading minus fitted warp, and its standard uncertainty with the fit's inflation.

    Returns
    -------
    float
        Between `LEAST_DISH_MM` and `MOST_DISH_MM`.
    """
    index = np.asarray(floor)
    excess, weight = 0.0, 0.0
    for k in np.unique(index):
        rows = index == k
        shape = dish_shape(part.pockets[int(k)], points[rows])
        information = float(np.sum((shape / u[rows]) ** 2))
        if rows.sum() < 3 or information <= 0:
            continue
        amplitude = float(np.sum(shape * residuals[rows] / u[rows] ** 2)) / information
        excess += (min(amplitude**2, 9 / information + MOST_DISH_MM**2) - 1 / information) * information**2
        weight += information**2
    variance = excess / weight if weight > 0 else 0.0
    return float(np.sqrt(np.clip(variance, LEAST_DISH_MM**2, MOST_DISH_MM**2)))
