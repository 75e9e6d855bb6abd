"""Floors that lost so many of their readings to the fit that what is left does not speak for them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags

__all__ = ["lost_floors"]

#: A floor that lost this share of its readings is held where fewer than these are left: of three, the two that are left
#: may be the bad ones; eight of twelve bear each other out.
LARGEST_SHARE, ENOUGH = 1 / 3, 5
#: Two readings agree where they differ by less than this times the standard deviation of their difference.
AGREE = 3.0


def lost_floors(floor: NDArray[np.int64], points: Array, is_bad: Flags, residual: Array, u: Array) -> dict[int, str]:
    """Floors to hold for what the fit set aside on them, with words for each.

    Parameters
    ----------
    floor : (n,) ndarray of int
        Of each reading that the fit looked at.
    points : (n, 2) ndarray, mm
        Their places.
    is_bad : (n,) ndarray of bool
        Whether it set the reading aside.
    residual : (n,) ndarray, mm
        Value less the fit without that reading.
    u : (n,) ndarray, mm
        Standard uncertainty of each.

    Returns
    -------
    dict of int to str

    Notes
    -----
    Bad readings are bad each in its own way; two neighbours that were set aside to the same side by the same amount
    show something that is there, and that the surface does not follow.
    """
    out = {}
    for k in np.unique(floor[is_bad]).tolist():
        rows = np.flatnonzero((floor == k) & is_bad)
        good = np.flatnonzero((floor == k) & ~is_bad)
        total = len(rows) + len(good)
        if len(rows) >= LARGEST_SHARE * total and len(good) < ENOUGH:
            out[k] = f"{len(rows)} of {total} readings of this floor were set aside; take three more, spread over it"
        elif _agree(points[rows], points[good], residual[rows], u[rows]):
            out[k] = (
                f"{len(rows)} of {total} readings of this floor were set aside, and two of them agree with each other: "
                "take two more readings there"
            )
    return out


def _agree(points: Array, good: Array, residual: Array, u: Array) -> bool:
    """Whether two say the same that are nearer to each other than either is to a good reading."""
    apart, from_good = (np.linalg.norm(points[:, None] - others, axis=2) for others in (points, good))
    from_good = from_good.min(axis=1, initial=np.inf)
    is_alike = np.abs(residual[:, None] - residual) <= AGREE * np.hypot(u[:, None], u)
    is_alike &= residual[:, None] * residual > 0
    is_alike &= apart < np.minimum(from_good[:, None], from_good)
    return bool(np.triu(is_alike, 1).any())
