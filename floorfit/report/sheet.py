"""The sheet under every page of the map: size, heading, title block and the sketch of the sign."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from floorfit.arrays import Array
from floorfit.record import Record
from floorfit.report.bands import Sheet
from floorfit.report.format import Display
from floorfit.report.headline import identity_shown
from floorfit.report.labels import fitted, printable
from floorfit.report.language import marked
from floorfit.report.plan_view import PlanView

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform

__all__ = [
    "AREA", "ASIDE", "INK", "PAPER", "blank_sheet", "draw_arrow", "draw_line", "left_out", "mark_scale", "on_paper",
    "panel", "paper_of", "put",
]  # fmt: skip

#: A3 landscape, mm (ISO 216).
PAPER = (420.0, 297.0)

#: Room for the plate on it.
AREA = Sheet(10.0, 73.0, 400.0, 208.0)

#: Title block: left, bottom, width, height, mm of paper.
STRIP = (10.0, 10.0, 400.0, 60.0)

INK = "#1a1a1a"
#: Readings set aside.
ASIDE = "#a3123a"
_MM_PER_INCH = 25.4
#: Length of a mark of a scale, mm of paper.
_MARK_MM = 0.7

SIGN_WORDS = (
    marked("Warp: the underside where it is minus where the drawing has it, along Z."),
    marked("Plus: the plate stands high; a floor cut at its nominal Z leaves the web thin."),
    marked("Offset: what is added to the programmed floor Z. Plus raises the floor (cuts less)."),
)


def blank_sheet(record: Record, plan: PlanView, title: str, page: str) -> Figure:
    """Return a figure with heading and the facts of the title block, ready for a drawing.

    Parameters
    ----------
    record : Record
        A run.
    plan : PlanView
        The same run as a drawing sees it.
    title : str
        What the page shows.
    page : str
        Such as ``"1 of 3"``.

    Returns
    -------
    Figure
        A3 landscape; coordinates for `put` and `panel` are mm of paper.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(PAPER[0] / _MM_PER_INCH, PAPER[1] / _MM_PER_INCH), facecolor="white")
    put(figure, 10, 286, title, 15, bold=True)
    put(figure, 410, 286, f"{plan.display.words('page')} {page}", 9, align="right")
    _frame(figure)
    _facts(figure, record, plan)
    _sign(figure, plan.display)
    return figure


def panel(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Add axes at (left, bottom, width, height) in mm of paper.

    Parameters
    ----------
    figure : Figure
    box : (float, float, float, float), mm
        Left, bottom, width, height on paper.
    """
    left, bottom, width, height = box
    wide, high = paper_of(figure)
    return figure.add_axes((left / wide, bottom / high, width / wide, height / high))


def paper_of(figure: Figure) -> tuple[float, float]:
    """Return width and height of a figure, mm of paper."""
    wide, high = figure.get_size_inches() * _MM_PER_INCH
    return float(wide), float(high)


def put(
    figure: Figure, x: float, y: float, text: str, points: float, *, bold: bool = False, align: str = "left"
) -> None:
    """Write one line at (x, y) mm of paper, base line at y; no markup is read from the text.

    Parameters
    ----------
    figure : Figure
    x, y : float, mm
        On paper, of the base line.
    text : str
    points : float
        Size of the font.
    bold : bool
    align : {"left", "center", "right"}
    """
    from floorfit.report.lettering import write

    wide, high = paper_of(figure)
    write(figure, x / wide, y / high, printable(text), points, color=INK, bold=bold, ha=align)


def on_paper(figure: Figure) -> Transform:
    """Return the transform of places in mm of paper."""
    from matplotlib.transforms import Affine2D

    return Affine2D().scale(1 / _MM_PER_INCH) + figure.dpi_scale_trans


def draw_line(figure: Figure, x: Sequence[float], y: Sequence[float], **style: Any) -> None:
    """Draw a line or a mark through places in mm of paper, in ink where the style says no other colour.

    Parameters
    ----------
    figure : Figure
    x, y : sequence of float, mm
    **style
        Properties of the line.
    """
    from matplotlib.lines import Line2D

    figure.add_artist(Line2D(x, y, **{"color": INK, "transform": on_paper(figure), **style}))


def draw_arrow(figure: Figure, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw an arrow between places in mm of paper.

    Parameters
    ----------
    figure : Figure
    start, end : (float, float), mm
    """
    from matplotlib.patches import FancyArrowPatch

    arrow = FancyArrowPatch(
        start, end, arrowstyle="-|>", color=INK, linewidth=1.0, shrinkA=0, shrinkB=0, mutation_scale=10,
        transform=on_paper(figure),
    )  # fmt: skip
    figure.add_artist(arrow)


def mark_scale(
    figure: Figure,
    box: tuple[float, float, float, float],
    limits: tuple[float, float],
    side: Literal["below", "left"],
    *,
    most: int,
    points: float,
    decimal: str = ".",
) -> None:
    """Mark round values along one side of a box in mm of paper: short lines and numbers.

    One piece of line for all marks, and no axis objects: a sheet is drawn in two thirds of the time.

    Parameters
    ----------
    figure : Figure
    box : (left, bottom, width, height), mm of paper
    limits : (float, float)
        Values at the ends of the side.
    side : {"below", "left"}
    most : int
        Spaces between marks, at most.
    points : float
        Size of the numbers.
    decimal : str
        Sign before the decimals.
    """
    from matplotlib.collections import LineCollection

    from floorfit.report.lettering import write

    values, texts = _round_values(limits, most)
    left, bottom, width, height = box
    at = (values - limits[0]) / (limits[1] - limits[0])
    x, y = (
        (left + at * width, np.full(len(at), bottom))
        if side == "below"
        else (np.full(len(at), left), bottom + at * height)
    )
    ends = np.column_stack([x, y - _MARK_MM]) if side == "below" else np.column_stack([x - _MARK_MM, y])
    lines = np.stack([np.column_stack([x, y]), ends], axis=1) / _MM_PER_INCH
    figure.add_artist(LineCollection(list(lines), colors=INK, linewidths=0.5, transform=figure.dpi_scale_trans))
    ha, va = ("center", "top") if side == "below" else ("right", "center")
    gap = np.array([0.0, -0.5] if side == "below" else [-0.5, 0.0])
    for (across, up), text in zip((ends + gap) / paper_of(figure), texts, strict=True):
        write(figure, float(across), float(up), text.replace(".", decimal), points, color=INK, ha=ha, va=va)


def _round_values(limits: tuple[float, float], most: int) -> tuple[Array, list[str]]:
    """Round values within limits, as numbers and with the decimals that all of them need."""
    from matplotlib.ticker import MaxNLocator

    values = np.asarray(MaxNLocator(nbins=most, steps=[1, 2, 2.5, 5, 10]).tick_values(*limits))
    slack = 1e-9 * (limits[1] - limits[0])
    values = values[(values >= limits[0] - slack) & (values <= limits[1] + slack)]
    decimals = next((d for d in range(9) if np.allclose(np.round(values, d), values, rtol=0, atol=1e-10)), 9)
    return values, [f"{value + 0.0:.{decimals}f}" for value in np.round(values, decimals)]


def left_out(record: Record, display: Display) -> list[str]:
    """Say in short lines what the drawing and the fit left out: readings by reason, floors held.

    Parameters
    ----------
    record : Record
    display : Display
        Language of the lines.
    """
    say = display.words
    pairs = zip(record.readings.used, record.readings.reason, strict=True)
    reasons = Counter(reason.split(":")[0] for used, reason in pairs if not used)
    aside = say("{n} set aside: {reason}")
    named = [(display.sentence(code) or say("no reason given"), n) for code, n in reasons.most_common(5)]
    lines = [aside.format(n=n, reason=reason) for reason, n in named]
    rest = sum(reasons.values()) - sum(count for _, count in reasons.most_common(5))
    if rest:
        lines.append(say("{n} set aside for other reasons").format(n=rest))
    lines = lines or [say("no reading set aside")]
    held, pockets = record.summary.held, record.summary.pockets
    words = say("{n} of {m} pockets held, no offset").format(n=held, m=pockets) if held else say("no pocket held")
    return [*lines, words]


def _frame(figure: Figure) -> None:
    from matplotlib.patches import Rectangle

    left, bottom, width, height = STRIP
    share = (left / PAPER[0], bottom / PAPER[1])
    figure.add_artist(Rectangle(share, width / PAPER[0], height / PAPER[1], fill=False, edgecolor=INK, linewidth=1.0))
    for x in (112.0, 222.0, 316.0):
        draw_line(figure, [x, x], [bottom, bottom + height], linewidth=0.6)


def _facts(figure: Figure, record: Record, plan: PlanView) -> None:
    say = plan.display.words
    used = say("{n} given, {m} used").format(n=record.summary.readings, m=record.summary.readings_used)
    facts = [
        (say("part"), plan.name),
        *identity_shown(record.identity, plan.display)[:3],
        (say("job"), record.job),
        (say("date"), record.created),
        (say("units"), say("{unit} throughout; slopes per 100 {unit}").format(unit=plan.display.unit)),
        (say("readings"), used),
    ]
    for k, (name, text) in enumerate(facts):
        put(figure, 13, 64 - 5.2 * k, name, 8.5)
        put(figure, 37, 64 - 5.2 * k, fitted(text, 8.5, 73, bold=k == 0), 8.5, bold=k == 0)
    put(figure, 13, 64 - 5.2 * len(facts), say("left out"), 8.5)
    for k, line in enumerate(left_out(record, plan.display)[: 12 - len(facts)]):
        put(figure, 37, 64 - 5.2 * len(facts) - 4.4 * k, fitted(line, 8.5, 73), 8.5)


def _sign(figure: Figure, display: Display) -> None:
    """Draw the side view that shows what plus means, with the words beside it."""
    put(figure, 115, 64, display.words("Signs"), 9, bold=True)
    for k, line in enumerate(SIGN_WORDS):
        for j, row in enumerate(wrap(display.words(line), 59, break_on_hyphens=False)):
            put(figure, 115, 58.5 - 9.2 * k - 4.2 * j, row, 8)
    _sketch(figure, display)


def _sketch(figure: Figure, display: Display) -> None:
    from matplotlib.patches import Polygon

    say = display.words
    x = np.linspace(123, 177, 60)
    high = 15.5 + 4.2 * np.sin((x - 123) / 54 * np.pi) ** 2
    web = np.column_stack([[*x, x[-1], x[0]], [*high, 24.5, 24.5]])
    figure.add_artist(Polygon(web, facecolor="#d8d8d8", edgecolor=INK, linewidth=0.8, transform=on_paper(figure)))
    draw_line(figure, [123, 177], [15.5, 15.5], linewidth=0.8, linestyle=(0, (4, 2)))
    draw_arrow(figure, (150, 15.4), (150, 19.9))
    draw_arrow(figure, (169, 24.5), (169, 29.5))
    draw_arrow(figure, (119, 15.5), (119, 29.5))
    put(figure, 151.5, 16.5, say("+ warp"), 8)
    put(figure, 167.5, 26.5, say("+ offset"), 8, align="right")
    put(figure, 125, 20.7, say("web"), 8)
    put(figure, 181, 23.5, say("floor at its nominal Z"), 8)
    put(figure, 181, 14.5, say("nominal underside"), 8)
    put(figure, 116, 27, "Z", 8)
