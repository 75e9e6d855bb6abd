"""Errors that readings share: estimated beside a smoother, against dense algebra and on seeded readings."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.readings.systematic import Cause, Sharers, find_systematic

SIDE, NOISE = 9, 0.010


def _bending() -> tuple[np.ndarray, np.ndarray]:
    """Places on a lattice and a dense smoother: quadratic polynomials kept, all else shrunk to 0."""
    x, y = np.meshgrid(np.linspace(-1, 1, SIDE), np.linspace(-1, 1, SIDE))
    x, y = x.ravel(), y.ravel()
    terms = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    return x, terms @ np.linalg.pinv(terms)


def _data(values: np.ndarray, hat: np.ndarray) -> Sharers:
    residual = values - hat @ values
    weight = np.full(len(values), 1 / NOISE**2)
    square = float(weight @ (residual * values))
    return Sharers(np.arange(len(values)), weight, residual, square, lambda v: hat @ v)


def _pocket(x: np.ndarray) -> np.ndarray:
    return (np.arange(len(x)) // SIDE == 4).astype(float) * (x > 0.2)


def test_estimate_is_that_of_one_regression_with_the_cause_as_a_column():
    """With a polynomial in place of the spline, joint estimation is ordinary least squares (numpy.linalg.lstsq)."""
    x, hat = _bending()
    rng = np.random.default_rng(1)
    values = 0.3 * x * x + 0.05 * _pocket(x) + rng.normal(0, NOISE, len(x))
    (found,) = find_systematic(_data(values, hat), [Cause("pocket", "P1", _pocket(x))])
    y = np.meshgrid(np.linspace(-1, 1, SIDE), np.linspace(-1, 1, SIDE))[1].ravel()
    design = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y, _pocket(x)])
    expected = np.linalg.lstsq(design, values, rcond=None)[0][-1]
    spread = NOISE * np.sqrt(np.linalg.inv(design.T @ design)[-1, -1])
    assert found.effect == pytest.approx(expected, rel=1e-9)
    assert found.u >= spread * (1 - 1e-9)  # φ is never below 1


def test_false_alarms_are_rarer_than_stated():
    """300 draws without any error at a chance of 1 %: 3 expected, more than 9 once in a thousand (Poisson)."""
    x, hat = _bending()
    rng = np.random.default_rng(2)
    columns = [Cause("pocket", "P1", _pocket(x))]
    alarms = sum(bool(find_systematic(_data(rng.normal(0, NOISE, len(x)), hat), columns)) for _ in range(300))
    assert alarms <= 9


def test_what_the_surface_can_follow_is_left_to_it():
    x, hat = _bending()
    values = 0.5 * x + np.random.default_rng(3).normal(0, NOISE, len(x))
    assert find_systematic(_data(values, hat), [Cause("drift", "order", x)]) == ()


def test_two_causes_are_told_apart():
    x, hat = _bending()
    path = np.sin(7 * np.arange(len(x)))
    values = 0.05 * _pocket(x) + 0.04 * path + np.random.default_rng(4).normal(0, NOISE, len(x))
    columns = [Cause("pocket", "P1", _pocket(x)), Cause("drift", "order", path)]
    found = {one.kind: one for one in find_systematic(_data(values, hat), columns)}
    assert found["pocket"].effect == pytest.approx(0.05, abs=4 * found["pocket"].u)
    assert found["drift"].effect == pytest.approx(0.04, abs=4 * found["drift"].u)


def test_small_ones_are_not_reported():
    x, hat = _bending()
    values = 0.05 * _pocket(x)
    assert find_systematic(_data(values, hat), [Cause("pocket", "P1", _pocket(x))], 0.06) == ()


def test_a_fit_that_allows_for_a_cause_hides_neither_its_size_nor_its_uncertainty():
    """With N(0, s²) of the cause in the smoother 1/cᵀPc is s² more, and β the same (Woodbury's identity)."""
    x, hat = _bending()
    path, s = np.sin(7 * np.arange(len(x))), 0.05
    values = 0.3 * x * x + 0.12 * path + np.random.default_rng(5).normal(0, NOISE, len(x))
    left = np.eye(len(x)) - hat
    gain = left @ path / (NOISE**2 / s**2 + path @ left @ path)
    follows = hat + np.outer(path, gain) - np.outer(hat @ path, gain)
    (plain,) = find_systematic(_data(values, hat), [Cause("drift", "order", path)])
    (found,) = find_systematic(_data(values, follows), [Cause("drift", "order", path, allowed=s**2)])
    assert (found.effect, found.u) == pytest.approx((plain.effect, plain.u), rel=1e-6)
