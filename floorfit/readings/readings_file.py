"""The readings file: CSV as shops write it (`table_file`), with the facts of the plate in its comments."""

from __future__ import annotations

import os

import numpy as np

from floorfit.arrays import Array
from floorfit.identity import identity_of
from floorfit.readings.columns import READINGS
from floorfit.readings.observations import Readings
from floorfit.readings.table_file import Table, read_table
from floorfit.units import Unit

__all__ = ["read_readings"]


def read_readings(path: str | os.PathLike[str], part_unit: Unit = "mm") -> Readings:
    """Read and check a readings file.

    Parameters
    ----------
    path : path
        CSV, UTF-8, with a header; see the notes of `table_file`. ``# serial: 0012`` states a fact of the plate
        (`floorfit.identity`).
    part_unit : {"mm", "in"}
        Unit of the part: used only for the column names that a message proposes. The file's own unit is in its
        header, and may be the other one.

    Returns
    -------
    Readings
        In mm; rows without a thickness are kept (NaN), and one at or below 0 is kept as it came: screening sets it
        aside with its reason. A file with a header and no rows gives an empty table.

    Raises
    ------
    InputError
        If the file cannot be read or has faults: the first twenty with line and column, and the count of the rest.

    Notes
    -----
    A million rows of four columns take about 2.5 s and 150 MB on one core.
    """
    table = read_table(path, READINGS, part_unit)
    numbers = table.numbers
    return Readings(
        x=numbers["x"], y=numbers["y"], thickness=numbers["thickness"], pocket=table.labels, z=numbers["z"],
        u=numbers["u"], temperature=numbers["temperature_c"], tof=numbers["tof_us"], line=table.line, unit=table.unit,
        source=table.source, extra=table.texts, identity=_identity(table, numbers["temperature_c"]),
    )  # fmt: skip


def _identity(table: Table, temperature: Array) -> dict[str, str]:
    """What the file states, and the part's temperature where it stands beside the readings."""
    facts = identity_of(table.comments, table.texts, table.source)
    warm = np.unique(temperature[np.isfinite(temperature)])
    if "temperature_c" in facts or not len(warm):
        return facts
    return {**facts, "temperature_c": "; ".join(f"{warm[k]:g}" for k in dict.fromkeys((0, len(warm) - 1)))}
