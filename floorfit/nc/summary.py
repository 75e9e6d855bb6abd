"""Per floor: how much motion, how much change, and the traces for the picture."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from floorfit.nc.corrected import PocketChange
from floorfit.nc.floor_bands import Floor
from floorfit.nc.motions import CUTTING, Motions
from floorfit.nc.rule import Gains

__all__ = ["changes_of"]

def _rows(motions: Motions, floor: Floor, found: Gains) -> NDArray[np.intp]:
    rows = found.rows_on(floor.index)
    return rows[np.isin(motions.kind[rows], CUTTING)]


def changes_of(
    motions: Motions,
    floors: Sequence[Floor],
    found: Gains,
    added: NDArray[np.float64],
    blocks: Collection[int],
) -> tuple[PocketChange, ...]:
    """Return what happened to each floor.

    Parameters
    ----------
    motions, floors, found : Motions, sequence of Floor, Gains
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
    found: Gains,
    added: NDArray[np.float64],
    changed: NDArray[np.bool_],
) -> PocketChange:
    on = added[rows[found.floor[rows] == floor.index]]
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
    upright = np.cos(a) * np.cos(b) * np.nan_to_num(motions.vector[rows, 2], nan=1.0)
    return float(np.degrees(np.arccos(np.clip(upright, -1, 1))).max())
