"""A second reader of word-address programmes, for the proof alone: it shares no code with the first.

It works the other way round. The first runs block by block as a machine would; this one takes the whole text as a table
of words and finds every mode and every place by columns: the last word of a group at or before a line counts there.
What it cannot know is NaN. Rules: NISTIR 6556, 3.3 (the line), 3.4 (modal groups), 3.5 (G codes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.nc.second_words import WordTable

__all__ = ["BEND", "FEED", "OTHER", "RAPID", "TURN", "HeardProgramme", "hear_programme"]

#: Kinds of motion: feed along a line, rapid, arc in the XY plane, anything else, arc in one of the other two planes.
FEED, RAPID, TURN, OTHER, BEND = range(5)

_MOTION = (0, 10, 20, 30, 800, *range(382, 386), 730, 740, 760, *range(810, 900, 10))
_CYCLE = (730, 740, 760, *range(810, 900, 10))
_ZERO = (*range(540, 600, 10), 541, 591, 592, 593, 1100, 1110, *range(1140, 1300, 10), 1540, *range(5050, 6000, 10))
_LENGTH = (430, 431, 432, 434, 435, 440, 490)
_FRAME_ON = (160, 510, 511, 660, 661, 680, 681, 682, 683, 684, 1120, 71, 121, 1070)
_FRAME_OFF = (131, 150, 500, 501, 670, 690, 691, 1130)
_PROBE = (310, 311, 360, 370, *range(382, 386))
_PASSIVE = (40, 281, 301)
_KNOWN = (
    *(170, 180, 190, 900, 910, 901, 911, 930, 940, 950, 200, 210, 700, 710, 400, 410, 420, 411, 421, 980, 990),
    *(610, 611, 640, 90, 100, 280, 300, 520, 530, 920, 921, 922, 923, 650, 660, 661),
    *(*_MOTION, *_ZERO, *_LENGTH, *_FRAME_ON, *_FRAME_OFF, *_PROBE, *_PASSIVE),
)


@cache
def _is_code(codes: tuple[int, ...]) -> Flags:
    """Which numbers up to the greatest code are among some; the last, for all beyond and for -1, is not."""
    out = np.zeros(max(_KNOWN) + 2, dtype=bool)
    out[list(codes)] = True
    return out


def _among(values: NDArray[np.int64], codes: tuple[int, ...]) -> Flags:
    """As `numpy.isin`, for codes."""
    return np.asarray(_is_code(codes)[np.clip(values, -1, max(_KNOWN) + 1)])


@dataclass(frozen=True)
class HeardProgramme:
    """A programme as this reader understands it: a row for each motion; mm, in the programme's own frame.

    Parameters
    ----------
    line : (n,) ndarray of int
        Index of its line.
    kind : (n,) ndarray of int
        FEED, RAPID, TURN, OTHER or BEND.
    start, tip : (n, 3) ndarray
        Where it starts and ends; NaN where that is not known.
    axis0, axis : (n, 3) ndarray
        Axis at both ends.
    rotary : (n, 3) ndarray, degrees
        A, B and C at its end.
    centre : (n, 2) ndarray
        Centre of an arc, in its plane; NaN elsewhere.
    across : (n,) ndarray of int
        The axis square to the plane: 2 (Z) for XY, 1 for ZX, 0 for YZ. The two axes of the plane follow it in turn.
    turn : (n,) ndarray, radians
        Angle of an arc, positive anticlockwise.
    feed, tool : (n,) ndarray
        F in force, and the number of the tool in the spindle (-1: none).
    side : (n,) ndarray
        1 where the cutter runs left of the path by its radius (G41), -1 right of it (G42), 0 on it.
    shift : (n, 3) ndarray
        Where G52 and G92 have its zero; 0 where all cuts have the same.
    """

    line: Rows
    kind: Rows
    start: Array
    tip: Array
    axis0: Array
    axis: Array
    rotary: Array
    centre: Array
    across: Rows
    turn: Array
    feed: Array
    tool: Array
    side: Array
    shift: Array

    def in_plane(self, rows: Rows, places: Array) -> Array:
        """Places (m, 3) along the two axes of the planes of motions, (m, 2)."""
        return _in_plane(self.across[rows], places)

    def on_arcs(self, rows: Rows, share: Array, aside: float | Array = 0.0) -> Array:
        """Places (m, 3) on arcs at shares of the angle; ``aside`` is added to the radius, which rounding may change."""
        spoke, last = (self.in_plane(rows, end[rows]) - self.centre[rows] for end in (self.start, self.tip))
        angle = np.arctan2(spoke[:, 1], spoke[:, 0]) + share * self.turn[rows]
        radius = (1 - share) * np.hypot(*spoke.T) + share * np.hypot(*last.T) + aside
        out = self.start[rows] + share[:, None] * (self.tip - self.start)[rows]
        flat = self.centre[rows] + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        for step in (0, 1):
            out[np.arange(len(rows)), (self.across[rows] + 1 + step) % 3] = flat[:, step]
        return out


def _in_plane(across: Rows, places: Array) -> Array:
    return np.take_along_axis(places, np.column_stack([(across + 1) % 3, (across + 2) % 3]), 1)


def hear_programme(
    lines: Sequence[str], *, unit_mm: float | None = None, absolute: bool | None = None, optional: bool = True
) -> HeardProgramme:
    """Read a programme.

    Parameters
    ----------
    lines : sequence of str
        Its lines.
    unit_mm : float or None
        Millimetres in the unit before G20 or G21.
    absolute : bool or None
        Whether G90 is in force before the programme says so.
    optional : bool
        Whether the blocks behind ``/`` run.
    """
    return _Hearing(WordTable.of(lines, optional=optional), unit_mm or 1.0, absolute is not False).run()


class _Hearing:
    def __init__(self, table: WordTable, unit_mm: float, absolute: bool) -> None:
        self.table, self.count = table, table.count
        self.g_line, self.g = table.codes()
        motion = _among(self.g, _MOTION)
        with_other = np.isin(self.g_line, self.g_line[motion & (self.g != 800)])
        # G80 beside another motion word only ends a cycle.
        keep = ~((self.g == 800) & with_other)
        self.g_line, self.g = self.g_line[keep], self.g[keep]
        self.motion = self.in_force(_MOTION, -1)
        self.is_cycle = _among(self.motion, _CYCLE)
        units = self.in_force((200, 210, 700, 710), -1)
        self.unit = np.where(units < 0, unit_mm, np.where(_among(units, (200, 700)), 25.4, 1.0))
        self.absolute = self.in_force((900, 910), 900 if absolute else 910) == 900
        self.length = self.in_force(_LENGTH, 490)
        self.special()

    def in_force(self, codes: tuple[int, ...], before: int) -> NDArray[np.int64]:
        """The last of some G codes at or before each line."""
        mine = _among(self.g, codes)
        return self.table.last(self.g_line[mine], self.g[mine], before).astype(np.int64)

    def has(self, codes: tuple[int, ...]) -> Flags:
        """Lines with one of some G codes."""
        return self.table.at(self.g_line[_among(self.g, codes)])

    def special(self) -> None:
        """Lines whose axis words are no motion, and lines at which places are lost."""
        table = self.table
        g10 = self.has((100,)) & np.isin(table.value("L", 0.0), (2.0, 20.0))
        frames = self.has((920, 921, 922, 923, 520)) & ~self._harmless_frame()
        by_hand = self.has((431,)) & ~table.has("H") & table.has("XYZ")
        frames |= by_hand
        transform = self.in_force((*_FRAME_ON, *_FRAME_OFF), 0)
        transform = np.where(_among(transform, _FRAME_OFF), 0, transform)
        wide = np.logical_or.accumulate(table.has("UVW")) if self.count else g10
        self.turned = (transform != 0) | wide
        changed = self._changes(np.where(wide, -1, transform), 0)
        calls = self.has((650, 660, 661)) | self.m_words((96, 97, 98, 99, 198)) | table.barrier | self._by_number()
        self.unknown = table.at(self.g_line[~_among(self.g, _KNOWN)])
        zero = self._changes(self.in_force(_ZERO, 0), 0)
        self.probes = self.has(_PROBE)
        probe = self.probes | _among(self.motion, tuple(range(382, 386)))
        self.machine = self.has((530,)) | self.has((280, 300))
        self.lost = g10 | frames | changed | calls | zero | self.has((280, 300)) | probe
        self.length_changes = self._changes(self.length, 490) | self._changes(self._lengths(), 0.0)
        passive = self.has((*_PASSIVE, 100, 920, 921, 922, 923, 520, *_FRAME_ON, *_FRAME_OFF, 650, 660, 661))
        self.no_motion = passive | by_hand | self.machine | calls | probe
        self.frame_words = self.has((920,))

    def _by_number(self) -> Flags:
        """Lines of an L word, with P or without, and nothing else: a call where no cycle is in force (dialect)."""
        other = self.table.has("".join(set(self.table.by_letter) - {"L", "P"}))
        return np.asarray(self.table.has("L") & ~other & ~self.is_cycle)

    def _lengths(self) -> NDArray[np.generic]:
        """H of the length offset in force: only a block with G43 takes one."""
        at = np.flatnonzero(self.has(_LENGTH) & self.table.has("H"))
        return self.table.last(at, np.nan_to_num(self.table.value("H", 0.0)[at], nan=-2.0), 0.0)

    def _changes(self, values: NDArray[np.generic], first: float) -> Flags:
        before = np.append([first], values[:-1]) if self.count else values
        return np.asarray(values != before)

    def _harmless_frame(self) -> Flags:
        """G52 with zeros, G92.1 and G92.2, where no zero was moved before."""
        table = self.table
        axes = np.stack([np.nan_to_num(table.value(axis, 0.0), nan=1.0) for axis in "XYZABC"])
        moved = self.has((920,)) | (self.has((520,)) & (axes != 0).any(axis=0))
        before = np.append([False], np.logical_or.accumulate(moved)[:-1]) if self.count else moved
        return np.asarray(~before & ~moved)

    def m_words(self, codes: Sequence[int]) -> Flags:
        line, value = self.table.words("M")
        return self.table.at(line[np.isin(value, codes) | np.isnan(value)])

    # -- places ------------------------------------------------------------------------------------------------------

    def place(self, axis: str) -> Array:
        """One coordinate at the end of every line."""
        table, linear = self.table, axis in "XYZ"
        has, value = table.has(axis), table.value(axis, np.nan)
        value = value * (self.unit if linear else 1.0)
        lost = self.lost & linear
        if axis == "Z":
            lost = lost | self.length_changes
            has, value = self._cycle_z(has, value)
        repeats = np.where(self.is_cycle, table.value("L", 1.0), 1.0)
        # Words of a line that is no motion of ours leave the axis where nobody here knows.
        gone = has & (self.machine | (self.unknown & ~self.no_motion) | self.probes)
        if linear:
            gone |= self.unknown & ~self.no_motion & ~self.any_axis & self.any_other
        ignored = self.no_motion & ~self.machine & ~self.probes
        acts = has & ~ignored & ~gone
        sets = acts & self.absolute | self.frame_words & has | lost | gone
        to = np.where(acts & self.absolute | self.frame_words & has, value, np.nan)
        steps = np.where(acts & ~sets, value * repeats, 0.0)
        broken = np.isnan(steps)
        to, steps, first = np.where(broken, np.nan, to), np.where(broken, 0.0, steps), np.nan if linear else 0.0
        return _walk(sets | broken, to, steps, first)

    def _cycle_z(self, has: Flags, value: Array) -> tuple[Flags, Array]:
        """Z of a cycle is its depth: it ends where it began (G98), or at its R (G99)."""
        table = self.table
        runs = self.is_cycle & (has | table.has("XYR"))
        to_r = runs & (self.in_force((980, 990), 980) == 990)
        level = np.where(self.absolute, table.filled("R", np.nan), np.nan) * self.unit
        return np.where(self.is_cycle, to_r, has), np.where(to_r, level, value)

    def run(self) -> HeardProgramme:
        table = self.table
        self.any_axis, self.any_other = table.has("XYZ"), table.has("ABCUVWIJKR")
        is_arc = _among(self.motion, (20, 30))
        vectors = (self.length == 435) & ~is_arc & table.has("IJK")
        moves = (table.has("XYZABC") | (is_arc & table.has("IJKR")) | vectors) & ~self.no_motion
        moves &= _among(self.motion, (0, 10, 20, 30)) | self.unknown
        places = np.column_stack([self.place(axis) for axis in "XYZABC"])
        before = np.concatenate([[[np.nan] * 3 + [0.0] * 3], places[:-1]]) if self.count else places
        # A place lost at a line is lost before the line's own words.
        for index in range(3):
            before[self.lost | (self.length_changes if index == 2 else False), index] = np.nan
        vector = self._vectors(vectors)
        rows = np.flatnonzero(moves)
        kind = np.select([self.motion == 0, self.motion == 10, is_arc], [RAPID, FEED, TURN], OTHER)
        kind = np.where(self.unknown | self.turned, OTHER, kind)
        plane = self.in_force((170, 180, 190), 170)
        kind = np.where((kind == TURN) & (plane != 170), BEND, kind)[rows]
        across = np.select([plane == 180, plane == 190], [1, 0], 2)[rows]
        centre, turn = self._arcs(rows, before, places, across, _among(kind, (TURN, BEND)))
        start_vector = np.concatenate([[[0.0, 0.0, 1.0]], vector[:-1]]) if self.count else vector
        beside = self.in_force((400, 410, 420, 411, 421), 400)
        side = _among(beside, (410, 411)).astype(float) - _among(beside, (420, 421))
        (start, _), (tip, rotary) = (np.split(ends[rows], 2, axis=1) for ends in (before, places))
        axis0, axis = _axis(start_vector[rows], before[rows, 3:]), _axis(vector[rows], rotary)
        feed, tool = table.filled("F", np.nan)[rows], self._tools()[rows]
        zeros, line = self._zeros(places, rows[_among(kind, (FEED, TURN, BEND))])[rows], table.line[rows]
        ways = line, kind, start, tip, axis0, axis, rotary, centre, across, turn
        return HeardProgramme(*ways, feed, tool, side[rows], zeros)

    def _zeros(self, places: Array, cuts: Rows) -> Array:
        """Where the zero stands at every line: G52 says it, and G92 calls the place before it by another number."""
        table, ends = self.table, self.has((921, 922))
        out = np.zeros((self.count, 3))
        for index, axis in enumerate("XYZ"):
            value, named = table.value(axis, np.nan) * self.unit, table.has(axis) & self.absolute
            said, called = self.has((520,)) & named, self.has((920,)) & named
            at = np.flatnonzero(said | ends)
            out[:, index] = table.last(at, np.where(said, value, 0.0)[at], 0.0)
            before = np.append(np.nan, places[:-1, index])
            total = np.nancumsum(np.where(called, before - value, 0.0))
            at = np.flatnonzero(ends | (called & np.isnan(before)))
            out[:, index] += total - table.last(at, total[at], 0.0)
        return np.asarray(out * (out[cuts] != out[cuts[:1]]).any())

    def _vectors(self, here: Flags) -> Array:
        """Tool vector at every line (G43.5 I J K), upright before and after."""
        parts = np.column_stack([np.where(here, self.table.value(letter, 0.0), 0.0) for letter in "IJK"])
        size = np.linalg.norm(parts, axis=1)[:, None]
        parts = np.divide(parts, size, out=np.full(parts.shape, np.nan), where=size > 0)
        resets = self._changes(self.length, 490) & ~here
        parts[resets] = (0.0, 0.0, 1.0)
        at = np.flatnonzero(here | resets)
        return np.column_stack([self.table.last(at, parts[at, index], index == 2) for index in range(3)]).astype(float)

    def _tools(self) -> Array:
        selected = self.table.filled("T", -1.0)
        changes = np.flatnonzero(self.m_words((6,)))
        tool = self.table.last(changes, selected[changes], -1.0).astype(float)
        return np.asarray(np.where(tool == -1.0, selected, tool))

    def _arcs(self, rows: Rows, before: Array, places: Array, across: Rows, is_arc: Flags) -> tuple[Array, Array]:
        table, count = self.table, len(rows)
        centre, turn = np.full((count, 2), np.nan), np.zeros(count)
        mine = np.flatnonzero(is_arc)
        lines, plane = rows[mine], across[mine]
        first, last = _in_plane(plane, before[lines, :3]), _in_plane(plane, places[lines, :3])
        unit = self.unit[lines]
        by_place = (self.in_force((901, 911), 911) == 901)[lines]
        offset = _in_plane(plane, np.column_stack([table.value(letter, np.nan)[lines] * unit for letter in "IJK"]))
        relative = first + np.nan_to_num(offset)
        to = np.where(by_place[:, None], offset, relative)
        radius = table.value("R", np.nan)[lines] * unit
        sign = np.where(self.motion[lines] == 30, 1.0, -1.0)
        by_radius = table.has("R")[lines]
        to[by_radius] = _centre_by_radius(first, last, radius, sign)[by_radius]
        centre[mine] = to
        a, b = first - to, last - to
        angle = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
        angle = np.mod(sign * angle, 2 * np.pi)
        closed = (np.hypot(*(first - last).T) < 1e-9) | (angle < 1e-12) | (angle > 2 * np.pi - 1e-9)
        more = np.where(by_radius, 0.0, np.maximum(np.nan_to_num(table.value("P", 1.0)[lines], nan=1.0) - 1.0, 0.0))
        turn[mine] = sign * (np.where(closed, 2 * np.pi, angle) + 2 * np.pi * np.floor(more))
        return centre, turn


def _walk(sets: Flags, to: Array, steps: Array, first: float) -> Array:
    """Coordinate after every line: the last one set, and all steps since."""
    if not len(sets):
        return to
    at = np.maximum.accumulate(np.where(sets, np.arange(len(sets)), -1))
    way = np.cumsum(steps)
    return np.asarray(np.where(at >= 0, to[at] + way - way[at], first + way))


def _centre_by_radius(first: Array, last: Array, radius: Array, sign: Array) -> Array:
    """Centre left of the chord for an anticlockwise arc of up to half a turn; on the other side for each change."""
    middle, chord = 0.5 * (first + last), last - first
    size = np.hypot(*chord.T)
    with np.errstate(invalid="ignore", divide="ignore"):
        height = np.sqrt(np.maximum(radius**2 - 0.25 * size**2, 0.0)) * sign * np.sign(radius) / size
    return np.asarray(middle + height[:, None] * np.column_stack([-chord[:, 1], chord[:, 0]]))


def _axis(vector: Array, rotary: Array) -> Array:
    """Axis of the tool: the vector stated, or Z turned about X by A and about Y by B."""
    a, b = np.radians(np.nan_to_num(rotary[:, :2])).T
    turned = np.column_stack([np.sin(b) * np.cos(a), -np.sin(a), np.cos(a) * np.cos(b)])
    out = np.where(((a != 0) | (b != 0))[:, None], turned, vector)
    return np.where(np.isnan(out), (0.0, 0.0, 1.0), out)
