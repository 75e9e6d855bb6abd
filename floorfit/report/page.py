"""The report: one page that works from a file, without a network, on screen and on paper."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from floorfit.record import Record
from floorfit.report.format import MISSING, Display
from floorfit.report.headline import headline, identity_shown, next_steps
from floorfit.report.language import marked
from floorfit.report.paper import SIGNATURES
from floorfit.report.plan_view import PlanView, plain_text
from floorfit.report.plot_data import plot_data, script_json
from floorfit.report.rows import budget_share, details, flat, pocket_rows, set_aside, tagged
from floorfit.report.sheet import SIGN_WORDS, left_out

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["CAUTIONS", "page_text", "rendered", "write_page"]

#: What every reader is told: the numbers do not replace the shop's own checks.
CAUTIONS = (
    marked("The offsets come from thickness readings and a fitted surface. Between readings they are an estimate."),
    marked("Simulate the corrected programme, and prove it out above the part before it cuts."),
    marked("Cut no held pocket by a guess. A web that is too thin is scrap; one that is too thick is another pass."),
    marked("Measure finished webs again. Licensed people and local practice decide what is released."),
)


def write_page(record: Record, plan: PlanView, folder: Path) -> None:
    """Write ``report.html`` into a folder.

    Parameters
    ----------
    record : Record
        A run; everything shown comes from it.
    plan : PlanView
        The same run as a drawing sees it.
    folder : Path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    (folder / "report.html").write_text(page_text(record, plan), encoding="utf-8", newline="\n")


def page_text(record: Record, plan: PlanView) -> str:
    """Return the report as one HTML document.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.
    plan : PlanView
        The same run as a drawing sees it.

    Returns
    -------
    str
        HTML; every text from the record is escaped, and nothing in it asks a network for anything.
    """
    return rendered("report.html", plan.display, **_context(record, plan))


def rendered(template: str, display: Display, **context: Any) -> str:
    """Return a page of a template in the language of the page; every text in it is escaped.

    Parameters
    ----------
    template : str
        File name in ``templates``.
    display : Display
        Language and decimal sign.
    **context
        What the template names.
    """
    style, language = asset("report.css"), display.language.code
    return _template(template).render(_=display.words, language=language, display=display, style=style, **context)


@cache
def _template(name: str) -> Template:
    """Return a template, read and compiled once."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("floorfit.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template(name)


def _context(record: Record, plan: PlanView) -> dict[str, Any]:
    show = plan.display
    say, rows = show.words, pocket_rows(record, plan)
    aside = record.readings.used.count(False)
    return {
        "record": record, "missing": MISSING, "name": plain_text(plan.name), "job": plain_text(record.job),
        "identity": identity_shown(record.identity, show), "headline": headline(record, show),
        "held": [row for row in rows if row.action == "hold"], "counts": _counts(record, show),
        "heads": _heads(show), "rows": rows, "details": list(details(record, plan, rows)),
        "aside": set_aside(record, plan), "aside_more": max(0, aside - len(set_aside(record, plan))),
        "left_out": left_out(record, show), "signs": [say(line) for line in SIGN_WORDS],
        "cautions": [say(line) for line in CAUTIONS], "signatures": [say(word) for word in SIGNATURES],
        "budget": _budget_span(record, plan), "facts": _facts(record, show), "neighbours": _neighbours(record, plan),
        "findings": [(_finding(one, show), one.get("code", "")) for one in record.findings],
        "next": next_steps(record, show), "data": script_json(plot_data(record, plan)), "script": asset("report.js"),
    }  # fmt: skip


def asset(name: str) -> Markup:
    """Return a file of the page as it stands."""
    from importlib.resources import files

    return Markup((files("floorfit.report") / "templates" / name).read_text(encoding="utf-8"))


def _heads(display: Display) -> list[tuple[str, str, bool]]:
    """Return key to sort by, words and whether numbers stand below, for each column of the table."""
    say = display.words
    return [
        ("id", say("pocket"), False), ("rank", say("action"), False), ("offset", say("offset ± U"), True),
        ("", say("slope X, per 100"), True), ("", say("slope Y, per 100"), True), ("before", say("web before"), True),
        ("after", say("web after"), True), ("", say("limits"), True), ("margin", say("margin"), True),
        ("p", say("probability"), True), ("", say("readings"), True), ("", say("verdict"), False),
        ("", say("reason"), False),
    ]  # fmt: skip


def _counts(record: Record, display: Display) -> list[tuple[str, Markup]]:
    say, summary = display.words, record.summary
    words = {
        "pockets": say("pockets"), "corrected": say("corrected"), "held": say("held"), "conform": say("conform"),
        "undecided": say("undecided"), "nonconform": say("do not conform"), "readings": say("readings given"),
        "readings_used": say("readings used"),
    }  # fmt: skip
    counts = [
        (word, tagged(f"/summary/{name}", getattr(summary, name), str(getattr(summary, name)), "1"))
        for name, word in words.items()
    ]
    chance = record.summary.part_probability
    text = Markup(display.plain(chance, 4))
    return counts if chance is None else [*counts, (say("probability that the whole part conforms"), text)]


def _budget_span(record: Record, plan: PlanView) -> list[tuple[str, Markup, Markup]]:
    """Return each cause of uncertainty with its least and greatest share over the pockets."""
    causes: dict[str, list[tuple[float, int]]] = {}
    for k, decision in enumerate(record.decisions):
        for cause, u in decision.budget_mm.items():
            causes.setdefault(cause, []).append((u, k))
    show = plan.display
    ends = {cause: (min(us), max(us)) for cause, us in causes.items()}
    return [
        (show.sentence(cause), budget_share(low[1], cause, low[0], show), budget_share(high[1], cause, high[0], show))
        for cause, (low, high) in ends.items()
    ]


def _neighbours(record: Record, plan: PlanView) -> list[tuple[str, str, Markup, Markup]]:
    show = plan.display
    return [
        (
            plain_text(pair.a), plain_text(pair.b),
            tagged(f"/neighbours/{k}/rib_mm", pair.rib_mm, show.length(pair.rib_mm), show.unit),
            tagged(f"/neighbours/{k}/step_mm", pair.step_mm, show.length(pair.step_mm, sign=True), show.unit),
        )
        for k, pair in enumerate(record.neighbours)
    ]  # fmt: skip


def _finding(found: dict[str, str], display: Display) -> str:
    return display.finding(found.get("source", ""), found.get("place", ""), found.get("text", ""))


def _facts(record: Record, display: Display) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return settings, gauge, frame, surface, versions and digests as titled lists."""
    say = display.words
    inputs = {name: f"{item.name}, SHA-256 {item.sha256}" for name, item in record.inputs.items()}
    groups: list[tuple[str, object]] = [
        (say("Settings"), record.settings), (say("Gauge"), record.gauge), (say("Alignment"), record.frame),
        (say("Surface"), _surface(record)), (say("Versions"), record.versions), (say("Inputs"), inputs),
    ]  # fmt: skip
    return [(title, list(flat(group, say=say))) for title, group in groups if group]


def _surface(record: Record) -> dict[str, Any]:
    if record.surface is None:
        return {}
    skip = {"knots_x_mm", "knots_y_mm", "coefficients_mm", "available_mm", "dishes", "dish_forms"}
    return record.surface.model_dump(exclude=skip)
