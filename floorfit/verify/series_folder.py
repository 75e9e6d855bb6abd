"""What ``floorfit series`` writes: tables, ``series.json``, and the page with its pictures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from floorfit.arrays import Array
from floorfit.json_file import write_json
from floorfit.offsets_table import length_cells, number_cells
from floorfit.plain_text import write_csv
from floorfit.report.format import Display, Writing, display_for
from floorfit.report.plan_view import plain_text
from floorfit.verify.afterwards import CheckRow, CheckSheet, CheckTable, Picture, page_text
from floorfit.verify.charts import Chart
from floorfit.verify.expect import SERIES_FORMAT
from floorfit.verify.parts import PocketSeries, Series, inside_nodes
from floorfit.verify.pictures import chart_figure, field_figure, png_of
from floorfit.verify.written import finite
from floorfit.whole import whole_folder

__all__ = ["fill_series", "series_answers", "write_series"]

#: Pockets whose chart is drawn on the page: those with most signals. All are in charts.csv.
MOST_CHARTS = 6
#: Findings that the page lists.
MOST_FINDINGS = 200


def write_series(series: Series, folder: str | Path, *, replace: bool = False, writing: Writing | None = None) -> None:
    """Write a series as a folder, whole or not at all.

    Parameters
    ----------
    series : Series
    folder : path
        Folder to make.
    replace : bool
        Whether an existing one may be replaced.
    writing : Writing, optional
        Unit, language and decimal sign of the page.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is false, or its parent cannot be written.
    """
    with whole_folder(folder, replace=replace) as temporary:
        fill_series(series, temporary, writing)


def fill_series(series: Series, folder: Path, writing: Writing | None = None) -> None:
    """Write every file of a series into an existing folder.

    Parameters
    ----------
    series : Series
    folder : Path
    writing : Writing, optional
        Unit, language and decimal sign of the page.
    """
    unit = series.part.units
    write_csv(
        folder / "mean_warp.csv", [f"{name}_{unit}" for name in ("x", "y", "mean", "spread", "mean_u")], _warps(series)
    )
    names = ("offset", "mean", "lower", "upper", "moving_range", "range_upper")
    write_csv(
        folder / "charts.csv", ["pocket", "job", "created", *(f"{n}_{unit}" for n in names), "signal"], _charts(series)
    )
    header = ["pocket", "jobs", f"mean_deviation_{unit}", f"sd_{unit}"]
    header += [f"{name}{end}" for name in ("cp", "cpk") for end in ("", "_low", "_high")]
    write_csv(folder / "capability.csv", header, (_capable(one, unit) for one in series.pockets))
    write_json(_document(series), folder / "series.json")
    _write_page(series, folder, display_for(unit, writing))


def series_answers(series: Series, display: Display | None = None) -> list[str]:
    """The two answers, and bias and repeatability, in a sentence each.

    Parameters
    ----------
    series : Series
    display : Display, optional
        Unit of the part and English where left out.
    """
    show = display_for(series.part.units) if display is None else display
    return [_alike_line(series, show), _enough_line(series, show), _bias_line(series, show), _gauge_line(series, show)]


def _alike_line(series: Series, show: Display) -> str:
    say, alike = show.words, series.alike
    if alike.answer == "unknown":
        return say("Whether this part always bends the same way needs three jobs with a surface.")
    text = {
        "yes": say("This part always bends the same way: {share}. Give the mean to the fit (`correct --expect`)."),
        "partly": say("This part bends alike in part: {share}. The mean helps a fit (`correct --expect`)."),
        "no": say("This part does not bend the same way each time: {share}."),
    }[alike.answer]
    share = say("the mean of the other parts explains {n} % of a part's squared warp")
    return text.format(share=share.format(n=f"{100 * alike.explained:.0f}"))


def _enough_line(series: Series, show: Display) -> str:
    say = show.words
    if series.enough is None:
        line = say("With the mean of these parts as many readings are needed as now ({n} a part).")
        return line.format(n=f"{series.readings:.0f}")
    return say(
        "With the mean of these parts (`correct --expect`), about {n} readings a part would do instead of {m}, one on "
        "each floor at the least. An estimate: verify the first parts made so."
    ).format(n=series.enough, m=f"{series.readings:.0f}")


def _bias_line(series: Series, show: Display) -> str:
    say, chart, drift = show.words, series.bias_chart, series.bias_drift
    if not len(chart.values):
        return say("No job of the series is verified: nothing is known of finished webs.")
    mean = show.length(chart.mean, sign=True, more=1)
    line = say("{n} verified jobs: common bias {bias} {unit} in the mean")
    line = line.format(n=len(chart.values), bias=mean, unit=show.unit)
    if chart.signals.any():
        far = say("{n} of them outside the control limits: find out why before it is used")
        line = f"{line}; {far.format(n=int(chart.signals.sum()))}"
    if not np.isfinite(drift.u):
        return line + "."
    low, high = (show.length(end, sign=True, more=2) for end in drift.limits)
    seen = say("it drifts") if drift.is_seen else say("no drift is seen")
    return f"{line}; {seen} ({say('{low} to {high} {unit} a job, 95 %').format(low=low, high=high, unit=show.unit)})."


def _gauge_line(series: Series, show: Display) -> str:
    say, found = show.words, series.repeatability
    if not found.dof:
        return say("No place was read twice: the gauge's repeatability is not known.")
    line = say("Gauge repeatability from repeats of one place: {sd} {unit} ({n} degrees of freedom).")
    return line.format(sd=show.length(found.sd, more=1), unit=show.unit, n=found.dof)


def _warps(series: Series) -> Iterable[tuple[str, ...]]:
    places = np.meshgrid(series.x, series.y, indexing="ij")
    columns = (*places, series.mean, series.spread, series.mean_u)
    return zip(*(length_cells(one.ravel(), series.part.units) for one in columns), strict=True)


def _charts(series: Series) -> Iterable[list[str]]:
    unit = series.part.units
    for one in series.pockets:
        chart = one.chart
        levels = (chart.mean, chart.lower, chart.upper)
        for place, job in enumerate(one.jobs):
            lengths = (chart.values[place], *levels, chart.ranges[place], chart.range_upper)
            signal = "yes" if chart.signals[place] or chart.range_signals[place] else "no"
            cells = length_cells(lengths, unit)
            yield [one.pocket, series.names[job], series.created[job], *cells, signal]


def _capable(one: PocketSeries, unit: str) -> list[str]:
    found = one.capability
    numbers = (found.cp, *found.cp_limits, found.cpk, *found.cpk_limits)
    return [one.pocket, str(found.count), *length_cells((found.mean, found.sd), unit), *number_cells(numbers, 3)]


def _document(series: Series) -> dict[str, Any]:
    drift = {"slope": series.bias_drift.slope, "u": series.bias_drift.u}
    document = {
        "format": SERIES_FORMAT,
        "part": series.part.name,
        "fingerprint": series.fingerprint,
        "bounds_mm": list(series.part.bounds),
        "identity": series.identity,
        "jobs": [
            {"name": name, "job": job, "created": created}
            for name, job, created in zip(series.names, series.jobs, series.created, strict=True)
        ],
        "warps": series.warps,
        "verified": series.verified,
        **{f"{name}_mm": getattr(series, name) for name in ("x", "y", "mean", "spread", "fit_u")},
        "shapes": {"shares": series.shapes.shares, "shapes_mm": series.shapes.shapes},
        "alike": asdict(series.alike),
        "readings_mean": series.readings,
        "readings_enough": series.enough,
        "bias_mm": _chart(series.bias_chart) | {"drift_per_job": {**drift, "limits": series.bias_drift.limits}},
        "repeatability_mm": {"sd": series.repeatability.sd, "dof": series.repeatability.dof},
        "pockets": [
            {"pocket": one.pocket, "centre_mm": list(pocket.centroid), "offset_mm": _chart(one.chart),
             "drift_mm_per_job": one.drift.slope, "drift_limits_mm": list(one.drift.limits),
             "capability_mm": asdict(one.capability)}
            for one, pocket in zip(series.pockets, series.part.pockets, strict=True)
        ],
        "findings": [asdict(finding) for finding in series.findings],
    }  # fmt: skip
    return finite(document)  # type: ignore[no-any-return]


def _chart(chart: Chart) -> dict[str, Any]:
    levels = {name: getattr(chart, name) for name in ("mean", "lower", "upper", "mean_range", "range_upper")}
    return {"count": len(chart.values), **levels, "signals": int(chart.signals.sum())}


def _write_page(series: Series, folder: Path, show: Display) -> None:
    say = show.words
    mean = _field(series, say("Mean warp of the underside"), series.mean, say("mean warp (plus: high, web thin)"), show)
    (folder / "mean_warp.png").write_bytes(mean)
    pictures = [Picture(mean, say("Mean warp of {n} parts.").format(n=series.warps))]
    title = say("Spread of the warp over the parts")
    spread = _field(series, title, series.spread, say("standard deviation"), show, signed=False)
    words = say("Standard deviation of the warp over the parts, what the fits are unsure of included.")
    pictures.append(Picture(spread, words))
    pictures += [_shape(series, k, show) for k in range(len(series.shapes.shares))]
    pictures += _chart_pictures(series, show)
    findings = [plain_text(show.finding(one.source, one.place, one.text)) for one in series.findings[:MOST_FINDINGS]]
    if len(series.findings) > MOST_FINDINGS:
        findings.append(say("and {n} more in series.json").format(n=len(series.findings) - MOST_FINDINGS))
    facts = say("{n} jobs, {m} verified · {first} to {last} · every length in {unit}")
    sheet = CheckSheet(
        name=plain_text(series.part.name),
        title=say("series of jobs"),
        facts=facts.format(
            n=len(series.jobs), m=series.verified, first=min(series.created), last=max(series.created), unit=show.unit
        ),
        sentence=_alike_line(series, show),
        answers=series_answers(series, show)[1:],
        findings=findings,
        pictures=pictures,
        tables=[_offsets(series, show), _capabilities(series, show)],
    )
    (folder / "series.html").write_text(page_text(sheet, show), encoding="utf-8", newline="\n")


def _field(series: Series, title: str, values: Array, words: str, show: Display, *, signed: bool = True) -> bytes:
    shown = np.where(inside_nodes(series.part, series.x, series.y).reshape(values.shape), values, np.nan)
    named = f"{plain_text(series.part.name)[:60]}: {title} ({len(series.jobs)})"
    return png_of(field_figure(series.part, named, series.x, series.y, shown, words, show, is_signed=signed))


def _shape(series: Series, k: int, show: Display) -> Picture:
    say, share = show.words, f"{100 * float(series.shapes.shares[k]):.0f}"
    title = say("Shape {k}: {share} % of the differences").format(k=k + 1, share=share)
    words = say("Shape {k} of the differences from the mean, one standard deviation: {share} % of them.")
    values = series.shapes.shapes[k].reshape(series.mean.shape)
    png = _field(series, title, values, say("difference"), show)
    return Picture(png, words.format(k=k + 1, share=share))


def _chart_pictures(series: Series, show: Display) -> list[Picture]:
    say, verified, out = show.words, series.bias_chart, []
    if len(verified.values) > 1:
        png = png_of(chart_figure(verified, [], say("Common bias of finished webs, job by job"), show))
        words = say("Common bias of finished webs. Dashed: control limits. Cross: outside them.")
        out.append(Picture(png, words))
    ranked = sorted((one for one in series.pockets if len(one.chart.values) > 1), key=lambda one: -_signals(one))
    for one in ranked[:MOST_CHARTS]:
        labels, name = [series.names[job] for job in one.jobs], plain_text(one.pocket)
        png = png_of(chart_figure(one.chart, labels, say("Offset of {pocket}").format(pocket=name[:40]), show))
        words = say("Offset of {pocket}: single values and moving ranges. Dashed: limits. Cross: outside.")
        out.append(Picture(png, words.format(pocket=name)))
    return out


def _signals(one: PocketSeries) -> int:
    return int(one.chart.signals.sum() + one.chart.range_signals.sum())


def _offsets(series: Series, show: Display) -> CheckTable:
    say = show.words
    head = [say("pocket"), say("jobs"), say("mean"), say("lower limit"), say("upper limit"), say("drift a job"),
            say("drift seen"), say("signals")]  # fmt: skip
    rows = []
    for one in series.pockets:
        values = [one.chart.mean, one.chart.lower, one.chart.upper, one.drift.slope]
        small = [show.length(value, sign=True, more=1) for value in values]
        seen = say("yes") if one.drift.is_seen else say("no")
        rows.append(CheckRow([plain_text(one.pocket), str(len(one.jobs)), *small, seen, str(_signals(one))]))
    note = say("Control limits: mean ± 2.66 times the mean moving range (ISO 7870-2). Every value is in charts.csv.")
    return CheckTable(say("Offsets over time"), head, rows, note)


def _capabilities(series: Series, show: Display) -> CheckTable:
    say = show.words
    limits = say("95 % limits")
    head = [say("pocket"), say("verified jobs"), say("mean"), "sd", "Cp", limits, "Cpk", limits]
    rows = []
    for one in series.pockets:
        found = one.capability
        numbers = [show.length(value, sign=True, more=1) for value in (found.mean, found.sd)]
        pairs = [(found.cp, found.cp_limits), (found.cpk, found.cpk_limits)]
        for value, (low, high) in pairs:
            numbers += [show.plain(value, 2), f"{show.plain(low, 2)} {say('to')} {show.plain(high, 2)}"]
        rows.append(CheckRow([plain_text(one.pocket), str(found.count), *numbers]))
    note = say(
        "Of the mean deviation of the finished web, one value for each verified job (ISO 22514-2; limits of Cpk after "
        "Bissell 1990)."
    )
    return CheckTable(say("Capability of finished webs"), head, rows, note)
