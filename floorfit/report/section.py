"""The picture of a corrected programme in section: Z along the passes over each floor, before and after."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Trace", "draw_section", "write_section"]

#: Floors drawn; those that change most, so that the picture stays readable.
MOST_FLOORS = 8
_BEFORE, _AFTER = "0.55", "#0b4f8a"


class Trace(Protocol):
    """Z along the passes over one floor; millimetres."""

    @property
    def pocket(self) -> str:
        """Id of the floor."""

    @property
    def path(self) -> NDArray[np.float64]:
        """Way along the passes, (n,)."""

    @property
    def before(self) -> NDArray[np.float64]:
        """Z as programmed, (n,)."""

    @property
    def after(self) -> NDArray[np.float64]:
        """Z as corrected, (n,)."""


def draw_section(traces: Sequence[Trace], title: str) -> Figure:
    """Draw the floors that change most, each in a panel of its own.

    Parameters
    ----------
    traces : sequence of Trace
        A trace for each floor with motion; may be empty.
    title : str
        Heading.

    Returns
    -------
    matplotlib.figure.Figure
    """
    from matplotlib.figure import Figure

    shown = sorted(traces, key=_change, reverse=True)[:MOST_FLOORS]
    rows = max(1, len(shown))
    figure = Figure(figsize=(8.0, 1.2 + 1.5 * rows), dpi=120, layout="constrained")
    axes = figure.subplots(rows, 1, squeeze=False)[:, 0]
    left = len(traces) - len(shown)
    note = f" ({left} more floors not drawn: those drawn change most)" if left else ""
    figure.suptitle(_plain(title) + note, fontsize=9)
    for axis, trace in zip(axes, shown, strict=False):
        _panel(axis, trace)
    if not shown:
        axes[0].text(0.5, 0.5, "no motion on any floor", ha="center", va="center", transform=axes[0].transAxes)
    axes[-1].set_xlabel("way along the passes over the floor, mm")
    return figure


def _panel(axis: Axes, trace: Trace) -> None:
    axis.plot(trace.path, trace.before, color=_BEFORE, linewidth=1.2, linestyle="--", label="before")
    axis.plot(trace.path, trace.after, color=_AFTER, linewidth=1.2, label="after")
    low = min(trace.before.min(), trace.after.min())
    high = max(trace.before.max(), trace.after.max())
    room = max(0.02, 0.15 * (high - low))
    axis.set_ylim(low - room, high + room)
    axis.ticklabel_format(axis="y", useOffset=False)
    axis.set_ylabel("Z, mm", fontsize=8)
    change = trace.after - trace.before
    label = f"{_plain(trace.pocket, 40)}: dZ {change.min():+.3f} to {change.max():+.3f} mm, {len(change)} points"
    axis.set_title(label, fontsize=8, loc="left")
    axis.legend(fontsize=7, loc="upper right")
    axis.tick_params(labelsize=7)
    axis.grid(alpha=0.3)


def _change(trace: Trace) -> float:
    return float(np.abs(trace.after - trace.before).max(initial=0.0))


def _plain(text: str, most: int = 90) -> str:
    """Text on one line that matplotlib sets as it is, cut to ``most`` characters."""
    from floorfit.report.labels import printable

    flat = printable(text)
    cut = flat if len(flat) <= most else flat[: most - 1] + "…"
    return cut.replace("$", r"\$")


def write_section(traces: Sequence[Trace], title: str, path: str | Path) -> None:
    """Write the picture as PNG; the same traces give the same bytes.

    Parameters
    ----------
    traces : sequence of Trace
        See `draw_section`.
    title : str
        Heading.
    path : path
        File to write.
    """
    draw_section(traces, title).savefig(path, format="png", metadata={"Software": None})
