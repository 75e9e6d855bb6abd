"""What a run noticed of its readings: scatter beyond what was stated, slow change, errors that readings share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.part.model import Part
from floorfit.readings.causes import columns_to_try, words_of
from floorfit.readings.observations import Observations
from floorfit.readings.repeats import Sites, change_on_return, two_levels
from floorfit.readings.sequence import sequence
from floorfit.readings.systematic import ALPHA, Cause, Sharers, Systematic, estimated, find_systematic, likeliest
from floorfit.surface.along_axes import OF_FLOORS
from floorfit.surface.slow import MOST_SHARED, TOLD_GAIN, UNSEEN_MM

if TYPE_CHECKING:
    from floorfit.surface import Fit
    from floorfit.surface.expected import Agreement, Expected
    from floorfit.surface.smoother import Smoother

__all__ = [
    "SCATTERED", "allowing_for", "fit_findings", "hidden_drift", "shared_errors", "shared_findings", "with_unplaced",
]  # fmt: skip

#: Variance of the readings over what is stated from which it is told.
SCATTERED = 2.0
#: Share of the models with an error of Z from which it is told.
TOLD_SHARE = 0.25
#: Chance of a cause up to which the surface is fitted again without it.
DOUBTED = 0.2
#: Fewest places that were read again which are asked how much the gauge changed.
FEWEST_RETURNS = 3
#: Fewest residuals that are asked for two levels, and how many times their scatter these are apart: of 90 honest plates
#: (tests/benchmarks/conditions.py) 3.3 at most.
FEWEST_ON_LEVELS, APART = 30, 4.0


def shared_errors(
    part: Part,
    seen: Observations,
    sites: Sites,
    fit: Fit,
    least_mm: float,
    expected: Expected | None = None,
) -> tuple[tuple[Systematic, ...], Systematic | None]:
    """Errors that the readings share, estimated jointly with the surface; none are looked for in very many readings.

    And what they say of a drift, whether it is there or not; None where none was looked for.

    Parameters
    ----------
    part : Part
    seen : Observations
        With what the fit made of them.
    sites : Sites
        What it was fitted to.
    fit : Fit
    least_mm : float, mm
        Smaller ones are not reported.
    expected : Expected, optional
        What was taken off the readings before the fit: its smoothing is that of what is left, and follows no more.

    Notes
    -----
    A cause that is in doubt is asked once more: a surface whose smoothing was chosen with an error in the readings
    follows some of it; chosen with the error taken off, it follows less. Not so where something was expected: of 199
    honest runs with it 4 then had a wrong velocity, and 1 without.
    """
    rows = np.flatnonzero(sites.of_row >= 0)
    if len(rows) > MOST_SHARED:
        return (), None
    slow = fit.models[0].in_order
    step = None if slow is None else slow.step
    columns = columns_to_try(part, seen, sites.of_row >= 0, step)
    tried = [replace(one, values=one.values[rows]) for one in columns]
    tried = [_with_allowed(one, fit) for one in tried]
    mean = np.zeros(len(sites.warp)) if expected is None else expected.at(*sites.points.T)
    data = _sharers(seen, sites, rows, fit.smoother, mean)
    first = likeliest(data, tried)
    found = find_systematic(data, tried, least_mm, first)
    drift = next((estimated(data, one) for one in tried if one.kind == "drift"), None)
    if found or expected is not None or first is None or first[1].chance > DOUBTED:
        return found, drift
    cause, doubted = first
    share = np.zeros(len(seen))
    share[rows] = cause.values
    again = fit.smoother.anew(sites.points, sites.warp - doubted.effect * share[sites.rows], sites.u)
    return find_systematic(_sharers(seen, sites, rows, again, mean), tried, least_mm), drift


def with_unplaced(seen: Observations, fit: Fit, found: tuple[Systematic, ...], sd: float) -> tuple[Systematic, ...]:
    """With a change that places tell which were read again, and two levels that all readings stand on.

    Only where no drift or step explains half of it. Readings that are few beside the others are set aside where the
    gauge changed before them, and nothing else tells; those on two levels pass for scatter.

    Parameters
    ----------
    seen : Observations
        With what the fit made of them.
    fit : Fit
    found : tuple of Systematic
        What was found already.
    sd : float, mm
        Standard deviation of one reading.
    """
    explained = 2 * max([fit.extent_in_order, *(abs(one.effect) for one in found if one.kind in ("drift", "step"))])
    change, u, count = change_on_return(seen, sequence(seen.readings)[0], sd)
    chance = math.erfc(abs(change) / u / math.sqrt(2.0))
    if count >= FEWEST_RETURNS and chance <= ALPHA / 10 and abs(change) >= max(explained, sd):
        found = (*found, Systematic("return", str(count), "mm", change, u, abs(change), chance))
    residual = seen.residual[seen.is_used & np.isfinite(seen.residual)]
    if len(residual) < FEWEST_ON_LEVELS or fit.dispersion < SCATTERED:
        return found
    apart, share, scatter = two_levels(residual)
    if apart < max(explained, APART * scatter):
        return found
    u = scatter / math.sqrt(len(residual) * share * (1 - share))
    # A residual above is a warp too high: a reading too thin.
    return (*found, Systematic("level", f"{100 * (1 - share):.0f}", "mm", apart, u, apart, 0.0))


def allowing_for(fit: Fit, found: Sequence[Systematic], seed: int) -> Fit:
    """With a wider posterior where errors were found that all floors may share, and that the fit does not allow for.

    How much of one is in the surface no reading tells: all of it either way is rectangular (JCGM 100:2008, 4.3.7). A
    pocket or a row that is off is the matter of its own floors.

    Parameters
    ----------
    fit : Fit
    found : sequence of Systematic
        Those that are not let go.
    seed : int
        Of the joint samples.
    """
    extent = fit.extent_in_order
    sizes = [one.size for one in found if one.kind not in ("pocket", "row")]
    largest = max((size for size in sizes if size / 2 > extent), default=0.0)
    return fit.with_level_error(largest / math.sqrt(3.0), seed) if largest else fit


def _with_allowed(cause: Cause, fit: Fit) -> Cause:
    """With the variance that the fit has for it: of a straight drift or a step that stands beside its surface."""
    slow = fit.models[0].in_order
    if slow is None or np.isfinite(slow.length) or cause.kind != ("drift" if slow.step is None else "step"):
        return cause
    return replace(cause, allowed=float(slow.covariance[0, 0]))


def _sharers(seen: Observations, sites: Sites, rows: Rows, smoother: Smoother, mean: Array) -> Sharers:
    """The readings less a mean at the sites, and one smoother: that of the model that comes first, not the mixture."""
    place = sites.of_row[rows]
    warp = seen.warp[rows] - mean[place]
    residual = warp - smoother.followed(sites.points, (sites.warp - mean)[:, None], sites.u)[place, 0]
    weight = smoother.weights[place] / seen.u[rows] ** 2
    square = float((weight * residual) @ warp)

    def smooth(values: Array) -> Array:
        return smoother.followed(sites.points, values, sites.u)

    return Sharers(place, weight, residual, square, smooth)


def shared_findings(source: str, found: Sequence[Systematic]) -> tuple[Finding, ...]:
    """Say each shared error: its size and what would settle it.

    Parameters
    ----------
    source : str
        Name of the readings file.
    found : sequence of Systematic
    """
    return tuple(Finding(f"shared-{one.kind}", source, "", words_of(one), "warning") for one in found)


def hidden_drift(
    source: str, fit: Fit, found: Sequence[Systematic], drift: Systematic | None, limit_mm: float
) -> tuple[Finding, ...]:
    """Say where a drift as large as the limit could not be told from the plate, in the order of the readings.

    Parameters
    ----------
    source : str
        Name of the readings file.
    fit : Fit
        Where it allows for an error in the order of the readings, nothing is hidden.
    found : sequence of Systematic
        Shared errors that were found: a drift among them is not hidden.
    drift : Systematic or None
        What the readings say of one.
    limit_mm : float, mm
        Size of a shared error that is not let go.
    """
    is_known = fit.models[0].in_order is not None or any(one.kind == "drift" for one in found)
    if drift is None or is_known or 2 * drift.u <= limit_mm:
        return ()
    size = f"of up to {2 * drift.u:.3f} mm (k = 2)" if np.isfinite(drift.u) else "of any size"
    text = (
        f"a drift of the gauge {size} over the readings could not be told from the plate's own shape, in the order in "
        f"which they were taken; the uncertainty allows for {2 * UNSEEN_MM:.3f} mm (k = 2). Read there and back, "
        "as `plan` orders places, or the first places again."
    )
    return (Finding("drift-hidden", source, "", text, "note"),)


def fit_findings(
    source: str, fit: Fit, agreed: Agreement | None, limit_mm: float, has_prior: bool = False
) -> tuple[Finding, ...]:
    """Say what the fit shows of the readings as a whole.

    Parameters
    ----------
    source : str
        Name of the readings file.
    fit : Fit
    agreed : Agreement or None
        How the expected warp fared, where one was given.
    limit_mm : float, mm
        Size of a shared error that is not let go.
    has_prior : bool
        Whether a prior from the part's stiffness was given.
    """
    out = [] if agreed is None else [Finding("expected", source, "", agreed.words, "warning")]
    if has_prior:
        share = f"{100 * fit.modes_share:.0f}"
        text = f"the prior from the part's stiffness has {share} % of the evidence, and that share in the surface."
        out.append(Finding("prior", source, "", text, "warning"))
    if len(fit.weights) > MOST_SHARED:
        text = (
            "errors that readings share (velocity, drift, a pocket off) are not looked for among more than "
            f"{MOST_SHARED} places; read a step block before and after."
        )
        out.append(Finding("not-searched", source, "", text, "warning"))
    if fit.dispersion > SCATTERED:
        times = float(np.sqrt(fit.dispersion))
        text = (
            f"the readings scatter {times:.1f} times as much as stated; offsets are given with the larger "
            "uncertainty. Check gauge and couplant, or state --reading-u."
        )
        out.append(Finding("scatter", source, "", text, "warning"))
    slow, extent = fit.models[0].in_order, fit.extent_in_order
    if slow is not None and slow.gain > TOLD_GAIN and np.isfinite(slow.length):
        text = (
            f"the readings change slowly along their order, by {slow.size:.3f} mm (standard deviation) over some "
            f"{slow.length:.0f} readings, and {extent:.3f} mm in all; it is allowed for. Read a step block now and "
            "then, and first places anew."
        )
        out.append(Finding("slow-change" if extent <= limit_mm else "slow-change-large", source, "", text, "warning"))
    return (*out, *_errors_of_z(source, fit))


def _errors_of_z(source: str, fit: Fit) -> tuple[Finding, ...]:
    """Say that the readings change along an axis or by the floor as an error of Z would, where that is not unlikely."""
    found = [one for one in fit.models if one.errors and one.slow is not None]
    if sum(one.share for one in found) < TOLD_SHARE:
        return ()
    likeliest = max(found, key=lambda one: one.share)
    size = 0.0 if likeliest.slow is None else likeliest.slow.size
    if likeliest.errors == OF_FLOORS:
        text = (
            "the readings of a floor are off together, each floor's in its own way, by some "
            f"{size:.3f} mm (standard deviation): a Z that was measured once a floor, or couplant. Webs that bend by "
            "themselves look alike: offsets lie between the two, and their uncertainty holds both. Measure Z at each "
            "reading."
        )
        return (Finding("floor-error", source, "", text, "warning"),)
    text = (
        f"the readings change along {' and '.join(likeliest.errors)} as an error of the measured Z would, by some "
        f"{size:.3f} mm (standard deviation); waves of the plate look alike. Offsets lie between the two, and their "
        "uncertainty holds both. Measure Z of a straight edge along that axis to tell them apart."
    )
    return (Finding("z-error", source, "", text, "warning"),)
