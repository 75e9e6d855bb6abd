"""The run as one function: part and readings in, a decision for every floor out; no file, no terminal.

Follow a reading: the readings are placed in the part and the gauge is applied (`prepared.prepare`), each says a warp
and is screened (`readings.screening.screen`), repeats of a place are combined (`readings.repeats.combine`), the surface
is fitted (`surface.fit_surface`), what the fit does not believe is set aside with a name (`readings.outliers.judged`),
each floor is decided from the surface (`decision.decide`), and what the readings share is said (`noticed`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array
from floorfit.errors import Finding, InputError, NumericalError
from floorfit.identity import other_piece
from floorfit.part.model import Part
from floorfit.readings.observations import Observations, Readings
from floorfit.result import Result, Settings

if TYPE_CHECKING:
    from floorfit.decision import Decision
    from floorfit.decision.budget import ReadingNoise
    from floorfit.plate.plate_prior import PlatePrior
    from floorfit.prepared import Prepared
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.readings.repeats import Sites
    from floorfit.surface import Fit, Surface
    from floorfit.surface.expected import Agreement, Expected
    from floorfit.surface.modes import Modes
    from floorfit.web import Webs

__all__ = ["Result", "Settings", "correct"]

#: Share of readings set aside from which a column is asked whether it slipped: a gauge lies less often (own choice).
MANY_ASIDE = 0.05


def correct(
    part: Part,
    readings: Readings,
    settings: Settings | None = None,
    *,
    gauge: Gauge | None = None,
    frame: Frame | None = None,
    expected: Expected | None = None,
    ids: Mapping[str, str] | None = None,
    prior: PlatePrior | None = None,
    progress: Callable[[str], None] | None = None,
) -> Result:
    """Decide the offset of every pocket floor.

    Parameters
    ----------
    part : Part
        Nominal part.
    readings : Readings
        Web thickness readings in the part frame.
    settings : Settings, optional
        Defaults where left out.
    gauge : Gauge, optional
        Calibration that is applied to the readings; its uncertainty is common to all of them.
    frame : Frame, optional
        Where the part lies in the machine, for readings in machine coordinates.
    expected : Expected, optional
        Mean warp of earlier parts, used only where the likelihood of the readings speaks for it.
    ids : mapping of str to str, optional
        Id in the part of each label in the readings, from `floorfit.readings.ids.read_ids`.
    prior : PlatePrior, optional
        What the part's own stiffness makes likely, from `floorfit.prior`; used as far as the likelihood of the readings
        speaks for it.
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    Result

    Raises
    ------
    InputError
        For readings that cannot be meant, and a prior or an expectation of another part.
    TypeError
        If part or readings are something else, such as the name of a file.

    Notes
    -----
    Signs: warp w > 0 where the plate stands high; ``dz > 0`` raises the floor; the web is ``web + dz − w``.
    Readings that do not fix a surface (fewer than three places, or all in one line) hold every floor; that is an
    answer, not an error.
    """
    from floorfit.prepared import prepare
    from floorfit.readings.misplaced import whole_file_findings
    from floorfit.readings.outliers import judged
    from floorfit.readings.screening import screen

    for name, given, kind in (("part", part, Part), ("readings", readings, Readings)):
        if not isinstance(given, kind):
            raise TypeError(f"{name}: a {kind.__name__} was expected, as floorfit.read_{name} gives it, got {given!r}.")
    _refuse_other(part, readings, prior, expected)
    modes = None if prior is None else prior.modes
    chosen = settings or Settings()
    tell = progress or (lambda words: None)
    tell("screening the readings")
    taken = prepare(part, readings, chosen, gauge, frame, ids)
    seen = screen(
        part,
        taken.readings,
        floor=taken.floor,
        probe_radius_mm=chosen.probe_radius,
        wall_clearance_mm=chosen.wall_clearance,
        u_mm=chosen.reading_u,
        z_u_mm=chosen.z_u,
    )
    taken = replace(taken, findings=(*taken.findings, *whole_file_findings(part, seen)))
    tell("fitting the surface")
    try:
        sites, fit, agreed = _fitted(part, seen, chosen, expected, modes)
    except NumericalError as error:
        return _without_surface(part, taken, chosen, seen, str(error))
    scale = float(np.sqrt(np.mean(sites.u**2) * fit.dispersion)) * fit.scale
    seen = judged(part, seen, sites, fit.weights, fit.loo.residual, fit.surface.at, scale)
    tell("deciding the floors")
    return _decided(part, taken, chosen, seen, sites, fit, agreed, modes, scale)


def _refuse_other(part: Part, readings: Readings, prior: PlatePrior | None, expected: Expected | None) -> None:
    """Refuse the prior of another part, and what earlier parts of another number, revision or side say."""
    if prior is not None:
        prior.check(part)
    if expected is None:
        return
    texts = [
        f'is of {key} "{expected.identity[key][:60]}", the readings are of "{readings.identity[key][:60]}". Give a '
        "series of this part, or none."
        for key in other_piece(expected.identity, readings.identity)
    ]
    if texts:
        raise InputError([Finding("other-piece", expected.source, "", text) for text in texts])


def _fitted(
    part: Part, seen: Observations, settings: Settings, expected: Expected | None, modes: Modes | None
) -> tuple[Sites, Fit, Agreement | None]:
    from floorfit.readings.repeats import combine
    from floorfit.readings.sequence import sequence

    if not seen.is_used.any():
        raise NumericalError("no reading can be used. Take at least three on each floor, spread over it.")
    sites = combine(seen, sequence(seen.readings)[0])
    agreed = None
    if expected is not None:
        from floorfit.surface.expected import agreement

        agreed = agreement(sites.points, sites.warp, sites.u, expected, part.bounds)
    mean = None if agreed is None else agreed.used
    if mean is None:
        return sites, _surface(part, seen, settings, sites, sites.warp, modes), agreed
    fit = _surface(part, seen, settings, sites, sites.warp - mean.at(*sites.points.T), modes, mean.modes)
    return sites, mean.added_to(fit, settings.seed), agreed


def _surface(
    part: Part,
    seen: Observations,
    settings: Settings,
    sites: Sites,
    values: Array,
    modes: Modes | None,
    known: Modes | None = None,
) -> Fit:
    """Fit values of the sites."""
    from floorfit.dishing import web_dishes
    from floorfit.noticed import SCATTERED
    from floorfit.readings.misplaced import refuse_slipped
    from floorfit.readings.sequence import sequence
    from floorfit.surface import fit_surface

    order = sequence(seen.readings)[0][sites.rows]
    fit = fit_surface(
        sites.points,
        values,
        sites.u,
        bounds=part.bounds,
        smallest_mm=part.narrowest,
        seed=settings.seed,
        shapes=web_dishes(part),
        order=order,
        is_z_measured=bool(seen.is_z_measured[sites.rows].any()),
        modes=modes,
        known=known,
    )
    aside = np.mean(fit.weights < 0.5) + np.mean(np.isfinite(seen.warp) & ~seen.is_used)
    if fit.dispersion > SCATTERED or aside > MANY_ASIDE:
        refuse_slipped(seen)
    return fit.allowing_for_drift(sites.points, sites.u, order, settings.seed)


def _decided(
    part: Part,
    taken: Prepared,
    settings: Settings,
    seen: Observations,
    sites: Sites,
    fit: Fit,
    agreed: Agreement | None,
    modes: Modes | None,
    scale: float,
) -> Result:
    from floorfit.decision.odd_web import odd_webs
    from floorfit.noticed import allowing_for, fit_findings, hidden_drift, shared_errors, shared_findings, with_unplaced
    from floorfit.readings.causes import doubted_floors
    from floorfit.readings.sequence import sorted_findings
    from floorfit.web import Webs

    source = seen.readings.source
    mean = None if agreed is None else agreed.used
    systematic, drift = shared_errors(part, seen, sites, fit, settings.reading_u, mean)
    systematic = with_unplaced(seen, fit, systematic, scale)
    large = [one for one in systematic if one.size > settings.systematic]
    fit = allowing_for(fit, large, settings.seed)
    webs = Webs(fit.surface, _available(seen, sites, fit), settings.bias)
    decisions = _decisions(part, taken, settings, webs, fit, seen)
    doubted = doubted_floors(part, large, [one.margin_mm for one in decisions])
    odd = odd_webs(part, webs, fit, sites.points, sites.u, seen.floor[sites.rows], decisions, settings.decision.level)
    decisions = _held(part, taken, decisions, odd | doubted | _lost(seen, sites, fit))
    found = (
        *taken.findings,
        *_datum_findings(part, taken.frame, fit),
        *fit_findings(source, fit, agreed, settings.systematic, modes is not None),
        *shared_findings(source, systematic),
        *(sorted_findings(seen.readings) or hidden_drift(source, fit, systematic, drift, settings.systematic)),
    )
    applied = taken.gauge, taken.frame
    return Result(part, taken.shown, settings, seen, fit, webs, decisions, found, *applied, systematic)


def _datum_findings(part: Part, frame: Frame | None, fit: Fit) -> tuple[Finding, ...]:
    if frame is None:
        return ()
    from floorfit.readings.datum import datum_findings

    surface, posterior = fit.surface.at, fit.posterior.std_at
    return datum_findings(frame, part.bounds, lambda at: surface(*at.T), lambda at: posterior(*at.T))


def _counts(part: Part, seen: Observations) -> tuple[list[int], list[int]]:
    """Readings of each floor that are used, and that came."""
    used, came = seen.floor[seen.is_used], seen.floor[seen.floor >= 0]
    used = used[used >= 0]
    count = len(part.pockets)
    return np.bincount(used, minlength=count).tolist(), np.bincount(came, minlength=count).tolist()


def _decisions(
    part: Part, taken: Prepared, settings: Settings, webs: Webs, fit: Fit, seen: Observations
) -> tuple[Decision, ...]:
    """Decide every floor, with its budget."""
    from floorfit.decision import decide
    from floorfit.decision.budget import with_budgets
    from floorfit.decision.floor_warp import floor_means

    floors, noise = floor_means(part, webs), _noise(seen, settings, taken)
    common_u = float(np.linalg.norm([noise.machine_u, noise.calibration_u, noise.moved_u, noise.bias_u]))
    decisions = decide(
        part,
        webs,
        fit.posterior,
        *_counts(part, seen),
        settings.decision,
        common_u=common_u,
        seed=settings.seed,
        floors=floors,
    )
    return with_budgets(fit, floors, decisions, noise)


def _held(part: Part, taken: Prepared, decisions: tuple[Decision, ...], lost: dict[int, str]) -> tuple[Decision, ...]:
    """Hold floors whose readings were lost, and all where nobody knows the floors' Z."""
    from floorfit.decision.decide import hold_each, hold_some
    from floorfit.decision.decision import Reason
    from floorfit.readings.floor_z import UNKNOWN_Z

    kept = hold_some(decisions, lost)
    return kept if taken.is_z_known else hold_each(part, kept, Reason("floor-z-unknown", UNKNOWN_Z))


def _lost(seen: Observations, sites: Sites, fit: Fit) -> dict[int, str]:
    """Floors of which the fit set so many readings aside that they are held."""
    from floorfit.readings.outliers import lost_floors

    u = sites.u * np.sqrt(fit.dispersion) * fit.scale
    return lost_floors(seen.floor[sites.rows], sites.points, fit.weights < 0.5, fit.loo.residual, u)


def _available(seen: Observations, sites: Sites, fit: Fit) -> Surface | None:
    """Web left by roughing less nominal web and stock, where the floor's Z was measured.

    A floor that moved with the plate after roughing has all its stock still; one that lies where the programme put
    it has lost the warp. Measured Z tells which.
    """
    if not seen.is_z_measured[seen.is_used].any():
        return None
    return fit.smoother.smoothed(sites.points, sites.left, sites.u)


def _noise(seen: Observations, settings: Settings, taken: Prepared) -> ReadingNoise:
    from floorfit.decision.budget import ReadingNoise

    rows = seen.is_used
    total = float(np.mean(seen.u[rows] ** 2)) if rows.any() else 1.0
    with_z = float(np.mean(seen.is_z_measured[rows])) if rows.any() else 0.0
    return ReadingNoise(
        z_share=min(1.0, with_z * settings.z_u**2 / total),
        resolution_share=min(0.5, settings.resolution**2 / 12 / total),
        calibration_u=taken.calibration_u,
        machine_u=settings.machine_u,
        moved_u=taken.moved_u,
        # Half of its size where none is stated: our choice, no source.
        bias_u=abs(settings.bias) / 2 if settings.bias_u is None else settings.bias_u,
    )


def _without_surface(part: Part, taken: Prepared, settings: Settings, seen: Observations, words: str) -> Result:
    from floorfit.decision import hold_all

    unused = np.where(seen.is_used, "no-surface: the readings do not fix a surface", seen.reason)
    decisions = hold_all(part, _counts(part, seen)[1], words)
    seen = replace(seen, reason=np.asarray(unused, object))
    return Result(part, taken.shown, settings, seen, None, None, decisions, taken.findings, taken.gauge, taken.frame)
