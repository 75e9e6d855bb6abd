"""What the second reader heard as straight cuts of a cutter, for the sweeps of the proof."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from floorfit.arrays import Array, Flags, Rows
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
    parts = []
    arcs = known & np.isin(heard.kind, (TURN, BEND)) & ~np.isnan(heard.centre).any(axis=1)
    rows = np.flatnonzero(known & np.isin(heard.kind, (FEED, RAPID)))
    along = (heard.tip - heard.start)[rows, :2]
    left = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    aside = np.column_stack([left * (heard.side * size[:, 0])[rows, None], np.zeros(len(rows))])
    parts.append(
        Cuts(heard.start[rows] + aside, heard.tip[rows] + aside, heard.axis0[rows], heard.axis[rows], size[rows])
    )
    parts.append(_chords(heard, np.flatnonzero(arcs), size))
    one = Cuts.joined(parts)
    return Cuts(one.start @ turn.T + way, one.end @ turn.T + way, one.axis0 @ turn.T, one.axis1 @ turn.T, one.size)


def _chords(heard: HeardProgramme, rows: Rows, size: Array) -> Cuts:
    count = np.maximum(np.ceil(np.degrees(np.abs(heard.turn[rows])) / _chord_deg(heard, rows)), 1).astype(int)
    row = np.repeat(rows, count)
    index = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    shares = np.stack([index, index + 1]) / np.repeat(count, count)
    aside = np.where(heard.kind[row] == TURN, -np.sign(heard.turn[row]) * heard.side[row] * size[row, 0], 0.0)
    out = []
    for share in shares:
        axis = heard.axis0[row] + share[:, None] * (heard.axis[row] - heard.axis0[row])
        out.append((heard.on_arcs(row, share, aside), axis))
    return Cuts(out[0][0], out[1][0], out[0][1], out[1][1], size[row])


def _chord_deg(heard: HeardProgramme, rows: Rows) -> Array:
    """Turn of one chord; in a plane that holds Z no more than is `_OFF_MM` off the arc: r (1 - cos(a / 2))."""
    spoke = heard.in_plane(rows, heard.start[rows]) - heard.centre[rows]
    fine = np.degrees(2 * np.arccos(1 - np.minimum(_OFF_MM / np.maximum(np.hypot(*spoke.T), 1.0), 1.0)))
    return np.where(heard.kind[rows] == BEND, np.minimum(fine, _CHORD_DEG), _CHORD_DEG)
