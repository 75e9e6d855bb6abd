"""The table of cutter locations: where the tip is and how the axis stands, a row for each motion; and its circles.

ISO 3592 states a circle once and then either its end or points along it: from the last place along it to the next,
right-handed about its axis. Points so near that their chords are within `FINE_MM` of the circle are taken as points;
the chords are then the path.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding
from floorfit.nc.arcs import StandingArcs
from floorfit.nc.motions import JUMP, LINE, OTHER_ARC, RowTable

__all__ = ["UNIT_SLACK", "FileFrame", "LocationColumns", "Locations", "Setting", "arcs_of", "settle_circles"]

#: How far the length of a vector may be from 1: four decimals written. Own choice, no source.
UNIT_SLACK = 0.001
#: How far an end may be from its circle, mm: coordinates and radius rounded to 0.001 in. Own choice, no source.
ON_CIRCLE_MM = 0.03
#: Height of a chord below which points along a circle are its path, mm. Own choice, no source.
FINE_MM = 0.05


@dataclass(frozen=True)
class FileFrame:
    """A rigid frame, ``part = rotation @ file + shift``; the part's own where none is said.

    Parameters
    ----------
    rotation : (3, 3) ndarray
        Turns a direction of the file into one of the part.
    shift : (3,) ndarray, mm
        Where the file's zero is in the part.
    """

    rotation: Array = field(default_factory=lambda: np.eye(3))
    shift: Array = field(default_factory=lambda: np.zeros(3))

    @classmethod
    def of(cls, numbers: list[float], unit_mm: float) -> FileFrame:
        """Frame of 12 numbers, three rows of a direction and a length.

        Raises
        ------
        ValueError
            If they are not 12, or not a rotation: a mirror or a scale changes what the cutter leaves.
        """
        if len(numbers) != 12:
            raise ValueError(f"{len(numbers)} numbers, 12 expected: three rows of three for the turn, one for the way")
        rows = np.array(numbers, float).reshape(3, 4)
        rotation = rows[:, :3]
        if not np.isfinite(rows).all() or np.abs(rotation @ rotation.T - np.eye(3)).max() > 1e-4:
            raise ValueError("the turn is no rotation: its rows must be of length 1 and square to each other")
        if np.linalg.det(rotation) < 0:
            raise ValueError("the turn is a mirror: left and right would change hands")
        # The nearest rotation (polar decomposition), so that written digits do not stretch lengths.
        left, _, right = np.linalg.svd(rotation)
        return cls(left @ right, rows[:, 3] * unit_mm)

    def after(self, inner: FileFrame) -> FileFrame:
        """This frame behind another: ``self(inner(point))``."""
        return FileFrame(self.rotation @ inner.rotation, self.rotation @ inner.shift + self.shift)


class Setting(NamedTuple):
    """What a motion runs under.

    Parameters
    ----------
    unit_mm : float
        Millimetres in the unit in force.
    frame : int
        Index into the frames.
    cutter : tuple of float, or None
        The seven numbers of ``CUTTER``, mm and radians; None where no cutter is stated for the tool.
    tool : str
        Number of the tool, as written.
    compensated : bool
        Whether the control offsets the path sideways (``CUTCOM``).
    per : str
        What the feed is counted in; ``"INVERS"`` where a divided motion would need another number.
    optional : bool
        Whether the operator chooses if it runs (``OPSKIP``).
    feed : float
        In the file's unit; 0 where none is stated, or a time.
    """

    unit_mm: float = 1.0
    frame: int = 0
    cutter: tuple[float, ...] | None = None
    tool: str = ""
    compensated: bool = False
    per: str = ""
    optional: bool = False
    feed: float = 0.0


@dataclass(frozen=True)
class Locations:
    """A file as motions: row ``n`` goes from the end of row ``n - 1`` to its own end; part's frame, millimetres.

    Parameters
    ----------
    line : (n,) ndarray of int
        First line of the statement, from 0.
    kind : (n,) ndarray of int
        A kind of `floorfit.nc.motions`: RAPID, LINE, OTHER_ARC for any circle, CYCLE for a hole, JUMP for a place that
        is only stated, or not known.
    tip : (n, 3) ndarray, mm
        Tip of the tool at the end of the row; NaN where only the machine knows.
    axis : (n, 3) ndarray
        Unit vector from the tip to the spindle there.
    vector : (n,) ndarray of bool
        Whether the statement states the vector.
    relative : (n,) ndarray of bool
        Whether the statement states increments (``GODLTA``).
    setting : (n,) ndarray of int
        Index into ``settings``.
    deep : (n,) ndarray, mm
        How far a hole goes below its point; NaN where that is not known, and for the rest.
    rapid_to : (n,) ndarray, mm
        How far above its point the rapid to a hole ends; NaN likewise.
    circle : (n,) ndarray of int
        Index into ``circles``, or -1.
    circles : (k, 7) ndarray, mm
        Centre, axis and radius of each circle.
    circle_lines : (k, 2) ndarray of int
        First and last line of its statement.
    settings, frames : tuple
        What occurs.
    findings : tuple of Finding
        What cannot be read (errors), and what a person should know (warnings).
    """

    line: NDArray[np.int64]
    kind: NDArray[np.int64]
    tip: Array
    axis: Array
    vector: Flags
    relative: Flags
    setting: NDArray[np.int64]
    deep: Array
    rapid_to: Array
    circle: NDArray[np.int64]
    circles: Array
    circle_lines: NDArray[np.int64]
    settings: tuple[Setting, ...]
    frames: tuple[FileFrame, ...]
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.line)

    @cached_property
    def start(self) -> Array:
        """Tip at the start of each row, (n, 3), mm; NaN for the first."""
        return np.concatenate([np.full((1, 3), np.nan), self.tip[:-1]]) if len(self) else self.tip

    @cached_property
    def start_axis(self) -> Array:
        """Axis at the start of each row, (n, 3); that of its end for the first."""
        return np.concatenate([self.axis[:1], self.axis[:-1]]) if len(self) else self.axis

    def field(self, name: str) -> NDArray[np.generic]:
        """Return one field of the setting for every row."""
        values = np.array([getattr(setting, name) for setting in self.settings])
        return np.asarray(values[self.setting]) if len(values) else np.zeros(0)


class LocationColumns:
    """The rows while they are read, in the file's own frame and unit, and the circles."""

    def __init__(self) -> None:
        """Start without rows."""
        self.rows = RowTable("line kind setting x y z i j k vector relative circle deep rapid_to")
        self.circles = array("d")
        self.circle_lines: list[tuple[int, int]] = []

    def faults(self) -> Iterator[tuple[int, str]]:
        """The first lines whose axis or place cannot be, with the reason."""
        read = self.rows.columns()
        line, length = read["line"], np.sqrt(read["i"] ** 2 + read["j"] ** 2 + read["k"] ** 2)
        for row in np.flatnonzero(~(np.abs(length - 1) <= UNIT_SLACK))[:5].tolist():
            text = f"the axis has length {length[row]:.4g}, 1 expected. Are the columns x, y, z, i, j, k?"
            yield int(line[row]), text
        far = ~((np.abs(read["x"]) < 1e6) & (np.abs(read["y"]) < 1e6) & (np.abs(read["z"]) < 1e6))
        for row in np.flatnonzero((read["kind"] != JUMP) & far)[:5].tolist():
            yield int(line[row]), "a coordinate beyond any machine. Correct the number."

    def table(self, settings: tuple[Setting, ...], frames: tuple[FileFrame, ...]) -> Locations:
        """The rows as arrays, in the part's frame and millimetres."""
        read = self.rows.columns()
        line, kind, setting, circle = (read[name].astype(np.int64) for name in ("line", "kind", "setting", "circle"))
        unit = np.array([one.unit_mm for one in settings] or [1.0])[setting]
        frame = np.array([one.frame for one in settings] or [0], dtype=np.int64)[setting]
        xyz, ijk = (np.column_stack([read[name] for name in names]) for names in ("xyz", "ijk"))
        tip, axis = _in_part(xyz * unit[:, None], ijk, frame, frames)
        stated, relative = read["vector"] > 0, read["relative"] > 0
        deep, rapid_to = read["deep"] * unit, read["rapid_to"] * unit
        circles = self._circles(circle, unit, frame, frames)
        where = np.array(self.circle_lines, dtype=np.int64).reshape(-1, 2)
        rows = line, kind, tip, axis, stated, relative, setting, deep, rapid_to, circle
        return Locations(*rows, circles, where, settings, frames)

    def _circles(
        self, circle: NDArray[np.int64], unit: Array, frame: NDArray[np.int64], frames: tuple[FileFrame, ...]
    ) -> Array:
        out = np.array(self.circles, dtype=float).reshape(-1, 7)
        for row in np.flatnonzero(circle >= 0).tolist():
            one, values = frames[frame[row]], out[circle[row]]
            values[:3] = one.rotation @ (values[:3] * unit[row]) + one.shift
            values[3:6] = one.rotation @ values[3:6]
            values[6] *= unit[row]
        return out


def _in_part(tip: Array, ijk: Array, frame: NDArray[np.int64], frames: tuple[FileFrame, ...]) -> tuple[Array, Array]:
    """Places, mm, and vectors of the file's frames as tips and unit vectors in the part's."""
    with np.errstate(divide="ignore", invalid="ignore"):
        axis = ijk / np.sqrt((ijk * ijk).sum(axis=1))[:, None]
    for index, one in enumerate(frames):
        if not (np.array_equal(one.rotation, np.eye(3)) and not one.shift.any()):
            rows = frame == index
            tip[rows] = tip[rows] @ one.rotation.T + one.shift
            axis[rows] = axis[rows] @ one.rotation.T
    return tip, axis


def arcs_of(found: Locations, rows: Rows) -> StandingArcs:
    """Arcs about their axes, by an angle above 0 and at most a full turn; height along the axis goes evenly.

    Parameters
    ----------
    found : Locations
    rows : (m,) ndarray of int
        Rows that are arcs, ascending.
    """
    circles = found.circles[found.circle[rows]]
    axis, ends = circles[:, 3:6], np.stack([found.start[rows], found.tip[rows]]) - circles[:, :3]
    high = (ends * axis).sum(axis=2)
    spokes = ends - high[..., None] * axis
    first = spokes[0] / np.maximum(np.linalg.norm(spokes[0], axis=1), 1e-12)[:, None]
    axes = np.stack([first, np.cross(axis, first), axis], axis=1)
    begin, end = np.einsum("nij,knj->kni", axes[:, :2], spokes)
    turn = np.mod(np.arctan2(end[:, 1], end[:, 0]), 2 * np.pi)
    turn[np.linalg.norm(spokes[1] - spokes[0], axis=1) < 1e-6] = 2 * np.pi
    return StandingArcs(rows, circles[:, :3] + high[0, :, None] * axis, axes, begin, end, high[1] - high[0], turn)


def settle_circles(found: Locations, source: str, findings: list[Finding]) -> Locations:
    """Check every arc, and take points along a circle as points; the findings go with the table.

    Parameters
    ----------
    found : Locations
    source : str
        File name for messages.
    findings : list of Finding
        Those of before.
    """
    rows = np.flatnonzero(found.kind == OTHER_ARC)
    if len(rows):
        arcs, radius = arcs_of(found, rows), found.circles[found.circle[rows], 6]
        away = np.maximum(*(np.abs(np.hypot(*end.T) - radius) for end in (arcs.first, arcs.last)))
        for row, gap in zip(rows[away > ON_CIRCLE_MM][:5].tolist(), away[away > ON_CIRCLE_MM].tolist(), strict=False):
            text = f"an end of this arc is {gap:.3f} mm from its circle. Correct the circle or the point."
            findings.append(Finding("circle", source, f"line {found.line[row] + 1}", text))
        kind, circle = found.kind.copy(), found.circle.copy()
        points = rows[[_are_points(found, row) for row in rows.tolist()]]
        kind[points], circle[points] = LINE, -1
        found = replace(found, kind=kind, circle=circle)
    return replace(found, findings=tuple(findings))


def _are_points(found: Locations, row: int) -> bool:
    """Whether the point behind a circle and the one after it are two of many along it."""
    following = row + 1
    if following >= len(found) or found.kind[following] != LINE:
        return False
    circle = found.circles[found.circle[row]]
    places = np.array([found.start[row], found.tip[row], found.tip[following]])
    away = places - circle[:3]
    away -= (away @ circle[3:6])[:, None] * circle[3:6]
    on = np.abs(np.linalg.norm(away, axis=1) - circle[6]) <= ON_CIRCLE_MM
    chords = np.linalg.norm(np.diff(places, axis=0), axis=1)
    height = circle[6] - np.sqrt(np.maximum(circle[6] ** 2 - chords**2 / 4, 0.0))
    return bool(on.all() and (height <= FINE_MM).all() and (chords > 1e-6).all())
