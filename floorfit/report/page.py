"""The report: one page that works from a file, without a network, on screen and on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup

from floorfit.record import Record
from floorfit.report.format import MISSING
from floorfit.report.plan_view import Plan, layer, plain_text, plan_of
from floorfit.report.plot_data import plot_data, script_json
from floorfit.report.rows import details, flat, pocket_rows, set_aside, tagged
from floorfit.report.sheet import SIGN_WORDS, left_out
from floorfit.report.svg import plan_svg

__all__ = ["page_text", "write_page"]

#: What every reader is told: the numbers do not replace the shop's own checks.
CAUTIONS = (
    "The offsets come from thickness readings and a fitted surface. Between readings they are an estimate.",
    "Simulate the corrected programme, and prove it out above the part before it cuts.",
    "Cut no held pocket by a guess. A web that is too thin is scrap; one that is too thick is another pass.",
    "Measure finished webs again. Licensed people and local practice decide what is released.",
)


def write_page(record: Record, folder: str | Path) -> None:
    """Write ``report.html`` into a folder.

    Parameters
    ----------
    record : Record
        A run; everything shown comes from it.
    folder : path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    Path(folder, "report.html").write_text(page_text(record), encoding="utf-8", newline="\n")


def page_text(record: Record) -> str:
    """Return the report as one HTML document.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.

    Returns
    -------
    str
        HTML; every text from the record is escaped, and nothing in it asks a network for anything.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("floorfit.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("report.html").render(_context(record))


def _context(record: Record) -> dict[str, Any]:
    plan = plan_of(record)
    rows = pocket_rows(record, plan)
    limit = _warp_limit(record)
    return {
        "record": record, "plan": plan, "display": plan.display,
        "missing": MISSING, "name": plain_text(plan.name),
        "job": plain_text(record.job), "rows": rows, "details": list(details(record, plan, rows, limit)),
        "aside": set_aside(record, plan), "left_out": left_out(record), "signs": SIGN_WORDS, "cautions": CAUTIONS,
        "counts": _counts(record), "budget": _budget_span(record, plan), "facts": _facts(record),
        "neighbours": _neighbours(record, plan), "plan_svg": plan_svg(record, plan, limit),
        "data": script_json(plot_data(record, plan)), "plotly": _plotly(), "style": _asset("report.css"),
        "script": _asset("report.js"),
    }  # fmt: skip


def _warp_limit(record: Record) -> float:
    if record.map is None:
        return 1.0
    return max(float(np.nanmax(np.abs(layer(record.map.warp_mm)))), 1e-6)


def _plotly() -> Markup:
    from plotly.offline import get_plotlyjs

    return Markup(get_plotlyjs())


def _asset(name: str) -> Markup:
    from importlib.resources import files

    return Markup((files("floorfit.report") / "templates" / name).read_text(encoding="utf-8"))


def _counts(record: Record) -> list[tuple[str, Markup]]:
    names = ("pockets", "corrected", "held", "conform", "undecided", "nonconform", "readings", "readings_used")
    words = (
        "pockets",
        "corrected",
        "held",
        "conform",
        "undecided",
        "do not conform",
        "readings given",
        "readings used",
    )
    values = [getattr(record.summary, name) for name in names]
    return [
        (word, tagged(f"/summary/{name}", value, str(value), "1"))
        for name, word, value in zip(names, words, values, strict=True)
    ]


def _budget_span(record: Record, plan: Plan) -> list[tuple[str, Markup, Markup]]:
    """Return each cause of uncertainty with its least and greatest share over the pockets."""
    causes: dict[str, list[tuple[float, int]]] = {}
    for k, decision in enumerate(record.decisions):
        for cause, u in decision.budget_mm.items():
            causes.setdefault(cause, []).append((u, k))
    return [(cause, _share(plan, cause, min(us)), _share(plan, cause, max(us))) for cause, us in causes.items()]


def _share(plan: Plan, cause: str, found: tuple[float, int]) -> Markup:
    u, k = found
    pointer = f"/decisions/{k}/budget_mm/{cause.replace('~', '~0').replace('/', '~1')}"
    return tagged(pointer, u, plan.display.small_length(u, more=1), plan.display.small)


def _neighbours(record: Record, plan: Plan) -> list[tuple[str, str, Markup, Markup]]:
    show = plan.display
    return [
        (
            plain_text(pair.a), plain_text(pair.b),
            tagged(f"/neighbours/{k}/rib_mm", pair.rib_mm, show.web(pair.rib_mm), show.unit),
            tagged(f"/neighbours/{k}/step_mm", pair.step_mm, show.small_length(pair.step_mm, sign=True), show.small),
        )
        for k, pair in enumerate(record.neighbours)
    ]  # fmt: skip


def _facts(record: Record) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return settings, gauge, frame, surface, versions and digests as titled lists."""
    inputs = {name: f"{item.name}, SHA-256 {item.sha256}" for name, item in record.inputs.items()}
    groups: list[tuple[str, object]] = [
        ("Settings", record.settings), ("Gauge", record.gauge), ("Alignment", record.frame),
        ("Surface", _surface(record)), ("Versions", record.versions), ("Inputs", inputs),
    ]  # fmt: skip
    return [(title, list(flat(group))) for title, group in groups if group]


def _surface(record: Record) -> dict[str, Any]:
    if record.surface is None:
        return {}
    skip = {"knots_x_mm", "knots_y_mm", "coefficients_mm", "available_mm", "dishes", "dish_forms"}
    return record.surface.model_dump(exclude=skip)
