"""Cells turned into numbers: the quick way and the slow way say the same."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.errors import InputError
from floorfit.readings.cells import Faults, column_of_numbers, shown
from floorfit.readings.columns import READINGS, read_header


def _column(cells: list[str], field: str = "thickness", head: str = "x_mm,y_mm,thickness_mm") -> list[float]:
    faults = Faults("r.csv")
    lines = np.arange(2, len(cells) + 2)
    values = column_of_numbers(
        cells, READINGS.fields[field], read_header(head, 1, "r.csv", READINGS), lines, f"{field}_mm", faults
    )
    faults.raise_if_any()
    return [float(value) for value in values]


@pytest.mark.parametrize("text", ["2.5", " 2.5 ", "+2.5", "2.5e0", "25E-1", "02.50"])
def test_spellings_of_one_number(text: str):
    """A blank in the column forces the slow way."""
    assert _column([text]) == [2.5]
    assert _column([text, ""])[0] == 2.5


@pytest.mark.parametrize("text", ["1_0", "٢", "2,5", "2.5mm", "0x1p1", "1e", "(2.5)", "2 5", "NULL", "n/a", "OL"])
def test_not_numbers(text: str):
    for cells in ([text], [text, ""]):
        with pytest.raises(InputError, match=r"line 2, column thickness_mm.*a number was expected"):
            _column(cells)


def test_decimal_comma_with_semicolons():
    assert _column(["2,5", "2.5"], head="x_mm;y_mm;thickness_mm") == [2.5, 2.5]


@pytest.mark.parametrize(
    ("field", "text", "is_taken"),
    [
        ("x", "1000000", True),
        ("x", "1000001", False),
        ("u", "0.000001", True),
        ("u", "0", False),
        ("temperature_c", "-273.15", True),
        ("temperature_c", "-274", False),
        ("thickness", "-1", True),
    ],
)
def test_ranges(field: str, text: str, is_taken: bool):
    if is_taken:
        assert _column([text], field) == [float(text)]
    else:
        with pytest.raises(InputError, match="was expected"):
            _column([text], field)


def test_range_is_in_millimetres_and_told_in_the_files_unit():
    """A kilometre is 39370.1 in."""
    with pytest.raises(InputError, match=r"from -39370\.1 to 39370\.1"):
        _column(["40000"], "x", "x_in,y_in,thickness_in")


def test_shown_is_short():
    assert shown("a\tb" + "c" * 100) == "a?b" + "c" * 37
