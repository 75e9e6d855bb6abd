"""The motion table: what a programme makes the tool point do, a row for each motion, millimetres and degrees."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding
from floorfit.nc.arcs import PLANE_AXES, StandingArcs

__all__ = [
    "ANTICLOCKWISE", "CLOCKWISE", "COLUMNS", "CUTTING", "CYCLE", "FLOW", "JUMP", "LINE", "OTHER_ARC", "RAPID",
    "UNKNOWN", "Modal", "Motions", "RowTable",
]  # fmt: skip

#: Kinds of row. An arc is in the XY plane unless it is OTHER_ARC; JUMP sets the position without a cut that counts
#: here (reference point, machine coordinates, probing, a new zero); UNKNOWN moves in a way this reader cannot follow.
#: FLOW is a JUMP behind which other blocks may have run.
RAPID, LINE, CLOCKWISE, ANTICLOCKWISE, OTHER_ARC, CYCLE, UNKNOWN, JUMP, FLOW = range(9)
CUTTING = (LINE, CLOCKWISE, ANTICLOCKWISE, OTHER_ARC)


class Modal(NamedTuple):
    """The modal state that a motion ran under."""

    motion: int = -1
    unit_mm: float = 1.0
    absolute: bool = True
    plane: int = 170
    arc_absolute: bool = False
    feed_mode: int = 940
    compensation: int = 400
    length: tuple[int, float] = (490, 0.0)
    return_level: int = 980
    work_offset: str = ""
    path_mode: tuple[int, float] = (0, 0.0)
    transform: str = ""
    frame: int = 0
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tool: float = -1.0
    selected: float = -1.0
    spindle: float = -1.0


class RowTable:
    """A growing table of float64; every number put into it is exact there (whole numbers below 2**53).

    Parameters
    ----------
    names : str
        Names of the columns, with blanks between.
    """

    __slots__ = ("_values", "names")

    def __init__(self, names: str) -> None:
        """Start without rows."""
        self.names = tuple(names.split())
        self._values = array("d")

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self._values) // len(self.names)

    def add(self, *row: float) -> None:
        """Add one row, a number for each column."""
        self._values.extend(row)

    def set_last(self, name: str, value: float) -> None:
        """Change a number of the last row."""
        self._values[self.names.index(name) - len(self.names)] = value

    def columns(self) -> dict[str, Array]:
        """Return a copy of the columns, (n,) each."""
        table = np.frombuffer(self._values, float).reshape(-1, len(self.names))
        return {name: table[:, index].copy() for index, name in enumerate(self.names)}


#: Columns of the rows while a programme is read.
COLUMNS = "line kind modal turns vector high x y z a b c cx cy low feed"


@dataclass(frozen=True)
class Motions:
    """A programme as motions: row ``n`` goes from the end of row ``n - 1`` to its own end.

    Parameters
    ----------
    line : (n,) ndarray of int
        Index of the block in the file, from 0.
    kind : (n,) ndarray of int
        One of the kinds of this module.
    modal : (n,) ndarray of int
        Index into ``modals``.
    turns : (n,) ndarray of int
        Full turns of an arc beyond the first pass through its end.
    xyz : (n, 3) ndarray, mm
        End point; NaN where it cannot be known without running the programme.
    abc : (n, 3) ndarray, degrees
        Rotary axes at the end.
    centre : (n, 2) ndarray, mm
        Centre of an arc, along the two axes of its plane; NaN for the rest.
    low : (n,) ndarray, mm
        Lowest Z of a cycle; NaN for the rest.
    feed : (n,) ndarray
        F in force, as written.
    vector : (n, 3) ndarray
        Tool vector at the end, where the programme states one (G43.5 I J K); (0, 0, 1) elsewhere.
    is_high : (n,) ndarray of bool
        Whether Z is not known but a reference point or the machine's Z zero, above everything.
    modals : tuple of Modal
        The states that occur.
    why : dict of int to (int, str)
        For rows that cannot be followed: the line index and the reason.
    findings : tuple of Finding
        Blocks that cannot be read (errors), and what a person should know (warnings).
    calls : tuple of (int, float)
        Rows at which a subprogramme is called, and its number; NaN where that is not known.
    level : dict of int to float, mm
        Retract plane of the cycles (R), by row.
    """

    line: NDArray[np.int64]
    kind: NDArray[np.int64]
    modal: NDArray[np.int64]
    turns: NDArray[np.int64]
    xyz: Array
    abc: Array
    centre: Array
    low: Array
    feed: Array
    vector: Array
    is_high: Flags
    modals: tuple[Modal, ...]
    why: dict[int, tuple[int, str]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    calls: tuple[tuple[int, float], ...] = ()
    level: dict[int, float] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: RowTable, vectors: tuple[tuple[float, float, float], ...], *rest: Any) -> Motions:
        """Return the table of the rows read, with the columns of `COLUMNS`; the rest is as here."""
        read = rows.columns()
        line, kind, modal, turns, vector = (read[name].astype(np.int64) for name in COLUMNS.split()[:5])
        xyz, abc, centre = (np.column_stack([read[name] for name in names]) for names in ("xyz", "abc", ("cx", "cy")))
        high, axes = read["high"] > 0, np.array(vectors)[vector]
        return cls(line, kind, modal, turns, xyz, abc, centre, read["low"], read["feed"], axes, high, *rest)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.line)

    @cached_property
    def start(self) -> Array:
        """Start point of each row, (n, 3), mm; NaN for the first."""
        return np.concatenate([np.full((1, 3), np.nan), self.xyz[:-1]]) if len(self) else self.xyz

    @cached_property
    def start_abc(self) -> Array:
        """Rotary axes at the start of each row, (n, 3), degrees; 0 for the first."""
        return np.concatenate([np.zeros((1, 3)), self.abc[:-1]]) if len(self) else self.abc

    @cached_property
    def is_arc(self) -> Flags:
        """Which rows are arcs in the XY plane."""
        return np.asarray(np.isin(self.kind, (CLOCKWISE, ANTICLOCKWISE)))

    @cached_property
    def sweep(self) -> Array:
        """Signed angle of each arc, radians, positive anticlockwise; 0 for the rest (NISTIR 6556, 3.5.3)."""
        return np.where(self.is_arc, self._turned(np.arange(len(self)), 0, 1, self.kind == ANTICLOCKWISE), 0.0)

    def _turned(self, rows: Rows, first_axis: int, second_axis: int, anticlockwise: Flags) -> Array:
        """Signed angles of arcs in the plane of two axes."""
        some = [first_axis, second_axis]
        start, end = self.start[rows][:, some], self.xyz[rows][:, some]
        first, last = start - self.centre[rows], end - self.centre[rows]
        turn = np.arctan2(last[:, 1], last[:, 0]) - np.arctan2(first[:, 1], first[:, 0])
        sign = np.where(anticlockwise, 1.0, -1.0)
        forward = np.mod(sign * turn, 2 * np.pi)
        whole = (forward < 1e-12) | (forward > 2 * np.pi - 1e-9)
        same = np.hypot(*(start - end).T) < 1e-9
        return np.asarray(sign * (np.where(same | whole, 2 * np.pi, forward) + 2 * np.pi * self.turns[rows]))

    @cached_property
    def standing(self) -> StandingArcs | None:
        """Arcs in planes that hold Z, in the programme's frame; None where there are none."""
        rows = np.flatnonzero(self.kind == OTHER_ARC)
        if not len(rows):
            return None
        plane = self.field("plane").astype(int)[rows]
        sweep, axes = np.zeros(len(rows)), np.zeros((len(rows), 3, 3))
        anticlockwise = self.field("motion").astype(int)[rows] == 30
        for code in np.unique(plane).tolist():
            mine = plane == code
            axes[mine] = np.eye(3)[list(PLANE_AXES[code])]
            sweep[mine] = self._turned(rows[mine], *PLANE_AXES[code][:2], anticlockwise[mine])
        start, end = (np.einsum("ijk,ik->ij", axes, at[rows]) for at in (self.start, self.xyz))
        centre = np.einsum("ij,ijk->ik", np.column_stack([self.centre[rows], start[:, 2]]), axes)
        first, last = start[:, :2] - self.centre[rows], end[:, :2] - self.centre[rows]
        return StandingArcs(rows, centre, axes, first, last, end[:, 2] - start[:, 2], sweep)

    def field(self, name: str) -> NDArray[np.generic]:
        """Return one field of the modal state for every row."""
        values = np.array([getattr(modal, name) for modal in self.modals])
        return np.asarray(values[self.modal]) if len(values) else np.zeros(0)
