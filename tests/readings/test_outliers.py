"""Names for what the fit set aside, and the order of the readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from lying_readings import WIDTH, honest_rows, plate, table, warp

from floorfit.part.assign import assign_floors
from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import Readings, readings_from_arrays
from floorfit.readings.outliers import name_outliers
from floorfit.readings.sequence import sequence, sorted_findings
from floorfit.readings.warp import observe


def named(change: dict[str, float], *, has_labels: bool = True, number: int = 30) -> tuple[str, str]:
    """Name row ``number`` after a change, as a perfect fit would see it."""
    rows = honest_rows(plate(), 5, np.random.default_rng(2))
    rows[number] = replace(rows[number], **change)
    readings = table(rows, has_labels=has_labels)
    expected = warp(readings.x[[number]], readings.y[[number]])
    return name_outliers(plate(), observe(plate(), readings), [number], expected, warp, 0.01)[0]


def test_names_by_the_ratio_to_the_fit() -> None:
    honest = honest_rows(plate(), 5, np.random.default_rng(2))[30].thickness
    assert named({"thickness": 2 * honest})[0] == "double-echo"
    assert named({"thickness": honest / 25.4})[0] == "inch"
    assert named({"thickness": 40.0})[0] == "beyond-web"
    code, reason = named({"thickness": honest + 0.2})
    assert code == "outlier"
    # What the fit expects stands in the words, to the noise of 0.01 mm.
    assert f"say {honest:.1f}" in reason or f"say {honest:.2f}"[:8] in reason


def test_unlabelled_swapped_place_is_named() -> None:
    rows = honest_rows(plate(), 5, np.random.default_rng(2))
    away = [
        abs(float(warp(row.x, row.y)) - float(warp(row.y, row.x))) if assign_floors(plate(), [row.y], [row.x])[0] >= 0
        and row.x < WIDTH else 0.0 for row in rows
    ]  # fmt: skip
    number = int(np.argmax(away))
    row = rows[number]
    code, reason = named({"x": row.y, "y": row.x}, has_labels=False, number=number)
    assert code == "swapped"
    assert row.label in reason


def test_thick_reading_close_to_a_wall_stands_on_the_fillet() -> None:
    x0, y0, _, y1 = plate().pockets[6].polygon.bounds
    y = (y0 + y1) / 2
    change = {"x": x0 + 4.0, "y": y, "thickness": 2.5 - float(warp(x0 + 4.0, y)) + 0.3}
    assert named(change)[0] == "on-fillet"


def test_no_rows_no_names() -> None:
    readings = table(honest_rows(plate(), 3, np.random.default_rng(2)))
    assert name_outliers(plate(), observe(plate(), readings), [], [], warp, 0.01) == []


def test_sequence_is_a_column_where_there_is_one() -> None:
    readings: Readings = table(honest_rows(plate(), 1, np.random.default_rng(1)))
    assert sequence(readings)[1] == "order"
    timed = replace(readings, extra={"operator": ["A"] * 18, "Time_s": [str(10 * k) for k in range(18)]})
    values, name = sequence(timed)
    assert (name, values[-1]) == ("Time_s", 170.0)
    assert sequence(replace(readings, extra={"time": ["soon"] * 18}))[1] == "order"


@pytest.mark.parametrize("by", ["thickness", "pocket thickness", "-thickness"])
def test_sorted_rows_do_not_tell_when_they_were_read(by: str) -> None:
    """Of a gauge that scatters half the steps go up: 100 steps one way are no order of reading, but a sheet sorted."""
    readings: Readings = table(honest_rows(plate(), 7, np.random.default_rng(1)))
    assert not sorted_findings(readings) and (np.diff(sequence(readings)[0]) == 1).all()
    keys = {"thickness": (readings.thickness,), "-thickness": (-readings.thickness,)}
    rows = np.lexsort(keys.get(by, (readings.thickness, readings.pocket)))
    columns = {name: getattr(readings, name)[rows] for name in ("x", "y", "z", "pocket", "thickness")}
    (told,) = sorted_findings(replace(readings, **columns))
    assert (told.code, told.severity) == ("sorted", "warning")
    when, name = sequence(replace(readings, **columns))
    assert name == "x" and (when == columns["x"]).all()  # along the plate: most of a drift would hide so
    # With a column that says when, whole rows were sorted, and nothing is lost.
    stated = replace(readings, **columns, extra={"order": [str(row) for row in rows]})
    assert not sorted_findings(stated) and (sequence(stated)[0] == rows).all()


def test_a_slope_read_along_it_was_not_sorted() -> None:
    """A plane, and a bow by a gauge that does not scatter: every step goes one way in each pocket, as the places do."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(10, 990, 60), [40.0, 50.0, 60.0], indexing="ij"))
    pocket = [f"P{k}" for k in np.repeat(np.arange(12), 15)]
    for bow in (1e-4 * x, 2e-7 * (x - 1100) ** 2 + 1e-5 * y):
        assert not sorted_findings(readings_from_arrays(x, y, 2.5 - bow, pocket=pocket))


def test_swapped_place_on_a_steep_floor_is_read_along_its_normal() -> None:
    # The gauge is held along the normal: web along Z = reading · √(1 + 0.75²), by Pythagoras 5/4 exactly.
    square = [tuple(corner) for corner in ((20.0, 60.0), (40.0, 60.0), (40.0, 80.0), (20.0, 80.0))]
    flat, steep = square, [(y, x) for x, y in reversed(square)]
    pockets = tuple(
        Pocket(name, tuple(ring), (), z, z, Tolerance(-0.1, 0.1), 0.0, 0.5, slope)  # type: ignore[arg-type]
        for name, ring, z, slope in (("flat", flat, 4.0, (0.0, 0.0)), ("steep", steep, 9.5, (0.75, 0.0)))
    )
    part = Part("invented", ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)), pockets)
    # Web and stock of 10 at the middle of the steep floor (70, 30); typed (30, 70), on the flat one.
    readings = readings_from_arrays([30.0], [70.0], [10.0 / 1.25])
    zero = lambda x, y: np.zeros(np.shape(x))  # noqa: E731
    (name,) = name_outliers(part, observe(part, readings), [0], [0.0], zero, 0.01)
    assert name[0] == "swapped" and "steep" in name[1]
