"""One line for each pocket from a small text template, for controls that take offsets as variables or work offsets.

The template is rendered in jinja2's sandbox, so it can format numbers and cannot run code. It knows: ``number`` (from
1), ``id``, ``action``, ``held``, ``offset_mm``, ``offset_in``, ``slope_x``, ``slope_y``, ``first`` and ``last``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from floorfit.decision.decision import Correction
from floorfit.errors import Finding, InputError
from floorfit.nc.corrected import Held
from floorfit.nc.header import plain
from floorfit.part.model import Part
from floorfit.units import MM_PER_INCH

__all__ = ["render_lines"]

#: Longest line written; a block holds 256 characters (NISTIR 6556, 3.3).
_LONGEST = 256
#: What a template may use.
_NAMES = ["number", "id", "action", "held", "offset_mm", "offset_in", "slope_x", "slope_y", "first", "last"]


def render_lines(
    part: Part, corrections: Mapping[str, Correction], template: str, *, held: Held = "refuse", source: str = "template"
) -> str:
    """Write a line for each pocket, in the part's order.

    Parameters
    ----------
    part : Part
        The nominal part.
    corrections : mapping of str to Correction
        By pocket id.
    template : str
        Text of the template, for example ``#{{ 500 + number }}={{ "%.4f" | format(offset_mm) }}``.
    held : {"refuse", "skip", "cut"}
        Held pockets: refuse, write no line, or write an offset of 0 (cut as programmed).
    source : str
        Name of the template for messages.

    Returns
    -------
    str

    Raises
    ------
    InputError
        If the template is wrong, a pocket is held (unless told otherwise), or a pocket's correction does not fit in
        a line: a surface (`follow`), or slopes that the template does not use.
    """
    compiled, names = _compiled(template, source)
    findings = _unfit(part, corrections, names, held, source)
    if findings:
        raise InputError(findings)
    chosen = [
        (number, pocket.id, corrections[pocket.id])
        for number, pocket in enumerate(part.pockets, start=1)
        if held != "skip" or corrections[pocket.id].action != "hold"
    ]
    ends = (chosen[0][0], chosen[-1][0]) if chosen else (0, 0)
    return "".join(_line(compiled, _context(*row, ends), source) for row in chosen)


def _unfit(
    part: Part, corrections: Mapping[str, Correction], names: set[str], held: Held, source: str
) -> list[Finding]:
    findings = []
    for pocket in part.pockets:
        action = corrections[pocket.id].action
        text = ""
        if action == "hold" and held == "refuse":
            text = "is held and has no offset. Say --held skip to leave its line out, or --held cut for an offset of 0."
        elif action == "follow":
            text = "follows a surface, which one line cannot say. Apply the offsets to the programme instead."
        elif action == "tilt" and not {"slope_x", "slope_y"} <= names:
            text = "is tilted, and the template does not use slope_x and slope_y. Apply the offsets to the programme."
        if text:
            findings.append(Finding(f"line-{action}", source, f"pocket {pocket.id}", text))
    return findings


def _context(number: int, pocket_id: str, correction: Correction, ends: tuple[int, int]) -> dict[str, Any]:
    held = correction.action == "hold"
    offset = 0.0 if held else float(correction.offset)
    slope = map(float, correction.slope)
    values = (number, plain(pocket_id), correction.action, held, offset, offset / MM_PER_INCH, *slope)
    return dict(zip(_NAMES, (*values, number == ends[0], number == ends[1]), strict=True))


def _compiled(template: str, source: str) -> tuple[Any, set[str]]:
    from jinja2 import StrictUndefined, TemplateError, meta
    from jinja2.exceptions import SecurityError
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    class Sandbox(ImmutableSandboxedEnvironment):
        intercepted_binops = frozenset({"*", "**"})

        def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
            if not all(isinstance(value, (int, float)) for value in (left, right)) or operator == "**":
                raise SecurityError(f"'{operator}' between these is not allowed in a template")
            return left * right

    environment = Sandbox(undefined=StrictUndefined, keep_trailing_newline=True, autoescape=False)
    try:
        names = meta.find_undeclared_variables(environment.parse(template))
        return environment.from_string(template.rstrip("\r\n")), names
    except TemplateError as error:
        raise _bad_template(source, error) from error


def _line(compiled: Any, context: dict[str, Any], source: str) -> str:
    from jinja2 import TemplateError

    try:
        text = str(compiled.render(context))
    except (TemplateError, TypeError, ValueError, ArithmeticError, KeyError, AttributeError) as error:
        raise _bad_template(source, error) from error
    if any(len(line) > _LONGEST for line in text.splitlines()):
        raise _bad_template(source, ValueError(f"a line is longer than {_LONGEST} characters"))
    _check_offsets(text, source)
    return text + "\n"


def _check_offsets(text: str, source: str) -> None:
    """Refuse a work offset that RS274/NGC has not got: P1 to P9 are G54 to G59.3 (NISTIR 6556, 3.5.5)."""
    for block in text.upper().replace(" ", "").splitlines():
        number = re.search(r"P([-+]?[\d.]+)", block)
        if re.search(r"G10(?![\d.])", block) and re.search(r"L(?:2|20)(?![\d.])", block):
            value = float(number[1]) if number else 0.0
            if value not in range(1, 10):
                told = f"P{number[1]}" if number else "no P"
                raise _bad_template(source, ValueError(f"G10 with {told}: there are P1 to P9 (G54 to G59.3)"))


def _bad_template(source: str, error: Exception) -> InputError:
    place = f"line {error.lineno}" if getattr(error, "lineno", None) else ""  # type: ignore[attr-defined]
    return InputError([Finding("template", source, place, f"{error}. The template may use {', '.join(_NAMES)}.")])
