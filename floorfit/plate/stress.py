"""Loads of a plate that let go: released curvature of stated spectra, twist, and clamps that are opened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.plate.bending import PlateMesh

__all__ = ["StressLengths", "clamped", "random_fields", "stressed"]

#: Released shear beside what is released along and across (our choice, no source).
SHEAR = 0.2
#: Clamps that are opened together.
CLAMPS = 6


@dataclass(frozen=True)
class StressLengths:
    """How fast the stress of a plate changes over its plan.

    Parameters
    ----------
    along_mm, across_mm : float, mm
        Lengths a and b of fields with covariance ``m(Δx/a) m(Δy/b)``, ``m(d) = (1 + √3 d) exp(−√3 d)`` (Matérn 3/2,
        Rasmussen & Williams 2006, §4.2): once differentiable, so that stress may change sharply here and there.
    """

    along_mm: float
    across_mm: float


def random_fields(x: Array, y: Array, lengths: StressLengths, count: int, rng: np.random.Generator) -> Array:
    """Draw Gaussian fields of unit variance, (count, len(x), len(y)).

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
    lengths : StressLengths
    count : int
    rng : numpy.random.Generator
    """
    one, two = _root(x, lengths.along_mm), _root(y, lengths.across_mm)
    return np.asarray(one @ rng.standard_normal((count, len(x), len(y))) @ two.T)


def _root(places: Array, length: float) -> Array:
    """R with R Rᵀ the covariance of places."""
    away = np.sqrt(3) * np.abs(places[:, None] - places) / length
    values, vectors = np.linalg.eigh((1 + away) * np.exp(-away))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def stressed(mesh: PlateMesh, lengths: StressLengths, count: int, rng: np.random.Generator) -> Array:
    """Right sides (count, m) of plates whose stress lets go: w_xx and w_yy of each element by themselves, and w_xy.

    Rolled plate holds other moments along than across, and hardly any shear (the share of shear is our choice, no
    source).

    Parameters
    ----------
    mesh : PlateMesh
    lengths : StressLengths
    count : int
    rng : numpy.random.Generator
    """
    one, two, shear = (random_fields(*mesh.middles, lengths, count, rng) for _ in range(3))
    return mesh.moments(one, two, SHEAR * shear)


def clamped(mesh: PlateMesh, count: int, rng: np.random.Generator) -> Array:
    """Right sides (count, m) of clamps round the edge that are opened: forces that balance.

    Parameters
    ----------
    mesh : PlateMesh
    count : int
    rng : numpy.random.Generator
    """
    x0, y0, x1, y1 = mesh.bounds
    share, side = rng.uniform(size=(count, CLAMPS)), rng.integers(0, 4, (count, CLAMPS))
    x = x0 + (x1 - x0) * np.select([side < 2, side == 2], [share, 0.0], 1.0)
    y = y0 + (y1 - y0) * np.select([side > 1, side == 0], [share, 0.0], 1.0)
    planes = np.stack([np.ones_like(x), (x - x0) / (x1 - x0), (y - y0) / (y1 - y0)], axis=2)
    force = rng.standard_normal((count, CLAMPS))
    force -= np.einsum("ncp,npk,nk->nc", planes, np.linalg.pinv(planes), force)
    many = mesh.forces(np.stack([x.ravel(), y.ravel()], axis=1), np.eye(count * CLAMPS))
    return np.asarray(np.einsum("nc,ncm->nm", force, many.reshape(count, CLAMPS, -1)))
