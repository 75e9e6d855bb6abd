"""The nearest of some places, and places that lie together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["nearest_of", "pairs_within", "squares"]

#: Distances to all of so many places cost less than scipy's search trees take to be imported (400 M instructions).
FEW = 1_500


def nearest_of(places: Array, count: int) -> Callable[[Array], tuple[Array, Rows]]:
    """Return what finds the nearest of some places to each of some points, nearest first.

    Parameters
    ----------
    places : (n, 2) ndarray, mm
    count : int
        At most n.

    Returns
    -------
    callable
        Takes points (m, 2), mm; returns distances, mm, and rows of the places, both (m, count). Time grows with
        log n for each point; up to 1,500 places with n, without a tree.
    """
    if len(places) <= FEW:
        return lambda points: _among_few(places, points, count)
    from scipy.spatial import cKDTree

    tree: Any = cKDTree(places)
    return lambda points: tree.query(points, k=np.arange(1, count + 1))


def _among_few(places: Array, points: Array, count: int) -> tuple[Array, Rows]:
    distances, rows = np.empty((len(points), count)), np.empty((len(points), count), np.intp)
    for start in range(0, len(points), FEW):
        part = slice(start, start + FEW)
        every = _distances(points[part], places)
        near = np.argpartition(every, count - 1, axis=1)[:, :count]
        order = np.argsort(np.take_along_axis(every, near, axis=1), axis=1, kind="stable")
        rows[part] = np.take_along_axis(near, order, axis=1)
        distances[part] = np.take_along_axis(every, rows[part], axis=1)
    return distances, rows


def pairs_within(points: Array, distance: float) -> Rows:
    """Return the pairs of points that lie no farther apart than a distance.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
    distance : float, mm

    Returns
    -------
    (k, 2) ndarray of int
        Rows of the points, each pair once.
    """
    if len(points) <= FEW:
        return np.argwhere(np.triu(_distances(points, points) <= distance, 1))
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(points).query_pairs(distance, output_type="ndarray"), np.intp)


def squares(points: Array, side: float) -> tuple[Rows, Rows]:
    """First row in each square that holds any, and each row's square among those.

    Parameters
    ----------
    points : (n, 2) ndarray, mm
        One at least.
    side : float, mm
        Of a square.
    """
    cell = np.floor((points - points.min(axis=0)) / side).astype(np.int64)
    key = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return np.asarray(first, np.intp), np.asarray(inverse, np.intp).reshape(-1)


def _distances(a: Array, b: Array) -> Array:
    square = np.subtract.outer(a[:, 0], b[:, 0]) ** 2
    square += np.subtract.outer(a[:, 1], b[:, 1]) ** 2
    return np.asarray(np.sqrt(square, out=square))
