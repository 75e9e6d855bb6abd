"""Readings in groups: a mean structure, a random effect for each group, and the readings' own noise.

``e_i = X_i β + s_k(i) + ε_i`` with ``s_k ~ N(0, τ²)`` and ``ε_i ~ N(0, φ u_i²)``. τ is found by restricted maximum
likelihood (Patterson & Thompson, Biometrika 58, 545, 1971), β by generalised least squares. V is block diagonal, and
each block is inverted by the Sherman–Morrison formula, so that the cost is linear in the readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["Grouped", "dispersion_of", "fit_grouped", "group_means"]


@dataclass(frozen=True)
class Grouped:
    """A fit of the model above.

    Parameters
    ----------
    beta : (p,) ndarray
        Coefficients of the mean structure.
    covariance : (p, p) ndarray
        Of ``beta``.
    between : float
        τ.
    effects, effects_u : (groups,) ndarray
        Best linear predictions of the groups' own effects, and their standard uncertainty at known β.
    dof : int
        Degrees of freedom for Student's t: groups less p, or readings less p where τ is found to be 0; at least 1.
    """

    beta: Array
    covariance: Array
    between: float
    effects: Array
    effects_u: Array
    dof: int


def group_means(values: Array, group: Rows, u: Array) -> tuple[Array, Array]:
    """Weighted mean of each group and its standard uncertainty.

    Parameters
    ----------
    values : (n,) ndarray, mm
    group : (n,) ndarray of int
        From 0, without a gap.
    u : (n,) ndarray, mm
        Standard uncertainties.
    """
    weights = 1 / u**2
    total = np.bincount(group, weights)
    return np.bincount(group, weights * values) / total, 1 / np.sqrt(total)


def dispersion_of(values: Array, group: Rows, u: Array) -> float:
    """φ: variance of the readings about their groups' means over what was stated; never below 1.

    Parameters
    ----------
    values : (n,) ndarray, mm
    group : (n,) ndarray of int
        From 0, without a gap.
    u : (n,) ndarray, mm
        Standard uncertainties as stated.
    """
    mean, _ = group_means(values, group, u)
    freedom = len(values) - len(mean)
    return max(1.0, float((1 / u**2 * (values - mean[group]) ** 2).sum()) / freedom) if freedom else 1.0


def fit_grouped(design: Array, values: Array, group: Rows, u: Array) -> Grouped:
    """Fit mean structure and random effects.

    Parameters
    ----------
    design : (n, p) ndarray
        Mean structure; full rank.
    values : (n,) ndarray
    group : (n,) ndarray of int
        Group of each reading, 0 to groups − 1, every group with at least one.
    u : (n,) ndarray
        Standard uncertainty of each reading, dispersion included.
    """
    weights = 1 / u**2
    sums = _Sums(
        xx=design.T @ (design * weights[:, None]),
        xy=design.T @ (weights * values),
        yy=float(weights @ values**2),
        design=np.stack([np.bincount(group, weights * column) for column in design.T], axis=1),
        values=np.asarray(np.bincount(group, weights * values), float),
        weight=np.asarray(np.bincount(group, weights), float),
    )
    between = _best_between(sums)
    _, beta, normal = sums.at(between)
    residual = sums.values - sums.design @ beta
    shrink = between**2 / (1 + sums.weight * between**2)
    return Grouped(
        beta=beta,
        covariance=np.asarray(np.linalg.inv(normal), float),
        between=between,
        effects=shrink * residual,
        effects_u=np.sqrt(shrink),
        dof=max(1, (len(sums.weight) if between > 0 else len(values)) - design.shape[1]),
    )


@dataclass(frozen=True)
class _Sums:
    """What the readings add up to: totals, and a row for each group."""

    xx: Array
    xy: Array
    yy: float
    design: Array
    values: Array
    weight: Array

    def at(self, between: float) -> tuple[float, Array, Array]:
        """Twice the negative restricted log likelihood (up to a constant), β and its precision at τ."""
        gain = between**2 / (1 + self.weight * between**2)
        normal = self.xx - self.design.T @ (self.design * gain[:, None])
        right = self.xy - self.design.T @ (gain * self.values)
        beta = np.linalg.solve(normal, right)
        square = self.yy - float(gain @ self.values**2) - float(right @ beta)
        logs = float(np.log1p(self.weight * between**2).sum()) + float(np.linalg.slogdet(normal)[1])
        return logs + square, np.asarray(beta, float), normal


def _best_between(sums: _Sums) -> float:
    from scipy.optimize import minimize_scalar

    if len(sums.weight) <= sums.design.shape[1]:
        return 0.0
    unit = float(1 / np.sqrt(np.median(sums.weight)))
    scores = [(sums.at(unit * factor)[0], factor) for factor in (0.0, *np.geomspace(0.03, 300.0, 25))]
    best = min(scores)[1]
    if best == 0.0:
        return 0.0
    middle = float(np.log(best))
    found = minimize_scalar(
        lambda log: sums.at(unit * float(np.exp(log)))[0], bounds=(middle - 0.5, middle + 0.5), method="bounded"
    )
    return unit * float(np.exp(found.x))
