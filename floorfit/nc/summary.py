"""Per floor: how much motion, how much change, and the traces for the picture."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from floorfit.nc.corrected import PocketChange, SectionTrace
from floorfit.nc.floor_index import Floor, Matches
from floorfit.nc.motions import CUTTING, Motions

__all__ = ["changes_of", "traces_of"]

#: Points of one trace; more are thinned evenly.
_TRACE_POINTS = 600


def _rows(motions: Motions, floor: Floor, found: Matches) -> NDArray[np.intp]:
    mask = (found.node == floor.index) | (found.whole == floor.index)
    for row, touched in found.partial.items():
        mask[row] |= floor.index in touched
    return np.flatnonzero(mask & np.isin(motions.kind, CUTTING))


def changes_of(
    motions: Motions,
    floors: Sequence[Floor],
    found: Matches,
    added: NDArray[np.float64],
    blocks: Collection[int],
) -> tuple[PocketChange, ...]:
    """Return what happened to each floor.

    Parameters
    ----------
    motions, floors, found : Motions, sequence of Floor, Matches
        The programme and what belongs to which floor.
    added : (n,) ndarray, mm
        Change of Z at the end of each row, from the proof.
    blocks : collection of int
        Lines that are written differently.
    """
    changed = np.isin(motions.line, np.array(list(blocks), dtype=int))
    return tuple(_change(motions, floor, _rows(motions, floor, found), found, added, changed) for floor in floors)


def _change(
    motions: Motions,
    floor: Floor,
    rows: NDArray[np.intp],
    found: Matches,
    added: NDArray[np.float64],
    changed: NDArray[np.bool_],
) -> PocketChange:
    on = added[rows[found.node[rows] == floor.index]]
    least, greatest = (float(on.min()), float(on.max())) if len(on) else (np.nan, np.nan)
    tilt = _tilt(motions, rows)
    most = max(abs(least), abs(greatest)) if len(on) else 0.0
    sideways = most * float(np.tan(np.radians(min(tilt, 89.9))))
    action = floor.correction.action
    return PocketChange(floor.pocket.id, action, len(rows), int(changed[rows].sum()), least, greatest, tilt, sideways)


def _tilt(motions: Motions, rows: NDArray[np.intp]) -> float:
    """Greatest angle between tool and Z, degrees, for one of A and B beside C, or for A and B together."""
    if not len(rows):
        return 0.0
    a, b = np.radians(np.nan_to_num(motions.abc[rows, 0])), np.radians(np.nan_to_num(motions.abc[rows, 1]))
    return float(np.degrees(np.arccos(np.clip(np.cos(a) * np.cos(b), -1, 1))).max())


def traces_of(
    motions: Motions, floors: Sequence[Floor], found: Matches, added: NDArray[np.float64]
) -> tuple[SectionTrace, ...]:
    """Return Z along the passes over each floor that has motion, before and after."""
    out = []
    for floor in floors:
        rows = _rows(motions, floor, found)
        rows = rows[~np.isnan(motions.xyz[rows]).any(axis=1)]
        if not len(rows):
            continue
        path = np.cumsum(np.nan_to_num(motions.length[rows]))
        keep = np.unique(np.linspace(0, len(rows) - 1, min(len(rows), _TRACE_POINTS)).astype(int))
        z = motions.xyz[rows[keep], 2]
        out.append(SectionTrace(floor.pocket.id, path[keep], z, z + added[rows[keep]]))
    return tuple(out)
