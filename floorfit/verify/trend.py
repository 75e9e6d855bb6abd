"""The guard's sheet: fit error, coverage and false accepts by version and date, from accuracy files kept run by run."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.errors import Finding, InputError
from floorfit.plain_text import write_csv
from floorfit.report.format import Display, Writing, display_for
from floorfit.verify.afterwards import CheckRow, CheckSheet, CheckTable, Picture, page_text
from floorfit.verify.pictures import png_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["AccuracyRun", "read_accuracy", "trend_figure", "write_trend"]

_NAMED = re.compile(r"(?P<version>.+?)[_@](?P<date>\d{4}-\d{2}-\d{2})$")


@dataclass(frozen=True)
class AccuracyRun:
    """One accuracy file, all its plates together; lengths in mm, shares from 0 to 1.

    Parameters
    ----------
    version, date : str
        From its entry ``made``, else from a name like ``0.1.0_2026-03-14.json``, else its name and the file's date.
    floors : int
    offset_rms, web_rms : float, mm
        Error of offsets and of webs, root mean square over the floors.
    offset_coverage, web_coverage : float
        Share of 95 % intervals that held.
    false_accepts : int
        Floors called conform that lie outside.
    """

    version: str
    date: str
    floors: int
    offset_rms: float
    web_rms: float
    offset_coverage: float
    web_coverage: float
    false_accepts: int


def read_accuracy(paths: Sequence[str | Path]) -> list[AccuracyRun]:
    """Read accuracy files, oldest first.

    Parameters
    ----------
    paths : sequence of path
        Each as ``tests/accuracy_chain.py -o`` writes it: a summary for each plate.

    Raises
    ------
    InputError
        If a file cannot be read, is not JSON, or holds no summary.
    """
    runs = [_read(Path(path)) for path in paths]
    return sorted(runs, key=lambda run: (run.date, run.version))


def _read(path: Path) -> AccuracyRun:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        plates = [one["summary"] for name, one in document.items() if name != "made"]
        if not plates:
            raise ValueError("no plate")
        version, date = _made(path, document.get("made") or {})
        return _together(version, date, plates)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        text = f"is not an accuracy file ({error}). A summary for each plate was expected; give what the runs wrote."
        raise InputError([Finding("bad-accuracy", str(path), "", text)]) from error


def _made(path: Path, made: dict[str, Any]) -> tuple[str, str]:
    named = _NAMED.match(path.stem)
    version, date = (named["version"], named["date"]) if named else (path.stem, "")
    written = datetime.fromtimestamp(path.stat().st_mtime, UTC).date().isoformat()
    return str(made.get("version", version)), str(made.get("date", date) or written)


def _together(version: str, date: str, plates: list[dict[str, Any]]) -> AccuracyRun:
    """Put plates together: each counts by the floors that were cut."""
    cut = np.array([plate["floors"] - plate["held"] for plate in plates], float)

    def mean(name: str, power: int = 1) -> float:
        values = np.array([float(plate[name]) for plate in plates])
        return float((np.sum(cut * values**power) / np.sum(cut)) ** (1 / power))

    floors, false = (int(sum(plate[name] for plate in plates)) for name in ("floors", "false_accepts"))
    shares = mean("offset_coverage"), mean("web_coverage")
    return AccuracyRun(version, date, floors, mean("offset_rms", 2), mean("web_rms", 2), *shares, false)


def write_trend(runs: Sequence[AccuracyRun], folder: Path, writing: Writing | None = None) -> None:
    """Write ``trend.csv``, ``trend.png`` and ``trend.html`` into an existing folder.

    Parameters
    ----------
    runs : sequence of AccuracyRun
        Oldest first.
    folder : Path
    writing : Writing, optional
    """
    show = display_for("mm", writing)
    say = show.words
    header = list(AccuracyRun.__dataclass_fields__)
    write_csv(folder / "trend.csv", header, ([str(value) for value in vars(run).values()] for run in runs))
    png = png_of(trend_figure(runs, show))
    (folder / "trend.png").write_bytes(png)
    last = runs[-1]
    sheet = CheckSheet(
        name=say("Trend of the fit"),
        title=say("accuracy on plates whose truth is known"),
        facts=say("{n} runs, {first} to {last}").format(n=len(runs), first=runs[0].date, last=last.date),
        sentence=_sentence(runs, show),
        answers=[say("Coverage should lie near 95 %. A false accept is a floor called conform that lies outside.")],
        findings=[],
        pictures=[Picture(png, say("Error, coverage and false accepts, run by run. Dotted: 95 %."))],
        tables=[_table(runs, show)],
    )
    (folder / "trend.html").write_text(page_text(sheet, show), encoding="utf-8", newline="\n")


def _sentence(runs: Sequence[AccuracyRun], show: Display) -> str:
    last, before = runs[-1], runs[-2] if len(runs) > 1 else None
    line = show.words("{version}: error of offsets {error} {unit}, webs covered {share} %, {n} false accepts")
    line = line.format(version=last.version, **_shown(last, show))
    if before is None:
        return line + "."
    was = show.words("before {error} {unit}, {share} %, {n}").format(**_shown(before, show))
    return f"{line}; {was}."


def _shown(run: AccuracyRun, show: Display) -> dict[str, object]:
    error, share = show.length(run.offset_rms, more=1), show.plain(100 * run.web_coverage, 1)
    return {"error": error, "unit": show.unit, "share": share, "n": run.false_accepts}


def _table(runs: Sequence[AccuracyRun], show: Display) -> CheckTable:
    say = show.words
    head = [say("version"), say("date"), say("floors"), say("offset error rms"), say("web error rms"),
            say("offset covered, %"), say("web covered, %"), say("false accepts")]  # fmt: skip
    rows = [
        CheckRow([run.version, run.date, str(run.floors), show.length(run.offset_rms, more=1),
             show.length(run.web_rms, more=1), show.plain(100 * run.offset_coverage, 1),
             show.plain(100 * run.web_coverage, 1), str(run.false_accepts)])
        for run in reversed(runs)
    ]  # fmt: skip
    return CheckTable(say("Runs, newest first"), head, rows)


def trend_figure(runs: Sequence[AccuracyRun], show: Display) -> Figure:
    """Draw error, coverage and false accepts above each other, run by run.

    Parameters
    ----------
    runs : sequence of AccuracyRun
        Oldest first.
    show : Display
    """
    from matplotlib.figure import Figure

    say, order = show.words, np.arange(len(runs))
    figure = Figure(figsize=(9, 7), facecolor="white", layout="constrained")
    error, covered, false = figure.subplots(3, 1, sharex=True)
    for axes, names, scale in (
        (error, ("offset_rms", "web_rms"), show.per_mm),
        (covered, ("offset_coverage", "web_coverage"), 100.0),
    ):
        for name, style in zip(names, ("-o", "--s"), strict=True):
            label = say("offsets") if name.startswith("offset") else say("webs")
            values = [scale * getattr(run, name) for run in runs]
            axes.plot(order, values, style, color="#1a1a1a", markerfacecolor="white", label=label)
        axes.legend(frameon=False, fontsize=8)
    covered.axhline(95, color="#555", linewidth=0.8, linestyle=":")
    false.bar(order, [run.false_accepts for run in runs], color="#8a8a8a", edgecolor="#1a1a1a")
    error.set_ylabel(say("error rms, {unit}").format(unit=show.unit))
    error.set_ylim(bottom=0)
    covered.set_ylabel(say("covered by 95 %, %"))
    false.set_ylabel(say("false accepts"))
    false.set_xticks(order, [f"{run.version}\n{run.date}" for run in runs], size=7)
    return figure
