"""The two tables of readings: as they came, and with what each step found out about them.

`Readings` never changes: one row a reading, in millimetres, nothing repaired, nothing judged. `Observations` has the
same rows; where a reading stands, what it says of the warp, whether it is used and what the fit makes of it are its
columns, and every step returns it anew with its own filled in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array, Flags, Rows, read_only
from floorfit.units import Unit

__all__ = ["UNKNOWN", "UNLABELLED", "Observations", "Readings", "readings_from_arrays"]

#: Label index where the file gives no label, and where the part has no such pocket.
UNLABELLED = -1
UNKNOWN = -2


@dataclass(frozen=True)
class Readings:
    """Web thickness readings, n rows, in the order in which they were taken.

    Parameters
    ----------
    x, y : (n,) ndarray, mm
        Where each reading was taken, in the part frame (or the machine's, before datums are applied).
    thickness : (n,) ndarray, mm
        What the gauge showed; NaN where it gave nothing, or where only a time of flight came.
    pocket : (n,) ndarray of str
        Label in the file; ``""`` where there was none.
    z : (n,) ndarray, mm
        Measured Z of the roughed floor there; NaN where not measured.
    u : (n,) ndarray, mm
        Standard uncertainty of the thickness; NaN where not given.
    temperature : (n,) ndarray, °C
        Temperature of the part; NaN where not given.
    tof : (n,) ndarray, µs
        Time of flight there and back; NaN where not given.
    line : (n,) ndarray of int
        Line of the file each row came from, counted from 1; the row number where there is no file.
    unit : {"mm", "in"}
        Unit of the file, used again for what is written; the numbers here are mm.
    source : str
        File name for messages.
    extra : mapping of str to sequence of str
        Columns that floorfit does not use, carried through unchanged.
    identity : mapping of str to str
        Which plate, read by whom and in which state: `floorfit.identity`.
    """

    x: Array
    y: Array
    thickness: Array
    pocket: NDArray[np.str_]
    z: Array
    u: Array
    temperature: Array
    tof: Array
    line: NDArray[np.int64]
    unit: Unit = "mm"
    source: str = "readings"
    extra: Mapping[str, Sequence[str]] = field(default_factory=dict)
    identity: Mapping[str, str] = field(default_factory=dict)

    def __len__(self) -> int:
        """Return the number of rows, blanks included."""
        return len(self.x)


@dataclass(frozen=True)
class Observations:
    """What is known of n readings, in their order; NaN, −1 or ``""`` where a step has nothing to say of a row.

    Parameters
    ----------
    readings : Readings
        As they came, in the part frame.
    floor : (n,) ndarray of int
        Index of the floor that the reading stands on; −1 for none.
    label : (n,) ndarray of int
        Index of the floor that its label names; `UNLABELLED` or `UNKNOWN`.
    wall : (n,) ndarray, mm
        Distance to the nearest edge of the floor (walls and islands).
    is_corner : (n,) ndarray of bool
        Whether it stands in the metal that the corner radius leaves.
    factor : (n,) ndarray
        Thickness along Z over thickness along the floor's normal.
    rough_z : (n,) ndarray, mm
        Nominal floor plus finish stock.
    z : (n,) ndarray, mm
        Z of the roughed floor that was used: measured, else ``rough_z``.
    is_z_measured : (n,) ndarray of bool
    warp : (n,) ndarray, mm
        Actual underside Z less nominal, as the reading says.
    u : (n,) ndarray, mm
        Standard uncertainty of ``warp``: that of the thickness, and of Z where Z was measured.
    reason : (n,) ndarray of str
        Why the row is set aside, ``"code: words"``; ``""`` where it is used.
    site : (n,) ndarray of int
        First used row of the same place, −1 where screening set the row aside. Rows that share it are repeats.
    weight : (n,) ndarray
        In the robust fit.
    residual, loo : (n,) ndarray, mm
        Warp less fitted warp, and less the fit without the reading.
    """

    readings: Readings
    floor: Rows
    label: Rows
    wall: Array
    is_corner: Flags
    factor: Array
    rough_z: Array
    z: Array
    is_z_measured: Flags
    warp: Array
    u: Array
    reason: NDArray[np.object_]
    site: Rows
    weight: Array
    residual: Array
    loo: Array

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.readings)

    @property
    def is_used(self) -> Flags:
        """Whether each row counts: no step has set it aside so far."""
        return np.asarray(self.reason == "")

    @property
    def code(self) -> NDArray[np.str_]:
        """Kind of fault of each row, a key of `kinds.KINDS` as a rule; ``""`` where used."""
        return np.array([str(words).split(":")[0] for words in self.reason], np.str_)

    @property
    def is_consistent(self) -> Flags:
        """Whether a reading stands on a floor and its label, where it has one, names that floor."""
        return np.asarray((self.floor >= 0) & ((self.label == UNLABELLED) | (self.label == self.floor)))


def readings_from_arrays(
    x: ArrayLike,
    y: ArrayLike,
    thickness: ArrayLike,
    *,
    pocket: Sequence[str] | None = None,
    z: ArrayLike | None = None,
    u: ArrayLike | None = None,
    temperature: ArrayLike | None = None,
    tof: ArrayLike | None = None,
    unit: Unit = "mm",
    source: str = "readings",
    identity: Mapping[str, str] | None = None,
) -> Readings:
    """Build a readings table from arrays in millimetres.

    Parameters
    ----------
    x, y, thickness : (n,) array_like, mm
        Place and thickness; NaN in ``thickness`` for a blank.
    pocket : sequence of n str, optional
        Labels.
    z, u, temperature, tof : (n,) array_like, optional
        As in `Readings`; NaN everywhere when left out.
    unit : {"mm", "in"}
        Unit in which results should be written; the arrays are mm all the same.
    source : str
        Name for messages.
    identity : mapping of str to str, optional
        As in `Readings`.

    Returns
    -------
    Readings

    Raises
    ------
    ValueError
        If the lengths differ.

    Examples
    --------
    >>> readings = readings_from_arrays([50, 90], [60, 60], [2.42, 2.44], z=[2.5, 2.5])
    >>> len(readings), readings.unit
    (2, 'mm')
    """
    n = np.size(x)
    columns = {"x": x, "y": y, "thickness": thickness, "z": z, "u": u, "temperature": temperature, "tof": tof}
    arrays = {k: np.array(np.full(n, np.nan) if v is None else v, float).reshape(-1) for k, v in columns.items()}
    labels = np.array([""] * n if pocket is None else [str(p) for p in pocket], dtype=np.str_)
    for name, values in {**arrays, "pocket": labels}.items():
        if len(values) != n:
            raise ValueError(f"{name} has {len(values)} values, x has {n}: give one for each reading.")
    read_only(*arrays.values())
    lines, facts = np.arange(1, n + 1), dict(identity or {})
    return Readings(**arrays, pocket=labels, line=lines, unit=unit, source=source, extra={}, identity=facts)
