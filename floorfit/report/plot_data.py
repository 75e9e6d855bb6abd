"""What the map on the page needs, as JSON that is safe inside a script element."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from markupsafe import Markup

from floorfit.arrays import Array
from floorfit.record import Record, WebMap
from floorfit.report.actions import label_of
from floorfit.report.colours import AMOUNT, WEB, standing
from floorfit.report.fields import levels_for
from floorfit.report.format import Display
from floorfit.report.language import marked
from floorfit.report.marks import Marks, reading_marks
from floorfit.report.plan_view import DrawnFloor, PlanView, plain_text, thinness, web_scale

__all__ = ["plot_data", "script_json"]

#: A grid of more nodes than this is thinned for the page, so that it stays small.
_MOST_NODES = 60_000

#: Texts that the page's script writes.
WORDS = {
    "warp": marked("Warp of the underside, {unit}. Plus: the plate stands high, the web gets thin."),
    "before": marked("Web if finished at the nominal floor Z, {unit}. Thick line: at a limit."),
    "after": marked("Web with the offsets, {unit}. Thick line: at a limit."),
    "uncertainty": marked("Expanded uncertainty of the warp (k = 2), {unit}."),
    "margin": marked("Margin to the nearer limit with the offsets, {unit}. Thick line: zero, outside beyond it."),
    "every": marked("Thin lines: every {step} {unit}, dashed below zero; thick line: zero."),
    "none": marked("No surface could be fitted: only outlines and readings are shown."),
    "thick": marked("web thick"), "thin": marked("web thin"), "nominal": marked("nominal"),
    "upper": marked("upper limit"), "lower": marked("lower limit"),
    "outside": marked("no pocket"), "warpAt": marked("warp"), "uAt": marked("uncertainty (k = 2)"),
    "beforeAt": marked("web before"), "afterAt": marked("web after"), "marginAt": marked("margin"),
    "line": marked("reading, line"), "used": marked("used"), "aside": marked("set aside"),
    "residual": marked("residual"),
}  # fmt: skip


def script_json(document: object) -> Markup:
    """Return JSON without any sign that could end a script element; NaN and infinity are refused.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    text = json.dumps(document, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def plot_data(record: Record, plan: PlanView) -> dict[str, Any]:
    """Return places in the unit of the page, layers rounded to the digits that are shown, floors and readings.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : PlanView
        The same run as a drawing sees it.

    Returns
    -------
    dict
        Plain lists, strings and numbers; ``layers`` is empty where there is no map.
    """
    show = plan.display
    marks = reading_marks(record.readings, plan)
    return {
        "unit": show.unit, "decimal": show.decimal, "placeDecimals": show.place_decimals, "decimals": show.decimals,
        "web": WEB, "amount": AMOUNT, "words": {key: show.words(text) for key, text in WORDS.items()},
        "outline": _ring(plan.outline, show), "floors": [_floor(floor, show) for floor in plan.floors],
        "used": _ring(marks.used, show), "sizes": np.round(np.sqrt(marks.shares), 2).tolist() if marks.is_dense else [],
        "aside": _ring(marks.aside, show), "readings": _readings(record, marks, show),
        "bounds": [round(v * show.per_mm, 6) for v in plan.bounds], **_grid(record, show),
    }  # fmt: skip


def _grid(record: Record, display: Display) -> dict[str, Any]:
    grid = record.map
    if grid is None:
        return {"x": [], "y": [], "pocket": [], "layers": {}, "scales": [], "lines": {}}
    stride = max(1, int(np.ceil(np.sqrt(len(grid.x_mm) * len(grid.y_mm) / _MOST_NODES))))
    cut = slice(None, None, stride)
    step, levels = levels_for(grid.warp_mm, display.per_mm)
    return {
        "x": np.round(grid.x_mm[cut] * display.per_mm, display.place_decimals + 2).tolist(),
        "y": np.round(grid.y_mm[cut] * display.per_mm, display.place_decimals + 2).tolist(),
        "pocket": grid.pocket[cut, cut].tolist(),
        "scales": _scales(record, display), "step": step,
        "layers": {name: _nulls(values[cut, cut]) for name, values in _layers(grid, display).items()},
        "lines": _lines(record, grid, display, levels),
    }  # fmt: skip


def _layers(grid: WebMap, display: Display) -> dict[str, Array]:
    values = {
        "warp": grid.warp_mm, "uncertainty": 2 * grid.warp_u_mm, "margin": grid.margin_mm,
        "before": grid.web_before_mm, "after": grid.web_after_mm,
    }  # fmt: skip
    return {name: np.round(one * display.per_mm, display.decimals + 1) for name, one in values.items()}


def _lines(record: Record, grid: WebMap, display: Display, levels: Array) -> dict[str, Any]:
    """Return contours as paths: of the warp by its sign, of webs at their limits, of the margin at zero."""
    x, y = (nodes * display.per_mm for nodes in (grid.x_mm, grid.y_mm))
    if min(len(x), len(y)) < 2:
        return {}
    digits = display.place_decimals
    warp = grid.warp_mm * display.per_mm
    webs = {name: thinness(record, rows)
            for name, rows in (("before", grid.web_before_mm), ("after", grid.web_after_mm))}  # fmt: skip
    return {
        "warp": {"plus": _paths(x, y, warp, [v for v in levels if v > 0], digits),
                 "zero": _paths(x, y, warp, [0.0], digits),
                 "minus": _paths(x, y, warp, [v for v in levels if v < 0], digits)},
        **{name: {"zero": _paths(x, y, place, [-1.0, 1.0], digits)} for name, place in webs.items()},
        "margin": {"zero": _paths(x, y, grid.margin_mm, [0.0], digits)},
    }  # fmt: skip


def _paths(x: Array, y: Array, values: Array, levels: list[float], digits: int) -> str:
    from contourpy import contour_generator

    lines = contour_generator(x, y, np.ma.masked_invalid(values))
    found = [line for level in levels for line in lines.lines(level)]
    return "".join("M" + "L".join(f"{a:.{digits}f} {b:.{digits}f}" for a, b in np.asarray(line)) for line in found)


def _scales(record: Record, display: Display) -> list[list[float | None]]:
    """Return `web_scale` in the unit of the page; null half where there is no limit."""
    lengths = np.array([display.per_mm, display.per_mm, 1.0, 1.0, display.per_mm, display.per_mm])
    return [[v if np.isfinite(v) else None for v in row] for row in (web_scale(record) * lengths).tolist()]


def _nulls(values: Array) -> list[list[float | None]]:
    return [[None if v != v else v for v in row] for row in values.tolist()]


def _ring(ring: Array, display: Display) -> list[list[float]]:
    points: list[list[float]] = np.round(ring * display.per_mm, display.place_decimals + 1).tolist()
    return points


def _floor(floor: DrawnFloor, display: Display) -> dict[str, Any]:
    decision = floor.decision
    suggestion, said = decision.suggestion_mm, label_of(decision, display)
    return {
        "id": plain_text(floor.id), "standing": standing(decision.action, decision.verdict),
        "said": [text for text in (said.action, said.number) if text], "more": said.more, "angle": said.angle,
        "text": said.text,
        "ring": _ring(floor.boundary, display), "islands": [_ring(ring, display) for ring in floor.islands],
        "label": [round(v * display.per_mm, 3) for v in floor.label_at],
        "suggestion": None if suggestion is None else [round(v * display.per_mm, 3) for v in suggestion],
    }  # fmt: skip


def _readings(record: Record, marks: Marks, display: Display) -> list[list[Any]]:
    """Return [x, y, used, line, residual] for each reading that has a mark of its own."""
    readings = record.readings
    if marks.is_dense:
        return []
    digits = display.place_decimals + 2
    return [
        [
            round(readings.x_mm[k] * display.per_mm, digits), round(readings.y_mm[k] * display.per_mm, digits),
            int(readings.used[k]), readings.line[k], display.length(readings.residual_mm[k], sign=True, more=1),
        ]
        for k in range(len(readings.used))
    ]  # fmt: skip
