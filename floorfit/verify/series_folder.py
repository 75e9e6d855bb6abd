"""What ``floorfit series`` writes: tables, ``series.json``, and the page with its pictures."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from floorfit.report.format import MISSING, Display, display_for, fixed
from floorfit.report.plan_view import plain_text
from floorfit.verify.afterwards import Picture, Row, Sheet, Table, page_text
from floorfit.verify.charts import Chart
from floorfit.verify.expect import SERIES_FORMAT
from floorfit.verify.parts import PocketSeries, Series
from floorfit.verify.pictures import as_data_url, chart_figure, field_figure, png_of
from floorfit.verify.written import finite, length, plain, write_csv

__all__ = ["series_answers", "write_series"]

Array = NDArray[np.float64]

#: Pockets whose chart is drawn on the page: those with most signals. All are in charts.csv.
MOST_CHARTS = 6
#: Findings that the page lists.
MOST_FINDINGS = 200


def write_series(series: Series, folder: Path) -> None:
    """Write every file of a series into an existing folder.

    Parameters
    ----------
    series : Series
    folder : Path
    """
    unit = series.part.units
    write_csv(
        folder / "mean_warp.csv", [f"{name}_{unit}" for name in ("x", "y", "mean", "spread", "mean_u")], _warps(series)
    )
    names = ("offset", "mean", "lower", "upper", "moving_range", "range_upper")
    write_csv(
        folder / "charts.csv", ["pocket", "job", "created", *(f"{n}_{unit}" for n in names), "signal"], _charts(series)
    )
    header = [
        "pocket",
        "jobs",
        f"mean_deviation_{unit}",
        f"sd_{unit}",
        "cp",
        "cp_low",
        "cp_high",
        "cpk",
        "cpk_low",
        "cpk_high",
    ]
    write_csv(folder / "capability.csv", header, (_capable(one, unit) for one in series.pockets))
    text = json.dumps(_document(series), ensure_ascii=False, allow_nan=False)
    (folder / "series.json").write_text(text + "\n", encoding="utf-8")
    _write_page(series, folder)


def series_answers(series: Series) -> list[str]:
    """The two answers, and bias and repeatability, in a sentence each."""
    show = display_for(series.part.units)
    return [_alike_line(series), _enough_line(series), _bias_line(series, show), _gauge_line(series, show)]


def _alike_line(series: Series) -> str:
    alike = series.alike
    if alike.answer == "unknown":
        return "Whether this part always bends the same way needs three jobs with a surface."
    share = f"the mean of the other parts explains {100 * alike.explained:.0f} % of a part's squared warp"
    return {
        "yes": f"This part always bends the same way: {share}. Put the mean into the programme, and correct the rest.",
        "partly": f"This part bends alike in part: {share}. It helps a fit (`correct --expect`), not a programme.",
        "no": f"This part does not bend the same way each time: {share}.",
    }[alike.answer]


def _enough_line(series: Series) -> str:
    if series.enough is None:
        return f"With the mean taken as known, as many readings are needed as now ({series.readings:.0f} a part)."
    return (
        f"With the mean taken as known (`correct --expect`), about {series.enough} readings a part would do instead of "
        f"{series.readings:.0f}, one on each floor at the least. An estimate: verify the first parts made so."
    )


def _bias_line(series: Series, show: Display) -> str:
    chart, drift = series.bias_chart, series.bias_drift
    if not len(chart.values):
        return "No job of the series is verified: nothing is known of finished webs."
    mean = show.length(chart.mean, sign=True, more=1)
    line = f"{len(chart.values)} verified jobs: common bias {mean} {show.unit} in the mean"
    if not np.isfinite(drift.u):
        return line + "."
    low, high = (show.length(end, sign=True, more=2) for end in drift.limits)
    seen = "it drifts" if drift.is_seen else "no drift is seen"
    return f"{line}; {seen} ({low} to {high} {show.unit} a job, 95 %)."


def _gauge_line(series: Series, show: Display) -> str:
    found = series.repeatability
    if not found.dof:
        return "No place was read twice: the gauge's repeatability is not known."
    sd = show.length(found.sd, more=1)
    return f"Gauge repeatability from repeats of one place: {sd} {show.unit} ({found.dof} degrees of freedom)."


def _warps(series: Series) -> Iterable[list[str]]:
    unit = series.part.units
    for i, x in enumerate(series.x):
        for j, y in enumerate(series.y):
            yield [length(float(v), unit) for v in (x, y, series.mean[i, j], series.spread[i, j], series.mean_u[i, j])]


def _charts(series: Series) -> Iterable[list[str]]:
    unit = series.part.units
    for one in series.pockets:
        chart = one.chart
        levels = [length(value, unit) for value in (chart.mean, chart.lower, chart.upper)]
        top = length(chart.range_upper, unit)
        for place, job in enumerate(one.jobs):
            moved = float(chart.ranges[place - 1]) if place else float("nan")
            signal = bool(chart.signals[place]) or (place > 0 and bool(chart.range_signals[place - 1]))
            yield [
                one.pocket, series.names[job], series.created[job], length(float(chart.values[place]), unit), *levels,
                length(moved, unit), top, "yes" if signal else "no",
            ]  # fmt: skip


def _capable(one: PocketSeries, unit: str) -> list[str]:
    found = one.capability
    numbers = (found.cp, *found.cp_limits, found.cpk, *found.cpk_limits)
    return [
        one.pocket,
        str(found.count),
        length(found.mean, unit),
        length(found.sd, unit),
        *(plain(v, 3) for v in numbers),
    ]


def _document(series: Series) -> dict[str, Any]:
    document = {
        "format": SERIES_FORMAT,
        "part": series.part.name,
        "fingerprint": series.fingerprint,
        "bounds_mm": list(series.part.bounds),
        "jobs": [
            {"name": name, "job": job, "created": created}
            for name, job, created in zip(series.names, series.jobs, series.created, strict=True)
        ],
        "warps": series.warps,
        "verified": series.verified,
        "x_mm": series.x.tolist(),
        "y_mm": series.y.tolist(),
        "mean_mm": series.mean.tolist(),
        "spread_mm": series.spread.tolist(),
        "shapes": {"shares": series.shapes.shares.tolist(), "shapes_mm": series.shapes.shapes.tolist()},
        "alike": asdict(series.alike),
        "readings_mean": series.readings,
        "readings_enough": series.enough,
        "bias_mm": _chart(series.bias_chart) | {"drift_per_job": _trend(series)},
        "repeatability_mm": {"sd": series.repeatability.sd, "dof": series.repeatability.dof},
        "pockets": [
            {"pocket": one.pocket, "offset_mm": _chart(one.chart), "drift_mm_per_job": one.drift.slope,
             "drift_limits_mm": list(one.drift.limits), "capability_mm": asdict(one.capability)}
            for one in series.pockets
        ],
        "findings": [asdict(finding) for finding in series.findings],
    }  # fmt: skip
    return finite(document)  # type: ignore[no-any-return]


def _chart(chart: Chart) -> dict[str, Any]:
    return {
        "count": len(chart.values), "mean": chart.mean, "lower": chart.lower, "upper": chart.upper,
        "mean_range": chart.mean_range, "range_upper": chart.range_upper, "signals": int(chart.signals.sum()),
    }  # fmt: skip


def _trend(series: Series) -> dict[str, Any]:
    drift = series.bias_drift
    return {"slope": drift.slope, "u": drift.u, "limits": list(drift.limits)}


def _write_page(series: Series, folder: Path) -> None:
    mean = _field(series, "Mean warp of the underside", series.mean, "mean warp (plus: high, web thin)", signed=True)
    (folder / "mean_warp.png").write_bytes(mean)
    pictures = [Picture(as_data_url(mean), f"Mean warp of {series.warps} parts.")]
    spread = _field(series, "Spread of the warp over the parts", series.spread, "standard deviation", signed=False)
    pictures.append(
        Picture(
            as_data_url(spread), "Standard deviation of the warp over the parts, what the fits are unsure of included."
        )
    )
    pictures += [_shape(series, k) for k in range(len(series.shapes.shares))]
    pictures += _chart_pictures(series)
    findings = [plain_text(str(one)) for one in series.findings[:MOST_FINDINGS]]
    if len(series.findings) > MOST_FINDINGS:
        findings.append(f"and {len(series.findings) - MOST_FINDINGS} more, see series.json")
    show, span = display_for(series.part.units), f"{series.created[0]} to {series.created[-1]}"
    sheet = Sheet(
        name=plain_text(series.part.name),
        title="series of jobs",
        facts=f"{len(series.jobs)} jobs, {series.verified} verified · {span} · small lengths in {show.unit}",
        sentence=_alike_line(series),
        answers=series_answers(series)[1:],
        findings=findings,
        pictures=pictures,
        tables=[_offsets(series, show), _capabilities(series, show)],
    )
    (folder / "series.html").write_text(page_text(sheet), encoding="utf-8", newline="\n")


def _field(series: Series, title: str, values: Array, words: str, *, signed: bool) -> bytes:
    from floorfit.verify.parts import inside_nodes

    shown = np.where(inside_nodes(series.part, series.x, series.y).reshape(values.shape), values, np.nan)
    return png_of(field_figure(series.part, title, series.x, series.y, shown, words, is_signed=signed))


def _shape(series: Series, k: int) -> Picture:
    share = 100 * float(series.shapes.shares[k])
    words = f"Shape {k + 1} of the differences from the mean, one standard deviation: {share:.0f} % of them."
    values = series.shapes.shapes[k].reshape(series.mean.shape)
    return Picture(
        as_data_url(
            _field(series, f"Shape {k + 1}: {share:.0f} % of the differences", values, "difference", signed=True)
        ),
        words,
    )


def _chart_pictures(series: Series) -> list[Picture]:
    unit, out = series.part.units, []
    verified = series.bias_chart
    if len(verified.values) > 1:
        png = png_of(chart_figure(verified, [], "Common bias of finished webs, job by job", unit))
        out.append(
            Picture(as_data_url(png), "Common bias of finished webs. Dashed: control limits. Cross: outside them.")
        )
    ranked = sorted((one for one in series.pockets if len(one.chart.values) > 1), key=lambda one: -_signals(one))
    for one in ranked[:MOST_CHARTS]:
        labels = [series.names[job] for job in one.jobs]
        png = png_of(chart_figure(one.chart, labels, f"Offset of {plain_text(one.pocket)[:40]}", unit))
        words = f"Offset of {plain_text(one.pocket)}: single values and moving ranges. Dashed: limits. Cross: outside."
        out.append(Picture(as_data_url(png), words))
    return out


def _signals(one: PocketSeries) -> int:
    return int(one.chart.signals.sum() + one.chart.range_signals.sum())


def _offsets(series: Series, show: Display) -> Table:
    head = [
        "pocket",
        "jobs",
        *(f"{name}, {show.unit}" for name in ("mean", "lower limit", "upper limit", "drift a job")),
        "drift seen",
        "signals",
    ]
    rows = []
    for one in series.pockets:
        small = [_small(show, value) for value in (one.chart.mean, one.chart.lower, one.chart.upper, one.drift.slope)]
        seen = "yes" if one.drift.is_seen else "no"
        rows.append(Row([plain_text(one.pocket), str(len(one.jobs)), *small, seen, str(_signals(one))]))
    note = "Control limits: mean ± 2.66 times the mean moving range (ISO 7870-2). Every value is in charts.csv."
    return Table("Offsets over time", head, rows, note)


def _capabilities(series: Series, show: Display) -> Table:
    head = [
        "pocket",
        "verified jobs",
        f"mean, {show.unit}",
        f"sd, {show.unit}",
        "Cp",
        "95 % limits",
        "Cpk",
        "95 % limits",
    ]
    rows = []
    for one in series.pockets:
        found = one.capability
        numbers = [_small(show, found.mean), _small(show, found.sd)]
        pairs = [(found.cp, found.cp_limits), (found.cpk, found.cpk_limits)]
        cells = [
            cell for value, limits in pairs for cell in (_index(value), f"{_index(limits[0])} to {_index(limits[1])}")
        ]
        rows.append(Row([plain_text(one.pocket), str(found.count), *numbers, *cells]))
    note = (
        "Of the mean deviation of the finished web, one value for each verified job (ISO 22514-2; limits of Cpk after "
        "Bissell 1990)."
    )
    return Table("Capability of finished webs", head, rows, note)


def _small(show: Display, value: float) -> str:
    return show.length(value, sign=True, more=1) if np.isfinite(value) else MISSING


def _index(value: float) -> str:
    return fixed(value, 2) if np.isfinite(value) else MISSING
