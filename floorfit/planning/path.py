"""A short path through places: nearest neighbour, then 2-opt and or-opt until nothing improves.

G. A. Croes, Operations Research 6(6), 791–812, 1958 (2-opt); I. Or, thesis, Northwestern University, 1976.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows

__all__ = ["order_path", "order_there_and_back", "path_length"]

#: Longest run of places that or-opt moves.
LONGEST_RUN = 3
#: Gains below this are float dust, mm.
DUST_MM = 1e-9


def path_length(points: ArrayLike) -> float:
    """Length of the open path through points in their order, mm."""
    xy = np.asarray(points, float).reshape(-1, 2)
    return float(np.linalg.norm(np.diff(xy, axis=0), axis=1).sum())


def order_path(points: ArrayLike, *, start: ArrayLike | None = None, end: ArrayLike | None = None) -> Rows:
    """Order places for a short open path.

    Parameters
    ----------
    points : (n, 2) array_like, mm
        Places.
    start, end : (2,) array_like, mm, optional
        Where the path comes from and goes on to; not in the result.

    Returns
    -------
    (n,) ndarray of int
        The same answer for the same input.
    """
    xy = np.asarray(points, float).reshape(-1, 2)
    ends = [np.asarray(p, float).reshape(1, 2) for p in (start, end) if p is not None]
    if len(xy) < 2:
        return np.arange(len(xy))
    all_points = np.vstack([*ends, xy])
    gaps = np.linalg.norm(all_points[:, None] - all_points[None, :], axis=-1)
    first, last = (0 if start is not None else -1), (len(ends) - 1 if end is not None else -1)
    path = _nearest(gaps, xy, first, last, len(ends))
    is_better = True
    while is_better:
        path, turned = _two_opt(path, gaps, first >= 0, last >= 0)
        path, moved = _or_opt(path, gaps, first >= 0, last >= 0)
        is_better = turned or moved
    return np.asarray([k - len(ends) for k in path if k >= len(ends)], np.intp)


def _nearest(gaps: Array, xy: Array, first: int, last: int, ends: int) -> list[int]:
    """Go to the nearest place not yet seen; from the lowest left place where there is no start."""
    left = set(range(ends, len(gaps)))
    path = [first if first >= 0 else ends + int(np.lexsort((xy[:, 1], xy.sum(axis=1)))[0])]
    left.discard(path[0])
    while left:
        path.append(min(left, key=lambda k: (gaps[path[-1], k], k)))
        left.discard(path[-1])
    return [*path, last] if last >= 0 else path


def _two_opt(path: list[int], gaps: Array, is_first_fixed: bool, is_last_fixed: bool) -> tuple[list[int], bool]:
    """Turn stretches of the path round while that shortens it."""
    p, n = np.array(path), len(path)
    is_better = False
    for i in range(1 if is_first_fixed else 0, n - 1):
        j = np.arange(i + 1, n - 1 if is_last_fixed else n)
        if len(j) == 0:
            continue
        before = gaps[p[i - 1], p[i]] if i > 0 else 0.0
        opened = gaps[p[i - 1], p[j]] if i > 0 else np.zeros(len(j))
        nxt = np.minimum(j + 1, n - 1)
        closing = np.where(j + 1 < n, gaps[p[i], p[nxt]] - gaps[p[j], p[nxt]], 0.0)
        change = opened + closing - before
        k = int(np.argmin(change))
        if change[k] < -DUST_MM:
            p[i : j[k] + 1] = p[i : j[k] + 1][::-1].copy()
            is_better = True
    return p.tolist(), is_better


def _or_opt(path: list[int], gaps: Array, is_first_fixed: bool, is_last_fixed: bool) -> tuple[list[int], bool]:
    """Move runs of up to `LONGEST_RUN` places elsewhere while that shortens the path."""
    is_better = False
    for size in range(1, LONGEST_RUN + 1):
        i = 1 if is_first_fixed else 0
        while i + size <= len(path) - (1 if is_last_fixed else 0):
            moved = _move(path, i, size, gaps, is_first_fixed, is_last_fixed)
            is_better |= moved is not None
            path = moved or path
            i += 1
    return path, is_better


def _move(
    path: list[int], i: int, size: int, gaps: Array, is_first_fixed: bool, is_last_fixed: bool
) -> list[int] | None:
    """Return the path with the run at ``i`` moved to its best place, or None where it is best as it is."""
    run, rest = path[i : i + size], np.array(path[:i] + path[i + size :])
    if len(rest) == 0:
        return None
    before = _step(gaps, path, i - 1, i) + _step(gaps, path, i + size - 1, i + size)
    healed = gaps[path[i - 1], path[i + size]] if i > 0 and i + size < len(path) else 0.0
    slots = np.arange(1 if is_first_fixed else 0, len(rest) + (0 if is_last_fixed else 1))
    a, b = np.maximum(slots - 1, 0), np.minimum(slots, len(rest) - 1)
    into = np.where(slots > 0, gaps[rest[a], run[0]], 0.0) + np.where(slots < len(rest), gaps[run[-1], rest[b]], 0.0)
    into -= np.where((slots > 0) & (slots < len(rest)), gaps[rest[a], rest[b]], 0.0)
    k = int(np.argmin(into))
    if into[k] - (before - healed) >= -DUST_MM:
        return None
    slot = int(slots[k])
    return [*rest[:slot].tolist(), *run, *rest[slot:].tolist()]


def _step(gaps: Array, path: list[int], a: int, b: int) -> float:
    return float(gaps[path[a], path[b]]) if a >= 0 and b < len(path) else 0.0


def order_there_and_back(points: ArrayLike, groups: ArrayLike) -> Rows:
    """Order places on a short path over their groups and back the same way, half of each group's either way.

    What drifts evenly from the first place to the last adds the same to the mean of each group, and shows in the
    difference between its halves: it cannot be taken for a tilt of the plate.

    Parameters
    ----------
    points : (n, 2) array_like, mm
        Places.
    groups : (n,) array_like of int
        Group of each, for example its pocket.

    Returns
    -------
    (n,) ndarray of int
        The places of one group and way stand together; of an odd number one more stands on the way there, or on the
        way back in every other group.
    """
    xy, names = np.asarray(points, float).reshape(-1, 2), np.asarray(groups)
    members = [np.flatnonzero(names == kind) for kind in np.unique(names)]
    middles = np.array([xy[rows].mean(axis=0) for rows in members]).reshape(-1, 2)
    tour = order_path(middles)
    there, back = [], []
    for position, k in enumerate(tour):
        rows = members[k][order_path(xy[members[k]])]
        there.append(rows[position % 2 :: 2])
        back.append(rows[1 - position % 2 :: 2])
    return _joined(xy, [rows for rows in (*there, *back[::-1]) if len(rows)])


def _joined(xy: Array, runs: list[Rows]) -> Rows:
    """Runs one after the other, each ordered between the last place before it and the middle of the one after."""
    out: list[int] = []
    for position, rows in enumerate(runs):
        end = xy[runs[position + 1]].mean(axis=0) if position + 1 < len(runs) else None
        here = order_path(xy[rows], start=xy[out[-1]] if out else None, end=end)
        out.extend(rows[here].tolist())
    return np.asarray(out, np.intp)
