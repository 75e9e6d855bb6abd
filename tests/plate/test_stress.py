"""Random loads have the spectrum stated, and clamps balance."""

from __future__ import annotations

import numpy as np
from even_plate import even
from sklearn.gaussian_process.kernels import Matern

from floorfit.plate.bending import PlateMesh
from floorfit.plate.stress import StressLengths, clamped, random_fields, stressed

MESH = PlateMesh((0.0, 0.0, 600.0, 300.0), even(5.0, (12, 6)))


def test_fields_have_unit_variance_and_the_lengths_stated() -> None:
    x, y = MESH.middles
    fields = random_fields(x, y, StressLengths(200.0, 80.0), 4000, np.random.default_rng(1))
    covariance = np.einsum("n,nij->ij", fields[:, 4, 2], fields) / len(fields)
    # Matérn 3/2 along each side (Rasmussen & Williams 2006, equation 4.17), by scikit-learn.
    one, two = (Matern(length, nu=1.5)(places[:, None]) for length, places in ((200.0, x), (80.0, y)))
    expected = np.outer(one[4], two[2])
    # Standard error of a covariance from 4000 draws: at most √2/√4000 = 0.022.
    assert np.abs(covariance - expected).max() < 4 * 0.022


def test_loads_of_a_free_plate_balance() -> None:
    # Virtual work on rigid motions is nothing: forces add up to zero, and so do their moments (statics).
    rng = np.random.default_rng(2)
    k, m = np.meshgrid(np.arange(15.0), np.arange(9.0), indexing="ij")  # linear functions by M. J. Marsden's identity
    for load in (clamped(MESH, 5, rng), stressed(MESH, StressLengths(200.0, 200.0), 5, rng)):
        for rigid in (np.ones(k.size), k.ravel(), m.ravel()):
            assert np.abs(load @ rigid).max() < 1e-9 * np.abs(load).max() * k.size


def test_same_seed_same_fields() -> None:
    one, two = (clamped(MESH, 3, np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(one, two)
