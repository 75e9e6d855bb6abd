"""From a result to its record: the same numbers, as plain data with names and units."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from floorfit.decision.decision import Decision
from floorfit.layers import map_layers
from floorfit.part.part_file import part_to_document
from floorfit.readings.gauge_file import gauge_to_document
from floorfit.record import (
    DecisionRecord,
    FollowRecord,
    InputRecord,
    MapRecord,
    NeighbourRecord,
    ReadingsRecord,
    Record,
    SummaryRecord,
    SurfaceRecord,
)
from floorfit.run import Result
from floorfit.surface.spline import Surface

__all__ = ["closing_sentence", "make_record"]

#: Decimals of the map's layers, mm: a nanometre. Everything else is kept in full.
MAP_DECIMALS = 6


def make_record(result: Result, inputs: Mapping[str, tuple[str, bytes]] | None = None) -> Record:
    """Build the record of a run.

    Parameters
    ----------
    result : Result
    inputs : mapping of str to (name, bytes), optional
        The files that went in, by role; their digests are kept. Without it, the digest of the part's document.

    Returns
    -------
    Record
    """
    document = part_to_document(result.part)
    files = inputs or {"part": (result.part.name, json.dumps(document, sort_keys=True).encode())}
    digests = {
        role: InputRecord(name=name, sha256=hashlib.sha256(data).hexdigest()) for role, (name, data) in files.items()
    }
    settings = asdict(result.settings)
    return Record(
        job=_job_id(digests, settings),
        created=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        versions=_versions(),
        inputs=digests,
        settings=settings,
        part=document,
        summary=_summary(result),
        surface=_surface(result),
        decisions=[_decision(one) for one in result.decisions],
        readings=_readings(result),
        map=_map(result),
        neighbours=[
            NeighbourRecord(a=step.first, b=step.second, rib_mm=step.gap, at_mm=step.place, step_mm=step.step)
            for step in result.neighbours
        ],
        findings=[asdict(finding) for finding in result.findings],
        gauge=None if result.gauge is None else gauge_to_document(result.gauge),
        frame=None if result.frame is None else result.frame.document(),
    )


def closing_sentence(result: Result) -> str:
    """The one line that a person can act on: how many floors are corrected, and which are not, and why."""
    total = len(result.decisions)
    held = [one for one in result.decisions if one.action == "hold"]
    doubtful = [one for one in result.decisions if one.action != "hold" and one.verdict != "conform"]
    line = f"{total - len(held)} of {total} pockets corrected"
    if held:
        line += f", {len(held)} held: {_named(held)}"
    if doubtful:
        line += f"; not sure to conform: {_named(doubtful)}"
    if not held and not doubtful:
        line += ", all predicted to conform"
    return line + "."


def _named(decisions: Iterable[Decision], most: int = 4) -> str:
    rows = list(decisions)
    names = [f"{one.pocket} ({one.reason.split(':')[0] or one.verdict})" for one in rows[:most]]
    if len(rows) > most:
        names.append(f"and {len(rows) - most} more")
    return ", ".join(names)


def _job_id(digests: Mapping[str, InputRecord], settings: Mapping[str, Any]) -> str:
    text = json.dumps([{k: v.sha256 for k, v in digests.items()}, settings], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _versions() -> dict[str, str]:
    out = {"python": platform.python_version()}
    for name in ("floorfit", "numpy", "scipy", "shapely"):
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            out[name] = "unknown"
    return out


def _summary(result: Result) -> SummaryRecord:
    verdicts = [one.verdict for one in result.decisions]
    held = sum(one.action == "hold" for one in result.decisions)
    return SummaryRecord(
        pockets=len(verdicts),
        corrected=len(verdicts) - held,
        held=held,
        conform=sum(one.verdict == "conform" and one.action != "hold" for one in result.decisions),
        undecided=verdicts.count("undecided"),
        nonconform=verdicts.count("nonconform"),
        readings=len(result.readings),
        readings_used=int(result.used.is_used.sum()),
        sentence=closing_sentence(result),
    )


def _surface(result: Result) -> SurfaceRecord | None:
    fit = result.fit
    if fit is None:
        return None
    grid = fit.surface.grid
    available = None if result.webs is None else result.webs.available
    x_axis, y_axis = (grid.across, grid.along) if grid.swapped else (grid.along, grid.across)
    return SurfaceRecord(
        knots_x_mm=x_axis.knots.tolist(),
        knots_y_mm=y_axis.knots.tolist(),
        coefficients_mm=_coefficients(fit.surface),
        available_mm=None if available is None else _coefficients(available),
        smoothing=fit.smoothing,
        reach_mm=fit.reach,
        tension_mm=fit.tension,
        noise_inflation=fit.inflation,
        effective_parameters=fit.effective_parameters,
        unknowns=grid.unknowns,
        cell_mm=fit.cell,
        readings_used=int(result.used.is_used.sum()),
        notes=[],
    )


def _coefficients(surface: Surface) -> list[list[float]]:
    """Along X × Y, whichever way the grid lies."""
    swapped = surface.grid.swapped
    return (surface.coefficients.T if swapped else surface.coefficients).tolist()  # type: ignore[no-any-return]


def _decision(one: Decision) -> DecisionRecord:
    grid = one.correction.grid
    follow = (
        None
        if grid is None
        else FollowRecord(x_mm=grid.x.tolist(), y_mm=grid.y.tolist(), offset_mm=grid.offset.tolist())
    )
    return DecisionRecord(
        pocket=one.pocket,
        action=one.action,
        centroid_mm=one.correction.centroid,
        offset_mm=_number(one.correction.offset),
        slope_x=one.correction.slope[0],
        slope_y=one.correction.slope[1],
        offset_u_mm=_number(one.offset_u),
        web_before_min_mm=_number(one.web_before_min),
        web_before_max_mm=_number(one.web_before_max),
        web_after_min_mm=_number(one.web_after_min),
        web_after_max_mm=_number(one.web_after_max),
        web_after_interval_mm=(_number(one.web_after_interval[0]), _number(one.web_after_interval[1])),
        web_lower_limit_mm=_number(one.web_lower_limit),
        web_upper_limit_mm=_number(one.web_upper_limit),
        conformance_probability=_number(one.conformance_probability),
        thin_probability=_number(one.thin_probability),
        thick_probability=_number(one.thick_probability),
        verdict=one.verdict,
        reason=one.reason,
        margin_mm=_number(one.margin),
        readings_used=one.readings_used,
        budget_mm=dict(one.budget),
        suggestion_mm=one.suggestion,
        notes=list(one.notes),
        follow=follow,
    )


def _readings(result: Result) -> ReadingsRecord:
    table, used = result.readings, result.used
    ids = [pocket.id for pocket in result.part.pockets]
    return ReadingsRecord(
        line=table.line.tolist(),
        x_mm=table.x.tolist(),
        y_mm=table.y.tolist(),
        thickness_mm=_numbers(table.thickness),
        z_mm=_numbers(table.z),
        u_mm=_numbers(used.u),
        label=[str(label) for label in table.pocket],
        floor=[ids[k] if k >= 0 else "" for k in used.floor],
        used=used.is_used.tolist(),
        reason=list(used.reason),
        warp_mm=_numbers(used.warp),
        residual_mm=_numbers(used.residual),
        loo_mm=_numbers(used.loo),
        weight=_numbers(used.weight),
    )


def _map(result: Result) -> MapRecord | None:
    layers = map_layers(result)
    if layers is None:
        return None
    return MapRecord(
        x_mm=layers.x.tolist(),
        y_mm=layers.y.tolist(),
        warp_mm=_rows(layers.warp),
        warp_u_mm=_rows(layers.warp_u),
        pocket=layers.pocket.tolist(),
        web_before_mm=_rows(layers.web_before),
        web_after_mm=_rows(layers.web_after),
        margin_mm=_rows(layers.margin),
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _numbers(values: ArrayLike) -> list[float | None]:
    array = np.asarray(values, float)
    if np.isfinite(array).all():
        return array.tolist()  # type: ignore[no-any-return]
    return [value if np.isfinite(value) else None for value in array.tolist()]


def _rows(values: ArrayLike) -> list[list[float | None]]:
    return [_numbers(row) for row in np.round(np.asarray(values, float), MAP_DECIMALS)]
