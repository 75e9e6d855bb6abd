"""The layers of the map: warp, uncertainty, webs and margin on one grid over the part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.part.assign import assign_floors
from floorfit.run import Result
from floorfit.web import margin

__all__ = ["Layers", "map_layers"]

Array = NDArray[np.float64]

#: Nodes of the map, about: fine enough to draw, small enough for a page.
NODES = 16_000


@dataclass(frozen=True)
class Layers:
    """Values on the grid ``x`` × ``y``; arrays (len(y), len(x)), mm, NaN outside what they describe.

    Parameters
    ----------
    x, y : ndarray, mm
        Node positions.
    warp, warp_u : ndarray
        Over the part's outline.
    pocket : ndarray of int
        Index of the floor, -1 for none.
    web_before, web_after, margin : ndarray
        Over the floors; after and margin not where the floor is held.
    """

    x: Array
    y: Array
    warp: Array
    warp_u: Array
    pocket: NDArray[np.intp]
    web_before: Array
    web_after: Array
    margin: Array


def map_layers(result: Result) -> Layers | None:
    """Evaluate the layers on a grid; None where there is no surface.

    Parameters
    ----------
    result : Result
    """
    if result.fit is None:
        return None
    x, y = _nodes(result)
    xx, yy = np.meshgrid(x, y)
    inside = _inside(result, xx, yy)
    warp = np.where(inside, result.fit.surface.on_grid(x, y).T, np.nan)
    warp_u = np.where(inside, result.fit.posterior.std_on_grid(x, y).T, np.nan)
    pocket = assign_floors(result.part, xx.ravel(), yy.ravel()).reshape(xx.shape)
    webs = [np.full(xx.shape, np.nan) for _ in range(3)]
    for index in range(len(result.part.pockets)):
        _floor_layers(result, index, pocket == index, xx, yy, webs)
    return Layers(x, y, warp, warp_u, pocket, *webs)


def _nodes(result: Result) -> tuple[Array, Array]:
    x0, y0, x1, y1 = result.part.bounds
    step = np.sqrt((x1 - x0) * (y1 - y0) / NODES)
    return np.linspace(x0, x1, max(2, round((x1 - x0) / step) + 1)), np.linspace(
        y0, y1, max(2, round((y1 - y0) / step) + 1)
    )


def _inside(result: Result, xx: Array, yy: Array) -> NDArray[np.bool_]:
    import shapely

    outline = shapely.Polygon(result.part.outline)
    return np.asarray(shapely.intersects_xy(outline, xx.ravel(), yy.ravel()).reshape(xx.shape))


def _floor_layers(
    result: Result, index: int, here: NDArray[np.bool_], xx: Array, yy: Array, layers: list[Array]
) -> None:
    pocket, decision = result.part.pockets[index], result.decisions[index]
    x, y = xx[here], yy[here]
    assert result.webs is not None
    nominal = pocket.nominal_web(x, y)
    layers[0][here] = nominal + result.webs.before(pocket, x, y)
    if decision.action == "hold":
        return
    after = result.webs.after(pocket, decision.correction.at(x, y), x, y)
    layers[1][here] = nominal + after
    layers[2][here] = margin(pocket.tolerance, after)
