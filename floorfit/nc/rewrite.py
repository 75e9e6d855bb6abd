"""Write the planned offsets into the text: Z words changed or added, motions divided, every other byte kept."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cached_property

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding
from floorfit.nc.arcs import PLANE_AXES
from floorfit.nc.codes import GROUP, code_of
from floorfit.nc.edit import Piece, as_line, divide, find_z, insert_word, lead_with, replace_number
from floorfit.nc.header import line_end
from floorfit.nc.motions import FLOW, JUMP, OTHER_ARC, Modal
from floorfit.nc.numbers import decimals_for, decimals_of, decimals_to_show, default_decimals, in_style
from floorfit.nc.shifts import Origin, moved_zeros, tip_path
from floorfit.nc.tip_path import TipPath
from floorfit.nc.tools import Tools
from floorfit.nc.understood import Understood
from floorfit.nc.words import constant, read_block

__all__ = ["PlanWriter"]

#: Greatest turn of a piece written by its radius, radians. Over half a turn R would have to be negative, and near it
#: the rounding of the ends moves the middle without bound; at 120 degrees by 0.87 of it (sagitta of a chord).
_MOST_BY_RADIUS = 2 * np.pi / 3
#: A number as such, without parameter or expression.
_PLAIN = re.compile(r"[-+]?[\d.]+")
#: A corner that the control rounds or cuts (dialect).
_CORNER = re.compile(r",[ \t]*[RrCc]")
#: What may be left of an offset, mm, where it ends.
_NOTHING_LEFT_MM = 1e-9


class PlanWriter:
    """Writes what is planned into the blocks of a programme.

    Then ``blocks`` has the new text of the blocks that change, by line index, a list for a divided one; ``offset``
    what was really added at the end of each row, after rounding, (n,), mm; ``findings`` what could not be written.

    Parameters
    ----------
    seen : Understood
        The programme.
    fine : (n,) ndarray of bool
        Rows that end on a floor whose whole offset would round to nothing: they get more decimals.
    """

    def __init__(self, seen: Understood, fine: Flags) -> None:
        """Look at all motions once."""
        self.lines, self.plan, self.source, self.fine = seen.lines, seen.gains, seen.source, fine
        motions = self.motions = seen.motions
        self.blocks: dict[int, str | list[str]] = {}
        self.offset, self.findings = np.zeros(len(motions)), list[Finding]()
        self.line_end, self.zeros, self.carried = line_end(self.lines), moved_zeros(motions), 0.0
        self.line_of, self.kind_of, self.modal_of = motions.line.tolist(), motions.kind.tolist(), motions.modal.tolist()

    def run(self, tick: Callable[[int], None] | None) -> None:
        """Write the blocks that change.

        Parameters
        ----------
        tick : callable or None
            Called with the number of lines done, now and then.
        """
        start, end = self.plan.start(), self.plan.node
        busy = (start != 0) | (end != 0)
        busy[list(self.plan.breaks)] = True
        last = -2
        for row in np.flatnonzero(busy).tolist():
            self.carried = self.carried if row == last + 1 else 0.0
            self._row(row, float(end[row]))
            self.offset[row] = self.carried
            last = row
            if tick is not None and row % 5000 == 0:
                tick(self.line_of[row])
        for row in sorted(self.plan.breaks):
            if self.kind_of[row] == OTHER_ARC:
                self._restate(row)

    def _restate(self, row: int) -> None:
        """Behind an arc that became lines: a block that goes on in its motion mode must name that mode."""
        after = row + 1
        if after >= len(self.line_of) or (after in self.plan.breaks and self.kind_of[after] == OTHER_ARC):
            return
        number = self.line_of[after]
        for text in self.lines[self.line_of[row] + 1 : number + 1]:
            codes = [code_of(word.value) for word in read_block(text).words if word.letter == "G"]
            if any(GROUP.get(code) == "motion" for code in codes):
                return
        word = f"G{self.motions.modals[self.modal_of[row]].motion // 10}"
        block = self.blocks.get(number, self.lines[number])
        is_one = isinstance(block, str)
        self.blocks[number] = lead_with(block, word) if is_one else [lead_with(block[0], word), *block[1:]]

    def _row(self, row: int, end: float) -> None:
        modal = self.motions.modals[self.modal_of[row]]
        if self.kind_of[row] in (JUMP, FLOW):
            self.carried = 0.0 if np.isnan(self.motions.xyz[row, 2]) else self.carried
            return
        number = self.line_of[row]
        try:
            if row in self.plan.breaks:
                self._divide(row, number, modal, end)
            else:
                self._shift(row, number, modal, end)
            if end == 0 and abs(self.carried) > _NOTHING_LEFT_MM:
                raise ValueError("the offset of a floor ends here, and Z in the unit in force cannot say so exactly")
        except ValueError as error:
            text = f"{error}. Rewrite the block by hand."
            self.findings.append(Finding("cannot-write", self.source, f"line {number + 1}", text))

    def _shift(self, row: int, number: int, modal: Modal, end: float) -> None:
        text = self.lines[number]
        span = find_z(text)
        unit = modal.unit_mm
        if span is None:
            base = float(self.motions.xyz[row, 2]) if modal.absolute else -self.carried
            gap = abs(end - self.carried)
            if gap < 1e-9:
                return
            decimals = self._enough(row, end, unit, decimals_for(base / unit, unit))
            if end != 0 and gap <= 0.5 * unit * 10.0**-decimals:
                return
            value = round((base + end) / unit, decimals)
            self.blocks[number] = insert_word(text, in_style(value, "", decimals))
            self.carried = value * unit - base
            return
        raw = "".join(text[span[0] : span[1]].split())
        if not _PLAIN.fullmatch(raw):
            if np.isnan(self.motions.xyz[row, 2]) and end == 0 and (modal.absolute or self.carried == 0):
                self.carried = 0.0
                return
            if np.isnan(constant(raw)) and modal.absolute and not np.isnan(self.motions.xyz[row, 2]):
                self._add_to(raw, span, row, end)
                return
            old, raw = constant(raw), ""
            if np.isnan(old):
                raise ValueError(
                    "Z is a parameter or an expression, and the offset of a floor would have to go into it"
                )
        else:
            old = float(raw)
        decimals = self._enough(row, end, unit, max(decimals_of(raw), default_decimals(unit)))
        decimals = self._to_return(end, modal, decimals)
        change = (end if modal.absolute else end - self.carried) / unit
        value = round(old + change, decimals)
        if value != old:
            self.blocks[number] = replace_number(text, span, in_style(value, raw, decimals))
        self.carried = (value - old) * unit + (0.0 if modal.absolute else self.carried)

    def _add_to(self, raw: str, span: tuple[int, int], row: int, end: float) -> None:
        """Put the offset beside a parameter whose value is known, so that it counts for another value as well."""
        number, unit = self.line_of[row], self.motions.modals[self.modal_of[row]].unit_mm
        decimals = self._enough(row, end, unit, default_decimals(unit))
        change = round(end / unit, decimals)
        inner = raw[1:-1] if raw.startswith("[") and raw.endswith("]") and raw.count("[") == 1 else raw
        if change:
            self.blocks[number] = replace_number(self.lines[number], span, f"[{inner}{change:+.{decimals}f}]")
        self.carried = change * unit

    def _enough(self, row: int, end: float, unit: float, least: int) -> int:
        return decimals_to_show(end, unit, least) if end and self.fine[row] else least

    def _to_return(self, end: float, modal: Modal, least: int) -> int:
        """Decimals in which an increment that ends the offset takes back all of it, whatever block wrote it finer."""
        if end != 0 or modal.absolute:
            return least
        return max(least, decimals_for(self.carried / modal.unit_mm, modal.unit_mm))

    def _divide(self, row: int, number: int, modal: Modal, end: float) -> None:
        text, unit = self.lines[number], modal.unit_mm
        if _CORNER.search(text) or (row and _CORNER.search(self.lines[self.line_of[row - 1]])):
            raise ValueError("the motion would have to be divided, and a corner of it is rounded or cut (,R or ,C)")
        if self.kind_of[row] == OTHER_ARC:
            text = as_line(text)
        words = {word.letter: text[word.number : word.end] for word in read_block(text).words}
        if any("#" in raw for raw in words.values()):
            raise ValueError("the block has a parameter, and would have to be divided")
        decimals = max(
            [decimals_of(raw) for letter, raw in words.items() if letter in "XYZIJR"]
            + [decimals_for(value, unit) for value in (self.motions.xyz[row] / unit).tolist()]
        )
        decimals = self._to_return(end, modal, decimals)
        if self.motions.is_arc[row] and self.motions.turns[row]:
            raise ValueError("an arc of several turns would have to be divided")
        shares, offsets = self._places(row, end, "R" in words)
        pieces = self._pieces(row, modal, shares, offsets, decimals, "R" not in words)
        reached = pieces[-1].end["Z"] * unit
        if not modal.absolute:
            pieces = self._increments(row, pieces, unit, decimals)
            reached = float(self.motions.start[row, 2]) + self.carried + sum(piece.end["Z"] for piece in pieces) * unit
        self.blocks[number] = divide(text, pieces, decimals, self.line_end, is_absolute=modal.absolute)
        self.carried = reached - float(self.motions.xyz[row, 2])

    def _places(self, row: int, end: float, by_radius: bool) -> tuple[Array, Array]:
        """Ends of the pieces, and the offsets there; by radius, no piece turns more than `_MOST_BY_RADIUS`."""
        shares = np.array([share for share, _ in self.plan.breaks[row]] + [1.0])
        offsets = np.array([dz for _, dz in self.plan.breaks[row]] + [end])
        if not by_radius or not self.motions.is_arc[row]:
            return shares, offsets
        first = np.concatenate([[0.0], shares[:-1]])
        turn = (shares - first) * abs(self.motions.sweep[row])
        counts = np.ceil(turn / _MOST_BY_RADIUS).astype(int).clip(1)
        more = np.concatenate(
            [np.linspace(a, b, count + 1)[1:] for a, b, count in zip(first, shares, counts, strict=True)]
        )
        at = np.concatenate([[0.0], shares])
        return more, np.interp(more, at, np.concatenate([[self.plan.node[row - 1] if row else 0.0], offsets]))

    def _increments(self, row: int, pieces: list[Piece], unit: float, decimals: int) -> list[Piece]:
        """The same pieces as increments; what rounding leaves over goes into the last."""
        motions = self.motions
        first = [*(motions.start[row] / unit).tolist(), *motions.start_abc[row].tolist()]
        start = dict(zip("XYZABC", first, strict=True))
        start["Z"] += self.carried / unit
        final = dict(zip("XY", (motions.xyz[row, :2] / unit).tolist(), strict=True))
        done, out = dict.fromkeys(start, 0.0), []
        for piece in pieces:
            end = dict(piece.end)
            for letter in start.keys() & end.keys():
                places = decimals if letter in "XYZ" else 4
                to = final.get(letter, end[letter]) if piece is pieces[-1] else end[letter]
                way = round(to - start[letter], places)
                end[letter], done[letter] = round(way - done[letter], places), way
            out.append(Piece(end, piece.centre))
        return out

    @cached_property
    def _way(self) -> TipPath:
        """The motions in the frame of the programme's work offset."""
        return tip_path(self.motions, Tools(), np.ones(len(self.motions), bool), Origin())

    def _pieces(
        self, row: int, modal: Modal, shares: Array, offsets: Array, decimals: int, centred: bool
    ) -> list[Piece]:
        motions, unit = self.motions, modal.unit_mm
        points = self._way.points(np.full(len(shares), row), shares) - self.zeros[row]
        points[:, 2] += offsets
        arc, first_xy = bool(motions.is_arc[row]), motions.start[row]
        planes = PLANE_AXES[modal.plane][:2] if self.kind_of[row] == OTHER_ARC else ()
        first, last = motions.start_abc[row], motions.abc[row]
        turning = [index for index in range(3) if first[index] != last[index]]
        moving = [index for index in (0, 1) if arc or index in planes or first_xy[index] != motions.xyz[row, index]]
        before = motions.start[row, :2] / unit
        pieces = []
        last_share = 0.0
        for share, point in zip(shares.tolist(), (points / unit).tolist(), strict=True):
            end = {"XY"[index]: round(point[index], decimals) for index in moving}
            end["Z"] = round(point[2], decimals)
            end.update({"ABC"[index]: float(first[index] + share * (last[index] - first[index])) for index in turning})
            end.update(self._extra_words(row, modal, share, last_share))
            last_share, centre = share, None
            if arc and centred:
                i, j = motions.centre[row] / unit - (0.0 if modal.arc_absolute else before)
                centre = (float(i), float(j))
            pieces.append(Piece(end, centre))
            before = np.array([end.get("X", before[0]), end.get("Y", before[1])])
        return pieces

    def _extra_words(self, row: int, modal: Modal, share: float, before: float) -> dict[str, float]:
        """Tool vector and inverse-time feed of a piece (RS274/NGC: F is 1 over the minutes that the block takes)."""
        out: dict[str, float] = {}
        vectors = self.motions.vector
        if row and modal.length[0] == 435 and (vectors[row] != vectors[row - 1]).any():
            vector = vectors[row - 1] + share * (vectors[row] - vectors[row - 1])
            out.update(zip("IJK", (vector / np.linalg.norm(vector)).tolist(), strict=True))
        if modal.feed_mode == 930:
            out["F"] = float(self.motions.feed[row] / (share - before))
        return out
