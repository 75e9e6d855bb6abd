"""The end of a cutter as a shape: a disc with a rounded rim, or none, or nothing but rim.

A cutter of radius R and corner radius r (0: flat end, R: ball) has its tip at the middle of its end. At a distance d
from the axis its end stands ``height(d)`` above the tip: 0 up to R - r, then a quarter circle. Touching a plane whose
normal is at an angle phi to the axis, the tip stands r (1 - cos phi) + (R - r) sin phi off the plane along its normal:
the support of a torus (derivation: the ring of corner centres, a circle of radius R - r, moved by r along the normal).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["NEEDLE", "Cutter"]


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

    def height(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Height of the end above the tip at a distance from the axis, mm; infinite beyond the radius."""
        d = np.asarray(distance, float)
        over = np.clip(d - self.flat, 0.0, self.corner)
        rim = self.corner - np.sqrt(self.corner**2 - over**2)
        return np.asarray(np.where(d <= self.radius + 1e-9, rim, np.inf))

    def contact(self, axis: NDArray[np.float64], slope: tuple[float, float]) -> NDArray[np.float64]:
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

    def ring(self, axis: NDArray[np.float64], slope: tuple[float, float]) -> NDArray[np.float64]:
        """Places on the end of a leaning cutter that may touch a plane, as seen from the tip, (n, k, 3), mm.

        The first is the one that does: ``r a - f u - r n`` with f the radius of the flat, n the normal of the plane and
        u the part of n square to the axis a, of length 1. The others stand round the ring of corner centres, with the
        tip itself.

        Parameters
        ----------
        axis : (n, 3) ndarray
            Unit vectors of the tool's axis.
        slope : (float, float)
            dZ/dX and dZ/dY of the plane.
        """
        normal = np.array([-slope[0], -slope[1], 1.0]) / np.sqrt(1.0 + slope[0] ** 2 + slope[1] ** 2)
        square = normal - (axis @ normal)[:, None] * axis
        square /= np.maximum(np.linalg.norm(square, axis=1), 1e-12)[:, None]
        side = np.cross(axis, square)
        angle = np.radians([0, 15, -15, 40, -40, 80, -80, 130, -130, 180])
        circle = np.cos(angle)[:, None] * square[:, None] + np.sin(angle)[:, None] * side[:, None]
        round_end = self.corner * (axis - normal)[:, None]
        return np.asarray(np.concatenate([round_end - self.flat * circle, round_end], axis=1))

    def over_slope(self, slope: tuple[float, float]) -> float:
        """As `contact`, with the axis along Z: flat |slope| + corner (sqrt(1 + slope²) - 1), mm."""
        steep = float(np.hypot(*slope))
        return self.flat * steep + self.corner * (float(np.sqrt(1.0 + steep**2)) - 1.0)


#: Stands for a cutter that nobody has stated: the tip alone.
NEEDLE = Cutter(0.0)
