"""An error that changes slowly from reading to reading: couplant, temperature, a gauge that drifts, Z of the machine.

In the order the readings were taken it is a process with covariance ``s² e^(−k/L)`` over k readings
(G. E. Uhlenbeck, L. S. Ornstein, Phys. Rev. 36, 823, 1930), linear between knots a third of L apart. Size and length
are chosen by the same likelihood as the surface's own, or none is taken. What the surface can follow cannot be told
from it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.border import Slow

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = [
    "FEWEST", "MOST", "MOST_SHARED", "TOLD_GAIN", "TRIED", "UNSEEN_MM",
    "combined", "hats", "likeliest_slow", "likely_step", "slow_errors", "unseen_drift",
]  # fmt: skip

#: Lengths, in readings, and sizes, mm, that are tried. Shorter than the readings of a few floors it would be what the
#: webs' own forms leave out, floor by floor.
LENGTHS = (30.0, 100.0)
SIZES_MM = (0.002, 0.004, 0.008, 0.016)
#: How many errors are tried beside each other: these, and a drift.
TRIED = 1 + len(LENGTHS) * len(SIZES_MM)
#: Standard deviation of a drift from the first reading to the last, mm: a few times what gauges are let go. And of its
#: bow, a parabola, and of a cubic between them: a gauge that warms up drifts fastest at first, and dies away.
DRIFT_MM, BOW_MM = 0.05, 0.010
#: Standard deviation of a step, mm (a zero set anew, another probe, other couplant), and fewest readings on a side.
STEP_MM, BESIDE_STEP = 0.05, 8
#: Standard deviation of a drift that nobody sees: up to 0.020 mm are let go, a small one more likely than a large one,
#: so that its distribution is triangular (JCGM 100:2008, 4.3.9).
UNSEEN_MM = 0.020 / np.sqrt(6.0)
#: Readings up to which errors that they share are looked for and allowed for: beyond, each costs seconds.
MOST_SHARED = 20_000
#: Fewest and most readings for which one is looked for, and most knots.
FEWEST, MOST, MOST_KNOTS = 40, 5_000, 60
#: Twice the log likelihood that one must gain to be allowed for, and to be told. By chance one in some twenty gains the
#: first, one in a thousand the second (chi-square of one degree of freedom, halved for a variance at its bound). A
#: drift is of a size that is known beforehand, and without one it gains less than nothing.
LEAST_GAIN, LEAST_DRIFT, TOLD_GAIN = 3.0, 1.0, 9.0
#: Gain of one of middling size from which the other sizes are tried.
WORTH_A_LOOK = 0.5


def slow_errors(order: Array, dispersion: float = 1.0) -> list[Slow]:
    """Slow errors to try for readings taken in an order; none where they are too few or too many.

    Parameters
    ----------
    order : (n,) ndarray
        Time or number of each reading; equal ones count as one moment.
    dispersion : float
        φ of the fit with one. All that stands in a fit is in units of φ; how far gauges drift is known in mm, and is
        no more likely to be far because the readings scatter.
    """
    from scipy.sparse import csr_array

    moments, at = np.unique(order, return_inverse=True)
    if not FEWEST <= len(moments) <= MOST:
        return []
    share = at / (len(moments) - 1.0) - 0.5
    drift = csr_array(np.column_stack([share, 1 / 3 - 4 * share**2, share * (20 * share**2 - 3) / 2]))
    out = [Slow(drift, np.diag([DRIFT_MM**2, BOW_MM**2, BOW_MM**2]) / dispersion, DRIFT_MM, float("inf"))]
    for length in LENGTHS:
        if length > len(moments) / 2:
            continue
        count = int(min(MOST_KNOTS, np.ceil(3 * (len(moments) - 1) / length) + 1))
        knots = np.linspace(0.0, len(moments) - 1.0, count)
        shape = np.exp(-np.abs(knots[:, None] - knots) / length)
        design = hats(at.astype(float), knots)
        out += [Slow(design, size**2 / dispersion * shape, size, length) for size in SIZES_MM]
    return out


def likeliest_slow(order: Array, gained: Callable[[Slow], float], dispersion: float = 1.0) -> Slow | None:
    """The likeliest slow error, or None: where the surface without one is as likely.

    Parameters
    ----------
    order : (n,) ndarray
        Time or number of each reading.
    gained : callable
        Twice the log likelihood that the fit gains by one, at the smoothing found without.
    dispersion : float
        φ of the fit with one.
    """
    every = slow_errors(order, dispersion)
    is_first = [one.size in (SIZES_MM[1], DRIFT_MM) for one in every]
    first = [replace(one, gain=gained(one)) for one, begun in zip(every, is_first, strict=True) if begun]
    if max((one.gain for one in first), default=-np.inf) < WORTH_A_LOOK:
        return None
    rest = [replace(one, gain=gained(one)) for one, begun in zip(every, is_first, strict=True) if not begun]
    likely = max(first + rest, key=lambda one: one.gain)
    return likely if likely.gain >= (LEAST_DRIFT if np.isinf(likely.length) else LEAST_GAIN) else None


def likely_step(order: Array, left: Array, dispersion: float = 1.0) -> Slow | None:
    """The step that readings ask for most: where the means before and after differ by most standard errors.

    Parameters
    ----------
    order : (n,) ndarray
        Time or number of each reading.
    left : (n,) ndarray, mm
        What the surface leaves of each; NaN where it is set aside.
    dispersion : float
        φ of the fit with one.
    """
    from scipy.sparse import csr_array

    moments, at = np.unique(order, return_inverse=True)
    counts = np.bincount(at, np.isfinite(left), len(moments))
    sums = np.bincount(at, np.nan_to_num(left), len(moments))
    before, total = np.cumsum(counts)[:-1], counts.sum()
    after = total - before
    is_step = (before >= BESIDE_STEP) & (after >= BESIDE_STEP)
    if not is_step.any() or len(moments) > MOST:
        return None
    spread = np.abs(np.cumsum(sums)[:-1] - before * sums.sum() / total)
    errors = spread / np.sqrt(np.where(is_step, before * after, 1.0))
    first = float(moments[1 + int(np.argmax(np.where(is_step, errors, -1.0)))])
    design = csr_array(np.where(order >= first, 0.5, -0.5)[:, None])
    return Slow(design, np.array([[STEP_MM**2 / dispersion]]), STEP_MM, float("inf"), step=first)


def unseen_drift(order: Array) -> Array | None:
    """What a drift of one standard deviation that nobody sees does to each reading, mm; None where there is none.

    Parameters
    ----------
    order : (n,) ndarray
        Time or number of each reading.
    """
    first, extent = float(np.min(order)), float(np.ptp(order))
    if extent == 0.0 or len(order) > MOST_SHARED:
        return None
    return np.asarray(UNSEEN_MM * ((order - first) / extent - 0.5))


def combined(first: Slow | None, second: Slow) -> Slow:
    """Both errors side by side, independent of each other.

    Parameters
    ----------
    first : Slow or None
    second : Slow
        Its knots come last, and size, length and gain are its own.
    """
    from scipy.linalg import block_diag
    from scipy.sparse import csr_array, hstack

    if first is None:
        return second
    design = csr_array(hstack([first.design, second.design]))
    covariance = block_diag(first.covariance, second.covariance)
    return replace(second, design=design, covariance=covariance, breaks=first.breaks + second.breaks)


def hats(places: Array, knots: Array) -> csr_array:
    """Share of each knot in each place, linear between knots: (n, J), sparse.

    Parameters
    ----------
    places : (n,) ndarray
    knots : (J,) ndarray
        Evenly spaced, rising.
    """
    from scipy.sparse import csr_array

    k = np.clip(np.searchsorted(knots, places, side="right") - 1, 0, len(knots) - 2)
    share = (places - knots[k]) / (knots[k + 1] - knots[k])
    rows = np.arange(len(places))
    entries = (np.concatenate([1 - share, share]), (np.concatenate([rows, rows]), np.concatenate([k, k + 1])))
    return csr_array(entries, shape=(len(places), len(knots)))
