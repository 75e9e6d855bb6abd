"""What arcs in planes that hold Z gain: shifted whole where one gain suits, else divided into chords."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import Gains
from floorfit.nc.motions import Motions
from floorfit.nc.rule import STEP_MM
from floorfit.nc.standing_arcs import chord_shares
from floorfit.nc.tip_path import TipPath
from floorfit.nc.wanted import ask
from floorfit.nc.zones import zones_for

__all__ = ["chord_standing_arcs", "keep_whole"]

#: A chord is off its arc by this share of the tolerance, and by no more than this, mm. Own choice.
_SHARE, _MOST_MM = 0.4, 0.005
#: Gains this near to each other are one, mm.
_SAME_MM = 1e-9


def keep_whole(
    path: TipPath,
    floors: Sequence[CutFloor],
    outline: Sequence[tuple[float, float]],
    gains: Gains,
    tolerance_mm: float,
    clearance_mm: float | None,
) -> None:
    """Undo the division of standing arcs whose two ends gain the same and that one gain suits all along.

    Parameters
    ----------
    path, floors, outline, tolerance_mm, clearance_mm
        See `floorfit.nc.rule.plan_gains`.
    gains : Gains
        What the rule found; changed in place.
    """
    start = gains.start()
    rows = [] if path.standing is None else [row for row in path.standing.rows.tolist() if row in gains.breaks]
    rows = [row for row in rows if abs(start[row] - gains.node[row]) < _SAME_MM]
    zones = [zones_for(floors, outline, cutter) for cutter in path.cutters] if rows else []
    for row in rows:
        gain = float(gains.node[row])
        share = np.linspace(0.0, 1.0, int(np.clip(np.ceil(path.length[row] / STEP_MM), 1, 40_000)) + 1)
        asked = ask(path, zones, np.full(len(share), row), share, clearance_mm)
        on = asked.floor >= 0
        fits = bool((np.abs(asked.gain[on] - gain) <= 0.5 * tolerance_mm).all() and (asked.least <= gain + 1e-6).all())
        if fits and (gain >= 0 or _stays_over(path, floors, row, share, int(gains.floor[row]))):
            del gains.breaks[row]


def _stays_over(path: TipPath, floors: Sequence[CutFloor], row: int, share: np.ndarray, index: int) -> bool:
    """Whether the tip stays over one floor all along."""
    xy = path.axis_places(np.full(len(share), row), share)[:, :2]
    return index >= 0 and bool(shapely.intersects_xy(floors[index].pocket.polygon, xy[:, 0], xy[:, 1]).all())


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
