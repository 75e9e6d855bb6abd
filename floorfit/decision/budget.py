"""The plain budget of an offset: standard uncertainties by cause (JCGM 100:2008, clause 5 and annex H)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array
from floorfit.decision.decision import Decision
from floorfit.decision.floor_warp import FloorMean
from floorfit.surface.fit import Fit

__all__ = ["ReadingNoise", "with_budgets"]


@dataclass(frozen=True)
class ReadingNoise:
    """What the uncertainty of the readings that were fitted is made of.

    Parameters
    ----------
    z_share : float
        Share of the mean variance of a value that the measured Z of the floor adds, 0 to 1.
    resolution_share : float
        Share that the resolution of the gauge's display adds, 0 to 1.
    calibration_u, machine_u, moved_u, bias_u : float, mm
        Standard uncertainties that all readings share; of the plate's movement where floor Z was stated, and of a bias
        that is taken off.
    """

    z_share: float = 0.0
    resolution_share: float = 0.0
    calibration_u: float = 0.0
    machine_u: float = 0.0
    moved_u: float = 0.0
    bias_u: float = 0.0


def with_budgets(
    fit: Fit, floors: Sequence[FloorMean], decisions: Sequence[Decision], noise: ReadingNoise
) -> tuple[Decision, ...]:
    """Add the budget to each decision that has an offset uncertainty.

    Parameters
    ----------
    fit : Fit
    floors : sequence of FloorMean
    decisions : sequence of Decision
        Both in the part's order.
    noise : ReadingNoise

    Returns
    -------
    tuple of Decision
        With ``budget_mm``: repeatability, floor Z, resolution, surface between readings, smoothing and dishing,
        calibration, machine Z. Their root sum of squares is half the expanded uncertainty. What the joint samples have
        beyond the linear parts (the smoothing's own spread, local dishing, and which place is the extreme) stands under
        smoothing and dishing.
    """
    places = [_decisive(floor, one) for floor, one in zip(floors, decisions, strict=True)]
    splits = np.array(fit.variance_split(places)).T
    return tuple(
        replace(one, budget_mm=_budget(one, splits[k].tolist(), noise)) if one.readings_used else one
        for k, one in enumerate(decisions)
    )


def _budget(decision: Decision, split: Sequence[float], noise: ReadingNoise) -> dict[str, float]:
    total = ((decision.offset_u_mm or 0.0) / 2) ** 2
    shared = noise.calibration_u**2 + noise.machine_u**2 + noise.moved_u**2 + noise.bias_u**2
    own = max(total - shared, 0.0)
    scatter, between, slow = split
    linear = scatter + between + slow
    factor = min(1.0, own / linear) if linear > 0 else 0.0
    parts = {
        "repeatability": scatter * factor * (1 - noise.z_share - noise.resolution_share),
        "floor Z": scatter * factor * noise.z_share,
        "resolution": scatter * factor * noise.resolution_share,
        "surface between readings": between * factor,
        **({"slow change of the readings": slow * factor} if slow else {}),
        "smoothing and dishing": own - linear * factor,
        "calibration": noise.calibration_u**2,
        "machine Z": noise.machine_u**2,
        **({"movement since roughing": noise.moved_u**2} if noise.moved_u else {}),
        **({"bias": noise.bias_u**2} if noise.bias_u else {}),
    }
    return {cause: float(np.sqrt(max(variance, 0.0))) for cause, variance in parts.items()}


def _decisive(floor: FloorMean, decision: Decision) -> Array:
    """The places that the offset hangs on: where the web wanted is least and greatest; the centroid for a surface."""
    if decision.action == "follow":
        return np.array([floor.pocket.centroid])
    wanted = floor.mean - floor.points @ np.array(decision.correction.slope)
    return np.asarray(floor.points[[int(np.argmin(wanted)), int(np.argmax(wanted))]])
