"""The one law of the web: what it would be uncorrected, what the cut leaves, and how much metal there is.

Everything is a deviation of the web from its local nominal, along Z, mm. With warp w, offset dz, common bias b of
finished webs, and what roughing left less the nominal web, L:

    aimed at    v = w − b                 the warp that an offset must answer
    before      min(−v, L)                finished at the nominal floor Z
    after       min(dz − v, L)            finished with the offset: a cutter adds no metal
    depth       L − (dz − v)              metal that the pass takes; below zero it takes none

Table, map, page, mesh, record, `verify` and the budget all take their webs from here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.part.model import LocalLimits, Pocket, Tolerance
from floorfit.surface.spline import Surface

__all__ = ["Webs", "depth_of_cut", "left_after", "margin"]


@dataclass(frozen=True)
class Webs:
    """What a plate's webs hang on.

    Parameters
    ----------
    warp : Surface
        Warp w, mm.
    available : Surface or None
        Web left by roughing less nominal web and finish stock, mm, where the Z of roughed floors was measured: a
        floor that moved with the plate after roughing has all its stock still. None where the floor lies as
        programmed, and has lost the warp.
    bias : float, mm
        Common bias of finished webs, positive where they came out thicker than predicted.
    is_left_known : bool
        False for a record that does not say what roughing left: then nothing limits the web.
    """

    warp: Surface
    available: Surface | None = None
    bias: float = 0.0
    is_left_known: bool = True

    def aimed(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Warp less bias at plan positions, mm: what an offset must answer.

        Parameters
        ----------
        x, y : (n,) array_like, mm
        """
        return self.warp.at(x, y) - self.bias

    def aimed_on_grid(self, xs: ArrayLike, ys: ArrayLike) -> Array:
        """Return the same on the rectangle xs × ys, mm, shape (len(xs), len(ys)).

        Parameters
        ----------
        xs, ys : (k,), (l,) array_like, mm
        """
        return self.warp.on_grid(xs, ys) - self.bias

    def left(self, pocket: Pocket, x: ArrayLike, y: ArrayLike) -> Array:
        """Web left by roughing less the local nominal web, mm: no cut can leave more.

        Parameters
        ----------
        pocket : Pocket
        x, y : (n,) array_like, mm
            Places on its floor.
        """
        return np.asarray(pocket.finish_stock + self.left_over(x, y))

    def left_over(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Web left by roughing less nominal web and finish stock at plan positions (n,), mm; infinite if not known.

        Parameters
        ----------
        x, y : (n,) array_like, mm
        """
        if not self.is_left_known:
            return np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), np.inf)
        return -self.warp.at(x, y) if self.available is None else self.available.at(x, y)

    def after(self, pocket: Pocket, offset: ArrayLike, x: ArrayLike, y: ArrayLike) -> Array:
        """Deviation of the web with an offset, mm.

        Parameters
        ----------
        pocket : Pocket
        offset : array_like, mm
            dz at the positions.
        x, y : array_like, mm
            Positions on that floor, broadcast together.

        Returns
        -------
        ndarray, mm
        """
        return left_after(offset, self.aimed(x, y), self.left(pocket, x, y))


def left_after(offset: ArrayLike, aimed: ArrayLike, left: ArrayLike) -> Array:
    """Deviation of the web that a cut leaves, mm; arrays are broadcast together.

    Parameters
    ----------
    offset : array_like, mm
        dz.
    aimed : array_like, mm
        Warp less bias: the best estimate, or joint samples of it.
    left : array_like, mm
        What roughing left less the nominal web.

    Examples
    --------
    A floor raised by 0.30 where the plate stands 0.10 high, with metal for 0.15 only: the cutter adds none.

    >>> float(left_after(0.30, 0.10, 0.15))
    0.15
    """
    return np.asarray(np.minimum(np.subtract(offset, aimed), left))


def depth_of_cut(offset: ArrayLike, aimed: ArrayLike, left: ArrayLike) -> Array:
    """Metal that the finishing pass takes, mm; below zero where roughing already went deeper (see `left_after`).

    Parameters
    ----------
    offset, aimed, left : (n,) array_like, mm
        Offset, warp less bias, and web that roughing left less the nominal web.

    Examples
    --------
    >>> round(float(depth_of_cut(0.08, 0.08, 0.42)), 3)
    0.42
    """
    return np.asarray(np.subtract(left, np.subtract(offset, aimed)))


def margin(tolerance: Tolerance | LocalLimits, deviation: ArrayLike) -> Array:
    """Distance of the web to its nearer limit, mm; negative outside, infinite where the drawing sets no limit.

    Parameters
    ----------
    tolerance : Tolerance or LocalLimits
        One pair of limits, or one for each place along the last axis of ``deviation``.
    deviation : array_like, mm
        Of the web from its local nominal.

    Examples
    --------
    >>> from floorfit.part import Tolerance
    >>> [round(float(one), 3) for one in margin(Tolerance(-0.1, 0.1), [0.0, 0.07, -0.12])]
    [0.1, 0.03, -0.02]
    """
    values, (lower, upper) = np.asarray(deviation, float), tolerance.limits
    return np.asarray(np.minimum(values - lower, upper - values))
