"""What is given to a fit: checked, its rectangle, and the plane that is taken out of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.errors import NumericalError

__all__ = ["Box", "check_places", "checked", "enclosing", "flattened", "heights", "plane_of"]

#: The part's rectangle: x_min, y_min, x_max, y_max, mm.
Box = tuple[float, float, float, float]


def check_places(points: Array) -> None:
    """Refuse places that do not span a plane.

    Parameters
    ----------
    points : (n, 2) ndarray, mm

    Raises
    ------
    NumericalError
        If fewer than three differ, or all lie in one line.
    """
    distinct = len(np.unique(points, axis=0)) if len(points) < 1_000 else 3
    if distinct < 3:
        raise NumericalError(
            f"{distinct} different places of readings: three that are not in one line are the least for a plane. "
            "Take more readings, spread over the part."
        )
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if spread[1] <= 1e-3 * max(spread[0], 1e-30) or spread[0] == 0:
        raise NumericalError(
            "all readings lie in one line or in one place: they say nothing of the plate beside it. "
            "Take readings off that line."
        )


def checked(points: ArrayLike, values: ArrayLike, u: ArrayLike) -> tuple[Array, Array, Array]:
    """As arrays, or a `ValueError` for shapes that differ and numbers that are not finite.

    Parameters
    ----------
    points : (n, 2) array_like, mm
    values : (n,) array_like, mm
    u : float or (n,) array_like, mm

    Raises
    ------
    ValueError
        If shapes differ, a number is not finite, or an uncertainty is not above zero.
    """
    xy = np.asarray(points, float)
    w = np.asarray(values, float)
    sigma = np.broadcast_to(np.asarray(u, float), w.shape)
    if xy.ndim != 2 or xy.shape != (len(w), 2) or w.ndim != 1:
        raise ValueError(f"points {xy.shape} and values {w.shape} do not match: (n, 2) and (n,) are needed.")
    if not (np.isfinite(xy).all() and np.isfinite(w).all() and np.isfinite(sigma).all() and (sigma > 0).all()):
        raise ValueError("points, values and u must be finite, and u above zero.")
    return xy, w, sigma


def enclosing(bounds: Box, xy: Array) -> Box:
    """Rectangle that holds the part and every place.

    Parameters
    ----------
    bounds : (x_min, y_min, x_max, y_max), mm
        The part's.
    xy : (n, 2) ndarray, mm
    """
    x0, y0 = np.minimum(bounds[:2], xy.min(axis=0)).tolist()
    x1, y1 = np.maximum(bounds[2:], xy.max(axis=0)).tolist()
    return x0, y0, x1, y1


def plane_of(xy: Array, w: Array, u: Array) -> Array:
    """Plane of weighted least squares: intercept at the origin, slopes; taken out to keep digits.

    Parameters
    ----------
    xy : (n, 2) ndarray, mm
    w, u : (n,) ndarray, mm
        Values and their standard uncertainties.
    """
    centre = xy.mean(axis=0)
    design = np.column_stack([np.ones(len(w)), xy - centre]) / u[:, None]
    found = np.linalg.lstsq(design, w / u, rcond=None)[0]
    return np.array([found[0] - found[1:] @ centre, found[1], found[2]])


def heights(plane: Array, xy: Array) -> Array:
    """Of a plane at places (n, 2), mm.

    Parameters
    ----------
    plane : (3,) ndarray
        Intercept at the origin, mm, and slopes.
    xy : (n, 2) ndarray, mm
    """
    return np.asarray(plane[0] + xy @ plane[1:])


def flattened(xy: Array, w: Array, u: Array) -> Array:
    """Values less their own plane, mm: arguments of `plane_of`."""
    return w - heights(plane_of(xy, w, u), xy)
