"""The run as one function: part and readings in, a decision for every floor out; no file, no terminal.

Follow a reading: it is screened (`readings.screen`), turned into a warp (`readings.warp_values`), repeats of a place
are combined, the surface is fitted (`surface.fit_surface`), what the fit does not believe is set aside with a name,
and each floor is decided from the surface (`decision.decide`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import Finding, InputError, NumericalError
from floorfit.part.model import Part
from floorfit.readings.observations import Readings
from floorfit.result import Result, Settings, Used

if TYPE_CHECKING:
    from floorfit.decision import Decision
    from floorfit.decision.budget import ReadingNoise
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.readings.screening import Screened
    from floorfit.readings.systematic import Systematic
    from floorfit.surface import Fit, Surface
    from floorfit.surface.expected import Agreement, Expected
    from floorfit.web import Webs

__all__ = ["Result", "Settings", "Used", "correct"]

Array = NDArray[np.float64]

#: Readings up to which errors that they share are looked for: beyond, each cause costs seconds.
MOST_SEARCHED = 20_000


def correct(
    part: Part,
    readings: Readings,
    settings: Settings | None = None,
    *,
    gauge: Gauge | None = None,
    frame: Frame | None = None,
    expected: Expected | None = None,
    ids: Mapping[str, str] | None = None,
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
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    Result

    Notes
    -----
    Signs: warp w > 0 where the plate stands high; ``dz > 0`` raises the floor; the web is ``web + dz − w``.
    Readings that do not fix a surface (fewer than three places, or all in one line) hold every floor; that is an
    answer, not an error.
    """
    from floorfit.readings.screening import screen

    _check_tolerances(part)
    chosen = settings or Settings()
    tell = progress or (lambda words: None)
    tell("screening the readings")
    taken = _with_floor_z(part, _labelled(part, _prepared(readings, gauge, frame), ids), chosen)
    readings = taken.readings
    screened = screen(
        part,
        readings,
        probe_radius_mm=chosen.probe_radius,
        wall_clearance_mm=chosen.wall_clearance,
        u_mm=chosen.reading_u,
        z_u_mm=chosen.z_u,
    )
    given = np.bincount(screened.floor[screened.floor >= 0], minlength=len(part.pockets))
    tell("fitting the surface")
    try:
        places, fit = _fitted(part, readings, screened, chosen, expected)
    except NumericalError as error:
        return _without_surface(part, taken, chosen, screened, given, str(error))
    used = _used(part, readings, screened, places, fit)
    tell("deciding the floors")
    return _decided(part, taken, chosen, screened, places, fit, used, given)


def _check_tolerances(part: Part) -> None:
    """Refuse tolerances by region: one pair of limits holds over a floor here, and a wrong pair would be scrap."""
    names = [pocket.id for pocket in part.pockets if pocket.tolerances]
    if names:
        text = (
            f"{', '.join(names[:6])}: tolerances by region are read, but an offset is decided for one tolerance a "
            "floor. Split the floor where the tolerance changes, or give the tightest as web_tolerance."
        )
        raise InputError([Finding("region-tolerances", part.source or part.name, "tolerances", text)])


@dataclass(frozen=True)
class _Taken:
    """The readings in the part frame, with the gauge applied.

    ``readings`` are those to compute with, an estimated Z of the floor filled in; ``shown`` are without it.
    """

    readings: Readings
    calibration_u: float
    gauge: Gauge | None
    frame: Frame | None
    findings: tuple[Finding, ...]
    shown: Readings
    moved_u: float = 0.0
    is_z_known: bool = True


def _labelled(part: Part, taken: _Taken, ids: Mapping[str, str] | None) -> _Taken:
    from floorfit.readings.ids import match_labels

    readings, findings = match_labels(part, taken.readings, ids)
    return replace(taken, readings=readings, shown=readings, findings=(*taken.findings, *findings))


def _with_floor_z(part: Part, taken: _Taken, settings: Settings) -> _Taken:
    from floorfit.readings.floor_z import settle_floor_z

    known = settle_floor_z(part, taken.readings, settings.floor_z, settings.moved_u, settings.reading_u)
    return replace(
        taken,
        readings=known.readings,
        findings=(*taken.findings, *known.findings),
        moved_u=known.common_u,
        is_z_known=known.is_known,
    )


def _prepared(readings: Readings, gauge: Gauge | None, frame: Frame | None) -> _Taken:
    from floorfit.readings.datum import readings_to_part
    from floorfit.readings.gauge import apply_gauge

    placed = readings if frame is None else readings_to_part(frame, readings)
    if gauge is None:
        return _Taken(placed, 0.0, None, frame, _untimed(placed), placed)
    applied = apply_gauge(gauge, placed)
    shown = tuple("" if not np.isfinite(t) else f"{t:.4f}" for t in placed.thickness.tolist())
    extra = {**placed.extra, "as_read_mm": shown} if gauge.kind != "tof" else placed.extra
    known = applied.u_common[np.isfinite(applied.u_common)]
    common = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
    gauged = replace(placed, thickness=applied.thickness, extra=extra)
    return _Taken(gauged, common, gauge, frame, applied.findings, gauged)


def _untimed(readings: Readings) -> tuple[Finding, ...]:
    timed = int((np.isfinite(readings.tof) & ~np.isfinite(readings.thickness)).sum())
    if not timed:
        return ()
    text = f"{timed} rows hold a time of flight and no thickness: give --gauge, or they count as blank."
    return (Finding("no-gauge", readings.source, "column tof_us", text, "warning"),)


@dataclass(frozen=True)
class _Places:
    """The used readings with repeats combined: what the surface is fitted to."""

    rows: NDArray[np.intp]
    points: Array
    warp: Array
    u: Array
    agreed: Agreement | None = None


def _fitted(
    part: Part, readings: Readings, screened: Screened, settings: Settings, expected: Expected | None
) -> tuple[_Places, Fit]:
    from floorfit.dishing import web_dishes
    from floorfit.readings.outliers import sequence
    from floorfit.readings.repeats import combine
    from floorfit.surface import fit_surface

    if not screened.used.any():
        raise NumericalError("no reading can be used. Take at least three on each floor, spread over it.")
    warp = screened.warp
    values = np.column_stack([readings.x, readings.y, warp.w])
    together = combine(screened.place, screened.used, values, warp.u)
    places = _Places(together.rows, together.values[:, :2], together.values[:, 2], together.u)
    smallest = min(_width(part, k) for k in range(len(part.pockets)))
    if expected is not None:
        from floorfit.surface.expected import agreement

        places = replace(places, agreed=agreement(places.points, places.warp, places.u, expected, part.bounds))
    mean = None if places.agreed is None else places.agreed.used
    values = places.warp if mean is None else places.warp - mean.at(*places.points.T)
    fit = fit_surface(
        places.points,
        values,
        places.u,
        bounds=part.bounds,
        smallest_mm=smallest,
        seed=settings.seed,
        shapes=web_dishes(part),
        order=sequence(readings)[0][places.rows],
    )
    return places, fit if mean is None else replace(fit, surface=mean.added_to(fit.surface))


def _width(part: Part, index: int) -> float:
    """Smaller side of a floor's bounding box, mm."""
    x0, y0, x1, y1 = part.pockets[index].polygon.bounds
    return float(min(x1 - x0, y1 - y0))


def _used(part: Part, readings: Readings, screened: Screened, places: _Places, fit: Fit) -> Used:
    from floorfit.readings.outliers import name_outliers

    n = len(readings)
    row_of_place = np.full(n, -1, np.intp)
    row_of_place[places.rows] = np.arange(len(places.rows))
    place = np.where(screened.place >= 0, row_of_place[screened.place], -1)
    held = place >= 0
    weight = np.where(held, fit.weights[place], 0.0)
    loo = np.where(held, fit.loo.residual[place], np.nan)
    bad = held & (weight < 0.5)
    residual = screened.warp.w - fit.surface.at(readings.x, readings.y)
    rows = np.flatnonzero(bad)
    scale = float(np.sqrt(np.mean(places.u**2) * fit.inflation)) * fit.scale
    names = name_outliers(
        part, readings, rows, screened.warp.w[rows] - loo[rows], lambda x, y: fit.surface.at(x, y), scale
    )
    reason = [str(words) for words in screened.reason]
    for row, (_, words) in zip(rows, names, strict=True):
        reason[row] = words
    return Used(
        floor=screened.floor,
        is_used=held & ~bad,
        reason=tuple(reason),
        warp=screened.warp.w,
        residual=np.where(np.isfinite(screened.warp.w), residual, np.nan),
        loo=loo,
        weight=np.where(held, weight, np.nan),
        u=screened.warp.u,
    )


def _decided(
    part: Part,
    taken: _Taken,
    settings: Settings,
    screened: Screened,
    places: _Places,
    fit: Fit,
    used: Used,
    given: NDArray[np.intp],
) -> Result:
    from floorfit.decision.neighbours import neighbour_steps
    from floorfit.web import Webs

    readings = taken.readings
    webs = Webs(fit.surface, _available(part, readings, screened, places, used, fit), settings.bias)
    decisions = _decisions(part, taken, settings, webs, fit, used, given, _noise(screened, used, settings, taken))
    decisions = _held(part, taken, decisions, _lost(places, used, fit))
    systematic = _systematic(part, readings, screened, places, fit, used, settings)
    shared = _shared_findings(readings, systematic)
    return Result(
        part,
        taken.shown,
        settings,
        used,
        fit,
        webs,
        decisions,
        neighbour_steps(part, {one.pocket: one.correction for one in decisions}, rib_max_mm=settings.rib_max),
        (*taken.findings, *screened.findings, *_fit_findings(readings, fit, places.agreed), *shared),
        taken.gauge,
        taken.frame,
        systematic,
    )


def _decisions(
    part: Part,
    taken: _Taken,
    settings: Settings,
    webs: Webs,
    fit: Fit,
    used: Used,
    given: NDArray[np.intp],
    noise: ReadingNoise,
) -> tuple[Decision, ...]:
    """Decide every floor, with its budget."""
    from floorfit.decision import decide
    from floorfit.decision.budget import with_budgets

    counted = np.bincount(used.floor[used.is_used], minlength=len(part.pockets))
    common_u = float(np.linalg.norm([settings.machine_u, taken.calibration_u, taken.moved_u, _bias_u(settings)]))
    decisions = decide(
        part,
        webs,
        fit.posterior,
        counted.tolist(),
        given.tolist(),
        settings.decision,
        common_u=common_u,
        seed=settings.seed,
    )
    return with_budgets(part, fit, webs, decisions, noise)


def _held(part: Part, taken: _Taken, decisions: tuple[Decision, ...], lost: dict[int, str]) -> tuple[Decision, ...]:
    """Hold floors whose readings were lost, and all where nobody knows the floors' Z."""
    from floorfit.decision.decide import hold_each, hold_some
    from floorfit.decision.decision import Reason
    from floorfit.readings.floor_z import UNKNOWN_Z

    kept = hold_some(decisions, lost)
    return kept if taken.is_z_known else hold_each(part, kept, Reason("floor-z-unknown", UNKNOWN_Z))


def _lost(places: _Places, used: Used, fit: Fit) -> dict[int, str]:
    """Floors of which the fit set so many readings aside that they are held."""
    from floorfit.readings.lost import lost_floors

    u = places.u * np.sqrt(fit.inflation) * fit.scale
    return lost_floors(used.floor[places.rows], places.points, fit.weights < 0.5, fit.loo.residual, u)


def _systematic(
    part: Part, readings: Readings, screened: Screened, places: _Places, fit: Fit, used: Used, settings: Settings
) -> tuple[Systematic, ...]:
    """Errors that the readings share, estimated jointly with the surface."""
    from floorfit.readings.causes import columns_to_try
    from floorfit.readings.systematic import Sharers, find_systematic

    index = np.full(len(readings), -1, np.intp)
    index[places.rows] = np.arange(len(places.rows))
    place = np.where(screened.place >= 0, index[screened.place], -1)
    rows = np.flatnonzero(place >= 0)
    if len(rows) > MOST_SEARCHED:
        return ()

    def smooth(values: Array) -> Array:
        return fit.followed(places.points, values, places.u)

    weight = fit.weights[place[rows]] / used.u[rows] ** 2
    left = used.residual[rows] - np.broadcast_to(fit.slow_error, fit.weights.shape)[place[rows]]
    square = float((weight * left) @ used.warp[rows])
    columns = columns_to_try(part, readings, screened.floor, place >= 0)
    tried = [replace(one, values=one.values[rows]) for one in columns]
    return find_systematic(Sharers(place[rows], weight, left, square, smooth), tried, settings.reading_u)


def _shared_findings(readings: Readings, found: tuple[Systematic, ...]) -> tuple[Finding, ...]:
    from floorfit.readings.causes import words_of

    return tuple(Finding(f"shared-{one.kind}", readings.source, "", words_of(one), "warning") for one in found)


def _available(
    part: Part, readings: Readings, screened: Screened, places: _Places, used: Used, fit: Fit
) -> Surface | None:
    """Web left by roughing less nominal web and stock, where the floor's Z was measured.

    A floor that moved with the plate after roughing has all its stock still; one that lies where the programme put
    it has lost the warp. Measured Z tells which.
    """
    from floorfit.readings.repeats import combine
    from floorfit.readings.warp import nominal_levels

    held = screened.used
    if not screened.warp.is_z_measured[used.is_used].any():
        return None
    x, y = readings.x[held], readings.y[held]
    rough, _ = nominal_levels(part, x, y, used.floor[held])
    left = np.full(len(readings), np.nan)
    left[held] = screened.warp.z[held] - rough - used.warp[held]
    together = combine(screened.place, held, left[:, None], screened.warp.u)
    return fit.smoothed(places.points, together.values[:, 0], places.u)


def _noise(screened: Screened, used: Used, settings: Settings, taken: _Taken) -> ReadingNoise:
    from floorfit.decision.budget import ReadingNoise

    rows = used.is_used
    total = float(np.mean(used.u[rows] ** 2)) if rows.any() else 1.0
    with_z = float(np.mean(screened.warp.is_z_measured[rows])) if rows.any() else 0.0
    return ReadingNoise(
        z_share=min(1.0, with_z * settings.z_u**2 / total),
        resolution_share=min(0.5, settings.resolution**2 / 12 / total),
        calibration_u=taken.calibration_u,
        machine_u=settings.machine_u,
        moved_u=taken.moved_u,
        bias_u=_bias_u(settings),
    )


def _bias_u(settings: Settings) -> float:
    """Standard uncertainty of the bias: half of its size where none is stated (our choice, no source)."""
    return abs(settings.bias) / 2 if settings.bias_u is None else settings.bias_u


def _fit_findings(readings: Readings, fit: Fit, agreed: Agreement | None) -> tuple[Finding, ...]:
    from floorfit.surface.slow import TOLD_GAIN

    out = [] if agreed is None else [Finding("expected", readings.source, "", agreed.words, "warning")]
    if fit.inflation > 2.0:
        times = float(np.sqrt(fit.inflation))
        text = (
            f"the readings scatter {times:.1f} times as much as stated; offsets are given with the larger "
            "uncertainty. Check gauge and couplant, or state --reading-u."
        )
        out.append(Finding("scatter", readings.source, "", text, "warning"))
    if fit.slow is not None and fit.slow.gain > TOLD_GAIN and np.isfinite(fit.slow.length):
        text = (
            f"the readings change slowly along their order, by {fit.slow.size:.3f} mm (standard deviation) over some "
            f"{fit.slow.length:.0f} readings; it is allowed for. Read a step block now and then, and first places anew."
        )
        out.append(Finding("slow-change", readings.source, "", text, "warning"))
    return tuple(out)


def _without_surface(
    part: Part, taken: _Taken, settings: Settings, screened: Screened, given: NDArray[np.intp], words: str
) -> Result:
    from floorfit.decision import hold_all

    readings = taken.readings
    nan = np.full(len(readings), np.nan)
    used = Used(
        screened.floor,
        np.zeros(len(readings), bool),
        tuple(str(reason) or "no-surface: the readings do not fix a surface" for reason in screened.reason),
        screened.warp.w,
        nan,
        nan,
        nan,
        screened.warp.u,
    )
    decisions = hold_all(part, given.tolist(), words)
    findings = (*taken.findings, *screened.findings)
    return Result(part, taken.shown, settings, used, None, None, decisions, (), findings, taken.gauge, taken.frame)
