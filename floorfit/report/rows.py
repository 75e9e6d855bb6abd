"""Tables of the page: each number as text with the place in the record that it came from."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup, escape

from floorfit.record import Decision, Record
from floorfit.report.actions import VERDICTS, label_of, urgency
from floorfit.report.format import MISSING, Display
from floorfit.report.language import marked
from floorfit.report.plan_view import DrawnFloor, PlanView, plain_text

__all__ = ["Detail", "Row", "budget_share", "details", "flat", "pocket_rows", "readings_of", "set_aside", "tagged"]

#: More readings of one pocket than this are not listed; those set aside are, and the largest residuals.
MOST_LISTED = 25
_SPECIAL = re.compile("[&<>\"']")
#: More readings set aside than this are not listed.
MOST_ASIDE = 200


@dataclass(frozen=True)
class Row:
    """One line of the table of pockets: cells of text and numbers, and keys to sort by."""

    index: int
    id: str
    action: str
    label: str
    verdict: str
    verdict_words: str
    cells: dict[str, Markup]
    keys: dict[str, str]
    reason: str


@dataclass(frozen=True)
class Detail:
    """One pocket in full: its budget, readings and notes."""

    row: Row
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
    at, shown = _escaped(pointer), _escaped(text)
    return Markup(f'<data value="{value!r}" data-at="{at}" data-unit="{_escaped(unit)}">{shown}</data>')


def _escaped(text: str) -> str:
    """Escape a text that seldom has anything to escape: a search costs a tenth of a `Markup`."""
    return str(escape(text)) if _SPECIAL.search(text) else text


def pocket_rows(record: Record, plan: PlanView) -> list[Row]:
    """Return the table of pockets: held first, then those not sure to conform, then by margin.

    Parameters
    ----------
    record : Record
    plan : PlanView
        The same run as a drawing sees it.
    """
    order = sorted(range(len(record.decisions)), key=lambda k: (*urgency(record.decisions[k]), k))
    return [_row(k, rank, record.decisions[k], plan.display) for rank, k in enumerate(order)]


def details(record: Record, plan: PlanView, rows: list[Row]) -> Iterator[Detail]:
    """Return every pocket in full, in the order of the rows.

    Parameters
    ----------
    record : Record
    plan : PlanView
        The same run as a drawing sees it.
    rows : list of Row
        Of `pocket_rows`.
    """
    by_floor = readings_of(record)
    for row in rows:
        floor = plan.floors[row.index]
        own = by_floor.get(floor.id, [])
        listed = _listed(record, own)
        lines = [_reading(record, plan.display, k) for k in listed]
        facts = list(_facts(floor, plan.display))
        budget = list(_budget(row.index, floor.decision, plan.display))
        notes = [plan.display.sentence(note) for note in floor.decision.notes]
        yield Detail(row, facts, budget, lines, len(own) - len(listed), notes)


def readings_of(record: Record) -> dict[str, list[int]]:
    """Return the rows of the readings on each floor; key ``""`` for those on none."""
    found: dict[str, list[int]] = {}
    for k, floor in enumerate(record.readings.floor):
        found.setdefault(floor, []).append(k)
    return found


def set_aside(record: Record, plan: PlanView) -> list[dict[str, Any]]:
    """Return readings that were set aside, with their reason; the first `MOST_ASIDE`.

    Parameters
    ----------
    record : Record
    plan : PlanView
        The same run as a drawing sees it.
    """
    rows = [k for k, used in enumerate(record.readings.used) if not used]
    return [_reading(record, plan.display, k) for k in rows[:MOST_ASIDE]]


def flat(document: object, prefix: str = "", say: Callable[[str], str] = marked) -> Iterator[tuple[str, str]]:
    """Return nested settings as (name, text) pairs, names joined by dots; floats in full precision.

    Parameters
    ----------
    document : object
        Mappings within mappings.
    prefix : str
        Put before every name.
    say : callable
        Gives an English text in the language of the page.
    """
    if isinstance(document, dict):
        for key, value in document.items():
            yield from flat(value, f"{prefix}.{key}" if prefix else str(key), say)
    elif isinstance(document, (list, tuple)) and len(document) > 8:
        yield prefix, say("{n} values, in record.json").format(n=len(document))
    else:
        yield prefix, _text(document, say)


def _text(value: object, say: Callable[[str], str]) -> str:
    if isinstance(value, (list, tuple)) and value:
        return ", ".join(_text(item, say) for item in value)
    if value is None or value in ([], (), ""):
        return MISSING
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    return plain_text(str(value))


def _row(index: int, rank: int, decision: Decision, display: Display) -> Row:
    p = decision.conformance_probability
    keys = {"id": str(index), "rank": str(rank), "offset": _key(decision.offset_mm),
            "before": _key(decision.web_before_min_mm), "after": _key(decision.web_after_min_mm),
            "margin": _key(decision.margin_mm), "p": _key(p)}  # fmt: skip
    return Row(
        index, plain_text(decision.pocket), decision.action, label_of(decision, display).text, decision.verdict,
        display.words(VERDICTS[decision.verdict]), _row_cells(index, decision, display), keys,
        display.sentence(str(decision.reason)),
    )  # fmt: skip


def _row_cells(index: int, decision: Decision, display: Display) -> dict[str, Markup]:
    at, p = f"/decisions/{index}/", decision.conformance_probability
    offset, u = display.pair(decision.offset_mm, decision.offset_u_mm)

    def length(name: str, *, sign: bool = False) -> Markup:
        value: float | None = getattr(decision, name)
        return tagged(at + name, value, display.length(value, sign=sign), display.unit)

    def slope(name: str) -> Markup:
        value: float = getattr(decision, name)
        text = display.plain(100 * value, 4, sign=True)
        return tagged(at + name, value, text, "1/100") if decision.action == "tilt" else Markup("")

    return {
        "offset": tagged(at + "offset_mm", decision.offset_mm, offset, display.unit),
        "u": tagged(at + "offset_u_mm", decision.offset_u_mm, u, display.unit),
        "slope_x": slope("slope_x"), "slope_y": slope("slope_y"),
        "before_min": length("web_before_min_mm"), "before_max": length("web_before_max_mm"),
        "after_min": length("web_after_min_mm"), "after_max": length("web_after_max_mm"),
        "low": length("web_lower_limit_mm"), "high": length("web_upper_limit_mm"),
        "margin": length("margin_mm", sign=True),
        "p": tagged(at + "conformance_probability", p, display.plain(p, 4), "1"),
        "readings": tagged(at + "readings_used", decision.readings_used, str(decision.readings_used), "1"),
    }  # fmt: skip


def _key(value: float | None) -> str:
    return "" if value is None else repr(value)


def _facts(floor: DrawnFloor, display: Display) -> Iterator[tuple[str, Markup]]:
    decision, at, say = floor.decision, f"/decisions/{floor.index}/", display.words
    ends = [
        tagged(f"{at}web_after_interval_mm/{k}", end, display.length(end), display.unit)
        for k, end in enumerate(decision.web_after_interval_mm)
    ]
    yield say("web after, 95 % interval"), Markup(f" {say('to')} ").join(ends)
    for name, words in (
        ("thin_probability", say("probability too thin")),
        ("thick_probability", say("probability too thick")),
    ):
        value: float | None = getattr(decision, name)
        yield words, tagged(at + name, value, display.plain(value, 4), "1")
    yield say("readings used"), tagged(f"{at}readings_used", decision.readings_used, str(decision.readings_used), "1")
    if decision.suggestion_mm is not None:
        place = [
            tagged(f"{at}suggestion_mm/{k}", value, display.place(value), display.unit)
            for k, value in enumerate(decision.suggestion_mm)
        ]
        yield say("another reading helps most at X, Y"), Markup("; ").join(place)


def _budget(index: int, decision: Decision, display: Display) -> Iterator[tuple[str, Markup]]:
    for cause, u in sorted(decision.budget_mm.items(), key=lambda item: -item[1]):
        yield display.sentence(cause), budget_share(index, cause, u, display)


def budget_share(index: int, cause: str, u: float, display: Display) -> Markup:
    """Mark the share that a cause has in the uncertainty of a pocket (JSON pointer: RFC 6901).

    Parameters
    ----------
    index : int
        Of the pocket in the record.
    cause : str
    u : float, mm
    display : Display
    """
    pointer = f"/decisions/{index}/budget_mm/{cause.replace('~', '~0').replace('/', '~1')}"
    return tagged(pointer, u, display.length(u, more=1), display.unit)


def _listed(record: Record, rows: list[int]) -> list[int]:
    if len(rows) <= MOST_LISTED:
        return rows
    used = np.array([record.readings.used[k] for k in rows])
    sizes = np.array([abs(record.readings.residual_mm[k] or 0.0) for k in rows])
    worst = np.lexsort((-sizes, used))[:MOST_LISTED]  # what was set aside first, the largest residual first
    return sorted(rows[k] for k in worst)


def _reading(record: Record, display: Display, k: int) -> dict[str, Any]:
    readings = record.readings

    def cell(name: str, text: str, unit: str) -> Markup:
        return tagged(f"/readings/{name}/{k}", getattr(readings, name)[k], text, unit)

    def small(name: str) -> Markup:
        text = display.length(getattr(readings, name)[k], sign=True, more=1)
        return cell(name, text, display.unit)

    return {
        "line": readings.line[k], "used": readings.used[k], "reason": display.sentence(readings.reason[k]),
        "floor": plain_text(readings.floor[k]),
        "x": cell("x_mm", display.place(readings.x_mm[k]), display.unit),
        "y": cell("y_mm", display.place(readings.y_mm[k]), display.unit),
        "thickness": cell("thickness_mm", display.length(readings.thickness_mm[k]), display.unit),
        "warp": small("warp_mm"), "residual": small("residual_mm"), "loo": small("loo_mm"),
    }  # fmt: skip
