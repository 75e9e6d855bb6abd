"""Shapes of a whole plate that are likely before any reading, beside the smoothing spline and on the same grid.

With B the splines and M the modes as splines, w = B (c + M a), a ~ N(0, s² I): the prior covariance of the
coefficients is that of the smoothing spline and s² M Mᵀ. That only loosens the normal equations along a few directions
(`Factor.loosened`), so that all that follows (dishes, leave-one-out residuals, samples) sees one spline.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.axis import Axis
from floorfit.surface.grid import Grid
from floorfit.surface.spline import greville

__all__ = ["Modes"]


@dataclass(frozen=True, eq=False)
class Modes:
    """Modes on a rectangular lattice, each as high as one standard deviation for s = 1.

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
        Nodes, increasing, at least four each way.
    values : (n, k, l) ndarray
        At the nodes.
    placed : (Grid, (n, nl, ns) ndarray) or None
        The modes on a grid, where that was asked for before.
    """

    x: Array
    y: Array
    values: Array
    placed: tuple[Grid, Array] | None = None

    def placed_on(self, grid: Grid) -> Modes:
        """Return the same modes, known on a grid that many fits will share."""
        return replace(self, placed=(grid, self.on(grid)))

    def on(self, grid: Grid) -> Array:
        """Coefficients (n, nl, ns) of the modes as splines on a grid; beyond the lattice they go straight on."""
        if self.placed is not None and self.placed[0] is grid:
            return self.placed[1]
        first, second = (self.y, self.x) if grid.swapped else (self.x, self.y)
        many = self.values.transpose(0, 2, 1) if grid.swapped else self.values
        return np.asarray(_onto(grid.along, first) @ many @ _onto(grid.across, second).T)


def _onto(axis: Axis, nodes: Array) -> Array:
    """Matrix from values at nodes to coefficients of the spline through the Greville places, (size, nodes)."""
    from scipy.interpolate import make_interp_spline

    places = greville(axis.knots)
    near = np.clip(places, nodes[0], nodes[-1])
    spline = make_interp_spline(nodes, np.eye(len(nodes)), k=3)
    values = spline(near) + (places - near)[:, None] * spline(near, nu=1)
    return np.asarray(np.linalg.solve(axis.matrix(places), values))
