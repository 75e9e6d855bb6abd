"""The path of a tool tip: motions one after the other, in the part's frame, millimetres.

This is what the rule works on; a word-address programme and cutter-location data both come down to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.nc.arcs import StandingArcs
from floorfit.nc.cutter import Cutter

__all__ = ["TipPath"]


@dataclass(frozen=True)
class TipPath:
    """Motions of the tip: row ``n`` goes from ``start[n]`` to ``end[n]``, where row ``n + 1`` starts.

    Parameters
    ----------
    start, end : (n, 3) ndarray, mm
        Places of the tip; NaN where they are not known.
    axis : (n, 3) ndarray
        Unit vector from tip to spindle at the end of each motion.
    cutter : (n,) ndarray of int
        Index into ``cutters``.
    is_rapid : (n,) ndarray of bool
        Motions that are not meant to cut, and may not run straight.
    cutters : sequence of Cutter
        The cutters.
    centre : (n, 2) ndarray, mm
        Centre of an arc in plan; NaN for straight motion.
    sweep : (n,) ndarray, radians
        Signed angle of an arc, positive anticlockwise; 0 for straight motion.
    aside : (n,) ndarray, mm
        How far left of the programmed path the axis runs (radius compensation); 0 where it runs on it.
    is_usable : (n,) ndarray of bool
        False for rows whose frame is not the part's, and for those that are no motion: nothing is done to them.
    feed : (n,) ndarray, mm in the unit of time of the file
        Feed of each motion; NaN where it is not known or counted otherwise.
    first_axis : (n, 3) ndarray or None
        As ``axis``, at the start of each motion; None where the axis does not turn on the way.
    standing : StandingArcs or None
        Arcs that are none in plan (G18, G19).
    is_link : (n,) ndarray of bool or None
        Feeds that stand in for rapids.
    """

    start: Array
    end: Array
    axis: Array
    cutter: Rows
    is_rapid: Flags
    cutters: Sequence[Cutter]
    centre: Array
    sweep: Array
    aside: Array
    is_usable: Flags
    feed: Array
    first_axis: Array | None = None
    standing: StandingArcs | None = None
    is_link: Flags | None = None

    def __len__(self) -> int:
        """Return the number of motions."""
        return len(self.end)

    @cached_property
    def is_arc(self) -> Flags:
        """Which motions are arcs in plan."""
        return np.asarray(self.sweep != 0)

    @cached_property
    def is_followed(self) -> Flags:
        """Motions that count and whose ends are known."""
        return np.asarray(self.is_usable & ~np.isnan(np.hstack([self.start, self.end])).any(axis=1))

    @cached_property
    def radius(self) -> Array:
        """Radius of the cutter of each motion, mm; 0 where it is not known."""
        return np.array([cutter.radius for cutter in self.cutters])[self.cutter]

    @cached_property
    def length(self) -> Array:
        """Length of each motion in plan, of a standing arc along its way, mm; NaN where an end is not known."""
        chord = np.hypot(*(self.end - self.start)[:, :2].T)
        radius = np.hypot(*(self.start[:, :2] - self.centre).T)
        out = np.where(self.is_arc, radius * np.abs(self.sweep), chord)
        if self.standing is not None:
            out[self.standing.rows] = self.standing.length
        return np.asarray(out)

    @cached_property
    def lowest(self) -> Array:
        """Least Z on the way of each motion, mm."""
        out = np.fmin(self.start[:, 2], self.end[:, 2])
        if self.standing is not None:
            rows = self.standing.rows
            out[rows] = np.fmin(out[rows], self.standing.points(rows, self.standing.lowest)[:, 2])
        return np.asarray(out)

    @cached_property
    def boxes(self) -> tuple[Array, Array]:
        """Corners of a box round each motion, (n, 3), mm; round the whole circle for an arc."""
        low, high = np.fmin(self.start, self.end), np.fmax(self.start, self.end)
        arcs = np.flatnonzero(self.is_arc)
        radius = np.hypot(*(self.end[arcs, :2] - self.centre[arcs]).T)[:, None] + 0.01
        low[arcs, :2], high[arcs, :2] = self.centre[arcs] - radius, self.centre[arcs] + radius
        if self.standing is not None:
            low[self.standing.rows], high[self.standing.rows] = self.standing.boxes()
        return low, high

    def beside(self, rows: Rows, bounds: Sequence[float] | Array, reach: float | Array) -> Flags:
        """Motions (m,) whose box comes as near to a box in plan (x0, y0, x1, y1), mm."""
        low, high = self.boxes
        x0, y0, x1, y1 = bounds
        near = (low[rows, 0] - reach <= x1) & (high[rows, 0] + reach >= x0)
        return np.asarray(near & (low[rows, 1] - reach <= y1) & (high[rows, 1] + reach >= y0))

    def lines(self, rows: Rows) -> NDArray[np.object_]:
        """Motions in plan as lines, arcs by their chords."""
        return np.asarray(shapely.linestrings(np.stack([self.start[rows, :2], self.end[rows, :2]], axis=1)))

    def points(self, rows: Rows, share: Array) -> Array:
        """Places on motions, one for each pair of row and share (an arc is divided by angle).

        Parameters
        ----------
        rows : (m,) ndarray of int
            Motions.
        share : (m,) ndarray
            From 0 to 1.

        Returns
        -------
        (m, 3) ndarray, mm
        """
        first, last, part = self.start[rows], self.end[rows], share[:, None]
        out = first + part * (last - first)
        arcs = np.flatnonzero(self.is_arc[rows])
        if len(arcs):
            out[arcs, :2] = self._on_arc(rows[arcs], share[arcs])
        if self.standing is not None:
            arcs = np.flatnonzero(np.isin(rows, self.standing.rows))
            out[arcs] = self.standing.points(rows[arcs], share[arcs])
        return np.where(part == 1.0, last, out)

    def _on_arc(self, rows: Rows, share: Array) -> Array:
        centre = self.centre[rows]
        first, last = self.start[rows, :2] - centre, self.end[rows, :2] - centre
        angle = np.arctan2(first[:, 1], first[:, 0]) + share * self.sweep[rows]
        radius = np.hypot(*first.T) * (1 - share) + np.hypot(*last.T) * share
        return np.asarray(centre + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))

    def axes(self, rows: Rows, share: Array) -> Array:
        """Axes at places on motions, (m, 3): the vector goes evenly from one end to the other.

        Parameters
        ----------
        rows : (m,) ndarray of int
            Motions.
        share : (m,) ndarray
            Place on each, 0 to 1.
        """
        if self.first_axis is None:
            return self.axis[rows]
        first, last = self.first_axis[rows], self.axis[rows]
        out = first + share[:, None] * (last - first)
        return np.asarray(out / np.linalg.norm(out, axis=1)[:, None])

    def axis_places(self, rows: Rows, share: Array) -> Array:
        """As `points`, moved sideways by ``aside`` where the cutter runs beside the programmed path.

        Parameters
        ----------
        rows : (m,) ndarray of int
            Motions.
        share : (m,) ndarray
            Place on each, 0 to 1.
        """
        out = self.points(rows, share)
        first, last = self._beside
        some = np.flatnonzero(~np.isnan(first[rows, 0]))
        on, part = rows[some], share[some, None]
        arc = self.is_arc[on]
        line = first[on] + part * (last[on] - first[on])
        round_it = out[some, :2] + self.aside[on, None] * self._left(on, out[some, :2])
        out[some, :2] = np.where(arc[:, None], round_it, line)
        return out

    @cached_property
    def _beside(self) -> tuple[Array, Array]:
        """Ends in plan, (n, 2), of the axis' way of each motion that runs beside its programmed path; NaN for the rest.

        Where two straight motions meet at an inner corner the axis turns where both of its ways meet. The first motion
        goes over from the path to beside it, and the first one without goes back (common practice, no source).
        """
        count = len(self)
        first, last = np.full((count, 2), np.nan), np.full((count, 2), np.nan)
        rows = np.flatnonzero((self.length > 1e-9) | self.is_arc)
        if not len(rows) or not self.aside.any():
            return first, last
        left0, left1 = self._left(rows, self.start[rows, :2]), self._left(rows, self.end[rows, :2])
        side = self.aside[rows, None]
        begin, end = self.start[rows, :2] + side * left0, self.end[rows, :2] + side * left1
        was = np.append(0.0, side[:-1, 0])
        starts, stops = (side[:, 0] != 0) & (was == 0), (side[:, 0] == 0) & (was != 0)
        both = (side[1:, 0] == was[1:]) & (was[1:] != 0) & ~starts[:-1]
        turn = left1[:-1, 0] * left0[1:, 1] - left1[:-1, 1] * left0[1:, 0]
        cosine = (left1[:-1] * left0[1:]).sum(axis=1)
        meets = both & (side[1:, 0] * turn > 0) & (cosine > -0.99) & ~(self.is_arc[rows][1:] | self.is_arc[rows][:-1])
        before = np.flatnonzero(meets)
        corner = self.end[rows[before], :2]
        at = corner + side[before] * (left1[before] + left0[before + 1]) / (1 + cosine[before, None])
        end[before], begin[before + 1] = at, at
        leads = np.flatnonzero(starts)
        begin[leads] = self.start[rows[leads], :2]
        goes_on = leads[leads + 1 < len(rows)]
        end[goes_on] = self.end[rows[goes_on], :2] + side[goes_on] * left0[goes_on + 1] * (side[goes_on + 1] != 0)
        leaves = np.flatnonzero(stops)
        begin[leaves] = self.start[rows[leaves], :2] + side[leaves - 1] * left1[leaves - 1]
        mine = (side[:, 0] != 0) | np.isin(np.arange(len(rows)), leaves)
        first[rows[mine]], last[rows[mine]] = begin[mine], end[mine]
        # Straight up and down the axis stays where it is.
        upright = np.setdiff1d(np.flatnonzero(self.aside), rows)
        place = np.searchsorted(rows, upright) - 1
        on = (place >= 0) & mine[np.maximum(place, 0)]
        first[upright[on]] = last[upright[on]] = end[place[on]]
        return first, last

    def _left(self, rows: Rows, places: Array) -> Array:
        along = (self.end - self.start)[rows, :2]
        arc = self.is_arc[rows]
        spoke = places[arc] - self.centre[rows[arc]]
        along[arc] = np.sign(self.sweep[rows[arc]])[:, None] * np.column_stack([-spoke[:, 1], spoke[:, 0]])
        size = np.hypot(*along.T)[:, None]
        unit = np.divide(along, size, out=np.zeros_like(along), where=size > 0)
        return np.column_stack([-unit[:, 1], unit[:, 0]])
