"""When each reading was taken: a column of the file, else its rows, unless these were sorted."""

from __future__ import annotations

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding
from floorfit.readings.observations import Readings
from floorfit.readings.repeats import group_means_at

__all__ = ["is_sorted", "sequence", "sorted_findings"]

#: Names of a column that says when, in small letters.
NAMES = ("order", "seq", "sequence", "time", "time_s", "t_s", "time_min")
#: Steps from row to row that tell a sorted file, and the share of them that go one way. Own choice: of a gauge that
#: scatters half the steps go up, and twenty one way are one in a million.
LEAST_STEPS, ONE_WAY = 20, 0.98
#: Share of the steps that the places make too, of a plate that bows: then the rows need not have been sorted.
WITH_PLACES = 0.9


def sequence(readings: Readings) -> tuple[Array, str]:
    """When each reading was taken: a column called order, sequence, time or like it, else the row's number.

    Rows that stand in the order of their thickness say nothing of that, and a drift along them is their own scatter:
    the readings are taken as if read along the plate then, the way in which most of a drift would hide.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    (n,) ndarray, str
        The values and the name of the column, ``"order"`` for the rows' own.
    """
    if is_sorted(readings):
        return (readings.x, "x") if np.ptp(readings.x) >= np.ptp(readings.y) else (readings.y, "y")
    return _stated(readings) or (np.arange(len(readings), dtype=float), "order")


def sorted_findings(readings: Readings) -> tuple[Finding, ...]:
    """Say that rows or thicknesses were sorted.

    Parameters
    ----------
    readings : Readings
    """
    if not is_sorted(readings):
        return ()
    text = (
        "the rows stand in the order of their thickness. If that column alone was sorted, readings stand at each "
        "other's places. If whole rows were, a drift of the gauge cannot be told, and is allowed for as if they had "
        "been read along the plate. Keep the gauge's own order, or give a column order."
    )
    return (Finding("sorted", readings.source, "", text, "warning"),)


def is_sorted(readings: Readings) -> bool:
    """Whether the rows stand in the order of their thickness, in the whole file or in each pocket.

    Not so where a column tells of another order, in which they were taken.
    """
    stated = _stated(readings)
    if stated is not None and (np.diff(stated[0]) < 0).any():
        return False
    rows = np.flatnonzero(np.isfinite(readings.thickness))
    steps, label = np.diff(readings.thickness[rows]), readings.pocket[rows]
    return any(
        _goes_one_way(steps[pairs]) and not _goes_with_places(readings, rows, steps, pairs)
        for pairs in (np.full(len(steps), True), label[1:] == label[:-1])
    )


def _goes_one_way(steps: Array) -> bool:
    up, down = int((steps > 0).sum()), int((steps < 0).sum())
    return up + down >= LEAST_STEPS and max(up, down) >= ONE_WAY * (up + down)


def _goes_with_places(readings: Readings, rows: Rows, steps: Array, pairs: Flags) -> bool:
    """Whether a bowed plate, read along its slope by a gauge that does not scatter, has these steps too."""
    x, y, thickness = readings.x[rows], readings.y[rows], readings.thickness[rows]
    columns = np.column_stack([x, y, x * x, x * y, y * y, thickness])
    mean = group_means_at(readings.pocket[rows], columns)
    bow, own = np.split(columns - mean, [5], axis=1)
    fitted = (bow @ np.linalg.lstsq(bow, own, rcond=None)[0])[:, 0] + mean[:, 5]
    moved = pairs & (steps != 0)
    return bool((np.sign(np.diff(fitted)) == np.sign(steps))[moved].mean() >= WITH_PLACES)


def _stated(readings: Readings) -> tuple[Array, str] | None:
    for name, cells in readings.extra.items():
        if name.strip().lower() in NAMES:
            try:
                values = np.array([float(cell) for cell in cells])
            except ValueError:
                continue
            if np.isfinite(values).all():
                return values, name.strip()
    return None
