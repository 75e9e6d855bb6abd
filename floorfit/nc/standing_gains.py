"""Chords of arcs in planes that hold Z, where no one gain suits all along."""

from __future__ import annotations

import numpy as np

from floorfit.nc.gains import Gains
from floorfit.nc.motions import Motions
from floorfit.nc.standing_arcs import chord_shares
from floorfit.nc.tip_path import TipPath

__all__ = ["chord_standing_arcs"]

#: A chord is off its arc by this share of the tolerance, and by no more than this, mm. Own choice.
_SHARE, _MOST_MM = 0.4, 0.005
#: Gains this near to each other are one, mm.
_SAME_MM = 1e-9


def chord_standing_arcs(motions: Motions, path: TipPath, gains: Gains, tolerance_mm: float) -> None:
    """Give each standing arc that cannot be shifted whole the places of its chords.

    Its Z may change by one amount where its centre is given from its start, or by its radius.

    Parameters
    ----------
    motions, path : Motions, TipPath
        The programme.
    gains : Gains
        What is planned; changed in place.
    tolerance_mm : float
        Greatest difference between the gain along a pass and the one asked.
    """
    if path.standing is None:
        return
    start, end = gains.start(), gains.node
    absolute = motions.field("arc_absolute").astype(bool)
    off = min(_SHARE * tolerance_mm, _MOST_MM)
    for row, radius, sweep in zip(path.standing.rows.tolist(), path.standing.radius, path.standing.sweep, strict=True):
        is_whole = row not in gains.breaks and abs(start[row] - end[row]) < _SAME_MM
        if is_whole and (end[row] == 0 or not absolute[row]):
            continue
        known = [(0.0, float(start[row])), *gains.breaks.get(row, []), (1.0, float(end[row]))]
        at, gain = np.array(known).T
        share = np.unique(np.concatenate([chord_shares(float(radius), float(sweep), off), at]))
        places = zip(share.tolist(), np.interp(share, at, gain).tolist(), strict=True)
        gains.breaks[row] = list(places)[1:-1] or [(0.5, float(np.interp(0.5, at, gain)))]
