"""Single values over time: control charts (individuals and moving range, ISO 7870-2:2013), a trend, and capability."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Flags
from floorfit.part.model import Tolerance
from floorfit.verify.bias import K95, student_factor

__all__ = [
    "D2",
    "D4",
    "Capability",
    "Chart",
    "Trend",
    "capability",
    "control_chart",
    "cp_limits",
    "cpk_limits",
    "trend",
]

#: Mean of the range of two normal values in standard deviations, 2/√π = 1.128 (ISO 7870-2, table of factors, n = 2).
D2 = 1.128
#: Upper limit of the moving range over its mean, 1 + 3 d3/d2 = 3.267 (the same table).
D4 = 3.267
#: Share of the values below which their deviation is rounding: they are all alike.
ROUNDING = 1e-12


@dataclass(frozen=True)
class Chart:
    """An individuals and moving range chart; values that are not known are left out before.

    Parameters
    ----------
    values : (n,) ndarray
        In order of time.
    mean, lower, upper : float
        Centre line and limits ``mean ± 3 MR/d2``; NaN under two values.
    ranges : (n,) ndarray
        ``|x_i − x_(i−1)|``; NaN for the first.
    mean_range, range_upper : float
        Centre line and upper limit ``D4 MR`` of the ranges; the lower limit is 0.
    signals, range_signals : (n,) ndarray of bool
        Outside the limits.
    """

    values: Array
    mean: float
    lower: float
    upper: float
    ranges: Array
    mean_range: float
    range_upper: float
    signals: Flags
    range_signals: Flags


@dataclass(frozen=True)
class Trend:
    """A straight line through values in order.

    Parameters
    ----------
    slope : float
        Per step.
    u : float
        Standard uncertainty of it; NaN under three values.
    factor : float
        Student's t for 95 %.
    """

    slope: float
    u: float
    factor: float

    @property
    def limits(self) -> tuple[float, float]:
        """95 % limits of the slope."""
        return (self.slope - self.factor * self.u, self.slope + self.factor * self.u)

    @property
    def is_seen(self) -> bool:
        """Whether the limits leave out zero."""
        return bool(abs(self.slope) > self.factor * self.u)


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


def control_chart(values: ArrayLike) -> Chart:
    """Limits of an individuals and moving range chart.

    Parameters
    ----------
    values : (n,) array_like
        In order of time, finite.

    Notes
    -----
    Limits whose moving range is zero flag every value that differs; rounding of 1e-12 is let pass.
    """
    x = np.asarray(values, float)
    ranges = np.abs(np.diff(x, prepend=np.nan))
    mean = float(x.mean()) if len(x) else float("nan")
    mean_range = float(ranges[1:].mean()) if len(x) > 1 else float("nan")
    reach = 3 * mean_range / D2
    slack = 1e-12 * max(1.0, abs(mean))
    return Chart(
        x, mean, mean - reach, mean + reach, ranges, mean_range, D4 * mean_range,
        np.abs(x - mean) > reach + slack, ranges > D4 * mean_range + slack,
    )  # fmt: skip


def trend(values: ArrayLike) -> Trend:
    """Least squares line of values against their order, with Student's limits of its slope.

    Parameters
    ----------
    values : (n,) array_like
        In order of time; NaN keeps its step and is left out.
    """
    x = np.asarray(values, float)
    known = np.flatnonzero(np.isfinite(x))
    if len(known) < 3:
        nan = float("nan")
        return Trend(nan, nan, nan)
    when = known - known.mean()
    spread = float(when @ when)
    off = x[known] - x[known].mean()
    off[np.abs(off) <= 1e-12 * np.abs(x[known]).max()] = 0.0  # rounding of the mean is no drift
    slope = float(when @ off) / spread
    left = off - slope * when
    freedom = len(known) - 2
    return Trend(slope, float(np.sqrt(left @ left / freedom / spread)), student_factor(freedom))


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
