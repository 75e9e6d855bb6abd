"""How a run becomes its record: the numbers as they are, the closing line, digests and versions."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from floorfit.closing import closing_sentence
from floorfit.decision.decision import known
from floorfit.part.part_file import part_to_document
from floorfit.record import (
    DishRecord,
    InputRecord,
    ReadingsRecord,
    Record,
    SummaryRecord,
    SurfaceRecord,
    SystematicRecord,
)
from floorfit.versions import version_of
from floorfit.whole import moment

if TYPE_CHECKING:
    from floorfit.readings.gauge import Gauge
    from floorfit.result import Result
    from floorfit.surface.spline import Surface

__all__ = ["make_record"]

#: Whose versions the record keeps, beside Python's.
PACKAGES = ("floorfit", "numpy", "scipy", "shapely")


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
    settings = result.settings.flat()
    shared = [
        SystematicRecord(kind=one.kind, name=one.name, unit=one.unit, effect=one.effect, u=one.u, size_mm=one.size,
                         chance=one.chance) for one in result.systematic
    ]  # fmt: skip
    return Record(
        job=_job_id(digests, settings),
        created=moment().strftime("%Y-%m-%dT%H:%M:%SZ"),
        versions={"python": platform.python_version(), **{name: version_of(name) for name in PACKAGES}},
        inputs=digests,
        settings=settings,
        part=document,
        summary=_summary(result),
        surface=_surface(result),
        decisions=list(result.decisions),
        readings=_readings(result),
        map=result.map,
        neighbours=list(result.neighbours),
        findings=[asdict(finding) for finding in result.findings],
        gauge=None if result.gauge is None else _gauge(result.gauge),
        frame=None if result.frame is None else result.frame.document(),
        identity=dict(result.readings.identity),
        systematic=shared,
    )


def _gauge(gauge: Gauge) -> dict[str, Any]:
    from floorfit.readings.gauge_file import gauge_to_document  # the file's model, which no run without a gauge needs

    return gauge_to_document(gauge)


def _job_id(digests: Mapping[str, InputRecord], settings: Mapping[str, Any]) -> str:
    text = json.dumps([{k: v.sha256 for k, v in digests.items()}, settings], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _summary(result: Result) -> SummaryRecord:
    verdicts = [one.verdict for one in result.decisions]
    held = sum(one.action == "hold" for one in result.decisions)
    return SummaryRecord(
        pockets=len(verdicts),
        corrected=len(verdicts) - held,
        held=held,
        conform=sum(one.is_sure for one in result.decisions),
        undecided=verdicts.count("undecided"),
        nonconform=verdicts.count("nonconform"),
        readings=len(result.readings),
        readings_used=int(result.observations.is_used.sum()),
        sentence=closing_sentence(result),
        part_probability=known(result.part_probability),
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
        **_dishes(fit.surface, available),
        dish_size_mm=fit.shape_size,
        smoothing=fit.smoothing,
        smooth_length_mm=fit.smooth_length,
        tension_mm=fit.tension,
        prior_share=fit.modes_share,
        prior_size_mm=fit.modes_size,
        dispersion=fit.dispersion,
        effective_parameters=fit.effective_parameters,
        unknowns=grid.unknowns,
        cell_mm=fit.cell,
        readings_used=int(result.observations.is_used.sum()),
        notes=[],
    )


def _dishes(surface: Surface, available: Surface | None) -> dict[str, Any]:
    """Dishes and their forms; webs of one form share it."""
    if surface.shapes is None:
        return {}
    tables = surface.shapes.tables
    keys = [table.values.tobytes() for table in tables]
    forms = {key: table.values.tolist() for key, table in zip(keys, tables, strict=True)}
    numbers = {key: number for number, key in enumerate(forms)}
    left = np.zeros(surface.shapes.count) if available is None else available.amounts
    rows = zip(surface.shapes.names, tables, keys, surface.amounts.tolist(), left.tolist(), strict=True)
    dishes = [
        DishRecord(web=name, low_mm=table.low, high_mm=table.high, form=numbers[key], warp_mm=own, available_mm=over)
        for name, table, key, own, over in rows
    ]
    return {"dishes": dishes, "dish_forms": list(forms.values())}


def _coefficients(surface: Surface) -> list[list[float]]:
    """Along X × Y, whichever way the grid lies."""
    swapped = surface.grid.swapped
    return (surface.coefficients.T if swapped else surface.coefficients).tolist()  # type: ignore[no-any-return]


def _readings(result: Result) -> ReadingsRecord:
    table, seen = result.readings, result.observations
    ids = [pocket.id for pocket in result.part.pockets]
    return ReadingsRecord.model_construct(  # lists of arrays' numbers: nothing to validate, and no second copy
        line=table.line.tolist(),
        x_mm=table.x.tolist(),
        y_mm=table.y.tolist(),
        thickness_mm=_numbers(table.thickness),
        z_mm=_numbers(table.z),
        u_mm=_few(seen.u),
        label=[str(label) for label in table.pocket],
        floor=[ids[k] if k >= 0 else "" for k in seen.floor],
        used=seen.is_used.tolist(),
        reason=seen.reason.tolist(),
        warp_mm=_numbers(seen.warp),
        residual_mm=_numbers(seen.residual),
        loo_mm=_numbers(seen.loo),
        weight=_few(seen.weight),
    )


def _few(values: ArrayLike) -> list[float | None]:
    """Numbers of which many are equal: each is kept once, a third of the memory."""
    kept: dict[float | None, float | None] = {}
    return [kept.setdefault(value, value) for value in _numbers(values)]


def _numbers(values: ArrayLike) -> list[float | None]:
    array = np.asarray(values, float)
    if np.isfinite(array).all():
        return array.tolist()  # type: ignore[no-any-return]
    return [value if np.isfinite(value) else None for value in array.tolist()]
