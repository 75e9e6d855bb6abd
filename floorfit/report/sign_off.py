"""The signer's sheet of a run: one page to sign and the table of all pockets behind it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.record import Decision, Record
from floorfit.report.actions import VERDICTS, label_of, urgency
from floorfit.report.bands import Sheet
from floorfit.report.colours import WEB
from floorfit.report.fields import draw_layer, draw_outlines, open_bands
from floorfit.report.format import MISSING, Display
from floorfit.report.headline import IDENTITY, headline, identity_shown
from floorfit.report.language import marked
from floorfit.report.paper import Column, Listing, SignSheet, write_sheet
from floorfit.report.plan_view import PlanView, plain_text
from floorfit.report.sheet import left_out

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["CAUTIONS", "NEEDED", "identity_lines", "write_sign_off"]

#: Fields that a release needs; blank ones are lines to fill in.
NEEDED = ("part_number", "serial", "revision", "operator", "gauge")

CAUTIONS = (
    marked("Between readings, offsets and webs are estimates from a fitted surface. Measure the finished webs."),
    marked("Simulate the corrected programme, prove it out above the part. Cut no held pocket."),
    marked("The program signs nothing. Licensed people and local practice decide what is released."),
)

#: Warnings on the first page.
MOST_WARNINGS = 4


def write_sign_off(record: Record, plan: PlanView, folder: Path) -> None:
    """Write ``sign_off.pdf`` into a folder.

    Parameters
    ----------
    record : Record
        A run, with or without a surface.
    plan : PlanView
        The same run as a drawing sees it.
    folder : Path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    write_sheet(_sheet(record, plan), plan.display, folder / "sign_off.pdf")


def identity_lines(
    known: list[tuple[str, str]], facts: list[tuple[str, str]], display: Display
) -> list[tuple[str, str]]:
    """Return facts, what is known of the plate, and the fields that are left to fill in.

    Parameters
    ----------
    known : list of (str, str)
        Facts of the plate, field and text.
    facts : list of (str, str)
        Facts of the job.
    display : Display
        Language of the fields.
    """
    named = {name for name, _ in known}
    fields = [*(display.words(IDENTITY[key]) for key in NEEDED), display.words("machine")]
    return [*facts, *known, *((field, "") for field in fields if field not in named)]


def _sheet(record: Record, plan: PlanView) -> SignSheet:
    show = plan.display
    say = show.words
    ordered = sorted(record.decisions, key=urgency)
    return SignSheet(
        title=say("Sheet to sign: offsets of pocket floors"),
        name=plain_text(plan.name),
        headline=headline(record, show),
        identity=identity_lines(
            identity_shown(record.identity, show), [(say("job"), record.job), (say("date"), record.created)], show
        ),
        measured=_measured(record, show),
        counts=_counts(record, show),
        worst=Listing(_worst_columns(show), [_worst(one, show) for one in ordered[:5]]),
        warnings=_warnings(record, show),
        cautions=[say(line) for line in CAUTIONS],
        appendix=Listing(_columns(show), [_row(one, show) for one in ordered]),
        draw=lambda figure, box: _small_map(figure, box, record, plan),
    )


def _measured(record: Record, show: Display) -> list[str]:
    say, summary = show.words, record.summary
    used = say("{n} readings given, {m} used").format(n=summary.readings, m=summary.readings_used)
    u = record.settings.get("reading_u")
    stated = say("standard uncertainty of a reading {u} {unit}").format(u=show.length(u, more=1), unit=show.unit)
    files = ", ".join(f"{item.name} {item.sha256[:12]}" for item in record.inputs.values())
    return [
        "; ".join([used, *left_out(record, show)[:-1]]),
        f"{say('gauge')}: {_gauge(record.gauge, show)}" + ("" if u is None else f"; {stated}"),
        f"{say('files and digests')}: {files}",
    ]


def _gauge(gauge: dict[str, Any] | None, show: Display) -> str:
    """Return what the record knows of the gauge and its calibration, in one line."""
    if gauge is None:
        return show.words("no calibration was applied")
    plain = [(key, value) for key, value in gauge.items() if isinstance(value, str | int | float) and value != ""]
    return ", ".join(f"{key.replace('_', ' ')} {plain_text(str(value))}" for key, value in plain[:7])


def _counts(record: Record, show: Display) -> list[tuple[str, str]]:
    say, found = show.words, record.summary
    cut = [d for d in record.decisions if d.action != "hold"]
    numbers = [
        (len(record.decisions), say("pockets")), (found.held, say("held")),
        (sum(d.verdict == "conform" for d in cut), say("conform")),
        (sum(d.verdict == "undecided" for d in cut), say("undecided")),
        (sum(d.verdict == "nonconform" for d in cut), say("do not conform")),
    ]  # fmt: skip
    chance = record.summary.part_probability
    return [*((str(n), word) for n, word in numbers), (show.plain(chance, 4), say("P, whole part"))]


def _worst_columns(show: Display) -> list[Column]:
    say = show.words
    return [
        Column(say("pocket"), 22), Column(say("action"), 34),
        Column(say("web after, {unit}").format(unit=show.unit), 25),
        Column(say("margin"), 14, True), Column("P", 13, True), Column(say("verdict"), 22), Column(say("reason"), 54),
    ]  # fmt: skip


def _worst(one: Decision, show: Display) -> list[str]:
    return [
        plain_text(one.pocket), label_of(one, show).text, _span(one.web_after_min_mm, one.web_after_max_mm, show),
        show.length(one.margin_mm, sign=True), show.plain(one.conformance_probability, 4),
        show.words(VERDICTS[one.verdict]), plain_text(show.sentence(str(one.reason))),
    ]  # fmt: skip


def _columns(show: Display) -> list[Column]:
    say = show.words
    return [
        Column(say("pocket"), 15), Column(say("action"), 11), Column(say("offset"), 19, True), Column("± U", 10, True),
        Column(say("X / 100"), 12, True), Column(say("Y / 100"), 12, True), Column(say("web before"), 19, True),
        Column(say("web after"), 19, True), Column(say("limits"), 19, True), Column(say("margin"), 12, True),
        Column("P", 12, True), Column("n", 6, True), Column(say("verdict"), 22),
    ]  # fmt: skip


def _row(one: Decision, show: Display) -> list[str]:
    offset, u = show.pair(one.offset_mm, one.offset_u_mm)
    slopes = (one.slope_x, one.slope_y) if one.action == "tilt" else (None, None)
    tilts = ["" if slope is None else show.plain(100 * slope, 4, sign=True) for slope in slopes]
    label = label_of(one, show)
    return [
        plain_text(one.pocket), label.action, label.more if one.action == "follow" else offset, u, *tilts,
        _span(one.web_before_min_mm, one.web_before_max_mm, show),
        _span(one.web_after_min_mm, one.web_after_max_mm, show),
        _span(one.web_lower_limit_mm, one.web_upper_limit_mm, show), show.length(one.margin_mm, sign=True),
        show.plain(one.conformance_probability, 4), str(one.readings_used),
        show.words(VERDICTS[one.verdict]) if one.action != "hold" else show.sentence(one.reason.code),
    ]  # fmt: skip


def _span(low: float | None, high: float | None, show: Display) -> str:
    """Return a range; with three points, since a sign of two bytes costs a PDF more than all else in its row."""
    return MISSING if low is None and high is None else f"{show.length(low)}...{show.length(high)}"


def _warnings(record: Record, show: Display) -> list[str]:
    lines = [plain_text(show.finding(one.get("source", ""), "", one.get("text", ""))) for one in record.findings]
    more = len(lines) - MOST_WARNINGS
    return [*lines[:MOST_WARNINGS], *([show.words("and {n} more in report.html").format(n=more)] if more > 0 else [])]


def _small_map(figure: Figure, box: tuple[float, float, float, float], record: Record, plan: PlanView) -> None:
    for view in open_bands(figure, plan, Sheet(*box)):
        draw_outlines(view)
        if record.map is not None:
            warp = record.map.warp_mm
            top = max(float(np.nanmax(np.abs(warp))), 1e-6)
            draw_layer(view, record.map, warp, WEB, (-top, top), [plan.outline])
