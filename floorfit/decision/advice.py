"""Advice that changes no offset: how far a thin web gives way under the cutter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from floorfit.decision.decision import Decision
from floorfit.decision.pushoff import web_pushoff
from floorfit.decision.rules import Wording
from floorfit.part.model import Part

__all__ = ["with_pushoff"]


def with_pushoff(part: Part, decisions: Sequence[Decision], force_n: float) -> tuple[Decision, ...]:
    """Add a note on the elastic push-off of each floor that is cut.

    Parameters
    ----------
    part : Part
    decisions : sequence of Decision
        In the part's order.
    force_n : float, N
        Cutting force along Z.

    Returns
    -------
    tuple of Decision
        Same offsets, one note more. Ribs hold a web between clamped and simply supported.
    """
    wording = Wording(part.units)
    out = []
    for pocket, one in zip(part.pockets, decisions, strict=True):
        if one.action == "hold":
            out.append(one)
            continue
        found = web_pushoff(pocket.polygon, one.web_after_min, force_n)
        note = (
            f"under {force_n:g} N the web gives way by {wording.length(found.clamped)} (edges clamped) to "
            f"{wording.length(found.simple)} (simply supported) and springs back thicker by that much"
        )
        out.append(replace(one, notes=(*one.notes, note)))
    return tuple(out)
