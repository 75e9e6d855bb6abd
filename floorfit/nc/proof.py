"""Hear the corrected programme again with the second reader, compare it with the original, and sweep both.

Which line came from which is the writer's word; everything else is found anew from the two texts. Every block must be
as it was but for its Z, or be pieces of the motion it was; every motion must end where it did in plan, and as high as
planned; the first reader and the second must see the same places. Then the cutter is swept along both programmes, floor
by floor. Blocks behind ``/`` are heard twice: as run, and as left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Correction
from floorfit.nc.heard_cuts import heard_cuts
from floorfit.nc.second import BEND, FEED, RAPID, TURN, HeardProgramme, hear_programme
from floorfit.nc.second_words import bare
from floorfit.nc.swept_floors import TOO_DEEP_MM, FileProof, Proved, SweptFloor
from floorfit.part.model import Pocket

__all__ = ["ProgrammeProof", "is_heard_alike"]

#: Rounding to 0.001 mm or 0.0001 in, twice: of a place in plan, and of a height, mm.
_PLAN_MM, _ROUNDING_MM = 0.006, 0.0027
#: What the rounding of both ends does to an angle, radians.
_ARC_RAD = 2e-3
#: How far a chord may be off its arc, mm.
_SAG_MM = 0.01
#: Places that no block changes are the same up to sums of increments, mm.
_SAME_MM = 1e-6
#: Radius of the pieces of an arc: rounding of its ends and its centre, mm.
_ARC_MM = 0.02
#: A tip this near to a programmed floor is on it, mm.
_ON_FLOOR_MM = 0.05
_Z_WORD = re.compile(r"(?<![,A-Z])Z(?:[-+]?[\d.]+|[-+]?#+\d+|[-+]?\[.*?\](?![\]]))")
_PIECE_WORDS = re.compile(r"(?<![,A-Z])[XYZABCIJKRF][-+]?[\d.]+")
#: Blocks that need no care: upper case, no comment, no expression; a Z word of such a block, with its gap.
_is_easy = re.compile(r"[A-Z0-9.+\- ]*[\r\n]*").fullmatch
_EASY_Z = re.compile(r" ?Z[-+]?[\d.]+(?![ \d.])|Z[-+]?[\d.]+ ")
#: Motion words: which one is in force is compared by what the two readers hear.
_MOTION_WORD = re.compile(r"(?<![,A-Z])G0?[0123](?![\d.])")
_COMMENT = re.compile(r"\(.*\)|;.*")
_IS_OPTIONAL = re.compile(r"\s*(?:N\d+\s*)?/", re.IGNORECASE)


@dataclass
class ProgrammeProof(FileProof):
    """A corrected programme beside the original.

    Parameters
    ----------
    before, after : sequence of str
        Lines of both.
    origin : (k,) ndarray of int
        Line of the original that each line of the result came from; -1 for the header. The rewriter's word, as these:
    stated : (n,) ndarray of int
        Lines of the original with a motion.
    place : (n, 3) ndarray, mm
        Where the first reader says that motion ends, in the programme's frame.
    gained : (n,) ndarray, mm
        What the rule added there.
    inner : mapping of int to sequence of (float, float)
        By line: what was added at shares of a divided motion.
    floors : sequence of (Pocket, Correction)
        The floors to sweep, with what is added to them.
    sizes : mapping of float to (float, float), mm
        Radius and corner radius by the number of the tool; tools that are not known are left out.
    frame : (3, 3) and (3,) ndarray
        Where the programme's frame is in the part's: ``turn @ point + way``, mm.
    unit_mm, absolute : float, bool or None
        In force before the programme says so.
    skipped : (k,) ndarray of int
        Lines whose motion is in another frame and is not swept.
    is_centre : bool
        Whether the path is the centre's under G41 and G42 too.
    """

    before: Sequence[str]
    after: Sequence[str]
    origin: Rows
    stated: Rows
    place: Array
    gained: Array
    inner: Mapping[int, Sequence[tuple[float, float]]]
    floors: Sequence[tuple[Pocket, Correction]]
    sizes: Mapping[float, tuple[float, float]]
    frame: tuple[Array, Array]
    unit_mm: float | None
    absolute: bool | None
    skipped: Rows
    is_centre: bool

    def run(self) -> Proved:
        """Compare the two, and sweep the floors."""
        self.same_words()
        swept: dict[str, SweptFloor] = {}
        optional = any("/" in line and _IS_OPTIONAL.match(line) for line in self.before)
        for runs in (True, False) if optional else (True,):
            if self.findings:
                break
            old, new = (
                hear_programme(lines, unit_mm=self.unit_mm, absolute=self.absolute, optional=runs)
                for lines in (self.before, self.after)
            )
            for one in self._swept(old, new):
                swept[one.pocket] = max(swept.get(one.pocket, one), one, key=_is_worse)
        return Proved(tuple(self.findings), tuple(swept.values()))

    def _swept(self, old: HeardProgramme, new: HeardProgramme) -> list[SweptFloor]:
        row = self.same_motion(old, new)
        if row is None or not len(old.line):
            return []
        added = self.as_planned(old, new, row, self.same_places(old))
        if self.findings:
            return []
        usable, (turn, way) = ~np.isin(old.line, self.skipped), self.frame
        if self.is_centre:
            old, new = (replace(one, side=np.zeros_like(one.side)) for one in (old, new))
        before = heard_cuts(old, self.frame, self.sizes, usable)
        swept = self.sweep(before, heard_cuts(new, self.frame, self.sizes, usable[row]), self.floors)
        radius = np.zeros(len(old.line))
        for number, (size, _) in self.sizes.items():
            radius[old.tool == number] = size
        tip = (old.tip + old.shift) @ turn.T + way
        self.without_cutter(old, tip, added, usable & (radius == 0))
        self.keep_the_rest(old.line, np.nan_to_num(added), tip[:, :2], radius + 0.1, self.floors)
        return swept

    # -- the text ----------------------------------------------------------------------------------------------------

    def same_words(self) -> None:
        """Every block is the same but for Z; a divided one starts as it did and goes on with words of motion only."""
        rows = np.flatnonzero(self.origin >= 0)
        came = self.origin[rows]
        wanted = [number for number, line in enumerate(self.before) if line]
        starts = np.flatnonzero(np.append(-1, came[:-1]) != came)
        if np.any(np.diff(came) < 0) or came[starts].tolist() != wanted:
            self.fail(-1, "the lines do not come in the order of the original")
            return
        first, last = rows[starts].tolist(), [*(rows[starts[1:] - 1] + 1).tolist(), len(self.after)]
        for number, a, b in zip(wanted, first, last, strict=True):
            old, new = self.before[number], self.after[a:b]
            if new != [old] and not _is_block(old, new):
                self.fail(number, "a block does not come out as it was")
                return

    # -- the motion --------------------------------------------------------------------------------------------------

    def same_motion(self, old: HeardProgramme, new: HeardProgramme) -> Rows | None:
        """Give every motion of the result its motion of the original; None where that cannot be done."""
        row = _found(old.line, self.origin[new.line])
        if len(row) == 0 or row.min() < 0 or np.any(np.diff(row) < 0):
            if len(row) or len(old.line):
                self.fail(-1, "the motions do not come in the order of the original")
            return None
        if np.any(np.diff(row) > 1) or row[0] != 0 or row[-1] != len(old.line) - 1:
            self.fail(-1, f"{len(old.line)} motions went in, and not all of them came out")
            return None
        last = np.append(row[1:] != row[:-1], True)
        pieces = np.bincount(row)[row]
        to_line = (old.kind[row] == BEND) & (new.kind == FEED)
        self.check(old.line[row], (old.kind[row] != new.kind) & ~to_line, "another kind of motion")
        time = np.bincount(row, 1 / new.feed, len(old.line))[row] * old.feed[row]
        feeds = _differs(old.feed[row], new.feed) & ~(np.abs(time - 1) < 0.01) & (new.kind != RAPID)
        self.check(old.line[row], feeds, "another feed")
        self.check(old.line[row], _differs(old.tool[row], new.tool), "another tool")
        self.check(old.line[row], old.side[row] != new.side, "another side of the path")
        away = np.abs(old.tip[row] - new.tip)
        slack = np.where(pieces > 1, _PLAN_MM, _SAME_MM)
        self.check(old.line[row], last & (np.nan_to_num(away[:, :2]).max(axis=1) > slack), "another place in plan")
        lost = np.isnan(old.tip[row]) != np.isnan(new.tip)
        self.check(old.line[row], last & lost.any(axis=1), "a place that is known in one programme only")
        turned = last & (np.abs(old.rotary[row] - new.rotary).max(axis=1) > 1e-3)
        lean = np.linalg.norm(np.cross(old.axis[row], new.axis), axis=1)
        self.check(old.line[row], turned | last & (lean > 2e-5), "another direction of the tool")
        self._inner(old, new, row, last)
        self._arcs(old, new, row)
        return row

    def _inner(self, old: HeardProgramme, new: HeardProgramme, row: Rows, last: Flags) -> None:
        """Dividing points stand on the old way, and the tool leans there as it did."""
        some = np.flatnonzero(~last & (old.kind[row] != BEND))
        rows = row[some]
        start, point, arc = old.start[rows, :2], new.tip[some, :2], old.kind[rows] == TURN
        share, _ = _shares(old, rows, point)
        off = np.hypot(*(point - start - share[:, None] * (old.tip[rows, :2] - start)).T)
        radius, away = (np.hypot(*(place - old.centre[rows]).T) for place in (start, point))
        off[arc] = np.abs(away - radius)[arc]
        back = ~arc & ((share < -1e-6) | (share > 1 + 1e-6))
        self.check(old.line[rows], ~(off <= np.where(arc, _ARC_MM, _PLAN_MM)) | back, "a dividing point off the way")
        between = old.axis0[rows] + share[:, None] * (old.axis[rows] - old.axis0[rows])
        between /= np.maximum(np.linalg.norm(between, axis=1), 1e-9)[:, None]
        turn = np.linalg.norm(old.axis[rows] - old.axis0[rows], axis=1)
        lean = np.linalg.norm(np.cross(between, new.axis[some]), axis=1)
        bad = ~arc & (lean > 1e-4 + 0.02 * turn)
        self.check(old.line[rows], bad, "a direction of the tool between that is not on the way")

    def _arcs(self, old: HeardProgramme, new: HeardProgramme, row: Rows) -> None:
        """The pieces of an arc lie on its circle, and have its radius, its sense and together its angle.

        Ends are looked at before. A third place on the way tells a circle, where a centre found from a radius does not:
        it moves by the rounding of the ends times the radius over the chord.
        """
        arc = old.kind[row] == TURN
        if not arc.any():
            return
        whole = np.bincount(row)[row] == 1
        off = np.hypot(*(old.centre[row] - new.centre).T)
        pieces = np.flatnonzero(arc & ~whole)
        middle, centre = new.on_arcs(pieces, np.full(len(pieces), 0.5)), old.centre[row[pieces]]
        radius = np.hypot(*(old.tip[row[pieces], :2] - centre).T)
        aside = np.abs(np.hypot(*(middle[:, :2] - centre).T) - radius)
        other = np.abs(np.hypot(*(new.tip[pieces, :2] - new.centre[pieces]).T) - radius)
        off[pieces] = np.maximum(aside, other)
        off[np.isnan(old.centre[row, 0])] = 0.0
        self.check(old.line[row], arc & ~(off <= np.where(whole, _SAME_MM, _ARC_MM)), "another arc")
        turn = np.bincount(row, new.turn, len(old.line))
        bad = np.abs(turn - old.turn)[row] > np.where(whole, 1e-6, _ARC_RAD)
        bad |= np.sign(new.turn) != np.sign(old.turn[row])
        self.check(old.line[row], arc & bad, "another angle of an arc")

    # -- heights -----------------------------------------------------------------------------------------------------

    def same_places(self, old: HeardProgramme) -> Rows:
        """Both readers see the same places; return the row of the claim for each motion heard, or -1."""
        at = _found(self.stated, old.line)
        rows = np.flatnonzero(at >= 0)
        away = np.abs(self.place[at[rows]] - old.tip[rows])
        moved = self.gained[at[rows]] != 0
        bad = (away > _SAME_MM).any(axis=1) | (moved & np.isnan(away).any(axis=1))
        if bad.any():
            line = int(old.line[rows[np.flatnonzero(bad)[0]]])
            self.fail(line, "two readers see the tool at different places", int(bad.sum()))
        missing = self.stated[~np.isin(self.stated, old.line) & (self.gained != 0)].tolist()
        missing = [line for line in missing if not _IS_OPTIONAL.match(self.before[line])]
        if missing:
            self.fail(missing[0], "a motion that only one reader sees")
        return at

    def as_planned(self, old: HeardProgramme, new: HeardProgramme, row: Rows, at: Rows) -> Array:
        """Every motion ends as high as planned; return what was added at the end of each motion of the original."""
        last = np.flatnonzero(np.append(row[1:] != row[:-1], True))
        added = new.tip[last, 2] - old.tip[:, 2]
        planned = np.where(at >= 0, self.gained[at], 0.0)
        bad = np.abs(np.nan_to_num(added - planned)) > _ROUNDING_MM
        self.check(old.line, bad, "another height than planned")
        self._on_profile(old, new, row, planned)
        self._bends(old, new, row, planned)
        return np.asarray(added)

    def _on_profile(self, old: HeardProgramme, new: HeardProgramme, row: Rows, planned: Array) -> None:
        """Dividing points stand as high as planned there, or at a place beside as near as the rounding of X and Y."""
        inner = np.flatnonzero(np.append(row[1:] == row[:-1], False) & (old.kind[row] != BEND))
        if not len(inner):
            return
        rows = row[inner]
        share, length = _shares(old, rows, new.tip[inner, :2])
        at, gain = self._profiles(old, np.unique(rows), planned)
        rise = old.tip[rows, 2] - old.start[rows, 2]
        off = []
        for aside in (0.0, -1.0, 1.0):
            there = np.clip(share + aside * _PLAN_MM / length, 0.0, 1.0)
            off.append(new.tip[inner, 2] - old.start[rows, 2] - there * rise - np.interp(2 * rows + there, at, gain))
        slack = _ROUNDING_MM + np.maximum(np.abs(off[1] - off[0]), np.abs(off[2] - off[0]))
        self.check(old.line[rows], ~(np.abs(off[0]) <= slack), "another height within a motion than planned")

    def _bends(self, old: HeardProgramme, new: HeardProgramme, row: Rows, planned: Array) -> None:
        """Arcs in planes that hold Z come out shifted whole, or as chords as high over the arc as planned."""
        whole = np.flatnonzero((old.kind[row] == BEND) & (new.kind == BEND))
        lift = np.zeros((len(whole), 3))
        lift[:, 2] = new.start[whole, 2] - old.start[row[whole], 2]
        moved = new.centre[whole] - old.centre[row[whole]] - old.in_plane(row[whole], lift)
        off = ~(np.hypot(*moved.T) <= _ROUNDING_MM) | (np.abs(new.turn[whole] - old.turn[row[whole]]) > _ARC_RAD)
        wrong = np.zeros(len(row), dtype=bool)
        wrong[whole] = off & (moved == moved).all(axis=1)
        lines = np.flatnonzero((old.kind[row] == BEND) & (new.kind == FEED))
        for one in np.unique(row[lines]).tolist():
            pieces = lines[row[lines] == one]
            gains = [*self.inner.get(int(old.line[one]), ()), (1.0, float(planned[one]))]
            wrong[pieces] = _are_no_chords(old, one, new.tip[pieces], np.array(gains))
        self.check(old.line[row], wrong, "another arc in a plane that holds Z")

    def _profiles(self, old: HeardProgramme, rows: Rows, planned: Array) -> tuple[Array, Array]:
        """What is planned along the divided motions, in one row: twice the motion plus the share, and the gain."""
        follows = (rows > 0) & (old.tip[rows - 1] == old.start[rows]).all(axis=1)
        first = np.where(follows, planned[rows - 1], 0.0)
        at: list[float] = []
        gains: list[float] = []
        for row, gain in zip(rows.tolist(), first.tolist(), strict=True):
            inner = self.inner.get(int(old.line[row]), ())
            at += [2.0 * row, *(2.0 * row + share for share, _ in inner), 2.0 * row + 1]
            gains += [gain, *(one for _, one in inner), float(planned[row])]
        return np.array(at), np.array(gains)

    def without_cutter(self, old: HeardProgramme, tip: Array, added: Array, rows: Flags) -> None:
        """Where the cutter is not known, the tip alone: on a floor it goes no lower than the floor's offset."""
        some = np.flatnonzero(rows & np.isin(old.kind, (FEED, TURN, BEND)) & ~np.isnan(tip).any(axis=1))
        tips = shapely.STRtree(np.asarray(shapely.points(tip[some, :2])))
        for pocket, correction in self.floors:
            near = some[np.sort(tips.query(pocket.polygon))]
            on = near[np.abs(tip[near, 2] - pocket.floor_at(*tip[near, :2].T)) <= _ON_FLOOR_MM]
            on = on[shapely.contains_xy(pocket.polygon, *tip[on, :2].T)]
            bad = on[added[on] < correction.at(*tip[on, :2].T) - TOO_DEEP_MM]
            if len(bad) and correction.action != "hold":
                self.fail(int(old.line[bad[0]]), f"too deep on the floor of pocket {pocket.id}", len(bad))


def _are_no_chords(old: HeardProgramme, one: int, ends: Array, gains: Array) -> bool:
    share = np.append(0.0, gains[:, 0])
    if len(gains) != len(ends) or (np.diff(share) <= 0).any():
        return True
    rows = np.full(len(share), one)
    want = old.on_arcs(rows, share)[1:]
    want[:, 2] += gains[:, 1]
    away = np.abs(want - ends)
    radius = float(np.hypot(*(old.in_plane(rows[:1], old.start[rows[:1]]) - old.centre[rows[:1]])[0]))
    sag = radius * (1 - np.cos(np.minimum(np.abs(old.turn[one]) * np.diff(share), np.pi) / 2))
    return bool((away[:, :2] > _PLAN_MM).any() or (away[:, 2] > _ROUNDING_MM).any() or (sag > _SAG_MM).any())


def _shares(old: HeardProgramme, rows: Rows, points: Array) -> tuple[Array, Array]:
    """Shares of the ways of motions at which points stand, and the lengths of the ways."""
    start, way = old.start[rows, :2], (old.tip - old.start)[rows, :2]
    length = np.maximum(np.hypot(*way.T), 1e-3)
    share = ((points - start) * way).sum(axis=1) / length**2
    arc = np.flatnonzero(old.kind[rows] == TURN)
    a, b = (start - old.centre[rows])[arc], (points - old.centre[rows])[arc]
    turn = old.turn[rows[arc]]
    angle = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    share[arc] = (np.mod(np.sign(turn) * angle + 1e-5, 2 * np.pi) - 1e-5) / np.abs(turn)
    length[arc] = np.hypot(*a.T) * np.abs(turn)
    return share, length


def _is_block(old: str, new: Sequence[str]) -> bool:
    """Whether blocks are an old one with another Z, or its pieces."""
    is_easy = len(new) == 1 and _is_easy(old) and _is_easy(new[0])
    if is_easy and _EASY_Z.sub("", old) == _EASY_Z.sub("", new[0]) and new[0].count("Z") <= 1:
        return True
    if _COMMENT.findall(old.rstrip("\r\n")) != _COMMENT.findall("".join(new[:1]).rstrip("\r\n")):
        return False
    pattern = _Z_WORD if len(new) == 1 else _PIECE_WORDS
    first, was = bare(new[0]).strip("\n"), bare(old).strip("\n")
    first, was = _MOTION_WORD.sub("", first), _MOTION_WORD.sub("", was)
    same = pattern.sub("", first) == pattern.sub("", was) and len(_Z_WORD.findall(first)) <= 1
    rest = [re.sub(r"^/\d?", "", bare(one).strip("\n")) for one in new[1:]]
    return same and not any(_PIECE_WORDS.sub("", one) for one in rest)


def _found(lines: Rows, wanted: Rows) -> Rows:
    """Place of each wanted line among lines, which ascend; -1 where it is not there."""
    at = np.searchsorted(lines, wanted)
    return np.where(np.append(lines, -2)[at] == wanted, at, -1)


def _differs(a: Array, b: Array) -> Flags:
    return np.asarray((a != b) & ~(np.isnan(a) & np.isnan(b)))


def is_heard_alike(one: Sequence[str], other: Sequence[str]) -> bool:
    """Whether two texts make the same motions, one after the other, with blocks behind ``/`` run and left out."""
    names = ("kind", "tip", "rotary", "turn", "feed", "tool", "side", "shift")
    return all(
        np.array_equal(getattr(a, name), getattr(b, name), equal_nan=name != "kind")
        for runs in {True, not any(map(_IS_OPTIONAL.match, one))}
        for a, b in [[hear_programme(lines, optional=runs) for lines in (one, other)]]
        for name in names
    )


def _is_worse(one: SweptFloor) -> tuple[bool, bool, bool, float]:
    """What makes one of two runs the worse for a floor; one that does not cut it says nothing."""
    return one.off_mm == one.off_mm, one.is_off, not one.is_whole, one.deep_mm + one.high_mm
