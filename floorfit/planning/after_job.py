"""What a job that was run leaves for the next plan: its readings, and the floors that want more of them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from floorfit.errors import Finding, InputError
from floorfit.part.model import Part
from floorfit.planning.belief import Known
from floorfit.readings.warp import DEFAULT_U_MM
from floorfit.record import ReadingsRecord, Record, record_of

__all__ = ["known_readings", "standing_of", "wants_readings"]

#: Causes of a budget that no further reading lowers.
SHARED = ("calibration", "machine Z", "movement since roughing", "bias")


def standing_of(part: Part, job: Record | str | Path) -> tuple[Known, list[str]]:
    """Take from a job its readings, and the floors that need more.

    Parameters
    ----------
    part : Part
        Of the job.
    job : Record or path
        The record, or the job folder.

    Returns
    -------
    Known, list of str

    Raises
    ------
    InputError
        If it is the job of another part.
    """
    record = record_of(job)
    name = f"job {record.job}" if isinstance(job, Record) else str(job)
    if [decision.pocket for decision in record.decisions] != [pocket.id for pocket in part.pockets]:
        text = "is the job of another part, its pockets are not those of PART. Name the right one."
        raise InputError([Finding("other-part", name, "", text)])
    _refuse_changed(part, record, name)
    budgets = [one.budget_mm for one in record.decisions if one.budget_mm]
    common = math.hypot(*(budgets[0].get(cause, 0.0) for cause in SHARED)) if budgets else 0.0
    wanted = [d.pocket for d in record.decisions if wants_readings(d.verdict, d.reason.code)]
    return known_readings(record.readings, common), wanted


def _refuse_changed(part: Part, record: Record, name: str) -> None:
    """A part file that was changed since has floors that the job never judged."""
    pairs = zip(part.pockets, record.nominal().pockets, strict=True)
    changed = [new.id for new, old in pairs if new != old]
    if changed:
        text = (
            f"was made for an earlier state of the part: {len(changed)} pockets changed since "
            f"({', '.join(changed[:4])}). Run `correct` with PART and the readings first, and plan after that job."
        )
        raise InputError([Finding("part-changed", name, "", text)])


def known_readings(readings: ReadingsRecord, common_u: float = 0.0) -> Known:
    """Readings that the fit of a job used, each with its weight (1 where a large job's table does not hold it).

    Parameters
    ----------
    readings : ReadingsRecord
    common_u : float, mm
        Standard uncertainty that all of them share.
    """
    rows = [k for k, used in enumerate(readings.used) if used]
    weights = [readings.weight[k] for k in rows]
    stated = [readings.u_mm[k] for k in rows]
    u = np.array([DEFAULT_U_MM if s is None else s for s in stated], float)
    u /= np.sqrt(np.array([1.0 if weight is None else weight for weight in weights], float))
    points = np.array([(readings.x_mm[k], readings.y_mm[k]) for k in rows], float).reshape(-1, 2)
    return Known(points, np.array([readings.warp_mm[k] for k in rows], float), u, common_u)


def wants_readings(verdict: str, code: str) -> bool:
    """Whether more readings can settle a floor: its verdict is undecided, or the code of its reason says too few.

    Parameters
    ----------
    verdict : {"conform", "undecided", "nonconform"}
    code : str
        Of the reason; empty where there is none.
    """
    return verdict == "undecided" or code in ("no-readings", "too-few-readings", "outside-readings")
