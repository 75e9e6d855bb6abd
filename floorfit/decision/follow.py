"""Offsets point by point on a grid, fine enough for bilinear interpolation."""

from __future__ import annotations

import numpy as np

from floorfit.decision.decision import FollowGrid
from floorfit.part.model import Pocket
from floorfit.web import Webs

__all__ = ["follow_grid"]

#: Largest error of bilinear interpolation between nodes, mm (contract: 2 µm).
BILINEAR_MM = 0.002
#: Nodes along a side, at most.
MOST_NODES = 400


def follow_grid(pocket: Pocket, webs: Webs, height: float) -> FollowGrid:
    """Offset ``height + w(x, y)`` over a floor's bounding box.

    The error of bilinear interpolation is at most ``(hx² |w_xx| + hy² |w_yy|) / 8``; it is checked at the middles of
    cells, where it is greatest for a surface of even curvature, and the grid is halved until it holds.

    Parameters
    ----------
    pocket : Pocket
    webs : Webs
    height : float, mm
        Constant over the surface.
    """
    x0, y0, x1, y1 = pocket.polygon.bounds
    count = 9
    while True:
        xs, ys = np.linspace(x0, x1, count), np.linspace(y0, y1, count)
        grid = FollowGrid(xs, ys, height + webs.aimed_on_grid(xs, ys))
        mx, my = (xs[:-1] + xs[1:]) / 2, (ys[:-1] + ys[1:]) / 2
        miss = np.abs(grid.at(mx[:, None], my[None, :]) - height - webs.aimed_on_grid(mx, my)).max()
        if miss <= BILINEAR_MM / 2 or count > MOST_NODES:
            return grid
        count = 2 * count - 1
