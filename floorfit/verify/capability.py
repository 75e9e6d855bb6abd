"""Capability of finished webs with its confidence limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from floorfit.part.model import Tolerance

__all__ = ["Capability", "capability"]

#: Two-sided 95 % point of the normal distribution.
K95 = 1.959964
#: Share of the values below which their deviation is rounding: they are all alike.
ROUNDING = 1e-12


@dataclass(frozen=True)
class Capability:
    """Cp and Cpk of n values.

    Parameters
    ----------
    count : int
        Values.
    mean, sd : float
        Of them; the deviation with n − 1.
    cp, cpk : float
        NaN where the tolerance lacks the limits that they need, or under two values.
    cp_limits, cpk_limits : (float, float)
        95 % limits.
    """

    count: int
    mean: float
    sd: float
    cp: float
    cpk: float
    cp_limits: tuple[float, float]
    cpk_limits: tuple[float, float]


def capability(values: ArrayLike, tolerance: Tolerance) -> Capability:
    """Capability indices of values against limits.

    Parameters
    ----------
    values : (n,) array_like, mm
        Deviations from nominal, one for each part.
    tolerance : Tolerance

    Notes
    -----
    ``Cp = (U − L)/6s``, ``Cpk = min((U − x̄)/3s, (x̄ − L)/3s)`` (ISO 22514-2:2017, normal values). Limits of Cp from
    chi-squared with n − 1 degrees of freedom; of Cpk after A. F. Bissell, Appl. Statist. 39, 331, 1990:
    ``Cpk (1 ± z √(1/(9 n Cpk²) + 1/(2(n − 1))))``. Both take the values for independent and normal.

    Examples
    --------
    >>> from floorfit.part import Tolerance
    >>> round(capability([-0.02, 0.0, 0.02], Tolerance(-0.1, 0.1)).cp, 3)
    1.667
    """
    x = np.asarray(values, float)
    nan = float("nan")
    count = len(x)
    mean = float(x.mean()) if count else nan
    sd = float(x.std(ddof=1)) if count > 1 else nan
    if count < 2 or sd <= ROUNDING * float(np.abs(x).max()):
        return Capability(count, mean, sd, nan, nan, (nan, nan), (nan, nan))
    lower, upper = tolerance.limits
    indices = tolerance.width / (6 * sd), min(upper - mean, mean - lower) / (3 * sd)
    cp, cpk = (one if np.isfinite(one) else nan for one in indices)
    return Capability(count, mean, sd, cp, cpk, cp_limits(cp, count), cpk_limits(cpk, count))


def cp_limits(cp: float, count: int) -> tuple[float, float]:
    """95 % limits of Cp: ``Cp √(χ²/ν)``.

    Parameters
    ----------
    cp : float
    count : int
        Parts that it comes from.
    """
    from scipy.special import chdtri

    freedom = count - 1
    low, high = (float(np.sqrt(chdtri(freedom, tail) / freedom)) for tail in (0.975, 0.025))
    return (cp * low, cp * high)


def cpk_limits(cpk: float, count: int) -> tuple[float, float]:
    """95 % limits of Cpk after Bissell; written so that Cpk = 0 has them too.

    Parameters
    ----------
    cpk : float
    count : int
        Parts that it comes from.
    """
    reach = K95 * float(np.sqrt(1 / (9 * count) + cpk**2 / (2 * (count - 1))))
    return (cpk - reach, cpk + reach)
