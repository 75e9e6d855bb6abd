"""Readings of finished webs against the tolerance and against what the job predicted: one call."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit import sealed
from floorfit.arrays import Array, Flags, Rows
from floorfit.as_cut import as_cut
from floorfit.cutter_left import read_cutter_left
from floorfit.decision.decision import verdict_of
from floorfit.errors import ABOVE_ZERO, Finding, InputError, check_ranges
from floorfit.part.model import Part
from floorfit.readings.ids import match_labels
from floorfit.readings.observations import Readings
from floorfit.readings.readings_file import read_readings
from floorfit.record import Record, record_of
from floorfit.verify.bias import K95, common_bias, no_bias, pockets_apart
from floorfit.verify.doubts import LIMIT_BIAS_MM, looks_roughed, refuse_unfit, why_withheld
from floorfit.verify.misfiled import of_other_plate, read_in_part, set_copied_aside, turned
from floorfit.verify.mixed import dispersion_of, fit_grouped, group_means
from floorfit.verify.movement import LIMIT_MM, find_movement
from floorfit.verify.otherwise import cut_otherwise, not_as_predicted, tilts_unread
from floorfit.verify.predicted import Prediction
from floorfit.verify.proved import Bias, FloorProof, Intervals, Movement, ReadingProof, Verification
from floorfit.verify.taken import Taken, set_lonely_aside, take
from floorfit.verify.webs import Step, chance_at, fit_field, gauge_dispersion, prove_floor, unread

if TYPE_CHECKING:
    from floorfit.readings.gauge import Gauge
    from floorfit.result import Result

__all__ = ["verify"]


def verify(
    job: Record | Result | str | Path,
    readings: Readings | str | Path,
    *,
    part: Part | None = None,
    left: str | Path | None = None,
    gauge: Gauge | None = None,
    ids: Mapping[str, str] | None = None,
    movement_limit_mm: float = LIMIT_MM,
    bias_limit_mm: float = LIMIT_BIAS_MM,
    digest: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> Verification:
    """Verify finished webs.

    Parameters
    ----------
    job : Record, Result or path
        That the webs were cut by: a run, its record, or its job folder.
    readings : Readings or path
        Of finished webs, or their file; some pockets may be missing.
    part : Part, optional
        The nominal part; that of the job where left out.
    left : path, optional
        The table that ``apply`` wrote beside the corrected programme: the prediction counts what the cutters leave.
    gauge : Gauge, optional
        Calibrated gauge, applied to the readings first, as for ``correct``.
    ids : mapping of str to str, optional
        Id in the part of each label in the readings, as for ``correct``.
    movement_limit_mm : float, mm
        Size of a smooth field beyond the common bias from which the answer is "measure again".
    bias_limit_mm : float, mm
        Largest bias that is offered where the job states no uncertainty of the machine.
    digest : str, optional
        SHA-256 of the readings' file: the job's own is refused. Taken from the file where ``readings`` is one.
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        If the readings are those that the job was made from, or of another part, serial or side, if the record's part
        does not hold together, ``part`` has other pockets, ``left`` is not of this job, or a limit is not above zero.

    Notes
    -----
    A reading on a finished web gives its deviation from the local nominal, along Z. Less the predicted deviation
    ``dz − w`` it is split into a bias that all pockets share, each pocket's own, and a smooth field over the plate.
    """
    limits = ("movement_limit_mm", movement_limit_mm), ("bias_limit_mm", bias_limit_mm)
    check_ranges("verify", [(*limit, ABOVE_ZERO) for limit in limits])
    tell = progress or (lambda words: None)
    record = record_of(job)
    if not isinstance(readings, Readings):
        digest = sealed.digest(readings)
        readings = read_readings(readings, record.part.get("units", "mm"))
    prediction = _prediction(record, part, left)
    doubts = [*refuse_unfit(prediction, readings, digest), *_told_left(prediction, left)]
    readings, told, uncalibrated = _calibrated(record, readings, gauge)
    readings, matched = match_labels(prediction.part, readings, ids)
    tell("placing the readings")
    taken = set_lonely_aside(set_copied_aside(prediction, take(prediction, readings), readings), readings.thickness)
    bias, movement, steps = _split(prediction, taken, movement_limit_mm)
    tell("fitting what was not predicted")
    otherwise, why, other = _otherwise(prediction, taken, steps, movement, readings.source)
    in_part = {**read_in_part(prediction.part, taken), **tilts_unread(prediction, taken)}
    floors = _floors(prediction, taken, steps, _unproved(taken, in_part, other))
    rough = looks_roughed(prediction, taken)
    withheld = uncalibrated or why_withheld(prediction, bias, movement, floors, rough, bias_limit_mm)
    proof = _reading_proof(prediction, taken)
    intervals = _intervals(prediction, proof, floors, bias)
    share = _share_limits(intervals.inside_without_bias, intervals.total)
    otherwise = otherwise or not_as_predicted(intervals, share, readings.source)
    otherwise += [*turned(prediction, readings, taken), *_part_findings(prediction, readings.source, in_part)]
    doubts += [*told, *_rough_findings(readings.source, rough), *matched, *otherwise, *taken.findings]
    return Verification(
        job=record.job, part=prediction.part, level=prediction.level, applied_bias=prediction.bias,
        source=readings.source, line=readings.line, x=readings.x, y=readings.y, thickness=readings.thickness,
        readings=proof, floors=floors, bias=bias, movement=movement, intervals=intervals, identity=record.identity,
        findings=(*doubts, *_findings(readings.source, floors, bias, movement)), withheld=why or withheld,
    )  # fmt: skip


def _calibrated(record: Record, readings: Readings, gauge: Gauge | None) -> tuple[Readings, list[Finding], str]:
    """Readings by the gauge, what it tells, and why no bias is carried on: the job had a gauge, and these have none."""
    if gauge is not None:
        from floorfit.readings.gauge_applied import apply_gauge

        applied = apply_gauge(gauge, readings)
        return replace(readings, thickness=applied.thickness), list(applied.findings), ""
    if record.gauge is None:
        return readings, [], ""
    text = (
        "the job's readings were corrected by a calibrated gauge, and these are taken as they came. Give --gauge, "
        "unless the gauge that read them shows true thickness."
    )
    why = "the job's readings were corrected by a gauge, and these were not"
    return readings, [Finding("gauge-not-given", readings.source, "", text, "warning")], why


def _otherwise(
    prediction: Prediction, taken: Taken, steps: dict[int, Step], movement: Movement, source: str
) -> tuple[list[Finding], str, str]:
    """What tells of webs cut otherwise than decided, why no bias is carried on, and why it is another plate."""
    told, why = cut_otherwise(prediction, taken, steps, source)
    other = "" if told or movement.state == "measure-again" else of_other_plate(prediction, taken)
    if other:
        told, why = [Finding("other-plate", source, "", other, "warning")], "not this plate's webs"
    return told, why, other


def _unproved(taken: Taken, in_part: dict[int, tuple[str, bool]], other: str) -> dict[int, str]:
    """Why a floor is left undecided that conforms where it was read."""
    if other:
        return dict.fromkeys(taken.rows_of, f"other-plate: {other}")
    return {k: f"read-in-part: {words}" for k, (words, is_so) in in_part.items() if is_so}


def _part_findings(prediction: Prediction, source: str, in_part: dict[int, tuple[str, bool]]) -> list[Finding]:
    names = {k: f"pocket {pocket.id}" for k, pocket in enumerate(prediction.part.pockets)}
    return [Finding("read-in-part", source, names[k], words, "warning") for k, (words, _) in in_part.items()]


def _rough_findings(source: str, names: list[str]) -> list[Finding]:
    if not names:
        return []
    text = (
        f"{len(names)} pockets ({', '.join(names[:4])}) read like the web before finishing: not cut yet, or the wrong "
        "file. Read them when they are finished."
    )
    return [Finding("looks-roughed", source, "", text, "warning")]


def _floors(
    prediction: Prediction, taken: Taken, steps: dict[int, Step], unproved: dict[int, str]
) -> tuple[FloorProof, ...]:
    field, spread = fit_field(prediction, taken, steps), gauge_dispersion(prediction, taken)
    found = [unread(prediction, taken, k) for k in range(len(prediction.part.pockets))]
    for k, step in steps.items():
        found[k] = prove_floor(prediction, taken, k, field, step, spread)
        if found[k].verdict == "conform" and k in unproved:
            found[k] = replace(found[k], verdict="undecided", reason=unproved[k])
    return tuple(found)


def _told_left(prediction: Prediction, left: str | Path | None) -> list[Finding]:
    if left is None:
        return []
    off = [pocket.id for k, pocket in enumerate(prediction.part.pockets) if prediction.of_cutter(k).off]
    text = "the webs are compared with the decision and with what the cutters leave."
    if off:
        names = ", ".join(off[:4])
        text = (
            "the webs are compared with the decision and with what the cutters leave; the programme cuts "
            f"{len(off)} floors at another height ({names})."
        )
    return [Finding("as-cut", Path(left).name, "", text, "note")]


def _prediction(record: Record, part: Part | None, left: str | Path | None) -> Prediction:
    prediction = Prediction.of(record)
    if left is not None:
        prediction = replace(prediction, record=as_cut(record, left), left=read_cutter_left(record, left))
    if part is None:
        return prediction
    if [one.id for one in part.pockets] != [one.pocket for one in record.decisions]:
        text = "the pockets differ from those of the job. Give the part that the job was made for."
        raise InputError([Finding("other-part", part.source or "part", "pockets", text)])
    return replace(prediction, part=part)


def _split(prediction: Prediction, taken: Taken, limit: float) -> tuple[Bias, Movement, dict[int, Step]]:
    """Split measured less predicted into common bias, smooth field and steps."""
    steps = {k: _own_step(taken, rows) for k, rows in taken.rows_of.items()}
    cut = np.array([k for k in steps if not prediction.is_held(k)], dtype=np.intp)
    apart = pockets_apart(*np.array([(steps[k].bias, steps[k].bias_u) for k in cut.tolist()]).reshape(-1, 2).T)
    common = cut[~apart]
    if not len(common):
        return no_bias(), Movement.unknown(limit), steps
    chosen = np.flatnonzero(taken.is_used & np.isin(taken.floor, common))
    group = np.searchsorted(common, taken.floor[chosen])
    gap, u = taken.gap[chosen], taken.u[chosen]
    movement, moved, field = find_movement(taken.points[chosen], gap, group, u, limit)
    fit = moved or fit_grouped(np.ones((len(gap), 1)), gap, group, u * np.sqrt(dispersion_of(gap, group, u)))
    bias = common_bias(gap - field, group, u, fit, prediction.shared_u(common))
    for k, own, own_u in zip(common.tolist(), fit.effects.tolist(), fit.effects_u.tolist(), strict=True):
        steps[k] = replace(steps[k], value=bias.value + own, u=own_u, is_apart=False)
    return bias, movement, steps


def _own_step(taken: Taken, rows: Rows) -> Step:
    gap, alone = taken.gap[rows], np.zeros(len(rows), np.intp)
    u = taken.u[rows] * np.sqrt(dispersion_of(gap, alone, taken.u[rows]))
    mean, mean_u = (float(one[0]) for one in group_means(gap, alone, u))
    return Step(mean, mean_u, mean, mean_u, True)


def _reading_proof(prediction: Prediction, taken: Taken) -> ReadingProof:
    chance = chance_at(taken.deviation, taken.u, taken.limits)
    held = [k for k in range(len(prediction.part.pockets)) if prediction.is_held(k)]
    predicted = np.where(np.isin(taken.floor, held), np.nan, taken.predicted)
    u = np.hypot(taken.predicted_u, taken.u)
    return ReadingProof(
        floor=taken.floor,
        is_used=taken.is_used,
        reason=tuple(str(words) for words in taken.reason),
        deviation=taken.deviation,
        predicted=predicted,
        predicted_u=np.where(np.isfinite(predicted), taken.predicted_u, np.nan),
        u=taken.u,
        probability=chance,
        verdict=tuple(verdict_of(p, prediction.level) if np.isfinite(p) else "" for p in chance.tolist()),
        is_inside=_is_inside(prediction, taken.floor, taken.deviation - predicted, u),
    )


def _is_inside(prediction: Prediction, floor: Rows, gap: Array, u: Array) -> Flags:
    """Whether measured less predicted lies in its 95 % interval, widened by what the cutters may leave."""
    known = [prediction.of_cutter(index) for index in range(len(prediction.part.pockets))]
    deep, high = np.array([*((one.deep, one.high) for one in known), (0.0, 0.0)])[floor].T
    return np.asarray((gap >= -deep - K95 * u) & (gap <= high + K95 * u))


def _intervals(prediction: Prediction, proof: ReadingProof, floors: tuple[FloorProof, ...], bias: Bias) -> Intervals:
    rows = proof.is_used & np.isfinite(proof.predicted)
    inside, total = int((proof.is_inside & rows).sum()), int(rows.sum())
    gap = proof.deviation - proof.predicted - (bias.value if np.isfinite(bias.value) else 0.0)
    without = int((_is_inside(prediction, proof.floor, gap, np.hypot(proof.predicted_u, proof.u)) & rows).sum())
    held = [floor.is_interval_held for floor in floors if floor.is_interval_held is not None]
    return Intervals(inside, total, _share_limits(inside, total), without, sum(held), len(held))


def _share_limits(inside: int, total: int) -> tuple[float, float]:
    """95 % limits of a binomial share (Clopper & Pearson, Biometrika 26, 404, 1934)."""
    from scipy.special import betaincinv

    if not total:
        return (float("nan"), float("nan"))
    low = float(betaincinv(inside, total - inside + 1, 0.025)) if inside else 0.0
    high = float(betaincinv(inside + 1, total - inside, 0.975)) if inside < total else 1.0
    return (low, high)


def _findings(source: str, floors: tuple[FloorProof, ...], bias: Bias, movement: Movement) -> tuple[Finding, ...]:
    out = []
    for floor in floors:
        if floor.is_apart and np.isfinite(floor.bias):
            text = (
                f"{1000 * floor.bias:+.0f} µm from what was predicted, unlike the others; left out of the common bias."
            )
            out.append(Finding("pocket-apart", source, f"pocket {floor.pocket}", text, "warning"))
    if movement.state == "measure-again":
        text = (
            f"the webs differ from the prediction by a smooth field of up to {1000 * movement.size:.0f} µm beyond what "
            f"all share (limit {1000 * movement.limit:.0f} µm): the plate moved since the first readings. Measure the "
            "pockets that remain again and run `correct` anew; a common bias would not mend this."
        )
        out.append(Finding("moved", source, "", text, "warning"))
    if movement.state == "unclear":
        text = (
            "a smooth movement of the plate cannot be told from the pockets' own scatter. Read more finished pockets."
        )
        out.append(Finding("unclear-movement", source, "", text, "warning"))
    if bias.pockets == 1:
        text = "one finished pocket: its bias may be its own. Read a second one before it is used for others."
        out.append(Finding("one-pocket", source, "", text, "warning"))
    return tuple(out)
