"""The table beside a corrected file: one number in two units."""

from __future__ import annotations

import csv
import io

import record_factory

from floorfit.nc.corrected import Corrected, PocketChange
from floorfit.nc.left_table import COLUMNS, WORDS, left_table
from floorfit.nc.swept_floors import SweptFloor

MM_PER_INCH = 25.4  # exactly: ISO 31-1, the international inch


def test_inches_are_millimetres_over_25_4() -> None:
    record = record_factory.inch_part()
    names = [one.pocket for one in record.decisions]
    floors = tuple(SweptFloor(name, 0.5, 0.75, 25.0, (10.0, 20.0), (30.0, 40.0), off_mm=0.25) for name in names)
    changes = tuple(PocketChange(name, "shift", 9, 3, 1.0, 2.0) for name in names)
    done = Corrected(b"", changes, (), "", 1, 1, 1, floors)
    decisions = {one.pocket: one for one in record.decisions}
    mm, inch = (list(csv.reader(io.StringIO(left_table(done, decisions, unit))))[1] for unit in ("mm", "in"))
    assert mm[:WORDS] == inch[:WORDS]
    for name, metric, imperial in zip(COLUMNS[WORDS:], mm[WORDS:], inch[WORDS:], strict=True):
        scale = MM_PER_INCH**2 if "area" in name else MM_PER_INCH
        # Half of the last decimal: four of a millimetre, six of an inch (contract).
        assert abs(float(metric) - scale * float(imperial)) <= 0.5e-4 + scale * 0.5e-6, name
