"""Random fields over a plate: released curvature of stated spectra."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["random_fields"]

Array = NDArray[np.float64]


def random_fields(x: Array, y: Array, lengths: tuple[float, float], count: int, rng: np.random.Generator) -> Array:
    """Gaussian fields with covariance ``exp(−Δx²/2a² − Δy²/2b²)``, (count, len(x), len(y)).

    Parameters
    ----------
    x, y : (k,), (l,) ndarray, mm
    lengths : (a, b), mm
    count : int
    rng : numpy.random.Generator
    """
    roots = []
    for places, length in zip((x, y), lengths, strict=True):
        values, vectors = np.linalg.eigh(np.exp(-((places[:, None] - places) ** 2) / (2 * length**2)))
        roots.append(vectors * np.sqrt(np.maximum(values, 0.0)))
    noise = rng.standard_normal((count, len(x), len(y)))
    return np.asarray(roots[0] @ noise @ roots[1].T)
