"""Did the plate move since the first readings? A smooth field told apart from a bias that all pockets share.

A tool of the wrong length makes every web thicker by the same amount. A plate that moved makes them differ smoothly
over the plan: tilt, bow and twist. Pockets also differ each for itself; the random effect of `mixed` allows for that.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.verify.mixed import Grouped, dispersion_of, fit_grouped
from floorfit.verify.proved import Movement

__all__ = ["LIMIT_MM", "find_movement"]

#: Size beyond which the answer is "measure again", mm: half of a web tolerance of ± 0.1 mm (our choice, no source).
LIMIT_MM = 0.05
#: Chance of a false alarm.
ALPHA = 0.01
#: Fewest pockets for a tilt, and for bow and twist as well: two and two more than the coefficients.
FOR_TILT, FOR_BOW = 5, 8


def find_movement(
    points: Array, values: Array, group: Rows, u: Array, limit_mm: float = LIMIT_MM
) -> tuple[Movement, Grouped | None, Array]:
    """Look for a smooth field beyond a common bias.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    values : (n,) ndarray, mm
        Measured less predicted.
    group : (n,) ndarray of int
        Pocket of each, 0 to groups − 1 without gaps.
    u : (n,) ndarray, mm
        Standard uncertainties as stated.
    limit_mm : float, mm

    Returns
    -------
    Movement
    Grouped or None
        The fit with the field where it is significant: its first coefficient is the mean over the pockets.
    (n,) ndarray, mm
        The field at the readings where it is significant, else 0.

    Notes
    -----
    The field is a plane from five pockets, with the second-order terms from eight. All its coefficients together are
    tested by Wald's F with the degrees of freedom of the fit. With a dozen pockets it raises two false alarms in a
    hundred where one is meant (measured); a false one is of the size of the pockets' scatter, far below the limit.
    """
    groups = int(group.max()) + 1 if len(group) else 0
    terms = 5 if groups >= FOR_BOW else 2 if groups >= FOR_TILT else 0
    design = _design(points, group, terms) if terms else np.empty((0, 0))
    if not terms or np.linalg.matrix_rank(design, tol=1e-6 * len(points)) < design.shape[1]:
        return Movement.unknown(limit_mm), None, np.zeros(len(values))
    fit = fit_grouped(design, values, group, u * np.sqrt(dispersion_of(values, group, u)))
    chance = _p_value(fit)
    field = design[:, 1:] @ fit.beta[1:]
    worst = int(np.argmax(np.abs(field)))
    size = float(abs(field[worst]))
    row = design[worst, 1:]
    size_u = float(np.sqrt(row @ fit.covariance[1:, 1:] @ row))
    place = (float(points[worst, 0]), float(points[worst, 1]))
    state = _state(chance < ALPHA, size > limit_mm)
    movement = Movement(state, size, size_u, place, chance, limit_mm)
    return (movement, fit, field) if chance < ALPHA else (movement, None, np.zeros(len(values)))


def _state(is_seen: bool, is_large: bool) -> Literal["none", "small", "measure-again", "unclear"]:
    if is_seen:
        return "measure-again" if is_large else "small"
    return "unclear" if is_large else "none"


def _design(points: Array, group: Rows, terms: int) -> Array:
    """1, then x, y, x², xy, y² in units of the read area, each less its mean over the pockets."""
    low, high = points.min(axis=0), points.max(axis=0)
    x, y = ((points - (low + high) / 2) / np.maximum((high - low) / 2, 1e-9)).T
    columns = np.column_stack([x, y, x * x, x * y, y * y][:terms])
    counts = np.bincount(group)
    means = np.array([np.bincount(group, column) / counts for column in columns.T])
    return np.column_stack([np.ones(len(x)), columns - means.mean(axis=1)])


def _p_value(fit: Grouped) -> float:
    from scipy.special import fdtrc

    beta, covariance = fit.beta[1:], fit.covariance[1:, 1:]
    wald = float(beta @ np.linalg.solve(covariance, beta)) / len(beta)
    return float(fdtrc(len(beta), fit.dof, wald))
