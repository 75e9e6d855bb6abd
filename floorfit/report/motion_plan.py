"""The picture of a corrected programme in plan: changed, lifted and untouched motion, and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.part.model import Part
from floorfit.report.format import Display, Writing, display_for
from floorfit.report.labels import printable
from floorfit.report.language import marked

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Left", "Motion", "draw_plan", "write_plan_picture"]

#: Colour, width and words by status; they differ in lightness too, so that they are told apart in grey.
_STYLES = (
    ("0.72", 0.5, marked("untouched")),
    ("#0b4f8a", 0.8, marked("moved with its floor")),
    ("#d1571b", 1.4, marked("lifted clear")),
)
#: Heights left that are marked, mm.
_MARKED_MM = 0.02


class Motion(Protocol):
    """Straight motions in plan, mm, and their status: 0 untouched, 1 moved, 2 lifted."""

    @property
    def start(self) -> Array:
        """Where they start, (n, 2)."""

    @property
    def end(self) -> Array:
        """Where they end, (n, 2)."""

    @property
    def status(self) -> Rows:
        """Status, (n,)."""


class Left(Protocol):
    """What the cutter leaves on one floor."""

    @property
    def pocket(self) -> str:
        """Id of the floor."""

    @property
    def high_mm(self) -> float:
        """Greatest height over what is wanted, mm."""

    @property
    def where_high(self) -> tuple[float, float]:
        """Its place, mm."""


def draw_plan(part: Part, motion: Motion, left: Sequence[Left], title: str, writing: Writing | None = None) -> Figure:
    """Draw the part from above with the motion near its floors.

    Parameters
    ----------
    part : Part
        The nominal part.
    motion : Motion
        What is drawn.
    left : sequence of Left
        What the cutter leaves; marked where it is more than 0.02 mm.
    title : str
        Heading.
    writing : Writing, optional
        Unit, language and decimal sign; those of the part and English where left out.

    Returns
    -------
    matplotlib.figure.Figure
    """
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure

    show = display_for(part.units, writing)
    say, per_mm = show.words, show.per_mm
    x0, y0, x1, y1 = part.bounds
    height = float(np.clip(11.0 * (y1 - y0) / max(x1 - x0, 1e-9), 2.5, 9.0))
    figure = Figure(figsize=(11.0, height + 1.0), dpi=130, layout="constrained")
    axis = figure.subplots()
    for ring in (part.outline, *(ring for one in part.pockets for ring in (one.boundary, *one.islands))):
        closed = np.array([*ring, ring[0]]) * per_mm
        axis.plot(*closed.T, color="0.2" if ring is part.outline else "0.45", linewidth=0.8)
    for status, (colour, width, words) in enumerate(_STYLES):
        some = motion.status == status
        lines = np.stack([motion.start[some], motion.end[some]], axis=1) * per_mm
        axis.add_collection(
            LineCollection(list(lines), colors=colour, linewidths=width, label=f"{say(words)} ({some.sum()})")
        )
    _mark(axis, left, show)
    for one in part.pockets:
        place = one.polygon.representative_point()
        box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
        axis.annotate(
            _plain(one.id, 14), (place.x * per_mm, place.y * per_mm), ha="center", va="center", fontsize=7, bbox=box
        )
    axis.set_title(_plain(title), fontsize=9)
    axis.set_aspect("equal")
    axis.set_xlabel(f"X, {show.unit}")
    axis.set_ylabel(f"Y, {show.unit}")
    axis.margins(0.03)
    axis.legend(loc="upper center", bbox_to_anchor=(0.5, -0.08), ncols=4, fontsize=7, frameon=False)
    return figure


def _mark(axis: object, left: Sequence[Left], show: Display) -> None:
    high = [one for one in left if one.high_mm > _MARKED_MM]
    if not high:
        return
    places = np.array([one.where_high for one in high]) * show.per_mm
    words = f"{show.words('most left above what is wanted, floors:')} {len(high)}"
    axis.plot(*places.T, "v", color="#7a1fa2", markersize=5, label=words)  # type: ignore[attr-defined]
    for one, place in zip(high, places.tolist(), strict=True):
        text = show.length(one.high_mm, sign=True)
        axis.annotate(text, place, (3, 3), textcoords="offset points", fontsize=6)  # type: ignore[attr-defined]


def _plain(text: str, most: int = 90) -> str:
    """Text on one line that matplotlib sets as it is, cut to ``most`` characters."""
    flat = printable(text)
    cut = flat if len(flat) <= most else flat[: most - 1] + "…"
    return cut.replace("$", r"\$")


def write_plan_picture(
    part: Part, motion: Motion, left: Sequence[Left], title: str, path: str | Path, writing: Writing | None = None
) -> None:
    """Write the picture as PNG; the same motion gives the same bytes.

    Parameters
    ----------
    part, motion, left, title
        See `draw_plan`.
    path : path
        File to write.
    writing : Writing, optional
        As in `draw_plan`.
    """
    draw_plan(part, motion, left, title, writing).savefig(path, format="png", metadata={"Software": None})
