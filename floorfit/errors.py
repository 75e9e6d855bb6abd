"""What a refusal looks like: findings with a place and a remedy, and the errors that carry them."""

from __future__ import annotations

import math
import numbers
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "Finding", "FloorfitError", "InputError", "MissingExtraError", "NumericalError", "OutputError", "Range",
    "check_ranges",
]  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """One thing found wrong (or worth saying) in an input.

    Parameters
    ----------
    code : str
        Stable short code, lower case with hyphens, for example ``"not-a-number"``.
    source : str
        File name, or what stands in for it (``"readings"``), or ``""``.
    place : str
        Where in the source: ``"line 14, column thickness_mm"`` or a JSON path ``"pockets[3].boundary"``.
    text : str
        What came, what was expected, and what to do: one or two plain sentences.
    severity : str
        ``"error"``, ``"warning"`` or ``"note"``.
    """

    code: str
    source: str
    place: str
    text: str
    severity: str = "error"

    def __str__(self) -> str:
        """Return ``source, place: text`` with the empty parts left out."""
        where = ", ".join(part for part in (self.source, self.place) if part)
        return f"{where}: {self.text}" if where else self.text


class FloorfitError(Exception):
    """Base of every error that floorfit raises on purpose; the command line answers it with exit 2."""


class InputError(FloorfitError, ValueError):
    """An input was refused. ``findings`` lists every fault, not only the first.

    Parameters
    ----------
    findings : iterable of Finding, or str
        The faults; a plain string stands for one finding without a place.
    """

    def __init__(self, findings: Iterable[Finding] | str) -> None:
        """Store the findings and build the message, a line each."""
        if isinstance(findings, str):
            findings = [Finding("refused", "", "", findings)]
        self.findings: tuple[Finding, ...] = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))


class OutputError(FloorfitError, OSError):
    """An output could not be written, or exists and ``--replace`` was not given."""


class MissingExtraError(FloorfitError, ImportError):
    """An optional package is needed; the message names the install command."""


class NumericalError(FloorfitError, ArithmeticError):
    """A computation that should have an answer has none; the message says what was diagnosed."""


@dataclass(frozen=True)
class Range:
    """What a number given by a caller may be.

    Parameters
    ----------
    words : str
        The range in words, for the message.
    low, high : float
        Bounds; not finite numbers are refused whatever these are.
    is_open : bool
        Whether the bounds themselves are refused.
    may_be_none, is_whole : bool
        Whether None is allowed, and whether only whole numbers are.
    """

    words: str
    low: float = -math.inf
    high: float = math.inf
    is_open: bool = False
    may_be_none: bool = False
    is_whole: bool = False

    def holds(self, value: object) -> bool:
        """Return whether a value lies in the range; a truth value is no number."""
        if value is None:
            return self.may_be_none
        if isinstance(value, bool) or not isinstance(value, numbers.Real) or not math.isfinite(value):
            return False
        number = float(value)
        if self.is_whole and not number.is_integer():
            return False
        return self.low < number < self.high if self.is_open else self.low <= number <= self.high


ABOVE_ZERO = Range("a number above 0", 0.0, is_open=True)
NOT_NEGATIVE = Range("a number, 0 or more", 0.0)
FINITE = Range("a finite number")


def check_ranges(source: str, values: Iterable[tuple[str, object, Range | tuple[str, ...]]]) -> None:
    """Refuse values out of their range, all of them in one error.

    Parameters
    ----------
    source : str
        What the values belong to, for the message.
    values : iterable of (name, value, Range or tuple of str)
        A tuple lists the words allowed.

    Raises
    ------
    InputError
        Names each field, what came and what was expected.
    """
    faults = []
    for name, value, allowed in values:
        is_good = allowed.holds(value) if isinstance(allowed, Range) else value in allowed
        words = allowed.words if isinstance(allowed, Range) else "one of " + ", ".join(allowed)
        if not is_good:
            faults.append(Finding("out-of-range", source, name, f"{value!r} came, {words} was expected."))
    if faults:
        raise InputError(faults)
