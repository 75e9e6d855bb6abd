"""A verification as plain data: what ``verify.json`` holds, and the tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from floorfit.json_file import write_json
from floorfit.offsets_table import length_cells, number_cell, number_cells
from floorfit.plain_text import write_csv
from floorfit.verify.proved import Verification

__all__ = ["VERIFICATION_FORMAT", "finite", "to_document", "write_tables"]

VERIFICATION_FORMAT = "floorfit-verification/1"


def to_document(found: Verification) -> dict[str, Any]:
    """Return everything as JSON data; lengths in mm, what is not known is null."""
    proof, ids = found.readings, [pocket.id for pocket in found.part.pockets]
    document = {
        "format": VERIFICATION_FORMAT,
        "job": found.job,
        "part": found.part.name,
        "readings_file": found.source,
        "level": found.level,
        "applied_bias_mm": found.applied_bias,
        "sentence": found.sentence,
        "bias_mm": {**asdict(found.bias), "limits": found.bias.limits, "offered": found.offered_bias},
        "movement_mm": asdict(found.movement),
        "intervals": {**asdict(found.intervals), "share": found.intervals.share},
        "floors": [asdict(floor) for floor in found.floors],
        "readings": {
            "line": found.line,
            **{f"{name}_mm": getattr(found, name) for name in ("x", "y", "thickness")},
            "floor": [ids[k] if k >= 0 else "" for k in proof.floor],
            "used": proof.is_used,
            "reason": proof.reason,
            **{f"{name}_mm": getattr(proof, name) for name in ("deviation", "predicted", "predicted_u", "u")},
            "probability": proof.probability,
            "verdict": proof.verdict,
            "inside": proof.is_inside,
        },
        "findings": [asdict(finding) for finding in found.findings],
    }
    return finite(document)  # type: ignore[no-any-return]


def write_tables(found: Verification, folder: Path) -> None:
    """Write ``verify.csv``, ``verdicts.csv`` and ``verify.json`` into an existing folder.

    Parameters
    ----------
    found : Verification
    folder : Path
        Exists.
    """
    unit = found.part.units
    names = ("x", "y", "thickness", "deviation", "predicted_deviation", "difference", "expanded_u")
    header = ["line", "pocket", *(f"{name}_{unit}" for name in names), "inside_interval", "conformance_probability"]
    write_csv(folder / "verify.csv", [*header, "verdict", "used", "reason"], _reading_rows(found))
    lengths = ("web_min", "web_max", "web_lower_limit", "web_upper_limit", "bias", "bias_u", "spread")
    header = ["pocket", "verdict", "readings_used", *(f"{name}_{unit}" for name in lengths)]
    header += ["conformance_probability", "interval_held", "reason"]
    write_csv(folder / "verdicts.csv", header, (_floor_row(found, k) for k in range(len(found.floors))))
    write_json(to_document(found), folder / "verify.json")


def _reading_rows(found: Verification) -> Iterable[tuple[str, ...]]:
    proof, unit = found.readings, found.part.units
    names = [*(pocket.id for pocket in found.part.pockets), ""]
    difference, expanded = proof.deviation - proof.predicted, 2 * np.hypot(proof.predicted_u, proof.u)
    columns = (found.x, found.y, found.thickness, proof.deviation, proof.predicted, difference, expanded)
    inside = np.where(np.isfinite(proof.predicted), np.where(proof.is_inside, "yes", "no"), "")
    return zip(
        map(str, found.line), [names[k] for k in proof.floor],
        *(length_cells(column, unit) for column in columns),
        inside.tolist(), number_cells(proof.probability, 4), proof.verdict,
        ["yes" if is_used else "no" for is_used in proof.is_used], proof.reason, strict=True,
    )  # fmt: skip


def _floor_row(found: Verification, index: int) -> list[str]:
    floor, pocket, unit = found.floors[index], found.part.pockets[index], found.part.units
    lower, upper = (pocket.web + limit for limit in pocket.tightest.limits)
    values = (floor.web_min, floor.web_max, lower, upper, floor.bias, floor.bias_u, floor.spread)
    return [
        floor.pocket, floor.verdict, str(floor.readings), *length_cells(values, unit),
        number_cell(floor.probability, 4), {True: "yes", False: "no", None: ""}[floor.is_interval_held], floor.reason,
    ]  # fmt: skip


def finite(value: Any) -> Any:
    """Replace what JSON cannot hold (NaN, infinity) by null, and arrays by lists, all the way down."""
    if isinstance(value, np.ndarray):
        return finite(value.tolist())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    return [finite(one) for one in value] if isinstance(value, list | tuple) else value
