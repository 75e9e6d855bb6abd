"""How a run came out, in one line: under the table of pockets, in the record, and when a result shows itself."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from floorfit.decision import Decision
    from floorfit.result import Result

__all__ = ["closing_sentence"]


def closing_sentence(result: Result) -> str:
    """The one line that a person can act on: how many floors are corrected, and which are not, and why."""
    total = len(result.decisions)
    held = [one for one in result.decisions if one.action == "hold"]
    doubtful = [one for one in result.decisions if one.action != "hold" and not one.is_sure]
    line = f"{total - len(held)} of {total} pockets corrected"
    if held:
        line += f", {len(held)} held: {_named(held, len(held))}"
    if doubtful:
        line += f"; not sure to conform: {_named(doubtful)}"
    if not held and not doubtful:
        line += ", all predicted to conform"
    if np.isfinite(result.part_probability):
        line += f"; the whole part conforms with probability {result.part_probability:.3f}"
    large = [one for one in result.systematic if one.size > result.settings.systematic]
    if large:
        line += "; errors that the readings share: " + ", ".join(f"{one.kind} ({one.name})" for one in large)
    if result.unsettled:
        line += "; to settle before anything is cut: " + ", ".join(result.unsettled)
    return line + "."


def _named(decisions: Iterable[Decision], most: int = 4) -> str:
    rows = list(decisions)
    names = [f"{one.pocket} ({one.reason.code or one.verdict})" for one in rows[:most]]
    if len(rows) > most:
        names.append(f"and {len(rows) - most} more")
    return ", ".join(names)
