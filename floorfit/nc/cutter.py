"""The end of a cutter as a shape: a disc with a rounded rim, or none, or nothing but rim.

A cutter of radius R and corner radius r (0: flat end, R: ball) has its tip at the middle of its end. At a distance d
from the axis its end stands ``height(d)`` above the tip: 0 up to R - r, then a quarter circle. Touching a plane whose
normal is at an angle phi to the axis, the tip stands r (1 - cos phi) + (R - r) sin phi off the plane along its normal:
the support of a torus (derivation: the ring of corner centres, a circle of radius R - r, moved by r along the normal).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array

__all__ = ["NEEDLE", "Cutter"]

#: Circles on the flat of an end, as shares of its radius, and places on each: the middle, the rim and two between, that
#: miss the top of a floor of curvature k by k R^2 / 72 (8 mm, 1 m: 0.001 mm).
_CIRCLES = ((0.0, 1), (1.0, 24), (1 / 3, 8), (2 / 3, 8))
_ANGLES = np.concatenate(
    [
        share * np.column_stack([np.cos(angle), np.sin(angle)])
        for share, count in _CIRCLES
        for angle in [np.linspace(0.0, 2 * np.pi, count, endpoint=False)]
    ]
)


@dataclass(frozen=True)
class Cutter:
    """One cutter.

    Parameters
    ----------
    radius : float, mm
        Half of its diameter; 0 where it is not known and a point stands for it.
    corner : float, mm
        Corner radius, from 0 (flat) to ``radius`` (ball).
    """

    radius: float
    corner: float = 0.0

    @property
    def flat(self) -> float:
        """Radius of the flat part of the end, mm."""
        return self.radius - self.corner

    def height(self, distance: ArrayLike) -> Array:
        """Height of the end above the tip at a distance from the axis, mm; infinite beyond the radius."""
        d = np.asarray(distance, float)
        over = np.clip(d - self.flat, 0.0, self.corner)
        rim = self.corner - np.sqrt(self.corner**2 - over**2)
        return np.asarray(np.where(d <= self.radius + 1e-9, rim, np.inf))

    def contact(self, axis: Array, slope: tuple[float, float]) -> Array:
        """Height of the tip above a plane that the end touches, along Z, mm.

        Parameters
        ----------
        axis : (n, 3) ndarray
            Unit vectors from the tip to the spindle.
        slope : (float, float)
            dZ/dX and dZ/dY of the plane.

        Returns
        -------
        (n,) ndarray, mm
        """
        up = np.array([-slope[0], -slope[1], 1.0])
        size = float(np.sqrt(up @ up))
        cosine = np.clip(axis @ up / size, -1.0, 1.0)
        sine = np.sqrt(1.0 - cosine**2)
        return np.asarray((self.corner * (1.0 - cosine) + self.flat * sine) * size)

    def places(self, axis: Array, slope: Array) -> Array:
        """Places on the end that may touch a floor which bends little under it, as seen from the tip, (n, k, 3), mm.

        On a plane of normal n that is ``r a - f u - r n``, with a the axis, f the radius of the flat and u the part of
        n square to a, of length 1: the second place. The others stand on circles about the axis up to the ring of
        corner centres, each where its own ball is lowest to the plane; where the floor bends by an angle d across the
        end, the ball's lowest place is missed by ``r d^2 / 2``.

        Parameters
        ----------
        axis : (n, 3) ndarray
            Unit vectors of the tool's axis.
        slope : (n, 2) ndarray
            dZ/dX and dZ/dY of the floor.
        """
        normal = np.column_stack([-slope, np.ones(len(slope))])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        square = normal - (axis * normal).sum(axis=1)[:, None] * axis
        # Square to the floor every direction is alike: take any one that is not along the axis.
        none = np.linalg.norm(square, axis=1) < 1e-9
        square[none] = np.cross(axis[none], [0.0, 1.0, 0.0])
        square /= np.linalg.norm(square, axis=1)[:, None]
        side = np.cross(axis, square)
        circle = _ANGLES[:, :1] * square[:, None] + _ANGLES[:, 1:] * side[:, None]
        return np.asarray(self.corner * (axis - normal)[:, None] - self.flat * circle)

    def over_slope(self, slope: tuple[float, float]) -> float:
        """As `contact`, with the axis along Z: flat |slope| + corner (sqrt(1 + slope²) - 1), mm."""
        steep = float(np.hypot(*slope))
        return self.flat * steep + self.corner * (float(np.sqrt(1.0 + steep**2)) - 1.0)


#: Stands for a cutter that nobody has stated: the tip alone.
NEEDLE = Cutter(0.0)
