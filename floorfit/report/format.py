"""Numbers on paper: one rule for rounding, and the units that a part's drawing uses.

The record keeps full precision in millimetres. Here it becomes text: places and webs in the part's unit, small
lengths (warp, offset, margin) in micrometres, or in thousandths of an inch for a part in inches.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from floorfit.units import Unit

__all__ = ["MISSING", "Display", "display_for", "fixed", "round_together"]

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
    """Return a number with that many decimals, halves to even; ``sign`` puts a plus before positive ones."""
    text = _plain(_at(_decimal(value), -decimals))
    return f"+{text}" if sign and Decimal(text) > 0 else text


@dataclass(frozen=True)
class Display:
    """How lengths of one part are written.

    Parameters
    ----------
    unit : {"mm", "in"}
        Unit of the part file.
    mm_per_unit : Decimal
        Millimetres in it.
    small : str
        Name of the small unit, ``"µm"`` or ``"0.001 in"``.
    small_decimals, web_decimals, place_decimals : int
        Decimals of a small length, of a web and of a coordinate.
    """

    unit: Unit
    mm_per_unit: Decimal
    small: str
    small_decimals: int
    web_decimals: int
    place_decimals: int

    @property
    def small_per_mm(self) -> float:
        """Small units in one millimetre."""
        return float(1000 / self.mm_per_unit)

    @property
    def per_mm(self) -> float:
        """Units in one millimetre."""
        return float(1 / self.mm_per_unit)

    def small_length(self, mm: float | None, *, sign: bool = False, more: int = 0) -> str:
        """Return a small length; ``more`` adds decimals."""
        if mm is None:
            return MISSING
        return fixed(_decimal(mm) * 1000 / self.mm_per_unit, self.small_decimals + more, sign=sign)

    def web(self, mm: float | None) -> str:
        """Return a web thickness or a limit in the part's unit."""
        return MISSING if mm is None else fixed(_decimal(mm) / self.mm_per_unit, self.web_decimals)

    def place(self, mm: float | None) -> str:
        """Return a coordinate in the part's unit."""
        return MISSING if mm is None else fixed(_decimal(mm) / self.mm_per_unit, self.place_decimals)

    def small_pair(self, mm: float | None, u_mm: float | None) -> tuple[str, str]:
        """Return a small length and its uncertainty, rounded together (`round_together`)."""
        if mm is None or u_mm is None or u_mm <= 0:
            return self.small_length(mm, sign=True), self.small_length(u_mm)
        factor = 1000 / self.mm_per_unit
        value, uncertainty = round_together(_decimal(mm) * factor, _decimal(u_mm) * factor)
        return (f"+{value}" if Decimal(value) > 0 else value), uncertainty


def display_for(unit: object) -> Display:
    """Return the way lengths are written for a part in ``"mm"`` or ``"in"``."""
    if unit == "in":
        return Display("in", Decimal("25.4"), "0.001 in", 2, 4, 2)
    return Display("mm", Decimal(1), "µm", 0, 3, 1)


def _decimal(value: Decimal | float) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(repr(float(value)))


def _at(value: Decimal, exponent: int) -> Decimal:
    return value.quantize(Decimal((0, (1,), exponent)), rounding=ROUND_HALF_EVEN)


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.removeprefix("-") if value == 0 else text
