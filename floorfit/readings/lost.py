"""Floors that lost so many of their readings to the fit that what is left does not speak for them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["lost_floors"]

Array = NDArray[np.float64]

#: A floor that lost this share of its readings is held: of three, the two that are left may be the bad ones.
LARGEST_SHARE = 1 / 3
#: Two readings agree where they differ by less than this times the standard deviation of their difference.
AGREE = 3.0


def lost_floors(floor: NDArray[np.int64], is_bad: NDArray[np.bool_], residual: Array, u: Array) -> dict[int, str]:
    """Floors to hold for what the fit set aside on them, with words for each.

    Parameters
    ----------
    floor : (n,) ndarray of int
        Of each reading that the fit looked at.
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
    Bad readings are bad each in its own way; two that were set aside to the same side by the same amount show
    something that is there, and that the surface does not follow.
    """
    out = {}
    for k in np.unique(floor[is_bad]).tolist():
        rows = np.flatnonzero((floor == k) & is_bad)
        total = int((floor == k).sum())
        if len(rows) >= LARGEST_SHARE * total:
            out[k] = f"{len(rows)} of {total} readings of this floor were set aside; take three more, spread over it"
        elif _agree(residual[rows], u[rows]):
            out[k] = (
                f"{len(rows)} of {total} readings of this floor were set aside, and two of them agree with each other: "
                "take two more readings there"
            )
    return out


def _agree(residual: Array, u: Array) -> bool:
    order = np.argsort(residual)
    r, s = residual[order], u[order]
    near = np.diff(r) <= AGREE * np.hypot(s[1:], s[:-1])
    return bool((near & (r[1:] * r[:-1] > 0)).any())
