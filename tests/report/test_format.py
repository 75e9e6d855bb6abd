from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from floorfit.report.format import MISSING, Writing, display_for, fixed, round_together
from floorfit.report.language import language

values = st.floats(-1e6, 1e6, allow_nan=False)
uncertainties = st.floats(1e-6, 1e6, allow_nan=False)


def test_examples_of_the_guide() -> None:
    # JCGM 100:2008, 7.2.6: y = 10.057 62 ohm with u = 27 mohm is 10.058 ohm; u = 28.05 kHz is 28 kHz.
    assert round_together(Decimal("10.05762"), Decimal("0.027")) == ("10.058", "0.027")
    assert round_together(Decimal("0"), Decimal("28.05"))[1] == "28"


def test_worked_example_of_the_gauge_block() -> None:
    # JCGM 100:2008, H.1.7: l = 50.000 838 mm with U = 93 nm.
    assert round_together(Decimal("50.000838"), Decimal("0.000093")) == ("50.000838", "0.000093")


@given(values, uncertainties)
def test_error_of_rounding_is_half_of_the_last_digit(value: float, u: float) -> None:
    text, text_u = round_together(value, u)
    digit = Decimal(1).scaleb(int(Decimal(repr(u)).adjusted()) - 1) * 10  # coarsest place the rule may choose
    assert abs(Decimal(text) - Decimal(repr(value))) <= digit / 2
    assert abs(Decimal(text_u) - Decimal(repr(u))) <= digit / 2


@given(values, uncertainties)
def test_uncertainty_has_two_digits(value: float, u: float) -> None:
    digits = round_together(value, u)[1].replace(".", "").strip("0")
    assert len(digits) <= 2


@pytest.mark.parametrize("value, u", [(1.23456, 0.0123), (-98.7654, 1.44), (0.5, 0.00996), (12345.6, 23.0)])
def test_agrees_with_an_independent_formatter(value: float, u: float) -> None:
    # The uncertainties package rounds to the digits asked for, here two.
    theirs = f"{ufloat(value, u):.2uf}".split("+/-")
    mine = round_together(value, u)
    assert [float(t) for t in theirs] == [float(t) for t in mine]


def test_uncertainty_must_be_above_zero() -> None:
    for bad in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="above zero"):
            round_together(1.0, bad)


def test_halves_go_to_the_even_digit() -> None:
    # ISO 80000-1:2009, annex B, rule A: 12.25 to 12.2, 12.35 to 12.4.
    assert (fixed(12.25, 1), fixed(12.35, 1)) == ("12.2", "12.4")


@given(st.floats(-1e6, 1e6) | st.integers(-(10**6), 10**6).map(lambda k: k / 2e4), st.integers(0, 6))
def test_digits_are_those_of_decimal_arithmetic(value: float, decimals: int) -> None:
    # The standard library's decimal (General Decimal Arithmetic, IBM): round-half-even of the shortest digits.
    theirs = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    assert fixed(value, decimals) == f"{abs(theirs) if theirs == 0 else theirs:f}"


def test_zero_has_no_sign() -> None:
    assert fixed(-0.0001, 2) == "0.00"
    assert fixed(-0.0001, 2, sign=True) == "0.00"
    assert fixed(0.5, 1, sign=True) == "+0.5"


def test_inch_is_exact() -> None:
    # One inch is 25.4 mm exactly (NIST SP 811, appendix B.8).
    show = display_for("in")
    assert show.length(25.4) == "1.0000"
    assert show.length(0.0254, sign=True) == "+0.0010"
    assert show.per_mm == pytest.approx(1 / 25.4, rel=1e-15)  # one rounding of a quotient


def test_millimetres_throughout() -> None:
    show = display_for("mm")
    assert (show.length(2.0004), show.length(-0.0123), show.place(12.34)) == ("2.000", "-0.012", "12.3")


def test_unknown_is_a_dash() -> None:
    show = display_for("mm")
    assert {show.length(None), show.length(None), show.place(None)} == {MISSING}
    assert show.pair(None, None) == (MISSING, MISSING)


def test_pair_carries_a_sign() -> None:
    assert display_for("mm").pair(0.1234, 0.0121) == ("+0.123", "0.012")
    assert display_for("mm").pair(-0.0004, 0.121) == ("0.00", "0.12")


def test_one_switch_changes_unit_and_decimal_sign() -> None:
    # One inch is 25.4 mm exactly (NIST SP 811, appendix B.8); German writes a decimal comma (DIN 1333).
    assert display_for("mm", Writing(unit="in")).length(25.4) == "1.0000"
    assert display_for("in", Writing(unit="mm")).length(25.4) == "25.400"
    assert display_for("mm", Writing(language=language("de"))).length(1.5, sign=True) == "+1,500"
    assert display_for("mm", Writing(language=language("de"), decimal=".")).length(1.5) == "1.500"
    assert display_for("mm", Writing(decimal=",")).place(1234.56) == "1234,6"
