"""Uncertainty budget: components, their combination, and the coverage factor (JCGM 100:2008, 5.1 and G.4)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

__all__ = ["Budget", "Component", "combine_components"]


@dataclass(frozen=True)
class Component:
    """One cause of uncertainty.

    Parameters
    ----------
    name : str
        What it is.
    u : float
        Standard uncertainty times the sensitivity, in the unit of the result.
    dof : float
        Degrees of freedom; infinite for one that is known (JCGM 100, G.4.3).
    """

    name: str
    u: float
    dof: float = math.inf


@dataclass(frozen=True)
class Budget:
    """Components and what they come to.

    Parameters
    ----------
    components : tuple of Component
        As given.
    u : float
        Combined standard uncertainty: root of the sum of squares.
    dof : float
        Effective degrees of freedom by Welch and Satterthwaite (JCGM 100, G.2b); infinite where all are.
    """

    components: tuple[Component, ...]
    u: float
    dof: float

    def coverage_factor(self, level: float = 0.95) -> float:
        """Student's t for a two-sided level; degrees of freedom are cut to a whole number (JCGM 100, G.4.1).

        Parameters
        ----------
        level : float
            Coverage probability.
        """
        from scipy.stats import t

        return float(t.ppf((1.0 + level) / 2.0, np.maximum(1.0, np.floor(self.dof))))

    def expanded(self, level: float = 0.95) -> float:
        """Coverage factor times ``u``."""
        return self.coverage_factor(level) * self.u


def combine_components(components: Iterable[Component]) -> Budget:
    """Combine independent components.

    Parameters
    ----------
    components : iterable of Component
        May be empty: the result is zero then.

    Returns
    -------
    Budget
    """
    parts = tuple(components)
    u = math.sqrt(sum(part.u**2 for part in parts))
    below = sum(part.u**4 / part.dof for part in parts if math.isfinite(part.dof))
    return Budget(parts, u, u**4 / below if below > 0 else math.inf)
