"""Loads of a plate that let go: released curvature of stated spectra, twist, and clamps that are opened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from floorfit.plate.bending import PlateMesh

__all__ = ["Spectrum", "clamped", "random_fields", "stressed"]

Array = NDArray[np.float64]

#: Released shear beside what is released along and across (our choice, no source).
SHEAR = 0.2
#: Clamps that are opened together.
CLAMPS = 6


@dataclass(frozen=True)
class Spectrum:
    """How fast the stress of a plate changes over its plan.

    Parameters
    ----------
    along_mm, across_mm : float, mm
        Correlation lengths along X and Y: of fields with covariance ``exp(−Δx²/2a² − Δy²/2b²)``.
    """

    along_mm: float
    across_mm: float


def random_fields(x: Array, y: Array, spectrum: Spectrum, count: int, rng: np.random.Generator) -> Array:
    """Gaussian fields of a spectrum, of unit variance, (count, len(x), len(y)).

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
    spectrum : Spectrum
    count : int
    rng : numpy.random.Generator
    """
    one, two = _root(x, spectrum.along_mm), _root(y, spectrum.across_mm)
    return np.asarray(one @ rng.standard_normal((count, len(x), len(y))) @ two.T)


def _root(places: Array, length: float) -> Array:
    """R with R Rᵀ the covariance of places."""
    values, vectors = np.linalg.eigh(np.exp(-((places[:, None] - places) ** 2) / (2 * length**2)))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def stressed(mesh: PlateMesh, spectrum: Spectrum, count: int, rng: np.random.Generator) -> Array:
    """Right sides (count, m) of plates whose stress lets go: w_xx and w_yy of each element by themselves, and w_xy.

    Rolled plate holds equal moments in no two directions, and hardly any shear (Treuting & Read 1951 measured sheet;
    the share of shear is our choice, no source).
    """
    one, two, shear = (random_fields(*mesh.middles, spectrum, count, rng) for _ in range(3))
    return mesh.moments(one, two, SHEAR * shear)


def clamped(mesh: PlateMesh, count: int, rng: np.random.Generator) -> Array:
    """Right sides (count, m) of clamps round the edge that are opened: forces that balance."""
    x0, y0, x1, y1 = mesh.bounds
    share, side = rng.uniform(size=(count, CLAMPS)), rng.integers(0, 4, (count, CLAMPS))
    x = x0 + (x1 - x0) * np.select([side < 2, side == 2], [share, 0.0], 1.0)
    y = y0 + (y1 - y0) * np.select([side > 1, side == 0], [share, 0.0], 1.0)
    planes = np.stack([np.ones_like(x), (x - x0) / (x1 - x0), (y - y0) / (y1 - y0)], axis=2)
    force = rng.standard_normal((count, CLAMPS))
    force -= np.einsum("ncp,npk,nk->nc", planes, np.linalg.pinv(planes), force)
    many = mesh.forces(np.stack([x.ravel(), y.ravel()], axis=1), np.eye(count * CLAMPS))
    return np.asarray(np.einsum("nc,ncm->nm", force, many.reshape(count, CLAMPS, -1)))
