"""A job's record with what the cutter leaves: the table that ``apply`` writes, put into the predicted webs."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

from floorfit.cutter_left import CutterLeft, read_cutter_left
from floorfit.decision.decision import Decision, Reason
from floorfit.record import Record, record_of

if TYPE_CHECKING:
    from floorfit.result import Result

__all__ = ["as_cut", "pockets_by_region", "with_left"]


def as_cut(job: Record | Result | str | Path, table: str | Path) -> Record:
    """Return a job's record with the webs that a corrected programme leaves, for `floorfit.report`.

    Webs after correction, their intervals and margins take what the sweep found too deep, left high, or cut at another
    height than the part file's. Probabilities stay those of the decision, which does not know the cutter; a floor whose
    web is out of its limits with it is undecided. A note at each floor, and a finding, say so. Nothing else changes.

    Parameters
    ----------
    job : Record, Result or path
        A run, its record, or its job folder.
    table : path
        The table beside the corrected programme (``PROGRAM.csv``).

    Raises
    ------
    InputError
        If the table cannot be read, or is not of this job.
    """
    record, path = record_of(job), Path(table)
    found = read_cutter_left(record, path)
    by_region = pockets_by_region(record)
    decisions = [
        decision if left is None else with_left(decision, left, path.name, by_region=decision.pocket in by_region)
        for decision, left in zip(record.decisions, found, strict=True)
    ]
    text = "webs after correction are those that the corrected programme leaves; probabilities do not count the cutter."
    told = {"code": "as-cut", "source": path.name, "place": "", "text": text, "severity": "note"}
    return record.model_copy(update={"decisions": decisions, "findings": [*record.findings, told]})


def pockets_by_region(record: Record) -> set[str]:
    """Return the pockets of a job whose tolerance goes by region."""
    return {str(pocket["id"]) for pocket in record.part["pockets"] if pocket.get("tolerances")}


def with_left(decision: Decision, left: CutterLeft, name: str, *, by_region: bool) -> Decision:
    """Return a decision with what the cutters leave of its floor.

    Parameters
    ----------
    decision : Decision
    left : CutterLeft
    name : str
        Of the table or programme, for the note.
    by_region : bool
        Whether the floor's tolerance goes by region.
    """
    low, high = left.off - left.deep, left.off + left.high
    webs = ((decision.web_after_min_mm or 0.0) + low, (decision.web_after_max_mm or 0.0) + high)
    ends = zip(decision.web_after_interval_mm, (low, high), strict=True)
    bounds = [None if end is None else end + by for end, by in ends]
    limits = (decision.web_lower_limit_mm, decision.web_upper_limit_mm)
    room = [sign * (web - limit) for sign, web, limit in zip((1, -1), webs, limits, strict=True) if limit is not None]
    if by_region and decision.margin_mm is not None:  # which region has the least or the greatest web is not known
        room = [decision.margin_mm + min(low, -high, 0.0)]
    margin = decision.margin_mm if decision.margin_mm is None else min([decision.margin_mm, *room])
    deep, over = left.deep, left.high
    text = f"As cut by {name}: at most {deep:.3f} mm too deep and {over:.3f} mm left high. P does not count it."
    changed = dataclasses.replace(
        decision,
        web_after_min_mm=webs[0],
        web_after_max_mm=webs[1],
        web_after_interval_mm=(bounds[0], bounds[1]),
        margin_mm=margin,
        notes=(*decision.notes, text),
    )
    if min(room, default=0.0) >= 0 or decision.verdict != "conform":
        return changed
    reason = Reason("tolerance", "with what the cutter leaves, the web is out of its limits: correct the programme.")
    return dataclasses.replace(changed, verdict="undecided", reason=decision.reason or reason)
