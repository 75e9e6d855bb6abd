"""Circles of cutter-location data: from the last place along a circle to the next, right-handed about its axis.

ISO 3592 states the circle once and then either its end or points along it. Points so near that their chords are within
`FINE_MM` of the circle are taken as points; the chords are then the path.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from floorfit.arrays import Rows
from floorfit.errors import Finding
from floorfit.nc.arcs import StandingArcs
from floorfit.nc.cl.locations import Locations
from floorfit.nc.motions import LINE, OTHER_ARC

__all__ = ["arcs_of", "settle_circles"]

#: How far an end may be from its circle, mm: coordinates and radius rounded to 0.001 in. Own choice, no source.
ON_CIRCLE_MM = 0.03
#: Height of a chord below which points along a circle are its path, mm. Own choice, no source.
FINE_MM = 0.05


def arcs_of(found: Locations, rows: Rows) -> StandingArcs:
    """Arcs about their axes, by an angle above 0 and at most a full turn; height along the axis goes evenly.

    Parameters
    ----------
    found : Locations
    rows : (m,) ndarray of int
        Rows that are arcs, ascending.
    """
    circles = found.circles[found.circle[rows]]
    axis, ends = circles[:, 3:6], np.stack([found.start[rows], found.tip[rows]]) - circles[:, :3]
    high = (ends * axis).sum(axis=2)
    spokes = ends - high[..., None] * axis
    first = spokes[0] / np.maximum(np.linalg.norm(spokes[0], axis=1), 1e-12)[:, None]
    axes = np.stack([first, np.cross(axis, first), axis], axis=1)
    begin, end = np.einsum("nij,knj->kni", axes[:, :2], spokes)
    turn = np.mod(np.arctan2(end[:, 1], end[:, 0]), 2 * np.pi)
    turn[np.linalg.norm(spokes[1] - spokes[0], axis=1) < 1e-6] = 2 * np.pi
    return StandingArcs(rows, circles[:, :3] + high[0, :, None] * axis, axes, begin, end, high[1] - high[0], turn)


def settle_circles(found: Locations, source: str, findings: list[Finding]) -> Locations:
    """Check every arc, and take points along a circle as points; the findings go with the table.

    Parameters
    ----------
    found : Locations
    source : str
        File name for messages.
    findings : list of Finding
        Those of before.
    """
    rows = np.flatnonzero(found.kind == OTHER_ARC)
    if len(rows):
        arcs, radius = arcs_of(found, rows), found.circles[found.circle[rows], 6]
        away = np.maximum(*(np.abs(np.hypot(*end.T) - radius) for end in (arcs.first, arcs.last)))
        for row, gap in zip(rows[away > ON_CIRCLE_MM][:5].tolist(), away[away > ON_CIRCLE_MM].tolist(), strict=False):
            text = f"an end of this arc is {gap:.3f} mm from its circle. Correct the circle or the point."
            findings.append(Finding("circle", source, f"line {found.line[row] + 1}", text))
        kind, circle = found.kind.copy(), found.circle.copy()
        points = rows[[_are_points(found, row) for row in rows.tolist()]]
        kind[points], circle[points] = LINE, -1
        found = replace(found, kind=kind, circle=circle)
    return replace(found, findings=tuple(findings))


def _are_points(found: Locations, row: int) -> bool:
    """Whether the point behind a circle and the one after it are two of many along it."""
    following = row + 1
    if following >= len(found) or found.kind[following] != LINE:
        return False
    circle = found.circles[found.circle[row]]
    places = np.array([found.start[row], found.tip[row], found.tip[following]])
    away = places - circle[:3]
    away -= (away @ circle[3:6])[:, None] * circle[3:6]
    on = np.abs(np.linalg.norm(away, axis=1) - circle[6]) <= ON_CIRCLE_MM
    chords = np.linalg.norm(np.diff(places, axis=0), axis=1)
    height = circle[6] - np.sqrt(np.maximum(circle[6] ** 2 - chords**2 / 4, 0.0))
    return bool(on.all() and (height <= FINE_MM).all() and (chords > 1e-6).all())
