"""The table beside a corrected file: for each floor what changed, what the cutter leaves, and the web to expect."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import numpy as np

from floorfit.decision.decision import Decision
from floorfit.nc.corrected import Corrected
from floorfit.plain_text import plain_cell
from floorfit.units import MM_PER_UNIT

__all__ = ["COLUMNS", "WORDS", "column_names", "left_table"]

#: Columns; lengths get the part file's unit, ``web_…`` are those of offsets.csv with what the cutter leaves added, and
#: ``programme_off``, the height over the nominal floor at which the programme cuts before any offset.
COLUMNS = (
    "pocket", "action", "motions", "blocks_changed", "least_dz", "greatest_dz", "too_deep", "left_high",
    "left_high_area", "left_high_x", "left_high_y", "web_after_min", "web_after_max", "programme_off",
)  # fmt: skip
#: So many of them, the first, have no unit.
WORDS = 4


def column_names(unit: str) -> list[str]:
    """Return the header in a unit.

    Parameters
    ----------
    unit : {"mm", "in"}
    """
    return [*COLUMNS[:WORDS], *(f"{name}_{unit}{'2' if 'area' in name else ''}" for name in COLUMNS[WORDS:])]


def left_table(corrected: Corrected, decisions: Mapping[str, Decision], unit: str) -> str:
    """Return the table as CSV, a row for each floor; empty where a number is not known.

    Parameters
    ----------
    corrected : Corrected
        What applying the offsets gave.
    decisions : mapping of str to Decision
        Of the job, by pocket.
    unit : {"mm", "in"}
        Unit of the lengths.
    """
    scale, decimals = MM_PER_UNIT[unit], 4 if unit == "mm" else 6
    swept = {one.pocket: one for one in corrected.floors}
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(column_names(unit))
    for change in corrected.pockets:
        one, decision = swept.get(change.pocket), decisions[change.pocket]
        high = one.high_mm if one is not None else 0.0
        deep, area, (x, y) = (one.deep_mm, one.high_area_mm2, one.where_high) if one else (None, None, (None, None))
        lengths = [change.least, change.greatest, deep, None if one is None else high, area, x, y]
        web = [decision.web_after_min_mm, decision.web_after_max_mm]
        off = one.off_mm if one is not None and one.is_off else 0.0
        web[0] = None if web[0] is None or one is None else web[0] - one.deep_mm + off
        web[1] = None if web[1] is None or one is None else web[1] + high + off
        divisors = [scale**2 if "area" in name else scale for name in COLUMNS[WORDS:]]
        numbers = [
            "" if value is None or np.isnan(value) else f"{value / divisor:.{decimals}f}"
            for value, divisor in zip([*lengths, *web, one.off_mm if one else None], divisors, strict=True)
        ]
        words = [change.pocket, change.action, str(change.motions), str(change.changed)]
        writer.writerow(map(plain_cell, [*words, *numbers]))
    return file.getvalue()
