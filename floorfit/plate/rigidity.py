"""How stiff a pocketed part is, element by element of a regular mesh: webs as plates, ribs smeared.

Each place is a web, as thick as roughing leaves it, or metal up to the part's thickness. Along a strip the softest
places give most (compliances add), strips side by side share the bending (rigidities add); so an element is stiff
along a rib and soft across it, and a coarse mesh sees the ribs as the grillage of M. T. Huber (1914) does. A rib bends
with its web about their common axis. It is thin, and twists easily: its twisting rigidity is that of a narrow bar,
G H b³/3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.part.model import Part

__all__ = ["NU", "Rigidity", "part_rigidity"]

#: Poisson's ratio of aluminium plate, as usually printed (from memory); steel's 0.3 makes no difference here.
NU = 0.33
#: Places that the plan is looked at, at most, and their distance where that is enough, mm: ribs are 2 to 10 mm thick
#: (common practice, no source).
MOST_PLACES, STEP_MM = 2_000_000, 1.5


@dataclass(frozen=True)
class Rigidity:
    """Bending rigidities over E of each element, mm³: M_x = d11 κ_x + d12 κ_y, M_xy = 2 d66 κ_xy.

    Parameters
    ----------
    d11, d22, d12, d66 : (k, l) ndarray, mm³
        k elements along X and l along Y.
    """

    d11: Array
    d22: Array
    d12: Array
    d66: Array


def part_rigidity(part: Part, shape: tuple[int, int], thickness_mm: float) -> Rigidity:
    """Rigidity of a part as roughing leaves it.

    Parameters
    ----------
    part : Part
    shape : (k, l)
        Elements along X and Y over the part's rectangle.
    thickness_mm : float, mm
        Height of the metal between the pockets.
    """
    web, x, y = _raster(part, shape)
    is_rib = web == 0.0
    height, ribs = np.where(is_rib, thickness_mm, web), _blocks(is_rib.astype(float), shape)
    plate = np.where(is_rib, 0.0, height**3 / (12 * (1 - NU**2)))
    floors = float(web[~is_rib].mean()) if not is_rib.all() else thickness_mm
    soft, shares = _blocks(plate, shape), (ribs.min(axis=1).mean(), ribs.min(axis=3).mean())
    one, two = (soft + ribs * _rib(float(share), thickness_mm, floors) for share in shares)
    return Rigidity(
        (1 / (1 / one).mean(axis=1)).mean(axis=2),
        (1 / (1 / two).mean(axis=3)).mean(axis=1),
        NU * soft.mean(axis=(1, 3)),
        _blocks(_twist(is_rib, height, x, y), shape).mean(axis=(1, 3)),
    )


def _rib(share: float, height: float, web: float) -> float:
    """Rigidity of a rib's own width over E: of rib and web about their common axis, less the web's.

    Parallel axes: ribs cover ``share`` of the width, from the web up; the web covers the whole of it.
    """
    if share == 0.0 or web >= height:
        return height**3 / 12
    over, middle = share * (height - web), (height + web) / 2
    axis = (over * middle + web**2 / 2) / (over + web)
    second = over * ((height - web) ** 2 / 12 + (middle - axis) ** 2) + web**3 / 12 + web * (web / 2 - axis) ** 2
    return (second - (1 - share) * web**3 / 12) / share


def _blocks(values: Array, shape: tuple[int, int]) -> Array:
    """Values (k a, l b) as (k, a, l, b)."""
    k, m = shape
    return values.reshape(k, values.shape[0] // k, m, values.shape[1] // m)


def _twist(is_rib: Flags, height: Array, x: Array, y: Array) -> Array:
    """Twisting rigidity over E: of webs as plates, of ribs with ``G H d²``, d the distance to the next wall.

    Its mean over a strip of width b is the narrow bar's G H b²/12; thick pieces twist as a plate.
    """
    from scipy.ndimage import distance_transform_edt

    steps = (x[1] - x[0], y[1] - y[0])
    inside = np.pad(is_rib, 1)
    away = distance_transform_edt(inside, sampling=steps)[1:-1, 1:-1] - min(steps) / 2
    square = away**2 + min(steps) ** 2 / 12  # the mean of d² over a step
    shear = 1 / (2 * (1 + NU))
    plate = shear * height**3 / 12
    return np.where(is_rib, np.minimum(shear * height * square, plate), plate)


def _raster(part: Part, shape: tuple[int, int]) -> tuple[Array, Array, Array]:
    """Web as roughing leaves it at the middles of a raster, 0 on metal that was left standing."""
    from shapely import contains_xy

    x0, y0, x1, y1 = part.bounds
    step = max(STEP_MM, np.sqrt((x1 - x0) * (y1 - y0) / MOST_PLACES))
    counts = [n * max(2, round((b - a) / n / step)) for n, (a, b) in zip(shape, ((x0, x1), (y0, y1)), strict=True)]
    x, y = ((np.arange(n) + 0.5) / n * (b - a) + a for n, (a, b) in zip(counts, ((x0, x1), (y0, y1)), strict=True))
    web = np.zeros((len(x), len(y)))
    for pocket in part.pockets:
        a, b, c, d = pocket.polygon.bounds
        i, j = slice(*np.searchsorted(x, (a, c))), slice(*np.searchsorted(y, (b, d)))
        px, py = np.meshgrid(x[i], y[j], indexing="ij")
        inside = contains_xy(pocket.polygon, px, py)
        web[i, j][inside] = (pocket.nominal_web(px, py) + pocket.finish_stock)[inside]
    return web, x, y
