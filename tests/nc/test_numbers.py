"""How many decimals a number is written with: facts of decimal fractions, by Python's own decimals."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from nc_cases import apply, corrections, tilt

from floorfit.nc.numbers import decimals_for, decimals_to_show, in_style

MM, INCH = 1.0, 25.4


@pytest.mark.parametrize("unit, least", [(MM, 3), (INCH, 4)])
@pytest.mark.parametrize("value", ["0", "2.5", "-12.125", "12.3456", "-0.00012", "7.123456"])
def test_a_decimal_fraction_has_as_many_decimals_as_it_was_written_with(value: str, unit: float, least: int) -> None:
    # Files are written to 0.001 mm and 0.0001 in, no finer than need be, and no finer than 0.000001 (format).
    own = max(0, -Decimal(value).normalize().as_tuple().exponent)  # type: ignore[operator]
    assert decimals_for(float(value), unit) == max(least, own)
    assert decimals_for(float(value) + 1 / 3, unit) == 6  # no end


@pytest.mark.parametrize("unit, least", [(MM, 3), (INCH, 4)])
@pytest.mark.parametrize("change", ["0.3", "-0.0004", "0.00051", "-0.00003", "0.0000026"])
def test_a_small_change_is_written_with_the_first_decimal_that_shows_it(change: str, unit: float, least: int) -> None:
    found = decimals_to_show(float(change), unit, least)
    shown = [
        (Decimal(change) / Decimal(str(unit))).quantize(Decimal(1).scaleb(-count), ROUND_HALF_EVEN) != 0
        for count in range(found + 1)
    ]
    assert shown[found] or found == 6
    assert found == least or not shown[found - 1]


@pytest.mark.parametrize(
    ("value", "raw", "decimals", "text"),
    [
        (2.3, "2.", 3, "2.300"),
        (0.25, ".5", 3, ".250"),
        (-0.25, "-.5", 3, "-.250"),
        (-0.0001, "-1.", 3, "0.000"),
        (1.5, "+1", 2, "+1.50"),
        (-1.5, "+1", 2, "-1.50"),
        (0.5, "0.1", 1, "0.5"),
    ],
)
def test_a_number_keeps_the_style_of_the_one_before(value: float, raw: str, decimals: int, text: str) -> None:
    assert in_style(value, raw, decimals) == text
    assert float(text) == round(value, decimals)


@pytest.mark.parametrize(("unit", "scale", "pattern"), [("G21", 1.0, r"Z\d+\.\d{3}"), ("G20", 25.4, r"Z\d+\.\d{4}")])
def test_a_height_that_is_added_has_the_decimals_in_common_use(unit: str, scale: float, pattern: str) -> None:
    # 0.001 mm and 0.0001 in (common practice, no source): on a tilt each pass gets a Z of its own, no finer than that.
    x = [round(value / scale, 4) for value in (10, 30, 50, 70)]
    text = f"{unit} G17 G90 G94 G40\nT1 M6\nG0 X{x[0]} Y{x[0]} Z{2 / scale * 10:.3f}\nG1 Z{2 / scale:.4f} F50.\n"
    text += "".join(f"X{value}\nY{x[1]}\n" for value in x[1:])
    text += f"G0 Z{2 / scale * 10:.3f}\nM30\n"
    lines = apply(text, corrections(A=tilt("A", 0.05, 0.002, 0.0))).splitlines()
    added = [line.split(" ")[-1] for line in lines if line.startswith("X")]
    assert len(added) == 3 and all(re.fullmatch(pattern, word) for word in added)
