"""First weights, which bad readings cannot bend: each reading against a plane through its neighbours."""

from __future__ import annotations

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.nearest import nearest_of
from floorfit.units import MAD_TO_SD

__all__ = ["first_weights", "is_worst_nearby", "neighbours"]

#: Neighbours of a reading.
NEIGHBOURS = 10


def neighbours(points: Array) -> Rows:
    """Rows of the `NEIGHBOURS` nearest readings of each, (n, k)."""
    return nearest_of(points, min(NEIGHBOURS + 1, len(points)))(points)[1][:, 1:]


def is_worst_nearby(scaled: Array, near: Rows) -> Flags:
    """Is this residual at least half of the largest among the neighbours? A bad reading bends its good neighbours.

    Parameters
    ----------
    scaled : (n,) ndarray
        Residuals over their standard deviations.
    near : (n, k) ndarray of int
        Rows of the neighbours of each.
    """
    size = np.abs(scaled)
    return np.asarray(size >= 0.5 * size[near].max(axis=1, initial=0.0))


def first_weights(points: Array, values: Array, u: Array, near: Rows) -> Array:
    """First weights, 0 or 1: each reading against the plane of least absolute deviations of its neighbours.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    values, u : (n,) ndarray, mm
        Warp and its standard uncertainty.
    near : (n, k) ndarray of int
        From `neighbours`.
    """
    if near.shape[1] < 5:
        return np.ones(len(values))
    distance = values - _local_planes(points, values, near)
    typical = MAD_TO_SD * float(np.median(np.abs(distance)))
    return np.where(np.abs(distance) <= 4 * np.maximum(typical, u), 1.0, 0.0)


def _local_planes(points: Array, values: Array, near: Rows) -> Array:
    """Height at each reading of the plane through its neighbours; least absolute deviations by reweighting."""
    offset = points[near] - points[:, None, :]
    reach = np.sqrt((offset**2).sum(axis=2)).max(axis=1) + 1e-9
    design = np.concatenate([np.ones((*near.shape, 1)), offset / reach[:, None, None]], axis=2)
    heights = values[near]
    weights = np.ones(near.shape)
    ridge = 1e-6 * np.eye(3)
    for _ in range(12):
        normal = np.einsum("nki,nk,nkj->nij", design, weights, design)
        normal += ridge * np.trace(normal, axis1=1, axis2=2)[:, None, None]
        right = np.einsum("nki,nk,nk->ni", design, weights, heights)
        plane = np.linalg.solve(normal, right[..., None])[..., 0]
        miss = np.abs(heights - np.einsum("nki,ni->nk", design, plane))
        weights = 1 / np.maximum(miss, 1e-4)
    return np.asarray(plane[:, 0])
