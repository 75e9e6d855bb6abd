"""Tables of the page: each number as text with the place in the record that it came from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup, escape

from floorfit.record import Decision, Record
from floorfit.report.format import MISSING, Display, fixed
from floorfit.report.plan_view import Floor, Plan, plain_text
from floorfit.report.svg import pocket_svg

__all__ = ["Detail", "Row", "details", "flat", "pocket_rows", "readings_of", "set_aside", "tagged"]

#: More readings of one pocket than this are not listed; those set aside are, and the largest residuals.
MOST_LISTED = 60


@dataclass(frozen=True)
class Row:
    """One line of the table of pockets: cells of text and numbers, and keys to sort by."""

    index: int
    id: str
    action: str
    verdict: str
    cells: dict[str, Markup]
    keys: dict[str, str]
    reason: str


@dataclass(frozen=True)
class Detail:
    """One pocket in full: its drawing, budget, readings and notes."""

    row: Row
    picture: Markup
    facts: list[tuple[str, Markup]]
    budget: list[tuple[str, Markup]]
    readings: list[dict[str, Any]]
    unlisted: int
    notes: list[str]


def tagged(pointer: str, value: float | None, text: str, unit: str) -> Markup:
    """Return a number as a ``data`` element.

    Parameters
    ----------
    pointer : str
        Place in the record (RFC 6901).
    value : float or None
        The number there; mm for a length.
    text : str
        The number as printed.
    unit : str
        Unit of the text; ``"1"`` for a plain number.

    Returns
    -------
    Markup
        Plain dash where the number is not known.
    """
    if value is None:
        return Markup(MISSING)
    return Markup(
        f'<data value="{value!r}" data-at="{escape(pointer)}" data-unit="{escape(unit)}">{escape(text)}</data>'
    )


def pocket_rows(record: Record, plan: Plan) -> list[Row]:
    """Return the table of pockets, worst margin first; pockets without a margin lead."""
    rows = [_row(k, decision, plan.display) for k, decision in enumerate(record.decisions)]
    return sorted(rows, key=lambda row: (_order(record.decisions[row.index].margin_mm), row.index))


def details(record: Record, plan: Plan, rows: list[Row], warp_limit: float) -> Iterator[Detail]:
    """Return every pocket in full, in the order of the rows."""
    by_floor = readings_of(record)
    for row in rows:
        floor = plan.floors[row.index]
        own = by_floor.get(floor.id, [])
        listed = _listed(record, own)
        picture = pocket_svg(record, floor, warp_limit, np.array(listed, dtype=np.intp))
        lines = [_reading(record, plan.display, k) for k in listed]
        facts = list(_facts(floor, plan.display))
        budget = list(_budget(row.index, floor.decision, plan.display))
        yield Detail(row, picture, facts, budget, lines, len(own) - len(listed), list(floor.decision.notes))


def readings_of(record: Record) -> dict[str, list[int]]:
    """Return the rows of the readings on each floor; key ``""`` for those on none."""
    found: dict[str, list[int]] = {}
    for k, floor in enumerate(record.readings.floor):
        found.setdefault(floor, []).append(k)
    return found


def set_aside(record: Record, plan: Plan) -> list[dict[str, Any]]:
    """Return every reading that was set aside, with its reason."""
    return [_reading(record, plan.display, k) for k, used in enumerate(record.readings.used) if not used]


def flat(document: object, prefix: str = "") -> Iterator[tuple[str, str]]:
    """Return nested settings as (name, text) pairs, names joined by dots; floats in full precision."""
    if isinstance(document, dict):
        for key, value in document.items():
            yield from flat(value, f"{prefix}.{key}" if prefix else str(key))
    elif isinstance(document, (list, tuple)) and len(document) > 8:
        yield prefix, f"{len(document)} values, in record.json"
    else:
        yield prefix, _text(document)


def _text(value: object) -> str:
    if isinstance(value, (list, tuple)) and value:
        return ", ".join(_text(item) for item in value)
    if value is None or value in ([], (), ""):
        return MISSING
    if isinstance(value, bool):
        return "yes" if value else "no"
    return plain_text(str(value))


def _order(margin: float | None) -> float:
    return float("-inf") if margin is None else margin


def _row(index: int, decision: Decision, display: Display) -> Row:
    at = f"/decisions/{index}/"
    offset, u = display.small_pair(decision.offset_mm, decision.offset_u_mm)

    def web(name: str) -> Markup:
        value: float | None = getattr(decision, name)
        return tagged(at + name, value, display.web(value), display.unit)

    def small(name: str, text: str) -> Markup:
        return tagged(at + name, getattr(decision, name), text, display.small)

    p = decision.conformance_probability
    cells = {
        "offset": small("offset_mm", offset), "u": small("offset_u_mm", u),
        "before_min": web("web_before_min_mm"), "before_max": web("web_before_max_mm"),
        "after_min": web("web_after_min_mm"), "after_max": web("web_after_max_mm"),
        "low": web("web_lower_limit_mm"), "high": web("web_upper_limit_mm"),
        "margin": small("margin_mm", display.small_length(decision.margin_mm, sign=True)),
        "p": tagged(at + "conformance_probability", p, MISSING if p is None else fixed(p, 4), "1"),
    }  # fmt: skip
    keys = {"id": str(index), "offset": _key(decision.offset_mm), "before": _key(decision.web_before_min_mm),
            "after": _key(decision.web_after_min_mm), "margin": _key(decision.margin_mm), "p": _key(p)}  # fmt: skip
    return Row(index, plain_text(decision.pocket), decision.action, decision.verdict, cells, keys, str(decision.reason))


def _key(value: float | None) -> str:
    return "" if value is None else repr(value)


def _facts(floor: Floor, display: Display) -> Iterator[tuple[str, Markup]]:
    decision, at = floor.decision, f"/decisions/{floor.index}/"
    low, high = decision.web_after_interval_mm
    yield (
        "web after, 95 % interval",
        _span(
            tagged(f"{at}web_after_interval_mm/0", low, display.web(low), display.unit),
            tagged(f"{at}web_after_interval_mm/1", high, display.web(high), display.unit),
        ),
    )
    for name, words in (("thin_probability", "probability too thin"), ("thick_probability", "probability too thick")):
        value: float | None = getattr(decision, name)
        yield words, tagged(at + name, value, MISSING if value is None else fixed(value, 4), "1")
    for k, name in enumerate(("slope_x", "slope_y")):
        if decision.action == "tilt":
            slope: float = getattr(decision, name)
            yield f"added slope dZ/d{'XY'[k]}", tagged(at + name, slope, fixed(slope, 7, sign=True), "1")
    yield "readings used", tagged(f"{at}readings_used", decision.readings_used, str(decision.readings_used), "1")
    if decision.suggestion_mm is not None:
        x, y = decision.suggestion_mm
        place = _span(
            tagged(f"{at}suggestion_mm/0", x, display.place(x), display.unit),
            tagged(f"{at}suggestion_mm/1", y, display.place(y), display.unit),
            ", ",
        )
        yield "another reading helps most at X, Y", place


def _span(low: Markup, high: Markup, joint: str = " to ") -> Markup:
    return low + joint + high


def _budget(index: int, decision: Decision, display: Display) -> Iterator[tuple[str, Markup]]:
    for cause, u in sorted(decision.budget_mm.items(), key=lambda item: -item[1]):
        pointer = f"/decisions/{index}/budget_mm/{cause.replace('~', '~0').replace('/', '~1')}"
        yield cause, tagged(pointer, u, display.small_length(u, more=1), display.small)


def _listed(record: Record, rows: list[int]) -> list[int]:
    if len(rows) <= MOST_LISTED:
        return rows
    readings = record.readings
    by_size = sorted(rows, key=lambda k: (readings.used[k], -abs(readings.residual_mm[k] or 0.0)))
    return sorted(by_size[:MOST_LISTED])


def _reading(record: Record, display: Display, k: int) -> dict[str, Any]:
    readings = record.readings

    def cell(name: str, text: str, unit: str) -> Markup:
        return tagged(f"/readings/{name}/{k}", getattr(readings, name)[k], text, unit)

    def small(name: str) -> Markup:
        text = display.small_length(getattr(readings, name)[k], sign=True, more=1)
        return cell(name, text, display.small)

    return {
        "line": readings.line[k], "used": readings.used[k], "reason": readings.reason[k],
        "floor": plain_text(readings.floor[k]),
        "x": cell("x_mm", display.place(readings.x_mm[k]), display.unit),
        "y": cell("y_mm", display.place(readings.y_mm[k]), display.unit),
        "thickness": cell("thickness_mm", display.web(readings.thickness_mm[k]), display.unit),
        "warp": small("warp_mm"), "residual": small("residual_mm"), "loo": small("loo_mm"),
    }  # fmt: skip
