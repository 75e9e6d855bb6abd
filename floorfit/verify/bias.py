"""The bias that finished webs share, and how far the pockets differ from it."""

from __future__ import annotations

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.units import MAD_TO_SD
from floorfit.verify.mixed import Grouped, dispersion_of, fit_grouped, group_means
from floorfit.verify.proved import Bias

__all__ = ["K95", "common_bias", "no_bias", "pockets_apart", "student_factor"]

#: A pocket is apart when its mean lies this many robust deviations from the others' median. Of good Gaussian pockets
#: one in 16,000 does (normal distribution).
APART = 4.0
#: Least deviation that is taken for the pockets' scatter there, mm: tool wear and push-off differ by this much from
#: pocket to pocket without anything being wrong (common practice, no source).
LEAST_SCATTER_MM = 0.010
#: Two-sided 95 % point of the normal distribution.
K95 = 1.959964


def student_factor(dof: float) -> float:
    """Two-sided 95 % point of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(max(dof, 1.0), 0.975))


def pockets_apart(means: Array, means_u: Array) -> Flags:
    """Flag the pockets that were cut unlike all the others; none under five pockets.

    Parameters
    ----------
    means, means_u : (k,) ndarray, mm
        Mean of measured less predicted of each pocket, and its standard uncertainty.
    """
    if len(means) < 5:
        return np.zeros(len(means), bool)
    distance = np.abs(means - np.median(means))
    scatter = max(MAD_TO_SD * float(np.median(distance)), LEAST_SCATTER_MM)
    return np.asarray(distance > APART * np.hypot(scatter, means_u))


def common_bias(values: Array, group: Rows, u: Array, fit: Grouped | None = None, shared_u: float = 0.0) -> Bias:
    """Estimate the common bias and the spread.

    Parameters
    ----------
    values : (n,) ndarray, mm
        Measured less predicted, and less a smooth field where there is one.
    group : (n,) ndarray of int
        Pocket of each, 0 to groups − 1 without gaps.
    u : (n,) ndarray, mm
        Standard uncertainty of each reading as stated.
    fit : Grouped, optional
        A fit whose first coefficient is the common bias; that of a constant alone when left out.
    shared_u : float, mm
        Standard uncertainty that all predictions share.

    Notes
    -----
    With one pocket the spread between pockets cannot be seen, and the uncertainty is that of this pocket only. Degrees
    of freedom count pockets, also where their spread is found to be 0: a few pockets often say so by chance.
    """
    inflated = u * np.sqrt(dispersion_of(values, group, u))
    found = fit or fit_grouped(np.ones((len(values), 1)), values, group, inflated)
    means, means_u = group_means(values, group, inflated)
    groups, spare = len(means), len(values) - len(means)
    within = float(np.sqrt(((values - means[group]) ** 2).sum() / spare)) if spare else float("nan")
    return Bias(
        value=float(found.beta[0]),
        u=float(np.hypot(np.sqrt(found.covariance[0, 0]), shared_u)),
        factor=student_factor(min(found.dof, groups - len(found.beta))),
        between=found.between,
        between_limits=_between_limits(means, means_u),
        within=within,
        pockets=groups,
        readings=len(values),
    )


def no_bias() -> Bias:
    """The answer where nothing could be compared."""
    nan = float("nan")
    return Bias(nan, nan, nan, nan, (nan, nan), nan, 0, 0)


def _between_limits(means: Array, means_u: Array) -> tuple[float, float]:
    """95 % limits of the deviation between pockets: chi-squared limits of the means' variance less the readings' part.

    The subtraction after Williams (Biometrika 49, 278, 1962); it covers at least as often as stated for equal groups.
    """
    from scipy.special import chdtri

    freedom = len(means) - 1
    if freedom < 1:
        return (0.0, float("inf"))
    square = float(np.var(means, ddof=1)) * freedom
    noise = float(np.mean(means_u**2))
    ends = [square / float(chdtri(freedom, tail)) - noise for tail in (0.025, 0.975)]
    return (float(np.sqrt(max(ends[0], 0.0))), float(np.sqrt(max(ends[1], 0.0))))
