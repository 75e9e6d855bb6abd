"""What each reading says of the fit made without it, from the fit with all: exact, no second fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.covariance import Covariance
from floorfit.surface.grid import Band
from floorfit.surface.local_shapes import LocalShapes
from floorfit.surface.reml import Solution
from floorfit.surface.spline import Surface

__all__ = ["LooResiduals", "leave_one_out"]


@dataclass(frozen=True)
class LooResiduals:
    """Leave-one-out residuals of a weighted fit.

    Parameters
    ----------
    residual : (n,) ndarray, mm
        Value minus the fit made without that reading, ``e / (1 − h)``.
    deviation : (n,) ndarray, mm
        Its standard deviation if the reading is good and the noise is as stated (φ = 1), what a shape's form leaves out
        in it.
    leverage : (n,) ndarray
        h, 0 to 1; 0 for a reading of weight zero.
    """

    residual: Array
    deviation: Array
    leverage: Array


def leave_one_out(
    solution: Solution,
    inverse: Band,
    shapes: LocalShapes | None,
    points: Array,
    values: Array,
    u: Array,
    weights: Array,
    missed: Array | float = 0.0,
) -> LooResiduals:
    """Leave-one-out residuals from the fit with all readings and the exact posterior variances.

    Parameters
    ----------
    solution : Solution
    inverse : Band
        Of its factor: covariances of neighbouring coefficients at φ = 1.
    shapes : LocalShapes or None
        What was fitted beside the spline.
    points : (n, 2) ndarray, mm
    values, u, weights : (n,) ndarray
        Values without their plane, standard uncertainties, robust weights.
    missed : (n,) ndarray, mm², optional
        Variance of what the forms of the shapes leave out.
    """
    variance, slow = _of_readings(solution, inverse, shapes, points)
    leverage = np.clip(weights * variance / u**2, 0.0, 1.0 - 1e-9)
    fitted = slow + Surface(solution.equations.grid, solution.coefficients, shapes, solution.amounts).at(*points.T)
    residual = (values - fitted) / (1 - leverage)
    deviation = np.sqrt(u**2 + variance / (1 - leverage) + missed)
    return LooResiduals(residual, deviation, leverage)


def _of_readings(
    solution: Solution, inverse: Band, shapes: LocalShapes | None, points: Array
) -> tuple[Array, Array | float]:
    """Variance at φ = 1 of what the fit makes of each reading, and its slow error."""
    from scipy.sparse import csr_array, hstack

    grid, border = solution.equations.grid, solution.border
    gain = np.empty((0, 0)) if border is None else border.gain
    slow = None if border is None else border.columns.slow
    if border is None or shapes is None or (slow is None and len(points) > grid.unknowns):
        return Covariance.of(grid, inverse, border, shapes, gain).at(points), 0.0
    knots = csr_array((len(points), 0)) if slow is None else slow.errors
    reached = border.reached.reshape(len(gain), -1)
    seen = hstack([shapes.design(points), knots]).toarray() - grid.matrix(points) @ reached.T
    own = np.asarray(((seen @ gain) * seen).sum(axis=1))
    return grid.quadratic_at(inverse, points) + own, np.asarray(knots @ border.slow_error)
