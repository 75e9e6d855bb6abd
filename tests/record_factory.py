"""Synthetic records for the tests of map, page and mesh: invented parts, a warp with a formula, fixed seeds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import shapely

from floorfit.readings.kinds import reason_of
from floorfit.record import Record

#: Invented hostile pocket names: markup, quotes, umlauts, a formula sign, a closing script tag, 200 characters.
ODD_NAMES = (
    "<script>document.title='owned'</script>",
    "</script><img src=x onerror=document.title='owned'>",
    "a\"b'c`d",
    "Tür & Öse – Größe $\\alpha$ ß",
    "x" * 200,
    "ポケット七",
    "<b>bold</b> &lt;not&gt; {{ 7 * 7 }}",
    "line\nbreak\ttab",
)


@dataclass(frozen=True)
class Layout:
    """An invented plate: size and number of pockets, mm."""

    name: str
    length: float
    width: float
    columns: int
    rows: int
    readings: int
    unit: str = "mm"
    amplitude: float = 0.2
    seed: int = 1


def frame(**changes: Any) -> Record:
    """Eighteen pockets with islands, one held, one undecided, one nonconform."""
    return _record(Layout("invented bay frame", 1200, 500, 6, 3, 140), **changes)


def inch_part(**changes: Any) -> Record:
    """Twelve pockets, part file in inches."""
    return _record(Layout("invented inch panel", 914.4, 609.6, 4, 3, 90, "in", 0.09, 2), **changes)


def long_part(**changes: Any) -> Record:
    """An 8 m × 1.2 m plate with 120 pockets and 840 readings."""
    return _record(Layout("invented long spar", 8000, 1200, 40, 3, 840, "mm", 0.35, 3), **changes)


def tall_part(**changes: Any) -> Record:
    """A spar along Y, 8:1."""
    return _record(Layout("invented tall spar", 300, 2400, 1, 14, 120, "mm", 0.15, 4), **changes)


def odd_names(**changes: Any) -> Record:
    """Eight pockets with hostile names, and a hostile part name."""
    layout = Layout("<script>document.title='owned'</script> \"Rahmen\" Größe", 640, 300, 4, 2, 60, "mm", 0.1, 5)
    return _record(layout, names=ODD_NAMES, **changes)


def padded() -> Record:
    """Eighteen pockets of which two are pads in the middle of their neighbours."""
    document = frame().model_dump()
    for outer, pad in ((6, 7), (15, 16)):
        (x0, y0), _, (x1, y1), *_ = document["part"]["pockets"][outer]["boundary"]
        cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
        ring = [[cx - 35, cy - 30], [cx + 35, cy - 30], [cx + 35, cy + 30], [cx - 35, cy + 30]]
        document["part"]["pockets"][outer]["islands"] = [ring]
        document["part"]["pockets"][pad].update(boundary=ring, islands=[])
    return Record.model_validate(document)


def no_surface() -> Record:
    """Every pocket held, no map."""
    record = frame()
    nothing = {
        "action": "hold", "offset_mm": None, "offset_u_mm": None, "web_before_min_mm": None, "web_before_max_mm": None,
        "web_after_min_mm": None, "web_after_max_mm": None, "web_after_interval_mm": [None, None], "margin_mm": None,
        "conformance_probability": None, "thin_probability": None, "thick_probability": None, "verdict": "undecided",
        "reason": "too-few-readings: 2 different places of readings: three that are not in one line are the least for "
        "a plane. Take more readings, spread over the part.", "readings_used": 0, "budget_mm": {},
        "suggestion_mm": None,
    }  # fmt: skip
    document = record.model_dump()
    for decision in document["decisions"]:
        decision.update(nothing)
    columns = {key: values[:2] for key, values in document["readings"].items()}
    blank: list[Any] = [None, None]
    reason = ["no-surface: the readings do not fix a surface"] * 2
    columns.update(residual_mm=blank, loo_mm=blank, weight=blank, used=[False] * 2, reason=reason)
    document.update(map=None, surface=None, readings=columns, neighbours=[])
    document["summary"].update(
        corrected=0, held=18, conform=0, undecided=18, nonconform=0, readings=2, readings_used=0,
        sentence="No pocket can be corrected: two readings are too few for a surface. Take more readings.",
    )  # fmt: skip
    return Record.model_validate(document)


def warp(layout: Layout, x: Any, y: Any) -> Any:
    """Return the invented warp in mm: a bow along the plate and a twist."""
    u, v = np.asarray(x) / layout.length, np.asarray(y) / layout.width
    return layout.amplitude * (np.sin(2.2 * np.pi * u) * 0.6 + (u - 0.5) * (v - 0.5) * 1.6)


def uncertainty(layout: Layout, x: Any, y: Any) -> Any:
    """Return an invented standard uncertainty in mm, larger towards the ends."""
    u, v = np.asarray(x) / layout.length - 0.5, np.asarray(y) / layout.width - 0.5
    return 0.006 + 0.02 * u**2 + 0.012 * v**2


def _part(layout: Layout, names: tuple[str, ...] | None) -> dict[str, Any]:
    scale = 25.4 if layout.unit == "in" else 1.0
    pitch_x, pitch_y = layout.length / layout.columns, layout.width / layout.rows
    pockets = []
    for k in range(layout.columns * layout.rows):
        i, j = k % layout.columns, k // layout.columns
        cx, cy = (i + 0.5) * pitch_x, (j + 0.5) * pitch_y
        pockets.append(_pocket(k, names, cx, cy, 0.42 * pitch_x, 0.42 * pitch_y, scale))
    outline = [[0, 0], [layout.length, 0], [layout.length, layout.width], [0, layout.width]]
    return {
        "format": "floorfit-part/1", "name": layout.name, "units": layout.unit, "underside_z": 0.0,
        "outline": [[a / scale, b / scale] for a, b in outline],
        "defaults": {"web": 2.0 / scale, "web_tolerance": [-0.1 / scale, 0.1 / scale], "finish_stock": 0.5 / scale},
        "pockets": pockets,
    }  # fmt: skip


def _slope(k: int) -> tuple[float, float]:
    return (0.0021, -0.0013) if k % 6 == 4 else (0.0, 0.0)


def _pocket(k: int, names: Any, cx: float, cy: float, a: float, b: float, scale: float) -> dict[str, Any]:
    ring = [[cx - a, cy - b], [cx + a, cy - b], [cx + a, cy + b], [cx - a, cy + b]]
    if k % 5 == 2:  # concave: an L
        ring = [*ring[:2], [cx + a, cy], [cx, cy], [cx, cy + b], ring[3]]
    r = 0.18 * min(a, b)
    island = [[cx - a / 2 - r, cy - r], [cx - a / 2 + r, cy - r], [cx - a / 2, cy + r]]
    islands = [island] if k % 4 == 1 else []
    return {
        "id": names[k] if names else f"P{k + 1:02d}",
        "boundary": [[x / scale, y / scale] for x, y in ring],
        "islands": [[[x / scale, y / scale] for x, y in ring] for ring in islands],
        "floor_z": 2.0 / scale, "slope": list(_slope(k)), "corner_radius": 8.0 / scale,
    }  # fmt: skip


def _record(layout: Layout, names: tuple[str, ...] | None = None, **changes: Any) -> Record:
    return Record.model_validate({**_document(layout, names), **changes})


@cache
def _document(layout: Layout, names: tuple[str, ...] | None) -> dict[str, Any]:
    """What a record is made of; nobody changes it."""
    rng = np.random.default_rng(layout.seed)
    part = _part(layout, names)
    scale = 25.4 if layout.unit == "in" else 1.0
    floors = [shapely.Polygon(np.array(p["boundary"]) * scale, [np.array(i) * scale for i in p["islands"]])
              for p in part["pockets"]]  # fmt: skip
    readings = _readings(layout, part, floors, rng)
    decisions = [_decision(layout, part["pockets"][k]["id"], floor, k) for k, floor in enumerate(floors)]
    _awkward(decisions)
    for decision in decisions:
        pairs = zip(readings["floor"], readings["used"], strict=True)
        decision["readings_used"] = sum(f == decision["pocket"] and used for f, used in pairs)
    return {
        "format": "floorfit-record/1", "job": "job-invented-07", "created": "2026-03-14T09:26:53Z",
        "versions": {"floorfit": "0.1.0", "numpy": "2.4.6", "python": "3.11.7"},
        "inputs": {"part": {"name": "part.json", "sha256": "3f" * 32},
                   "readings": {"name": "r.csv", "sha256": "a9" * 32}},
        "settings": {"level": 0.95, "seed": 20, "max_offset_mm": 1.0, "screen": {"fence": 4.0, "largest_mm": 3.0}},
        "part": part, "summary": _summary(decisions, readings), "surface": _surface(),
        "decisions": decisions, "readings": readings, "map": _map(layout, floors, decisions),
        "neighbours": [{"a": decisions[0]["pocket"], "b": decisions[1]["pocket"], "rib_mm": 3.2,
                        "at_mm": (200.0, 83.0), "step_mm": 0.0413}],
        "findings": [{"code": "labels-respelt", "source": "r.csv", "place": "column pocket", "severity": "warning",
                      "text": '1 labels were read without regard to case and leading zeros: "p1" → P01.'}],
    }  # fmt: skip


def _readings(layout: Layout, part: Any, floors: Any, rng: Any) -> dict[str, list[Any]]:
    n = layout.readings
    index = np.arange(n) % len(floors)
    boxes = np.array([floor.bounds for floor in floors])
    low, high = boxes[index, :2], boxes[index, 2:]
    xy = low + (high - low) * (0.1 + 0.8 * rng.random((n, 2)))
    inside = np.array([floors[k].covers(shapely.Point(p)) for k, p in zip(index, xy, strict=True)])
    fitted = warp(layout, xy[:, 0], xy[:, 1])
    residual = rng.normal(0, 0.004, n)
    used = inside & (np.arange(n) % 23 != 7)
    blank = np.arange(n) % 46 == 7
    residual[~used & inside] += 0.15
    nothing, far = reason_of("blank", thickness="blank"), reason_of("outlier", thickness=2.41, expected=2.26)
    reason = ["" if u else (reason_of("off-floor") if not i else (nothing if b else far))
              for u, i, b in zip(used, inside, blank, strict=True)]  # fmt: skip
    known = [bool(i and not b) for i, b in zip(inside, blank, strict=True)]

    def column(values: Any) -> list[Any]:
        return [float(v) if k else None for v, k in zip(values, known, strict=True)]

    return {
        "line": list(range(2, n + 2)), "x_mm": xy[:, 0].tolist(), "y_mm": xy[:, 1].tolist(),
        "thickness_mm": [None if b else float(2.5 - w) for b, w in zip(blank, fitted + residual, strict=True)],
        "z_mm": [None] * n, "u_mm": [0.005] * n, "label": [part["pockets"][k]["id"] for k in index],
        "floor": [part["pockets"][k]["id"] if i else "" for k, i in zip(index, inside, strict=True)],
        "used": used.tolist(), "reason": reason, "warp_mm": column(fitted + residual),
        "residual_mm": column(residual), "loo_mm": column(1.3 * residual), "weight": [1.0 if u else 0.0 for u in used],
    }  # fmt: skip


def _decision(layout: Layout, name: str, floor: Any, k: int) -> dict[str, Any]:
    low_x, low_y, high_x, high_y = floor.bounds
    grid = np.meshgrid(np.linspace(low_x, high_x, 12), np.linspace(low_y, high_y, 12))
    w = warp(layout, *grid)
    dz = float((w.min() + w.max()) / 2)
    before, after = (2.0 - w.max(), 2.0 - w.min()), (2.0 + dz - w.max(), 2.0 + dz - w.min())
    u = float(uncertainty(layout, *grid).mean())
    centre = shapely.Polygon(floor.exterior).centroid
    return {
        "pocket": name, "action": "shift", "centroid_mm": (centre.x, centre.y), "offset_mm": dz, "slope_x": 0.0,
        "slope_y": 0.0, "offset_u_mm": 2 * u, "web_before_min_mm": before[0], "web_before_max_mm": before[1],
        "web_after_min_mm": after[0], "web_after_max_mm": after[1],
        "web_after_interval_mm": (after[0] - 2 * u, after[1] + 2 * u), "web_lower_limit_mm": 1.9,
        "web_upper_limit_mm": 2.1, "conformance_probability": 0.9987 - 0.0001 * (k % 7), "thin_probability": 0.0004,
        "thick_probability": 0.0009, "verdict": "conform", "reason": "",
        "margin_mm": float(min(after[0] - 1.9, 2.1 - after[1])), "readings_used": 0,
        "budget_mm": {"repeatability": 0.4 * u, "surface between readings": 0.7 * u, "calibration": 0.5 * u},
        "suggestion_mm": (high_x - 0.1 * (high_x - low_x), low_y + 0.1 * (high_y - low_y)) if k % 3 == 0 else None,
        "notes": ["only 0.043 mm of metal near (412, 88): the cutter may rub"] if k % 9 == 4 else [], "follow": None,
    }  # fmt: skip


def _awkward(decisions: list[dict[str, Any]]) -> None:
    held = decisions[min(7, len(decisions) - 1)]
    held.update(action="hold", offset_mm=None, offset_u_mm=None, web_after_min_mm=None, web_after_max_mm=None,
                web_after_interval_mm=(None, None), margin_mm=None, conformance_probability=None,
                thin_probability=None, thick_probability=None, verdict="undecided", suggestion_mm=held["centroid_mm"],
                budget_mm={}, reason="too-few-readings: 2 of 3 readings of this floor were set aside; take three more, "
                "spread over it")  # fmt: skip
    decisions[3].update(verdict="undecided", conformance_probability=0.71, margin_mm=0.0031,
                        reason="tolerance: a limit lies within the uncertainty (71 % likely to conform); two more "
                        "readings near (612, 88) may decide it")  # fmt: skip
    decisions[5].update(verdict="nonconform", conformance_probability=0.02, margin_mm=-0.0214,
                        reason="tolerance: no follow brings the whole floor within its limits (it bends by "
                        "0.214 mm); more readings here may")  # fmt: skip
    decisions[2].update(action="tilt", slope_x=1.25e-4, slope_y=-3.1e-5)
    follow = {"x_mm": [0.0, 100.0, 200.0], "y_mm": [0.0, 50.0], "offset_mm": [[0.01, 0.02], [0.03, 0.02], [0.05, 0.04]]}
    decisions[4].update(action="follow", follow=follow)


def _summary(decisions: list[dict[str, Any]], readings: dict[str, list[Any]]) -> dict[str, Any]:
    verdicts = [d["verdict"] for d in decisions]
    held = sum(d["action"] == "hold" for d in decisions)
    return {
        "pockets": len(decisions), "corrected": len(decisions) - held, "held": held,
        "conform": verdicts.count("conform"), "undecided": verdicts.count("undecided"),
        "nonconform": verdicts.count("nonconform"), "readings": len(readings["used"]),
        "readings_used": sum(readings["used"]),
        "sentence": "Do not cut the held pocket: take two more readings there.",
    }  # fmt: skip


def _surface() -> dict[str, Any]:
    return {
        "knots_x_mm": [0.0, 1.0], "knots_y_mm": [0.0, 1.0], "coefficients_mm": [[0.0]], "smoothing": 3.2e7,
        "dispersion": 1.04, "effective_parameters": 14.2, "unknowns": 940, "cell_mm": (20.0, 20.0),
        "readings_used": 100, "notes": [],
    }  # fmt: skip


def _map(layout: Layout, floors: Any, decisions: list[dict[str, Any]]) -> dict[str, Any]:
    step = max(layout.length, layout.width) / 280
    x = np.linspace(0, layout.length, round(layout.length / step) + 1)
    y = np.linspace(0, layout.width, round(layout.width / step) + 1)
    gx, gy = np.meshgrid(x, y)
    pocket = np.full(gx.shape, -1)
    for k, floor in enumerate(floors):
        x0, y0, x1, y1 = floor.bounds
        near = np.ix_((y >= y0) & (y <= y1), (x >= x0) & (x <= x1))
        pocket[near] = np.where(shapely.intersects_xy(floor, gx[near], gy[near]), k, pocket[near])
    w = warp(layout, gx, gy)
    dz = np.array([np.nan if d["offset_mm"] is None else d["offset_mm"] for d in decisions])[pocket]
    planes = np.array([(*_slope(k), *d["centroid_mm"]) for k, d in enumerate(decisions)])[pocket]
    tilt = planes[..., 0] * (gx - planes[..., 2]) + planes[..., 1] * (gy - planes[..., 3])
    before = np.where(pocket >= 0, 2.0 + tilt - w, np.nan)
    after = before + dz
    layers = {"warp_mm": w, "warp_u_mm": uncertainty(layout, gx, gy), "web_before_mm": before, "web_after_mm": after,
              "margin_mm": np.minimum(after - tilt - 1.9, 2.1 - after + tilt)}  # fmt: skip
    document: dict[str, Any] = {"x_mm": x.tolist(), "y_mm": y.tolist(), "pocket": pocket.tolist()}
    for key, layer in layers.items():
        document[key] = np.where(np.isnan(layer), None, layer).tolist()
    return document
