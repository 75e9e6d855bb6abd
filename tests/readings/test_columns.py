"""The header line: names, unit and delimiter."""

from __future__ import annotations

import pytest

from floorfit.errors import InputError
from floorfit.readings.columns import READINGS, read_header


@pytest.mark.parametrize(
    ("line", "delimiter"),
    [("x_mm,y_mm,thickness_mm", ","), ("x_mm;y_mm;thickness_mm", ";"), ('x_mm;y_mm;thickness_mm;"a, b"', ";")],
)
def test_delimiter(line: str, delimiter: str):
    assert read_header(line, 1, "r.csv", READINGS).delimiter == delimiter


def test_columns_and_extras():
    header = read_header(" Note,Y_IN,x_in,,thickness_in,pocket\n", 1, "r.csv", READINGS)
    assert header.fields == {"x": 2, "y": 1, "thickness": 4, "pocket": 5}
    assert header.extra == {"Note": 0}
    assert header.unnamed == [3]
    assert (header.unit, header.scale) == ("in", 25.4)


def test_a_unit_on_a_carried_column_does_not_count():
    """Only the columns that are used must share a unit."""
    assert read_header("x_mm,y_mm,thickness_mm,probe_in", 1, "r.csv", READINGS).unit == "mm"


def test_all_missing_columns_are_named():
    with pytest.raises(InputError, match="x_mm") as caught:
        read_header("a,b,c", 4, "r.csv", READINGS)
    assert [finding.code for finding in caught.value.findings] == ["missing-column"] * 3
    assert {finding.place for finding in caught.value.findings} == {"line 4"}


def test_doubled_and_mixed_are_told_together():
    with pytest.raises(InputError, match="twice") as caught:
        read_header("x_mm,X_mm,y_in,thickness_mm", 1, "r.csv", READINGS)
    assert [finding.code for finding in caught.value.findings] == ["doubled-column", "mixed-units"]
