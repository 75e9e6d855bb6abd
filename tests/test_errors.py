"""What a refusal looks like."""

from __future__ import annotations

import pytest

from floorfit.errors import Finding, FloorfitError, InputError, MissingExtraError, NumericalError, OutputError

PLACED = Finding("not-a-number", "points.csv", "line 14, column thickness_mm", "-2.1 is not above zero. Correct it.")


def test_finding_reads_as_source_place_text() -> None:
    assert str(PLACED) == "points.csv, line 14, column thickness_mm: -2.1 is not above zero. Correct it."
    assert str(Finding("x", "", "line 3", "No.")) == "line 3: No."
    assert str(Finding("x", "", "", "No.")) == "No."
    assert PLACED.severity == "error"


def test_input_error_lists_every_fault() -> None:
    error = InputError([PLACED, Finding("x", "", "", "Second.")])
    assert str(error).splitlines() == [str(PLACED), "Second."]
    assert error.findings[0] is PLACED


def test_input_error_from_plain_words() -> None:
    error = InputError("No pocket.")
    assert str(error) == "No pocket."
    assert [finding.code for finding in error.findings] == ["refused"]


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [
        (InputError, ValueError),
        (OutputError, OSError),
        (MissingExtraError, ImportError),
        (NumericalError, ArithmeticError),
    ],
)
def test_errors_are_also_the_builtin_that_a_caller_would_catch(kind: type[Exception], builtin: type[Exception]) -> None:
    assert issubclass(kind, FloorfitError)
    with pytest.raises(builtin, match="words"):
        raise kind("words")
