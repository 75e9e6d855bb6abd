"""Circles of cutter-location data: from the last place along a circle to the next, right-handed about its axis.

ISO 3592 states the circle once and then either its end or points along it. Points so near that their chords are within
`FINE_MM` of the circle are taken as points; the chords are then the path.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding
from floorfit.nc.cl.locations import Locations
from floorfit.nc.motions import LINE, OTHER_ARC

__all__ = ["arc_points", "arc_sweep", "settle_circles"]

#: How far an end may be from its circle, mm: coordinates and radius rounded to 0.001 in. Own choice, no source.
ON_CIRCLE_MM = 0.03
#: Height of a chord below which points along a circle are its path, mm. Own choice, no source.
FINE_MM = 0.05


def arc_sweep(found: Locations, rows: Rows) -> Array:
    """Angle of each arc about its axis, radians, above 0 and at most a full turn.

    Parameters
    ----------
    found : Locations
    rows : (m,) ndarray of int
        Rows that are arcs.
    """
    _, axis, first, last = _radials(found, rows)
    across = np.cross(axis, first)
    angle = np.mod(np.arctan2((last * across).sum(axis=1), (last * first).sum(axis=1)), 2 * np.pi)
    same = np.linalg.norm(last - first, axis=1) < 1e-6
    return np.where(same, 2 * np.pi, angle)


def arc_points(found: Locations, rows: Rows, share: Array) -> Array:
    """Points on arcs, (m, k, 3), mm, at shares (m, k) of their angle; height along the axis and radius go evenly.

    Parameters
    ----------
    found : Locations
    rows : (m,) ndarray of int
        Rows that are arcs.
    share : (m, k) ndarray
        Of the angle, 0 to 1.
    """
    centre, axis, first, last = _radials(found, rows)
    sweep = arc_sweep(found, rows)[:, None] * share
    radius0, radius1 = np.linalg.norm(first, axis=1)[:, None], np.linalg.norm(last, axis=1)[:, None]
    unit = first / radius0
    across = np.cross(axis, unit)
    ring = np.cos(sweep)[..., None] * unit[:, None] + np.sin(sweep)[..., None] * across[:, None]
    high0 = ((found.start[rows] - centre) * axis).sum(axis=1)[:, None]
    high1 = ((found.tip[rows] - centre) * axis).sum(axis=1)[:, None]
    radius = (radius0 + share * (radius1 - radius0))[..., None]
    height = (high0 + share * (high1 - high0))[..., None]
    return np.asarray(centre[:, None] + radius * ring + height * axis[:, None])


def _radials(found: Locations, rows: Rows) -> tuple[Array, Array, Array, Array]:
    """Centre, axis, and the ends as seen from the axis."""
    circles = found.circles[found.circle[rows]]
    centre, axis = circles[:, :3], circles[:, 3:6]
    ends = []
    for place in (found.start[rows], found.tip[rows]):
        away = place - centre
        ends.append(away - (away * axis).sum(axis=1)[:, None] * axis)
    return centre, axis, ends[0], ends[1]


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
        _, _, first, last = _radials(found, rows)
        radius = found.circles[found.circle[rows], 6]
        away = np.maximum(*(np.abs(np.linalg.norm(end, axis=1) - radius) for end in (first, last)))
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
