"""What the second reader heard as straight cuts of a cutter, for the sweeps of the proof."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from floorfit.arrays import Array, Flags, Rows, counted
from floorfit.nc.second import BEND, FEED, RAPID, TURN, HeardProgramme
from floorfit.nc.swept_floors import Cuts

__all__ = ["heard_cuts"]

#: Greatest turn of a chord, degrees, and how far one may be off an arc that holds Z, mm.
_CHORD_DEG, _OFF_MM = 2.0, 0.001


def heard_cuts(
    heard: HeardProgramme, frame: tuple[Array, Array], sizes: Mapping[float, tuple[float, float]], usable: Flags
) -> Cuts:
    """Lines and arcs, in the part's frame, arcs as chords of up to 2 degrees; moved aside by G41 and G42.

    Parameters
    ----------
    heard : HeardProgramme
    frame : (3, 3) ndarray, (3,) ndarray
        Turn and place of the programme's frame in the part's, mm.
    sizes : mapping of float to (float, float)
        Radius and corner radius of each tool, mm.
    usable : (n,) ndarray of bool
        Motions that count.
    """
    turn, way = frame
    size = np.zeros((len(heard.line), 2))
    for number in np.unique(heard.tool).tolist():
        size[heard.tool == number] = sizes.get(number, (0.0, 0.0))
    known = ~np.isnan(heard.start).any(axis=1) & ~np.isnan(heard.tip).any(axis=1) & (size[:, 0] > 0) & usable
    arcs = known & np.isin(heard.kind, (TURN, BEND)) & ~np.isnan(heard.centre).any(axis=1)
    rows = np.flatnonzero(known & np.isin(heard.kind, (FEED, RAPID)))
    start, tip = _run_beside(heard, size[:, 0])
    straight = Cuts(start[rows], tip[rows], heard.axis0[rows], heard.axis[rows], size[rows])
    row, chords = _chords(heard, np.flatnonzero(arcs), size)
    one = Cuts.joined([straight, chords])
    way = np.concatenate([heard.shift[rows], heard.shift[row]]) @ turn.T + way
    return Cuts(one.start @ turn.T + way, one.end @ turn.T + way, one.axis0 @ turn.T, one.axis1 @ turn.T, one.size)


def _run_beside(heard: HeardProgramme, radius: Array) -> tuple[Array, Array]:
    """Ends of straight motions, (n, 3), where the axis goes: beside the path, cut short where two ways cross inside."""
    start, tip = heard.start.copy(), heard.tip.copy()
    if not heard.side.any():
        return start, tip
    way = (tip - start)[:, :2]
    bent = heard.kind == TURN
    rows = np.flatnonzero((np.hypot(*way.T) > 1e-9) | bent)
    by = (heard.side * radius)[rows]
    first, last = (_ahead(heard, rows, at[rows, :2]) for at in (start, tip))
    for k in range(len(rows)):
        one, was = rows[k], by[k - 1] if k else 0.0
        start[one, :2] += _left(first[k], by[k]) if was and by[k] else _left(last[k - 1], was)
        tip[one, :2] += _left(last[k], by[k])
        if by[k] and not was and k + 1 < len(rows) and by[k + 1]:
            tip[one, :2] = heard.tip[one, :2] + _left(first[k + 1], by[k])
    for k in np.flatnonzero((by[1:] == by[:-1]) & (by[1:] != 0) & ~bent[rows[1:]] & ~bent[rows[:-1]]).tolist():
        one, two = rows[k], rows[k + 1]
        across = last[k, 0] * first[k + 1, 1] - last[k, 1] * first[k + 1, 0]
        gap = start[two, :2] - tip[one, :2]
        share = (gap[0] * first[k + 1, 1] - gap[1] * first[k + 1, 0]) / across if abs(across) > 1e-6 else 0.0
        if share < 0:
            tip[one, :2] += share * last[k]
            start[two, :2] = tip[one, :2]
    still = np.setdiff1d(np.flatnonzero(heard.side), rows)
    place = np.searchsorted(rows, still) - 1
    on = still[place >= 0]
    start[on, :2] = tip[on, :2] = tip[rows[place[place >= 0]], :2]
    return start, tip


def _ahead(heard: HeardProgramme, rows: Rows, places: Array) -> Array:
    """Unit vectors along motions in plan at places of theirs."""
    way = (heard.tip - heard.start)[rows, :2]
    spoke = (places - heard.centre[rows]) * np.sign(heard.turn[rows])[:, None]
    way = np.where((heard.kind[rows] == TURN)[:, None], np.column_stack([-spoke[:, 1], spoke[:, 0]]), way)
    return np.asarray(way / np.maximum(np.hypot(*way.T), 1e-12)[:, None])


def _left(ahead: Array, by: float) -> Array:
    return np.array([-ahead[1], ahead[0]]) * by


def _chords(heard: HeardProgramme, rows: Rows, size: Array) -> tuple[Rows, Cuts]:
    count = np.maximum(np.ceil(np.degrees(np.abs(heard.turn[rows])) / _chord_deg(heard, rows)), 1).astype(int)
    of, index = counted(count)
    row, shares = rows[of], np.stack([index, index + 1]) / count[of]
    aside = np.where(heard.kind[row] == TURN, -np.sign(heard.turn[row]) * heard.side[row] * size[row, 0], 0.0)
    start, end = (heard.on_arcs(row, share, aside) for share in shares)
    axis0, axis1 = (heard.axis0[row] + share[:, None] * (heard.axis - heard.axis0)[row] for share in shares)
    return row, Cuts(start, end, axis0, axis1, size[row])


def _chord_deg(heard: HeardProgramme, rows: Rows) -> Array:
    """Turn of one chord; in a plane that holds Z no more than is `_OFF_MM` off the arc: r (1 - cos(a / 2))."""
    spoke = heard.in_plane(rows, heard.start[rows]) - heard.centre[rows]
    fine = np.degrees(2 * np.arccos(1 - np.minimum(_OFF_MM / np.maximum(np.hypot(*spoke.T), 1.0), 1.0)))
    return np.where(heard.kind[rows] == BEND, np.minimum(fine, _CHORD_DEG), _CHORD_DEG)
