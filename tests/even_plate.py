"""Rigidity of a plate of one thickness, as textbooks have it."""

from __future__ import annotations

import numpy as np

from floorfit.plate.rigidity import NU, Rigidity


def even(thickness: float, shape: tuple[int, int], nu: float = NU) -> Rigidity:
    """E = 1, an isotropic plate (Timoshenko & Woinowsky-Krieger 1959, §10)."""
    d = np.full(shape, thickness**3 / (12 * (1 - nu**2)))
    return Rigidity(d, d, nu * d, (1 - nu) / 2 * d)
