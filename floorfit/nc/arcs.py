"""Arcs: the centre from a radius, what makes one none, places on those that stand (G18, G19), and chords.

A plane has two axes, first and second, and the third across: Z, X and Y for G18, Y, Z and X for G19 (NISTIR 6556,
3.5.3: an arc anticlockwise as seen against the third axis is G3). Along the third the way is even, as on a helix.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from floorfit.arrays import Array, Rows

__all__ = ["PLANE_AXES", "StandingArcs", "arc_fault", "chord_shares", "chords", "radius_centre"]

#: Greatest difference of an arc's two radii that is still an arc, mm and share of the radius. NISTIR 6556, 3.5.3.2
#: asks 0.002 mm; interpreters in use take more, and post-processors that round to 0.01 mm need it.
ARC_ABSOLUTE, ARC_RELATIVE = 0.02, 0.002

#: First, second and third axis of a plane, as indices of X, Y, Z.
PLANE_AXES = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}
#: Longest turn of one chord, radians: a tenth of a turn, so that a small circle is not cut away. Own choice.
_MOST_TURN = 0.2 * np.pi


@dataclass(frozen=True)
class StandingArcs:
    """Arcs that stand upright, or in any plane, one for each row named.

    Parameters
    ----------
    rows : (k,) ndarray of int
        Motions, ascending.
    centre : (k, 3) ndarray, mm
        Centre, at the height along the third axis at which the arc starts.
    axes : (k, 3, 3) ndarray
        Unit vectors of first, second and third axis, one under the other.
    first, last : (k, 2) ndarray, mm
        From the centre to start and end, along first and second axis.
    along : (k,) ndarray, mm
        Way along the third axis.
    sweep : (k,) ndarray, radians
        Signed angle, positive from the first axis to the second.
    """

    rows: Rows
    centre: Array
    axes: Array
    first: Array
    last: Array
    along: Array
    sweep: Array

    def moved(self, turn: Array, way: Array, shift: Array) -> StandingArcs:
        """Return the same arcs in another frame: ``turn @ (place + shift) + way``, with a shift for each motion."""
        return replace(self, centre=(self.centre + shift[self.rows]) @ turn.T + way, axes=self.axes @ turn.T)

    @property
    def radius(self) -> Array:
        """Greater of the radii at start and end, (k,), mm."""
        return np.asarray(np.maximum(np.hypot(*self.first.T), np.hypot(*self.last.T)))

    @property
    def length(self) -> Array:
        """Length of the way, (k,), mm."""
        return np.asarray(np.hypot(self.radius * np.abs(self.sweep), self.along))

    def points(self, rows: Rows, share: Array) -> Array:
        """Places (m, 3) at shares of the angle, one for each row and share.

        Parameters
        ----------
        rows : (m,) ndarray of int
            Motions, all of them arcs of this table.
        share : (m,) ndarray
            From 0 to 1.
        """
        at = np.searchsorted(self.rows, rows)
        first, last = self.first[at], self.last[at]
        radius = np.hypot(*first.T) * (1 - share) + np.hypot(*last.T) * share
        angle = np.arctan2(first[:, 1], first[:, 0]) + share * self.sweep[at]
        parts = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), share * self.along[at]])
        return np.asarray(self.centre[at] + np.einsum("ij,ijk->ik", parts, self.axes[at]))

    @property
    def lowest(self) -> Array:
        """Share of each arc's angle at which it is lowest, (k,); 0 or 1 where that is an end."""
        along = self.axes[:, :2, 2]
        start = np.arctan2(self.first[:, 1], self.first[:, 0])
        way = np.mod(np.sign(self.sweep) * (np.arctan2(-along[:, 1], -along[:, 0]) - start), 2 * np.pi)
        share = way / np.maximum(np.abs(self.sweep), 1e-12)
        ends = self.last[:, 0] * along[:, 0] + self.last[:, 1] * along[:, 1]
        rises = ends > self.first[:, 0] * along[:, 0] + self.first[:, 1] * along[:, 1]
        return np.where(share <= 1, share, np.where(rises, 0.0, 1.0))

    def places(self, mine: Rows) -> Array:
        """Places (m, 34, 3) on some of the arcs: 33 spread evenly over the angle, and the lowest, mm.

        Parameters
        ----------
        mine : (m,) ndarray of int
            Which of the table's arcs.
        """
        even = np.broadcast_to(np.linspace(0.0, 1.0, 33), (len(mine), 33))
        share = np.column_stack([even, self.lowest[mine]])
        rows = np.repeat(self.rows[mine], share.shape[1])
        return self.points(rows, share.ravel()).reshape(*share.shape, 3)

    def boxes(self) -> tuple[Array, Array]:
        """Corners of a box round each whole circle and its way across, (k, 3) each, mm."""
        middle = self.centre + 0.5 * self.along[:, None] * self.axes[:, 2]
        half = np.abs(self.axes[:, 2]) * 0.5 * np.abs(self.along)[:, None]
        half = half + self.radius[:, None] * (np.abs(self.axes[:, 0]) + np.abs(self.axes[:, 1])) + 0.01
        return middle - half, middle + half


def chord_shares(radius: float, sweep: float, tolerance_mm: float) -> Array:
    """Shares of an arc's angle between which a chord is off by no more than a tolerance (r (1 - cos(a / 2))).

    Parameters
    ----------
    radius : float, mm
    sweep : float, radians
    tolerance_mm : float, mm

    Returns
    -------
    (k,) ndarray
        From 0 to 1, both included.
    """
    most = 2 * np.arccos(max(1.0 - tolerance_mm / max(radius, tolerance_mm), -1.0))
    count = int(np.ceil(abs(sweep) / min(most, _MOST_TURN)))
    return np.linspace(0.0, 1.0, max(count, 1) + 1)


def chords(
    radius: float, sweep: float, tolerance_mm: float, gains: Sequence[tuple[float, float]]
) -> tuple[Array, Array]:
    """Shares as of `chord_shares` and those of gains along the arc, from 0 to 1, and the gains there.

    Parameters
    ----------
    radius, sweep, tolerance_mm : float
        See `chord_shares`.
    gains : sequence of (float, float)
        Shares, from 0 to 1, and the gains there.
    """
    at, gain = np.array(gains).T
    shares = np.unique(np.concatenate([chord_shares(radius, sweep, tolerance_mm), at]))
    return shares, np.interp(shares, at, gain)


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
    square = radius * radius - chord * chord / 4
    if not chord > 0 or (square < 0 and chord / 2 - abs(radius) > ARC_ABSOLUTE):
        return math.nan, math.nan
    side = math.sqrt(max(square, 0.0)) / chord * (-1.0 if clockwise == (radius > 0) else 1.0)
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
