"""Readings that are not those of finished webs, and biases that must not be carried to other pockets."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding, InputError
from floorfit.identity import days_between, gauge_overdue, refuse_other_piece
from floorfit.readings.observations import Readings
from floorfit.verify.predicted import Prediction
from floorfit.verify.proved import Bias, FloorProof, Movement
from floorfit.verify.taken import Taken

__all__ = ["LIMIT_BIAS_MM", "looks_roughed", "refuse_unfit", "why_withheld"]

#: Largest bias that is offered or taken where no machine uncertainty is stated, mm: more is a fault of tool length or
#: datum, to be mended and not carried along (our choice, no source).
LIMIT_BIAS_MM = 0.06
#: A bias beyond this many of the machine's stated standard uncertainties is not of the machine as stated.
BEYOND = 3.0
#: Share of the readings that must be those of the job (same place, same thickness) for the file to be the job's own.
SAME_SHARE = 0.5
#: Places and thicknesses that agree to this are the same, mm: files carry a micrometre.
SAME_MM = 0.0006
#: A pass that takes less leaves a web that may read as it did, mm.
LEAST_CUT_MM = 0.01


def refuse_unfit(prediction: Prediction, readings: Readings, digest: str | None = None) -> list[Finding]:
    """Refuse the job's own readings and those of another piece.

    Parameters
    ----------
    prediction : Prediction
    readings : Readings
        Said to be of finished webs.
    digest : str, optional
        SHA-256 of their file.

    Returns
    -------
    list of Finding
        Warnings: what of the piece or the gauge cannot be told.

    Raises
    ------
    InputError
        If the file is the one that the job was made from, at least half of its readings are the job's, or it names
        another part, serial or side.
    """
    record = prediction.record
    own = record.inputs.get("readings")
    is_own_file = digest is not None and own is not None and own.sha256 == digest
    if is_own_file or _share_of_job(prediction, readings) >= SAME_SHARE:
        text = "are the readings that the job was made from: webs before finishing. Give readings of the finished webs."
        raise InputError([Finding("own-readings", readings.source, "", text)])
    return [
        *refuse_other_piece(record.identity, readings.identity, readings.source),
        *gauge_overdue(readings.identity, readings.source),
        *_read_before(record.identity, readings),
    ]


def _read_before(job: Mapping[str, str], readings: Readings) -> list[Finding]:
    """A warning where the webs were read on a day before those of the job, when they were not finished."""
    first, last = readings.identity.get("read_at", ""), job.get("read_at", "")
    days = days_between(first, last)
    if days is None or days <= 0:
        return []
    text = (
        f"the webs were read on {first[:40]}, and those that the job was made from {days} days later, before "
        "finishing. Are they this job's? Check read_at in both files."
    )
    return [Finding("read-before", readings.source, "", text, "warning")]


def _share_of_job(prediction: Prediction, readings: Readings) -> float:
    """Share of the readings that the job has, same place and thickness, where the finishing pass takes metal.

    Where it takes none, a finished web is the roughed one and reads the same.
    """
    from scipy.spatial import cKDTree

    before = prediction.record.readings
    job = np.array([before.x_mm, before.y_mm, [np.nan if t is None else t for t in before.thickness_mm]], float).T
    given = np.column_stack([readings.x, readings.y, readings.thickness])
    given = given[np.isfinite(given).all(axis=1)]
    kept = np.flatnonzero(np.isfinite(job).all(axis=1))
    if len(kept) == 0 or len(given) == 0:
        return 0.0
    distance, nearest = cKDTree(job[kept]).query(given, p=np.inf, distance_upper_bound=SAME_MM)
    same = kept[np.atleast_1d(nearest)[np.isfinite(distance)]]
    return float(_is_cut(prediction, np.array(before.floor)[same], job[same]).sum() / len(given))


def _is_cut(prediction: Prediction, floors: Array, places: Array) -> Flags:
    """Whether the finishing pass takes metal at places of the job's readings; not on held floors."""
    out = np.zeros(len(places), bool)
    for index, pocket in enumerate(prediction.part.pockets):
        rows = floors == pocket.id
        if prediction.webs is not None and not prediction.is_held(index):
            at = places[rows, :2].T
            out[rows] = prediction.webs.left(pocket, *at) - prediction.deviation(index, *at) > LEAST_CUT_MM
    return out


def looks_roughed(prediction: Prediction, taken: Taken) -> list[str]:
    """Floors most of whose readings lie twice as near to the web before finishing as to the one predicted.

    Parameters
    ----------
    prediction : Prediction
    taken : Taken

    Returns
    -------
    list of str
        Their ids; none of those where the two are too near to each other to tell.
    """
    if prediction.webs is None or not prediction.webs.is_left_known:
        return []
    out = []
    for index, rows in taken.rows_of.items():
        pocket = prediction.part.pockets[index]
        left = prediction.webs.left(pocket, *taken.points[rows].T)
        is_told = np.median(np.abs(left - taken.predicted[rows])) > 4 * np.median(taken.u[rows])
        is_rough = np.abs(taken.deviation[rows] - left) < 0.5 * np.abs(taken.gap[rows])
        if is_told and is_rough.mean() > 0.5 and not prediction.is_held(index):
            out.append(pocket.id)
    return out


def why_withheld(
    prediction: Prediction,
    bias: Bias,
    movement: Movement,
    floors: tuple[FloorProof, ...],
    rough: list[str],
    limit_mm: float,
) -> str:
    """Why no bias is offered for the pockets that remain; ``""`` where it is.

    Parameters
    ----------
    prediction : Prediction
    bias : Bias
    movement : Movement
    floors : tuple of FloorProof
    rough : list of str
        From `looks_roughed`.
    limit_mm : float, mm
        Largest bias where the job states no uncertainty of the machine.
    """
    if not np.isfinite(bias.value):
        return "no finished pocket could be compared"
    if rough:
        return "readings look like the web before finishing"
    if movement.state in ("measure-again", "unclear"):
        return "the plate may have moved"
    failed = [floor.pocket for floor in floors if floor.verdict == "nonconform" and not floor.is_apart]
    if failed:
        return f"{len(failed)} floors do not conform; find out why first"
    machine = float(prediction.record.settings.get("machine_u", 0.0))
    most = BEYOND * machine if machine > 0 else limit_mm
    total = abs(prediction.bias + bias.value)
    if total > most:
        what = f"{BEYOND:g} times the machine's stated uncertainty" if machine > 0 else "the limit"
        return f"{total:.3f} mm is beyond {what} ({most:.3f} mm): check tool length, datum and gauge"
    return ""
