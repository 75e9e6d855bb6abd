"""Numbers as a programme writes them: value in, text in the same style out."""

from __future__ import annotations

__all__ = ["decimals_for", "decimals_of", "decimals_to_show", "default_decimals", "in_style"]


def default_decimals(unit_mm: float) -> int:
    """Least decimals written: 0.001 mm or 0.0001 in, the increments in common use (no source)."""
    return 3 if unit_mm == 1.0 else 4


def decimals_of(raw: str) -> int:
    """Return the digits after the point of a number as written."""
    return len("".join(raw.split()).partition(".")[2])


def decimals_for(value: float, unit_mm: float) -> int:
    """Return the decimals that write ``value`` exactly: at least the default, at most 6.

    Parameters
    ----------
    value : float
        In the programme's unit.
    unit_mm : float
        Millimetres in that unit.
    """
    return next((count for count in range(default_decimals(unit_mm), 6) if abs(round(value, count) - value) < 1e-9), 6)


def decimals_to_show(change: float, unit_mm: float, least: int) -> int:
    """Return the decimals, at least ``least`` and at most 6, in which a change in mm does not round to nothing.

    Parameters
    ----------
    change : float, mm
    unit_mm : float
        Millimetres in the programme's unit.
    least : int
    """
    return next((count for count in range(least, 6) if abs(change) >= 0.5 * unit_mm * 10.0**-count), max(least, 6))


def in_style(value: float, raw: str, decimals: int) -> str:
    """Write a number in the style of ``raw``: its plus sign, its missing leading zero.

    Parameters
    ----------
    value : float
        In the unit in force.
    raw : str
        The number it replaces, or ``""``.
    decimals : int
        Digits after the point; there is always a point.
    """
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    if raw.lstrip("+- \t").startswith(".") and text.lstrip("-").startswith("0."):
        text = text.replace("0.", ".", 1)
    if raw.startswith("+") and not text.startswith("-"):
        text = "+" + text
    return text
