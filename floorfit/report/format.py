"""Numbers on paper: one rule for rounding, one unit, one decimal sign, one language.

The record keeps full precision in millimetres. Here it becomes text: every length in millimetres, or every length in
inches.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache

from floorfit.report.language import ENGLISH, Language
from floorfit.units import Unit

__all__ = ["MISSING", "Display", "Writing", "display_for", "fixed", "round_together"]

#: Below it a float is closer to its shortest decimal digits than to any other number of ten decimals.
_PLAIN_BELOW = 1e5

#: What is printed where a number is not known.
MISSING = "–"


def round_together(value: Decimal | float, uncertainty: Decimal | float) -> tuple[str, str]:
    """Round a value and its uncertainty to the same decimal place.

    Parameters
    ----------
    value : Decimal or float
        Estimate, any unit.
    uncertainty : Decimal or float
        Standard or expanded uncertainty in the same unit, > 0.

    Returns
    -------
    (str, str)
        Value and uncertainty; the uncertainty has two significant digits.

    Raises
    ------
    ValueError
        If the uncertainty is not above zero and finite.

    References
    ----------
    JCGM 100:2008, 7.2.6: an uncertainty is quoted to at most two significant digits, the estimate is rounded to be
    consistent with it. Halves go to the even digit (ISO 80000-1:2009, B.3, rule A).

    Examples
    --------
    >>> round_together(0.12345, 0.0178)
    ('0.123', '0.018')
    """
    exact = _decimal(uncertainty)
    if not exact.is_finite() or exact <= 0:
        raise ValueError(f"uncertainty must be above zero and finite, got {uncertainty}.")
    rounded = _at(exact, exact.adjusted() - 1)
    if rounded.adjusted() > exact.adjusted():  # 9.96 became 10.0: two digits are one place coarser
        rounded = _at(exact, exact.adjusted())
    exponent = int(rounded.as_tuple().exponent)
    return _plain(_at(_decimal(value), exponent)), _plain(rounded)


def fixed(value: Decimal | float, decimals: int, *, sign: bool = False) -> str:
    """Return a number with that many decimals, halves to even; ``sign`` puts a plus before positive ones.

    Parameters
    ----------
    value : Decimal or float
    decimals : int
    sign : bool
        Whether a plus stands before positive ones.

    Examples
    --------
    >>> fixed(0.0645, 3, sign=True), fixed(-0.0001, 3)
    ('+0.064', '0.000')
    """
    if isinstance(value, float) and _has_no_half(value):
        text = f"{value:.{decimals}f}"
        if not text.strip("-0."):
            return text.removeprefix("-")
        return f"+{text}" if sign and value > 0 else text
    rounded = _at(_decimal(value), -decimals)
    return f"+{rounded:f}" if sign and rounded > 0 else _plain(rounded)


@dataclass(frozen=True)
class Writing:
    """How a shop wants its pages.

    Parameters
    ----------
    unit : {"mm", "in"} or None
        Of every length; that of the part file where None.
    language : Language
    decimal : {".", ","} or None
        That of the language where None.
    """

    unit: Unit | None = None
    language: Language = ENGLISH
    decimal: str | None = None


@dataclass(frozen=True)
class Display:
    """How the numbers and texts of one part are written.

    Parameters
    ----------
    unit : {"mm", "in"}
        Of every length.
    mm_per_unit : Decimal
        Millimetres in it.
    decimals, place_decimals : int
        Decimals of a length along Z, and of a coordinate.
    language : Language
    decimal : str
        Sign before the decimals.
    """

    unit: Unit
    mm_per_unit: Decimal
    decimals: int
    place_decimals: int
    language: Language = ENGLISH
    decimal: str = "."

    @property
    def per_mm(self) -> float:
        """Units in one millimetre."""
        return float(1 / self.mm_per_unit)

    def words(self, text: str) -> str:
        """Return an English text in the language of the page."""
        return self.language.words(text)

    def sentence(self, text: str) -> str:
        """Return a reason, a note or a finding of a run in the language of the page."""
        return self.language.sentence(text, self.decimal)

    def finding(self, source: str, place: str, text: str) -> str:
        """Return a finding in one line: file, place and text.

        Parameters
        ----------
        source, place, text : str
            Of the finding, in English.
        """
        where = ", ".join(one for one in (source, self.sentence(place)) if one)
        return f"{where}: {self.sentence(text)}" if where else self.sentence(text)

    def local(self, number: str) -> str:
        """Return a number as text with the decimal sign of the page."""
        return number.replace(".", self.decimal)

    def plain(self, value: Decimal | float | None, decimals: int, *, sign: bool = False) -> str:
        """Return a number without a unit.

        Parameters
        ----------
        value : Decimal, float or None
        decimals : int
        sign : bool
            Whether a plus stands before positive ones.
        """
        return MISSING if value is None or value != value else self.local(fixed(value, decimals, sign=sign))

    def length(self, mm: float | None, *, sign: bool = False, more: int = 0) -> str:
        """Return a length along Z; ``more`` adds decimals.

        Parameters
        ----------
        mm : float or None, mm
        sign : bool
            Whether a plus stands before positive ones.
        more : int
            Decimals beyond those of the display.
        """
        return self.plain(self._in_unit(mm), self.decimals + more, sign=sign)

    def _in_unit(self, mm: float | None) -> Decimal | float | None:
        return mm if mm is None or self.unit == "mm" else _decimal(mm) / self.mm_per_unit

    def place(self, mm: float | None) -> str:
        """Return a coordinate."""
        return self.plain(self._in_unit(mm), self.place_decimals)

    def pair(self, mm: float | None, u_mm: float | None) -> tuple[str, str]:
        """Return a length and its uncertainty, rounded together (`round_together`).

        Parameters
        ----------
        mm, u_mm : float or None, mm
            A length and its uncertainty.

        Examples
        --------
        >>> display_for("mm").pair(0.0642, 0.0118)
        ('+0.064', '0.012')
        """
        if mm is None or u_mm is None or not u_mm > 0:
            return self.length(mm, sign=True), self.length(u_mm)
        value, uncertainty = round_together(_decimal(mm) / self.mm_per_unit, _decimal(u_mm) / self.mm_per_unit)
        return self.local(f"+{value}" if Decimal(value) > 0 else value), self.local(uncertainty)


def display_for(unit: object, writing: Writing | None = None) -> Display:
    """Return the way a part in ``"mm"`` or ``"in"`` is written, as the shop wants it.

    Parameters
    ----------
    unit : {"mm", "in"}
        Of the part file.
    writing : Writing, optional
        What the shop wants instead.

    Examples
    --------
    >>> display_for("mm").length(0.0642, sign=True), display_for("in").length(25.4)
    ('+0.064', '1.0000')
    """
    wanted = writing or Writing()
    sign = wanted.decimal or wanted.language.decimal
    if (wanted.unit or unit) == "in":
        return Display("in", Decimal("25.4"), 4, 2, wanted.language, sign)
    return Display("mm", Decimal(1), 3, 1, wanted.language, sign)


def _decimal(value: Decimal | float) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(repr(float(value)))


def _has_no_half(value: float) -> bool:
    """Whether the decimal digits of a number surely do not end halfway between two: then any rounding will do."""
    digits = repr(value)
    return abs(value) < _PLAIN_BELOW and digits[-1] in "012346789" and "e" not in digits


def _at(value: Decimal, exponent: int) -> Decimal:
    return value.quantize(_step(exponent), rounding=ROUND_HALF_EVEN)


@cache
def _step(exponent: int) -> Decimal:
    return Decimal((0, (1,), exponent))


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.removeprefix("-") if value == 0 else text
