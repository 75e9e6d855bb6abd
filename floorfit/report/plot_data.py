"""What the zoomable map on the page needs, as JSON that is safe inside a script element."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from floorfit.record import Record, WebMap
from floorfit.report.colours import DIVERGING, SEQUENTIAL, hex_scale
from floorfit.report.format import Display
from floorfit.report.plan_view import Floor, Plan, layer, plain_text, web_scale

__all__ = ["plot_data", "script_json"]

Array = NDArray[np.float64]

#: A grid of more nodes than this is thinned for the page, so that it stays small.
_MOST_NODES = 60_000

#: More readings than this are not drawn one by one on the page; those set aside are always kept.
_MOST_READINGS = 3000


def script_json(document: object) -> Markup:
    """Return JSON without any sign that could end a script element; NaN and infinity are refused.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    text = json.dumps(document, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def plot_data(record: Record, plan: Plan) -> dict[str, Any]:
    """Return places in the part's unit, layers rounded to the digits that are shown, floors and readings.

    Parameters
    ----------
    record : Record
        A run, with or without a map.
    plan : Plan
        The same run as a drawing sees it.

    Returns
    -------
    dict
        Plain lists, strings and numbers; ``layers`` is empty where there is no map.
    """
    display = plan.display
    return {
        "unit": display.unit, "small": display.small, "placeDecimals": display.place_decimals,
        "webDecimals": display.web_decimals, "smallDecimals": display.small_decimals + 1,
        "diverging": hex_scale(DIVERGING), "sequential": hex_scale(SEQUENTIAL),
        "outline": _ring(plan.outline, display), "floors": [_floor(floor, display) for floor in plan.floors],
        "readings": _readings(record, display), "bounds": [round(v * display.per_mm, 6) for v in plan.bounds],
        **_grid(record, display),
    }  # fmt: skip


def _grid(record: Record, display: Display) -> dict[str, Any]:
    grid = record.map
    if grid is None:
        return {"x": [], "y": [], "pocket": [], "layers": {}, "scales": []}
    stride = max(1, int(np.ceil(np.sqrt(len(grid.x_mm) * len(grid.y_mm) / _MOST_NODES))))
    cut = slice(None, None, stride)
    return {
        "x": np.round(np.array(grid.x_mm)[cut] * display.per_mm, display.place_decimals + 2).tolist(),
        "y": np.round(np.array(grid.y_mm)[cut] * display.per_mm, display.place_decimals + 2).tolist(),
        "pocket": np.array(grid.pocket)[cut, cut].tolist(),
        "scales": _scales(record, display),
        "layers": {name: _nulls(values[cut, cut]) for name, values in _layers(grid, display).items()},
    }


def _layers(grid: WebMap, display: Display) -> dict[str, Array]:
    before, after = layer(grid.web_before_mm), layer(grid.web_after_mm)
    small, digits = display.small_per_mm, display.small_decimals + 1
    return {
        "warp": np.round(layer(grid.warp_mm) * small, digits),
        "uncertainty": np.round(2 * layer(grid.warp_u_mm) * small, digits),
        "margin": np.round(layer(grid.margin_mm) * small, digits),
        "before": np.round(before * display.per_mm, display.web_decimals),
        "after": np.round(after * display.per_mm, display.web_decimals),
    }


def _scales(record: Record, display: Display) -> list[list[float | None]]:
    """Return `web_scale` in the part's unit; null half where there is no limit."""
    lengths = np.array([display.per_mm, display.per_mm, 1.0, 1.0, display.per_mm, display.per_mm])
    return [[v if np.isfinite(v) else None for v in row] for row in (web_scale(record) * lengths).tolist()]


def _nulls(values: Array) -> list[list[float | None]]:
    return [[None if v != v else v for v in row] for row in values.tolist()]


def _ring(ring: Array, display: Display) -> list[list[float]]:
    points: list[list[float]] = np.round(ring * display.per_mm, display.place_decimals + 1).tolist()
    return points


def _floor(floor: Floor, display: Display) -> dict[str, Any]:
    decision = floor.decision
    suggestion = decision.suggestion_mm
    return {
        "id": plain_text(floor.id), "held": decision.action == "hold", "verdict": decision.verdict,
        "offset": display.small_length(decision.offset_mm, sign=True),
        "ring": _ring(floor.boundary, display), "islands": [_ring(ring, display) for ring in floor.islands],
        "label": [round(v * display.per_mm, 3) for v in floor.label_at],
        "suggestion": None if suggestion is None else [round(v * display.per_mm, 3) for v in suggestion],
    }  # fmt: skip


def _readings(record: Record, display: Display) -> list[list[Any]]:
    """Return [x, y, used, line, residual] for each reading drawn on the page."""
    readings = record.readings
    keep = set(range(0, len(readings.used), max(1, -(-len(readings.used) // _MOST_READINGS))))
    rows = [k for k, used in enumerate(readings.used) if k in keep or not used]
    digits = display.place_decimals + 2
    return [
        [
            round(readings.x_mm[k] * display.per_mm, digits), round(readings.y_mm[k] * display.per_mm, digits),
            int(readings.used[k]), readings.line[k], display.small_length(readings.residual_mm[k], sign=True, more=1),
        ]
        for k in rows
    ]  # fmt: skip
