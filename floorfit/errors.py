"""What a refusal looks like: findings with a place and a remedy, and the errors that carry them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Finding", "FloorfitError", "InputError", "MissingExtraError", "NumericalError", "OutputError"]


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
        ``"error"`` or ``"warning"``.
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
