"""Arcs in a plane: the centre from a radius, and what makes an arc no arc."""

from __future__ import annotations

import math

__all__ = ["ARC_ABSOLUTE", "ARC_RELATIVE", "arc_fault", "radius_centre"]

NAN = math.nan
#: Greatest difference of an arc's two radii that is still an arc, mm and share of the radius. NISTIR 6556, 3.5.3.2
#: asks 0.002 mm; interpreters in use take more, and post-processors that round to 0.01 mm need it.
ARC_ABSOLUTE, ARC_RELATIVE = 0.02, 0.002


def radius_centre(
    start: tuple[float, float], end: tuple[float, float], radius: float, *, clockwise: bool
) -> tuple[float, float]:
    """Centre of an arc in radius format; a negative radius is more than half a turn (NISTIR 6556, 3.5.3.1).

    Parameters
    ----------
    start, end : (float, float), mm
        In the plane of the arc.
    radius : float, mm
        Below zero for more than half a turn.
    clockwise : bool
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if not chord > 0:
        return NAN, NAN
    square = radius * radius - chord * chord / 4
    if square < 0:
        if chord / 2 - abs(radius) > ARC_ABSOLUTE:
            return NAN, NAN
        square = 0.0
    side = math.sqrt(square) / chord * (-1.0 if clockwise == (radius > 0) else 1.0)
    return start[0] + dx / 2 - dy * side, start[1] + dy / 2 + dx * side


def arc_fault(start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float]) -> str:
    """Return why an arc cannot be followed, or an empty text.

    Parameters
    ----------
    start, end, centre : (float, float), mm
        In the plane of the arc.
    """
    if any(value != value for value in (*start, *end)):
        return "the arc's start or end is not known"
    if any(value != value for value in centre):
        return "the arc has no centre (I, J, K), and no radius that fits"
    first, last = math.dist(start, centre), math.dist(end, centre)
    if min(first, last) <= 0 or abs(first - last) > max(ARC_ABSOLUTE, ARC_RELATIVE * first):
        return f"the arc's radii at start and end differ ({first:.4f} and {last:.4f} mm)"
    return ""
