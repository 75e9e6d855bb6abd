"""A verification as plain data: what ``verify.json`` holds, and the tables."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from floorfit.plain_text import plain_cell
from floorfit.units import MM_PER_UNIT
from floorfit.verify.proved import FloorProof, Verification

__all__ = ["VERIFICATION_FORMAT", "finite", "length", "plain", "to_document", "write_csv", "write_tables"]

VERIFICATION_FORMAT = "floorfit-verification/1"

#: Decimals in a table, by unit: a tenth of a micrometre.
DECIMALS = {"mm": 4, "in": 6}


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
            "line": found.line.tolist(),
            "x_mm": found.x.tolist(),
            "y_mm": found.y.tolist(),
            "thickness_mm": found.thickness.tolist(),
            "floor": [ids[k] if k >= 0 else "" for k in proof.floor],
            "used": proof.is_used.tolist(),
            "reason": list(proof.reason),
            "deviation_mm": proof.deviation.tolist(),
            "predicted_mm": proof.predicted.tolist(),
            "predicted_u_mm": proof.predicted_u.tolist(),
            "u_mm": proof.u.tolist(),
            "probability": proof.probability.tolist(),
            "verdict": list(proof.verdict),
            "inside": proof.is_inside.tolist(),
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
    text = json.dumps(to_document(found), ensure_ascii=False, allow_nan=False)
    (folder / "verify.json").write_text(text + "\n", encoding="utf-8")


def _reading_rows(found: Verification) -> Iterable[list[str]]:
    proof, unit = found.readings, found.part.units
    ids = [pocket.id for pocket in found.part.pockets]
    expanded = 2 * np.hypot(proof.predicted_u, proof.u)
    difference = proof.deviation - proof.predicted
    columns = (found.x, found.y, found.thickness, proof.deviation, proof.predicted, difference, expanded)
    for k in range(len(found.x)):
        lengths = [length(float(column[k]), unit) for column in columns]
        inside = "" if not np.isfinite(proof.predicted[k]) else "yes" if proof.is_inside[k] else "no"
        judged = [inside, plain(float(proof.probability[k]), 4), proof.verdict[k]]
        name = ids[proof.floor[k]] if proof.floor[k] >= 0 else ""
        yield [str(found.line[k]), name, *lengths, *judged, "yes" if proof.is_used[k] else "no", proof.reason[k]]


def _floor_row(found: Verification, index: int) -> list[str]:
    floor, pocket, unit = found.floors[index], found.part.pockets[index], found.part.units
    lower, upper = (
        float("nan") if limit is None else pocket.web + limit
        for limit in (pocket.tightest.lower, pocket.tightest.upper)
    )
    values = (floor.web_min, floor.web_max, lower, upper, floor.bias, floor.bias_u, floor.spread)
    return [
        floor.pocket, floor.verdict, str(floor.readings), *(length(value, unit) for value in values),
        plain(floor.probability, 4), _yes_no(floor), floor.reason,
    ]  # fmt: skip


def _yes_no(floor: FloorProof) -> str:
    return "" if floor.is_interval_held is None else "yes" if floor.is_interval_held else "no"


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a table, UTF-8, LF.

    Parameters
    ----------
    path : Path
    header : sequence of str
    rows : iterable of sequence of str
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(map(plain_cell, header))
        writer.writerows(map(plain_cell, row) for row in rows)


def length(value_mm: float, unit: str) -> str:
    """A length in the unit of a file; empty where not known.

    Parameters
    ----------
    value_mm : float, mm
    unit : {"mm", "in"}
        Of the file.
    """
    return plain(value_mm / MM_PER_UNIT[unit], DECIMALS[unit])


def plain(value: float, decimals: int) -> str:
    """Fixed decimals without a negative zero; empty where not finite.

    Parameters
    ----------
    value : float
    decimals : int
    """
    if not np.isfinite(value):
        return ""
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def finite(value: Any) -> Any:
    """Replace what JSON cannot hold (NaN, infinity) by null, all the way down."""
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    return [finite(one) for one in value] if isinstance(value, list | tuple) else value
