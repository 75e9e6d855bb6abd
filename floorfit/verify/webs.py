"""Verdict on each whole floor: the residual field fitted like the warp, joint samples, the decision's own rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.decision.candidates import chances
from floorfit.decision.decision import verdict_of
from floorfit.decision.rules import Wording
from floorfit.errors import NumericalError
from floorfit.part.lattice import floor_points
from floorfit.part.model import LocalLimits, Tolerance
from floorfit.surface.fit import Fit, fit_surface
from floorfit.verify.predicted import Prediction
from floorfit.verify.proved import FloorProof
from floorfit.verify.taken import Taken

__all__ = ["Step", "chance_at", "fit_field", "gauge_dispersion", "prove_floor", "unread"]

#: Samples where there is no field to draw them from.
SAMPLES = 500
#: Chance of scatter about what was fitted from which a floor is not cut as its fit has it. Own choice.
UNEVEN = 1e-3


@dataclass(frozen=True)
class Step:
    """What one floor has for itself, beyond the field that all share.

    Parameters
    ----------
    value, u : float, mm
        Best estimate and standard uncertainty.
    bias, bias_u : float, mm
        Mean of measured less predicted on this floor, and its standard uncertainty.
    is_apart : bool
        Whether the floor is left out of the common bias.
    """

    value: float
    u: float
    bias: float
    bias_u: float
    is_apart: bool


def fit_field(prediction: Prediction, taken: Taken, steps: dict[int, Step]) -> Fit | None:
    """Fit measured less predicted less the floors' own steps; None where the readings fix no surface.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    steps : dict of int to Step
        By floor; every floor with a used reading.
    """
    rows = np.flatnonzero(taken.is_used)
    own = np.array([steps[int(k)].value for k in taken.floor[rows]])
    part, values = prediction.part, taken.gap[rows] - own
    try:
        points, seed = taken.points[rows], prediction.seed
        return fit_surface(points, values, taken.u[rows], bounds=part.bounds, smallest_mm=part.narrowest, seed=seed)
    except NumericalError:
        return None


def gauge_dispersion(prediction: Prediction, taken: Taken) -> float:
    """Variance of the gauge over what is stated: of the job's readings or, where larger, of these; never below 1.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken

    Notes
    -----
    These scatter about a plane of each floor's own, which takes a step and a tilt of the floor along: a floor that was
    cut otherwise than decided is not the gauge's scatter.
    """
    square, freedom = 0.0, 0
    for rows in taken.rows_of.values():
        beta, design, off = _own_plane(taken, rows)
        square += float(((off - design @ beta) ** 2).sum())
        freedom += len(rows) - int(np.linalg.matrix_rank(design))
    surface = prediction.record.surface
    before = 1.0 if surface is None else surface.dispersion
    return max(1.0, before, square / freedom if freedom else 0.0)


def _own_plane(taken: Taken, rows: Rows) -> tuple[Array, Array, Array]:
    """Plane of measured less predicted by least squares: height at the readings' mean, slopes; design, values / u."""
    aside = taken.points[rows] - taken.points[rows].mean(axis=0)
    design = np.column_stack([np.ones(len(rows)), aside]) / taken.u[rows, None]
    off = taken.gap[rows] / taken.u[rows]
    return np.asarray(np.linalg.lstsq(design, off, rcond=1e-9)[0], float), design, off


def prove_floor(
    prediction: Prediction, taken: Taken, index: int, field: Fit | None, step: Step, spread: float
) -> FloorProof:
    """Judge one floor that has readings.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    index : int
        Of the floor.
    field : Fit or None
        As `fit_field` gave it.
    step : Step
    spread : float
        As `gauge_dispersion` gave it.
    """
    pocket = prediction.part.pockets[index]
    points = floor_points(pocket)
    base = prediction.deviation(index, *points.T) + step.value
    generator = np.random.default_rng([prediction.seed, index, 3])
    mean, samples = _field_on(field, prediction, points, base, step, generator)
    found = chances(samples, pocket.limits_on(*points.T))
    gap = taken.gap[taken.rows_of[index]]
    verdict, reason = verdict_of(found.conform, prediction.level), ""
    if verdict == "conform":
        wording = Wording(prediction.part.units)
        reason = (
            _outside(taken, index, prediction.level)
            or _leaning(prediction, taken, index, spread, wording)
            or _uneven(taken, index, field, step, spread, wording)
        )
        verdict = "undecided" if reason else verdict
    web_min, web_max = pocket.web + float(mean.min()), pocket.web + float(mean.max())
    return FloorProof(
        pocket=pocket.id,
        readings=len(gap),
        verdict=verdict,
        probability=found.conform,
        web_min=web_min,
        web_max=web_max,
        bias=float("nan") if prediction.is_held(index) else step.bias,
        bias_u=float("nan") if prediction.is_held(index) else step.bias_u,
        spread=float(gap.std(ddof=1)) if len(gap) > 1 else float("nan"),
        is_interval_held=_is_held(prediction, index, web_min, web_max),
        is_apart=step.is_apart,
        reason=reason or _words(verdict, found.conform, found.thin, found.thick),
    )


def unread(prediction: Prediction, taken: Taken, index: int) -> FloorProof:
    """The answer for a floor without a used reading.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken
    index : int
        Of the floor.
    """
    nan = float("nan")
    given = int((taken.floor == index).sum())
    words = "every reading of this floor was set aside" if given else "no reading of the finished web"
    return FloorProof(
        prediction.part.pockets[index].id, 0, "not-read", nan, nan, nan, nan, nan, nan, None, False,
        f"not-read: {words}",
    )  # fmt: skip


def chance_at(deviation: Array, u: Array, tolerance: Tolerance | LocalLimits) -> Array:
    """Probability that the true deviation lies within the limits, from a normal reading (JCGM 106:2012, 7.4).

    Parameters
    ----------
    deviation : (n,) ndarray, mm
        Web less its nominal.
    u : (n,) ndarray, mm
        Standard uncertainties.
    tolerance : Tolerance or LocalLimits

    Examples
    --------
    A deviation at the limit is inside with probability 1/2:

    >>> import numpy as np
    >>> from floorfit.part import Tolerance
    >>> chance_at(np.array([0.1]), np.array([0.005]), Tolerance(-0.1, 0.1)).round(3).tolist()
    [0.5]
    """
    from scipy.special import ndtr

    lower, upper = tolerance.limits
    return np.asarray(ndtr((upper - deviation) / u) - ndtr((lower - deviation) / u), float)


def _field_on(
    field: Fit | None, prediction: Prediction, points: Array, base: Array, step: Step, generator: np.random.Generator
) -> tuple[Array, Array]:
    """Best estimate (k,) and samples (count, k) of the deviation at points of one floor, mm."""
    if field is not None:
        mean = base + field.surface.at(*points.T)
        own = step.u * generator.standard_normal(field.posterior.count)
        return mean, mean + field.posterior.samples_at(points) + own[:, None]
    spread = float(np.hypot(step.bias_u, prediction.deviation_u(*points.T).max()))
    return base, base + spread * generator.standard_normal(SAMPLES)[:, None]


def _outside(taken: Taken, index: int, level: float) -> str:
    """Why a floor is not proved where a reading on it says plainly that its place does not conform."""
    rows = np.flatnonzero((taken.floor == index) & (taken.is_used | taken.is_doubted))
    chance = chance_at(taken.deviation[rows], taken.u[rows], taken.limits_of(rows))
    outside = int((chance <= 1 - level).sum())
    if not outside:
        return ""
    words = "one reading lies" if outside == 1 else f"{outside} readings lie"
    return f"reading-outside: {words} outside the tolerance and the others do not; read the place again"


def _leaning(prediction: Prediction, taken: Taken, index: int, spread: float, wording: Wording) -> str:
    """Why a floor is not proved that leans, by its own readings, and leaves its limits where it does.

    A field that is smooth over the plate follows one floor's tilt in part, and less beyond its readings. How far the
    floor leans on beyond them nobody knows: as far again is taken.
    """
    from scipy.special import chdtrc

    rows = taken.rows_of[index]
    beta, design, _ = _own_plane(taken, rows)
    if len(rows) < 5 or np.linalg.matrix_rank(design) < 3:
        return ""
    slopes = np.linalg.inv(design.T @ design)[1:, 1:] * spread
    if chdtrc(2, beta[1:] @ np.linalg.solve(slopes, beta[1:])) >= UNEVEN:
        return ""
    pocket = prediction.part.pockets[index]
    points = floor_points(pocket)
    middle = taken.points[rows].mean(axis=0)
    read = taken.points[rows] - middle
    aside = np.clip(points - middle, 2 * read.min(axis=0), 2 * read.max(axis=0))
    web = prediction.deviation(index, *points.T) + beta[0] + aside @ beta[1:]
    lower, upper = pocket.limits_on(*points.T).limits
    beyond = np.maximum(web - upper, lower - web)
    worst = int(np.argmax(beyond))
    if beyond[worst] <= 0:
        return ""
    return (
        f"uneven: the floor's own readings lean otherwise than predicted, and on their plane the web leaves the "
        f"tolerance by {wording.length(beyond[worst])} near {wording.place(points[worst])}; read more places there"
    )


def _uneven(taken: Taken, index: int, field: Fit | None, step: Step, spread: float, wording: Wording) -> str:
    """Why a floor is not proved whose readings scatter about what was fitted as no gauge does.

    A step of the floor and a field that is smooth over the plate cannot be a tilt left out, a tool changed half way or
    a corner cut deeper. How far the web goes beyond such a reading nobody knows: as far again is taken.
    """
    from scipy.special import chdtrc

    rows = np.flatnonzero((taken.floor == index) & (taken.is_used | taken.is_doubted))
    own = np.zeros(len(rows)) if field is None else field.surface.at(*taken.points[rows].T)
    off = taken.gap[rows] - step.value - own
    square = np.where(taken.is_used[rows], off**2 / (spread * taken.u[rows] ** 2), 0.0).sum()
    freedom = int(taken.is_used[rows].sum()) - 1
    if not (taken.is_doubted[rows].any() or (freedom > 0 and chdtrc(freedom, square) < UNEVEN)):
        return ""
    chance = chance_at(taken.deviation[rows] + off, taken.u[rows], taken.limits_of(rows))
    worst = int(np.argmin(chance))
    if chance[worst] >= 0.5:
        return ""
    side, place = "thinner" if off[worst] < 0 else "thicker", wording.place(taken.points[rows[worst]])
    return (
        f"uneven: near {place} the web is {side} by {wording.length(abs(off[worst]))} "
        "than the rest of the floor tells, and as much again would leave the tolerance; read more places there"
    )


def _words(verdict: str, conform: float, thin: float, thick: float) -> str:
    if verdict == "conform":
        return ""
    side = "thin" if thin >= thick else "thick"
    if verdict == "nonconform":
        return f"tolerance: the web is too {side} ({100 * (1 - conform):.0f} % likely not to conform)"
    return f"tolerance: a limit lies within the uncertainty ({100 * conform:.0f} % likely to conform, else too {side})"


def _is_held(prediction: Prediction, index: int, web_min: float, web_max: float) -> bool | None:
    low, high = prediction.record.decisions[index].web_after_interval_mm
    if prediction.is_held(index) or low is None or high is None:
        return None
    return low <= web_min and web_max <= high
