"""A word-address programme's motions as the path of a tip, and the gains of the rule put back on its rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import InputError
from floorfit.nc.arcs import chords
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import Gains
from floorfit.nc.motions import ANTICLOCKWISE, CLOCKWISE, CUTTING, JUMP, LINE, OTHER_ARC, RAPID, Motions
from floorfit.nc.rule import plan_gains
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools
from floorfit.part.model import Ring
from floorfit.units import MM_PER_UNIT

__all__ = ["PATHS", "Origin", "make_plan", "moved_zeros", "tip_path"]

#: Kinds that follow a path this room can compute.
PATHS = (RAPID, LINE, CLOCKWISE, ANTICLOCKWISE, OTHER_ARC)
#: A chord of a standing arc is off it by this share of the tolerance, and by no more than this, mm. Own choice.
_CHORD_SHARE, _MOST_MM = 0.4, 0.005
#: Gains this near to each other are one, mm.
_SAME_MM = 1e-9


@dataclass(frozen=True)
class Origin:
    """Where the programme's zero stands on the part, mm, and how far its X axis is turned, degrees anticlockwise."""

    x: float = 0.0
    y: float = 0.0
    z: float = 0.0
    angle: float = 0.0

    @classmethod
    def of(cls, text: str, unit: str) -> Origin:
        """Read ``X,Y,Z[,angle]``, lengths in a unit.

        Parameters
        ----------
        text : str
            Three lengths, and the angle in degrees, between commas.
        unit : {"mm", "in"}
            Of the lengths.

        Raises
        ------
        InputError
            If it is not three or four numbers.
        """
        try:
            values = [float(part) for part in text.split(",")]
            if len(values) not in (3, 4) or not np.isfinite(values).all():
                raise ValueError(f"{len(values)} numbers")
        except ValueError as error:
            expected = "expected X,Y,Z or X,Y,Z,ANGLE: the programme's zero on the part, for example 20,20,0"
            raise InputError(f"--origin {text}: {error}; {expected}.") from error
        lengths = [value * MM_PER_UNIT[unit] for value in values[:3]]
        return cls(*lengths, *values[3:])

    def turned(self, xy: Array) -> Array:
        """Directions (n, 2) of the programme in the part's frame."""
        return np.asarray(xy @ self.frame()[0][:2, :2].T) if self.angle else xy

    def frame(self) -> tuple[Array, Array]:
        """The same as a rotation (3, 3) and a way (3,), mm: ``turn @ place + way``."""
        c, s = np.cos(np.radians(self.angle)), np.sin(np.radians(self.angle))
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), np.array([self.x, self.y, self.z])

    def on_part(self, xyz: Array) -> Array:
        """Places (n, 3) of the programme in the part's frame."""
        return np.column_stack([self.turned(xyz[:, :2]) + np.array([self.x, self.y]), xyz[:, 2] + self.z])


def tip_path(motions: Motions, tools: Tools, usable: Flags, origin: Origin) -> TipPath:
    """Return the tip's path in the part's frame.

    Parameters
    ----------
    motions : Motions
        The programme.
    tools : Tools
        The cutters that are known.
    usable : (n,) ndarray of bool
        Rows whose frame is the part's.
    origin : Origin
        Where the programme's zero stands.
    """
    cutter, cutters = tools.of(motions)
    shift = moved_zeros(motions)
    end = origin.on_part(motions.xyz + shift)
    start = np.concatenate([np.full((1, 3), np.nan), end[:-1]]) if len(end) else end
    compensation = motions.field("compensation").astype(int)
    side = np.where(np.isin(compensation, (410, 411)), 1.0, np.where(np.isin(compensation, (420, 421)), -1.0, 0.0))
    radius = np.array([shape.radius for shape in cutters])[cutter]
    axis = _axes(motions, origin)
    centre = origin.turned(motions.centre + shift[:, :2]) + np.array([origin.x, origin.y])
    rapid, swept = motions.kind == RAPID, np.where(motions.is_arc, np.nan_to_num(motions.sweep), 0.0)
    usable, aside, feed = usable & np.isin(motions.kind, PATHS), side * radius, _feed(motions)
    turned = None if (axis == axis[:1]).all() else np.concatenate([axis[:1], axis[:-1]])
    standing = None if motions.standing is None else motions.standing.moved(*origin.frame(), shift)
    return TipPath(start, end, axis, cutter, rapid, cutters, centre, swept, aside, usable, feed, turned, standing)


def moved_zeros(motions: Motions) -> Array:
    """Where G52 and G92 have the zero of the work offset, (n, 3), mm; nowhere where all cuts are in one zero.

    That one is then the programme's, whatever the work offset says.

    Parameters
    ----------
    motions : Motions
    """
    shift = np.array([modal.shift for modal in motions.modals] or [(0.0, 0.0, 0.0)])[motions.modal]
    cuts = shift[np.isin(motions.kind, CUTTING)]
    return np.asarray(shift * (cuts != cuts[:1]).any())


def _feed(motions: Motions) -> Array:
    """Feed of each motion, (n,), mm a minute; NaN where it is counted otherwise."""
    per_minute = motions.field("feed_mode").astype(int) == 940
    return np.where(per_minute, motions.feed * motions.field("unit_mm").astype(float), np.nan)


def _axes(motions: Motions, origin: Origin) -> Array:
    """Tool axes: the vector stated, or turned from Z by A about X, then B about Y.

    On a level floor only the angle to Z counts, whatever the machine's order of axes.
    """
    out = motions.vector.copy()
    turned = np.flatnonzero(np.nan_to_num(motions.abc[:, :2]).any(axis=1))
    a, b = np.radians(np.nan_to_num(motions.abc[turned, :2])).T
    out[turned] = np.column_stack([np.sin(b) * np.cos(a), -np.sin(a), np.cos(a) * np.cos(b)])
    out[:, :2] = origin.turned(out[:, :2])
    return np.where(np.isnan(out), (0.0, 0.0, 1.0), out)


def make_plan(
    motions: Motions, path: TipPath, floors: Sequence[CutFloor], outline: Ring,
    *, tolerance_mm: float, clearance_mm: float | None,
) -> Gains:  # fmt: skip
    """Plan the gains of a programme: the rule, and what rows mean that are no plain motion.

    Parameters
    ----------
    motions, path : Motions, TipPath
        The programme and its tip's path.
    floors, outline, tolerance_mm, clearance_mm
        See `floorfit.nc.rule.plan_gains`.
    """
    gains = plan_gains(path, floors, outline, tolerance_mm=tolerance_mm, clearance_mm=clearance_mm)
    _shift_rolls(motions, path, gains)
    _chord_standing_arcs(motions, path, gains, tolerance_mm)
    _keep_over_jumps(motions, gains)
    return gains


def _shift_rolls(motions: Motions, path: TipPath, gains: Gains) -> None:
    """An arc in another plane that rolls onto a floor or off it is shifted whole: its other end goes along.

    Only where the motion there can carry it: a vertical feed onto the roll, any vertical motion off it; with a raised
    floor any feed.
    """
    node, on, kind = gains.node, gains.floor, motions.kind
    flat = path.length < 1e-9
    rolls = np.flatnonzero(kind == OTHER_ARC)
    for row in rolls[(rolls > 0) & (rolls < len(node) - 1)].tolist():
        if gains.whole[row] >= 0:
            continue
        arrives = on[row] >= 0 and on[row - 1] < 0 and kind[row - 1] == LINE
        leaves = on[row - 1] >= 0 and on[row] < 0 and kind[row + 1] in (LINE, RAPID)
        if arrives and (flat[row - 1] or node[row] > 0):
            node[row - 1] = node[row]
            gains.breaks.pop(row, None)
        elif leaves and (flat[row + 1] or node[row - 1] > 0):
            node[row] = node[row - 1]
            gains.breaks.pop(row, None)


def _chord_standing_arcs(motions: Motions, path: TipPath, gains: Gains, tolerance_mm: float) -> None:
    """Give each standing arc that cannot be shifted whole the places of its chords.

    Its Z may change by one amount where its centre is given from its start, or by its radius.
    """
    if path.standing is None:
        return
    start, end = gains.start(), gains.node
    absolute = motions.field("arc_absolute").astype(bool)
    off = min(_CHORD_SHARE * tolerance_mm, _MOST_MM)
    for row, radius, sweep in zip(path.standing.rows.tolist(), path.standing.radius, path.standing.sweep, strict=True):
        is_whole = row not in gains.breaks and abs(start[row] - end[row]) < _SAME_MM
        if is_whole and (end[row] == 0 or not absolute[row]):
            continue
        known = [(0.0, float(start[row])), *gains.breaks.get(row, []), (1.0, float(end[row]))]
        places = np.column_stack(chords(float(radius), float(sweep), off, known)).tolist()
        middle = (0.5, 0.5 * float(start[row] + end[row]))
        gains.breaks[row] = [(share, gain) for share, gain in places[1:-1]] or [middle]


def _keep_over_jumps(motions: Motions, gains: Gains) -> None:
    """Where X or Y becomes unknown and Z does not, the tool still stands at the gain it had."""
    z = motions.xyz[:, 2]
    for row in np.flatnonzero((motions.kind == JUMP) & ~np.isnan(z)).tolist():
        if row and z[row] == z[row - 1]:
            gains.node[row] = gains.node[row - 1]
