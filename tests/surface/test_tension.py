"""The surface under a tension against the dense spline in tension, and when the likelihood asks for one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from scipy.special import k0

from floorfit.surface import fit_surface

Array = np.ndarray
BOX = (0.0, 0.0, 100.0, 60.0)


def dense_spline_in_tension(points: Array, values: Array, smoothing: float, tension: float, places: Array) -> Array:
    """Smoothing spline over the whole plane, with planes free.

    The Green's function of ``Δ² − Δ/L²`` is ``−L² (ln r + K₀(r/L)) / 2π`` (R. Franke, Computer Aided Geometric Design
    2, 87–95, 1985; from memory, and checked: it vanishes with r as ``r² ln r / 8π``, the thin plate's).
    """

    def kernel(apart: Array) -> Array:
        r = np.maximum(apart, 1e-9)
        return -(tension**2) * (np.log(r) + k0(r / tension)) / (2 * np.pi)

    def planes(xy: Array) -> Array:
        return np.column_stack([np.ones(len(xy)), xy])

    n, drift = len(points), planes(points)
    matrix = np.block([[kernel(cdist(points, points)) + smoothing * np.eye(n), drift], [drift.T, np.zeros((3, 3))]])
    found = np.linalg.solve(matrix, np.append(values, np.zeros(3)))
    return np.asarray(kernel(cdist(places, points)) @ found[:n] + planes(places) @ found[n:])


def readings(count: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(8)
    points = rng.uniform(BOX[:2], BOX[2:], (count, 2))
    x, y = points.T
    return points, np.sin(x / 9) + np.cos(y / 7 + x / 30) + 0.01 * x + 0.1 * rng.normal(size=count)


@pytest.mark.parametrize("tension", [5.0, 20.0])
@pytest.mark.parametrize("smoothing", [1.0, 100.0])
def test_is_the_dense_spline_in_tension(tension: float, smoothing: float) -> None:
    points, values = readings(300)
    fit = fit_surface(
        points, values, 1.0, bounds=BOX, smoothing=smoothing, tension_mm=tension, cell_mm=0.8, robust=False, samples=2
    )
    places = np.random.default_rng(9).uniform([5, 5], [95, 55], (500, 2))
    expected = dense_spline_in_tension(points, values, smoothing, tension, places)
    apart = fit.surface.at(*places.T) - expected
    # The values span 5 mm. The energy ends at a rectangle instead of going on, and the cells are not nothing.
    assert np.sqrt(np.mean(apart**2)) < 1e-3
    assert abs(apart).max() < 1e-2


def test_planes_are_free_under_a_tension() -> None:
    points, _ = readings(40)
    values = 3.0 - 0.2 * points[:, 0] + 0.05 * points[:, 1]
    fit = fit_surface(points, values, 0.01, bounds=BOX, smoothing=1e6, tension_mm=3.0, robust=False, samples=2)
    assert fit.residuals == pytest.approx(np.zeros(40), abs=1e-7)
    # A tilt costs nothing, so that the readings alone decide how sure it is: the plane of least squares.
    design = np.column_stack([np.ones(40), points])
    covariance = np.linalg.inv(design.T @ design) * 0.01**2
    corner = np.array([1.0, 100.0, 60.0])
    assert fit.posterior.std_at(100.0, 60.0) > 0.99 * np.sqrt(corner @ covariance @ corner)


def test_smooth_plates_ask_for_none_and_rough_ground_for_one() -> None:
    # A random walk is rougher than a thin-plate spline expects; a bowl is smoother.
    points, _ = readings(400)
    rng = np.random.default_rng(3)
    bowl = ((points - [50.0, 30.0]) ** 2).sum(axis=1) / 1e3 + 0.01 * rng.normal(size=400)
    apart = cdist(points, points)
    walk = np.linalg.cholesky(np.exp(-apart / 200) + 1e-9 * np.eye(400)) @ rng.normal(size=400)
    smooth, rough = (fit_surface(points, one, 0.01, bounds=BOX, samples=2) for one in (bowl, walk))
    assert smooth.tension == 0
    assert rough.tension > 0
    assert rough.smooth_length == 0
