"""The table beside a corrected file: for each floor what changed, what the cutter leaves, and the web to expect."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import numpy as np

from floorfit.cutter_left import COLUMNS, WORDS, column_names
from floorfit.decision.decision import Decision
from floorfit.nc.corrected import Corrected
from floorfit.plain_text import plain_cell
from floorfit.units import MM_PER_UNIT

__all__ = ["left_table"]


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
