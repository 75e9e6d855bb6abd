"""The signer's sheet of finished webs: one page to sign and the table of all floors behind it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.report.colours import HATCHES
from floorfit.report.format import Display
from floorfit.report.language import marked
from floorfit.report.paper import Column, Listing, SignSheet, write_sheet
from floorfit.report.plan_view import plain_text
from floorfit.report.sheet import INK, panel
from floorfit.report.sign_off import identity_lines
from floorfit.verify.proved import FloorProof, Verification

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["ESTIMATE", "by_need", "draw_floors", "floor_cells", "proved_sentence", "write_release"]

#: Words of the verdicts on finished webs.
PROVED = {
    "conform": marked("conforms"), "undecided": marked("undecided"), "nonconform": marked("does not conform"),
    "not-read": marked("not read"),
}  # fmt: skip

#: Which comes first in every list.
_ORDER = {"nonconform": 0, "undecided": 1, "not-read": 2, "conform": 3}

#: Findings on the sheet; the page has all.
MOST_WARNINGS = 4

ESTIMATE = marked(
    "A verdict on a whole floor rests on the readings and a fitted surface. Between readings it is an estimate."
)
CAUTIONS = (
    ESTIMATE,
    marked("The program signs nothing. Licensed people and local practice decide what is released."),
)


def by_need(found: Verification) -> list[FloorProof]:
    """Return the floors: not conforming, undecided, not read, then by probability."""
    return sorted(found.floors, key=lambda one: (_ORDER[one.verdict], one.probability))


def proved_sentence(found: Verification, display: Display, most: int = 6) -> str:
    """Return how the finished webs came out, in one sentence; floors that do not conform are named.

    Parameters
    ----------
    found : Verification
    display : Display
        Language of the sentence.
    most : int
        Floors named at most.
    """
    conform = sum(floor.verdict == "conform" for floor in found.floors)
    parts = [display.words("{n} of {m} pockets verified to conform").format(n=conform, m=len(found.floors))]
    for verdict in ("nonconform", "undecided", "not-read"):
        names = [plain_text(floor.pocket) for floor in found.floors if floor.verdict == verdict]
        more = ["…"] if len(names) > most else []
        if names:
            parts.append(f"{len(names)} {display.words(PROVED[verdict])}: {', '.join([*names[:most], *more])}")
    return "; ".join(parts) + "."


def write_release(
    found: Verification, identity: list[tuple[str, str]], answers: list[str], display: Display, path: Path
) -> None:
    """Write ``verify.pdf``.

    Parameters
    ----------
    found : Verification
    identity : list of (str, str)
        What the job knows of the plate.
    answers : list of str
        Bias, movement and intervals, a sentence each.
    display : Display
    path : Path
        File to write; overwritten.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    say, floors = display.words, by_need(found)
    more = len(found.findings) - MOST_WARNINGS
    told = [plain_text(display.finding(one.source, one.place, one.text)) for one in found.findings[:MOST_WARNINGS]]
    files = [(say("job"), plain_text(found.job)), (say("readings"), plain_text(found.source))]
    sheet = SignSheet(
        title=say("Sheet to sign: finished webs"),
        name=plain_text(found.part.name),
        headline=proved_sentence(found, display),
        identity=identity_lines(identity, files, display),
        measured=[_measured(found, display), *answers],
        counts=_counts(found, display),
        worst=Listing(_columns(display), [floor_cells(one, display) for one in floors[:5]]),
        warnings=[*told, *([say("and {n} more in verify.html").format(n=more)] if more > 0 else [])],
        cautions=[say(line) for line in CAUTIONS],
        appendix=Listing(_columns(display), [floor_cells(one, display) for one in floors]),
        draw=lambda figure, box: _plan(figure, box, found),
    )
    write_sheet(sheet, display, path)


def _measured(found: Verification, display: Display) -> str:
    aside = sum(bool(reason) for reason in found.readings.reason)
    words = display.words("{n} readings of finished webs, {m} set aside; a floor conforms from P = {p}")
    return words.format(n=len(found.x), m=aside, p=display.plain(found.level, 2))


def _counts(found: Verification, display: Display) -> list[tuple[str, str]]:
    counts = Counter[str](floor.verdict for floor in found.floors)
    kinds = [(str(counts[name]), display.words(words)) for name, words in PROVED.items()]
    return [(str(len(found.floors)), display.words("pockets")), *kinds]


def _columns(display: Display) -> list[Column]:
    say = display.words
    return [
        Column(say("pocket"), 26), Column(say("verdict"), 25), Column(say("readings"), 18, True),
        Column(say("web min"), 15, True), Column(say("web max"), 15, True), Column("P", 13, True),
        Column(say("bias"), 19, True), Column("± (k = 2)", 17, True), Column(say("reason"), 36),
    ]  # fmt: skip


def floor_cells(floor: FloorProof, display: Display, decimals: int = 4) -> list[str]:
    """Return the cells of a floor's row: what it is, bias, and reason at the end.

    Parameters
    ----------
    floor : FloorProof
    display : Display
    decimals : int
        Of the probability.
    """
    value, u = display.pair(floor.bias, 2 * floor.bias_u)
    return [
        plain_text(floor.pocket), display.words(PROVED[floor.verdict]), str(floor.readings),
        display.length(floor.web_min), display.length(floor.web_max), display.plain(floor.probability, decimals),
        value, u, plain_text(display.sentence(floor.reason)),
    ]  # fmt: skip


def _plan(figure: Figure, box: tuple[float, float, float, float], found: Verification) -> None:
    """Draw outline and floors."""
    axes = panel(figure, box)
    axes.set_axis_off()
    axes.set_aspect("equal")
    outline = np.array(found.part.outline)
    axes.fill(*outline.T, facecolor="white", edgecolor=INK, linewidth=1.0)
    draw_floors(axes, found, "white")


def draw_floors(axes: Axes, found: Verification, face: str, per_mm: float = 1.0) -> None:
    """Draw the floors, hatched by verdict; one that was not read is grey.

    Parameters
    ----------
    axes : Axes
    found : Verification
    face : str
        Colour of the floors that were read.
    per_mm : float
        Units of the axes in a millimetre.
    """
    for pocket, floor in zip(found.part.pockets, found.floors, strict=True):
        shade = "#c8c8c8" if floor.verdict == "not-read" else face
        rings = [(pocket.boundary, shade, HATCHES.get(floor.verdict))]
        for ring, colour, hatch in [*rings, *((island, "white", None) for island in pocket.islands)]:
            axes.fill(*np.array(ring).T * per_mm, facecolor=colour, edgecolor=INK, linewidth=0.6, hatch=hatch)
