"""Locations as the path that the rule works on, and the rule's answer back in rows of the file.

A ball end leans without any effect but one: its lowest place is that of a ball about the same centre. So its rows
become upright ones with the tip under the centre. Circles that do not lie level, and those of a leaning cutter, become
chords.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags, Rows, counted
from floorfit.nc.cl.locations import Locations, arcs_of
from floorfit.nc.cutter import Cutter
from floorfit.nc.gains import Profile
from floorfit.nc.motions import LINE, OTHER_ARC, RAPID
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools, listed
from floorfit.nc.zones import UPRIGHT

__all__ = ["LocationPath", "cutter_of", "location_path"]

#: Angle of one chord of a circle that the rule cannot take as one, radians: 0.02 mm at a radius of 10 mm.
_CHORD_RAD = 0.126
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class LocationPath:
    """The path, and which row of the file each of its motions belongs to.

    Parameters
    ----------
    path : TipPath
        The motions.
    row : (m,) ndarray of int
        Row of the file.
    first, last : (m,) ndarray
        Shares of that row at the ends of the motion.
    known : (n,) ndarray of bool
        Rows of the file whose cutter is known.
    """

    path: TipPath
    row: Rows
    first: Array
    last: Array
    known: Flags

    def rows(self, motions: Rows | Flags | list[int]) -> Rows:
        """Rows of the file that some motions of the path belong to, in order."""
        out = np.zeros(len(self.known), dtype=bool)
        out[self.row[motions]] = True
        return np.flatnonzero(out)

    def to_rows(self, node: Array, breaks: dict[int, Profile]) -> tuple[Array, dict[int, Profile]]:
        """Gains of the path as gains of the file's rows: at their ends, and at places inside.

        Parameters
        ----------
        node : (m,) ndarray
            Gain at each end of the path.
        breaks : dict of int to Profile
            Gains inside motions.
        """
        is_last = np.append(self.row[1:] != self.row[:-1], True) if len(self.row) else np.zeros(0, dtype=bool)
        ends = np.zeros(len(self.known))
        ends[self.row[is_last]] = node[is_last]
        out: dict[int, Profile] = {}
        inner = np.flatnonzero(~is_last)
        for place in sorted({*breaks, *inner.tolist()}):
            row, a, b = int(self.row[place]), float(self.first[place]), float(self.last[place])
            mine = [(a + share * (b - a), gain) for share, gain in breaks.get(place, [])]
            mine += [] if is_last[place] else [(b, float(node[place]))]
            out.setdefault(row, []).extend(mine)
        start = np.concatenate([[0.0], ends[:-1]])
        return ends, {row: some for row, some in out.items() if _matters(some, float(start[row]), float(ends[row]))}


def _matters(profile: Profile, start: float, end: float) -> bool:
    return any(abs(gain - (start + share * (end - start))) > 1e-9 for share, gain in profile)


def cutter_of(numbers: tuple[float, ...]) -> Cutter | None:
    """Cutter of the seven numbers of ``CUTTER``: d, r, e, f (mm), a, b (radians), h (mm).

    None where it is neither flat nor ball nor flat with rounded corners, or its flank is not straight.
    """
    d, r, e, f, a, b, _ = numbers
    is_round = r <= d / 2 + 1e-3 and abs(e - (d / 2 - r)) <= 2e-3 and abs(f - r) <= 2e-3
    return Cutter(d / 2, min(r, d / 2)) if is_round and abs(a) <= 1e-4 and abs(b) <= 1e-4 else None


def location_path(found: Locations, tools: Tools) -> LocationPath:
    """Make the path of a file.

    Parameters
    ----------
    found : Locations
        The file.
    tools : Tools
        Cutters that the user states: they count where the file states none that can be used.
    """
    cutters, of_setting, known = _cutters(found, tools)
    row, first, last = _pieces(found)
    start, start_axis = _places(found, row, first)
    end, axis = _places(found, row, last)
    index = of_setting[found.setting[row]]
    ball = np.array([cutter.flat < 1e-6 and cutter.radius > 0 for cutter in cutters])[index]
    radius = np.array([cutter.corner for cutter in cutters])[index]
    for place, way in ((start, start_axis), (end, axis)):
        place[ball] += radius[ball, None] * (way[ball] - _UP)
        way[ball | (way[:, 2] > 1 - UPRIGHT)] = _UP
    centre, sweep = _plan_arcs(found, row)
    rapid, usable = found.kind[row] == RAPID, np.isin(found.kind[row], (RAPID, LINE, OTHER_ARC))
    aside, feed = np.zeros(len(row)), _feed(found)[row]
    turned = None if np.array_equal(axis, start_axis) else start_axis
    path = TipPath(start, end, axis, index, rapid, cutters, centre, sweep, aside, usable, feed, turned)
    return LocationPath(path, row, first, last, known[found.setting])


def _feed(found: Locations) -> Array:
    """Feed of each row of the file, (n,), mm in its unit of time; NaN where it is not known."""
    feed = np.array([setting.feed * setting.unit_mm or np.nan for setting in found.settings], float)
    return feed[found.setting]


def _cutters(found: Locations, tools: Tools) -> tuple[list[Cutter], Rows, Flags]:
    """The cutters that occur, which of them each setting has, and whether it is known."""
    stated = {str(number): one for number, one in tools.by_number.items()}
    own = [
        (cutter_of(setting.cutter) if setting.cutter else None) or stated.get(setting.tool, tools.every)
        for setting in found.settings
    ]
    index, cutters = listed(own)
    return cutters, index, np.array([one is not None for one in own], dtype=bool)


def _pieces(found: Locations) -> tuple[Rows, Array, Array]:
    """Motions of the path: one for each row, and chords for the circles that are not level or lean."""
    count = np.ones(len(found), dtype=int)
    arcs = np.flatnonzero((found.kind == OTHER_ARC) & ~_is_level_arc(found))
    if len(arcs):
        count[arcs] = np.ceil(arcs_of(found, arcs).sweep / _CHORD_RAD).astype(int)
    row, at = counted(count)
    return row, at / count[row], (at + 1) / count[row]


def _is_level_arc(found: Locations) -> Flags:
    out = np.zeros(len(found), dtype=bool)
    arcs = np.flatnonzero(found.kind == OTHER_ARC)
    upright = (found.axis[arcs, 2] > 1 - UPRIGHT) & (found.start_axis[arcs, 2] > 1 - UPRIGHT)
    out[arcs] = upright & (np.abs(found.circles[found.circle[arcs], 5]) > 1 - 1e-9)
    return out


def _places(found: Locations, row: Rows, share: Array) -> tuple[Array, Array]:
    """Tip and axis at a share of each row."""
    at = share[:, None]
    tip = np.where(at == 1.0, found.tip[row], found.start[row])
    axis = np.where(at == 1.0, found.axis[row], found.start_axis[row])
    inner = np.flatnonzero((share > 0) & (share < 1))
    if len(inner):
        rows = row[inner]
        tip[inner] = arcs_of(found, np.unique(rows)).points(rows, share[inner])
        mean = found.start_axis[rows] + at[inner] * (found.axis[rows] - found.start_axis[rows])
        axis[inner] = mean / np.linalg.norm(mean, axis=1)[:, None]
    return tip, axis


def _plan_arcs(found: Locations, row: Rows) -> tuple[Array, Array]:
    """Centre and signed angle of the level circles."""
    centre, sweep = np.full((len(row), 2), np.nan), np.zeros(len(row))
    whole = np.flatnonzero(_is_level_arc(found)[row])
    rows = row[whole]
    if len(rows):
        circles = found.circles[found.circle[rows]]
        centre[whole] = circles[:, :2]
        sweep[whole] = np.sign(circles[:, 5]) * arcs_of(found, rows).sweep
    return centre, sweep
