"""Write planned offsets into cutter-location data: points changed, motions divided, every other byte kept.

The offset goes along Z of the part. Where the file's frame is turned against the part's, all three coordinates of a
point change; else only its third number does. The axis is never changed: where a motion is divided, tip and vector go
evenly from one end to the other, as a control with a linear interpolation of tip and vector takes them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding
from floorfit.nc.arcs import chords
from floorfit.nc.cl.locations import Locations, arcs_of
from floorfit.nc.cl.statements import Statement, StatementField, bare, read_statement, sequence_end
from floorfit.nc.header import line_end
from floorfit.nc.motions import JUMP, OTHER_ARC, RAPID
from floorfit.nc.numbers import decimals_for, decimals_of, decimals_to_show, default_decimals, in_style

__all__ = ["CHORD_MM", "LocationWriter"]

#: Height of the chords that take the place of a circle whose offset changes along it, mm. Own choice, no source.
CHORD_MM = 0.002
#: Columns of a line, where no line of the file has more (a card; common practice, no source).
_CARD_COLUMNS = 72
#: Decimals of a vector's components in a point that was not there before: 0.0001 degree.
_VECTOR_DECIMALS = 6
#: Offsets that are the same, mm.
_SAME_MM = 1e-9
#: A point alone in its line, and its third number, if that has neither plus sign nor exponent.
_POINT = re.compile(r"[^,$/]*+/[^,$]*+,[^,$]*+,[ \t]*+(-?\d++(?:\.\d*+)?+)(?=[ \t]*+(?:[,\r\n]|\Z))[^$]*+\Z")


@dataclass
class LocationWriter:
    """Writes planned offsets into the lines of a file.

    Then ``blocks`` has the new text in place of a line, by line index: one line or several, an empty list where it is
    taken out; ``rows`` those whose statement is written differently; ``findings`` statements that could not be written,
    and circles that became points.

    Parameters
    ----------
    lines : sequence of str
        The file.
    found : Locations
        What it does.
    node : (n,) ndarray, mm
        Offset at the end of each row.
    breaks : mapping of int to sequence of (float, float)
        Rows to be divided: share of the way and offset there, in order; a share may come twice, for a lift on the spot.
    source : str
        Name of the file.
    fine : (n,) ndarray of bool
        Rows whose whole offset would round to nothing: they get more decimals.
    """

    lines: Sequence[str]
    found: Locations
    node: Array
    breaks: Mapping[int, Sequence[tuple[float, float]]]
    source: str
    fine: Flags

    def __post_init__(self) -> None:
        """Look at all lines once."""
        lines, found = self.lines, self.found
        self.blocks: dict[int, str | list[str]] = {}
        self.rows, self.findings = set[int](), list[Finding]()
        self.line_end = line_end(lines)
        self.narrow = all(len(line) <= _CARD_COLUMNS or len(line.rstrip("\r\n")) <= _CARD_COLUMNS for line in lines)
        up = [frame.rotation.T @ np.array([0.0, 0.0, 1.0]) for frame in found.frames]
        self.up = [np.where(np.abs(one) < 1e-12, 0.0, one) for one in up]
        turned = np.array([not np.array_equal(one, [0.0, 0.0, 1.0]) for one in self.up], dtype=bool)
        frames = found.field("frame").astype(int)
        special = self.fine | found.relative | (found.kind == OTHER_ARC) | turned[frames]
        special[list(self.breaks)] = True
        self.special = special

    def run(self, tick: Callable[[int], None] | None) -> None:
        """Write the lines that change.

        Parameters
        ----------
        tick : callable or None
            Called with the number of lines done, now and then.
        """
        found, node = self.found, self.node
        start = np.concatenate([[0.0], node[:-1]])
        busy = np.where(found.relative, np.abs(node - start) > _SAME_MM, node != 0)
        busy |= (found.kind == OTHER_ARC) & (start != 0)
        busy[list(self.breaks)] = True
        busy &= found.kind != JUMP
        for row in np.flatnonzero(busy).tolist():
            if not self._is_shifted(row, float(node[row])):
                self._row(row, float(start[row]), float(node[row]))
            if tick is not None and row % 5000 == 0:
                tick(int(found.line[row]))
        self._wrap_all()

    def _is_shifted(self, row: int, dz: float) -> bool:
        """Shift a point that stands alone in its line, as nearly all do; say whether it is one."""
        line = int(self.found.line[row])
        text, unit = self.lines[line], self.found.settings[self.found.setting[row]].unit_mm
        point = None if self.special[row] or len(text) > _CARD_COLUMNS else _POINT.match(text)
        if not point:
            return False
        old, decimals = float(point[1]), max(default_decimals(unit), decimals_of(point[1]))
        value = round(old + dz / unit, decimals)
        if value != old:
            self.blocks[line] = text[: point.start(1)] + in_style(value, "", decimals) + text[point.end(1) :]
            self.rows.add(row)
        return True

    def _row(self, row: int, start: float, end: float) -> None:
        found = self.found
        try:
            statement = read_statement(self.lines, int(found.line[row]))
            if found.kind[row] == OTHER_ARC:
                self._arc(row, statement, start, end)
            else:
                self._pieces(row, statement, list(self.breaks.get(row, ())), end)
        except ValueError as error:
            text = f"{error}. Rewrite the statement by hand."
            self.findings.append(Finding("cannot-write", self.source, f"line {found.line[row] + 1}", text))
        self.rows.add(row)

    def _wrap_all(self) -> None:
        for line, block in self.blocks.items() if self.narrow else ():
            if isinstance(block, list) or len(block) > _CARD_COLUMNS:
                self.blocks[line] = [piece for text in self._block(line) for piece in self._wrapped(text)]

    def _block(self, line: int) -> list[str]:
        """What stands in place of a line so far."""
        block = self.blocks.get(line, self.lines[line])
        return block if isinstance(block, list) else [block]

    # -- arcs --------------------------------------------------------------------------------------------------------

    def _arc(self, row: int, statement: Statement, start: float, end: float) -> None:
        """Shift a circle whole, or put points in its place."""
        first, last = self.found.circle_lines[self.found.circle[row]].tolist()
        if row not in self.breaks and abs(start - end) <= _SAME_MM:
            self._move(row, end, read_statement(self.lines, first).fields[:3])
            self._pieces(row, statement, [], end)
            return
        for line in range(first, last + 1):
            self.blocks[line] = []
        shares, offsets = self._chords(row, start, end)
        text = "the offset changes along this circle: points within 0.002 mm of it take its place."
        self.findings.append(Finding("circle-divided", self.source, f"line {first + 1}", text, "warning"))
        self._pieces(row, statement, list(zip(shares[:-1], offsets[:-1], strict=True)), end)

    def _chords(self, row: int, start: float, end: float) -> tuple[list[float], list[float]]:
        """Shares and offsets of points so near to each other that their chords keep to the circle."""
        radius = float(self.found.circles[self.found.circle[row], 6])
        sweep = float(arcs_of(self.found, np.array([row])).sweep[0])
        shares, offsets = chords(radius, sweep, CHORD_MM, [(0.0, start), *self.breaks.get(row, ()), (1.0, end)])
        return shares[1:].tolist(), offsets[1:].tolist()

    # -- points ------------------------------------------------------------------------------------------------------

    def _pieces(self, row: int, statement: Statement, inner: list[tuple[float, float]], end: float) -> None:
        if inner and bool(self.found.field("compensated")[row]):
            raise ValueError("the motion must be divided, and CUTCOM is on: more points change the path")
        if inner and str(self.found.field("per")[row]) == "INVERS":
            raise ValueError("the motion must be divided, and its feed is a time: it would have to be divided too")
        lines = self._inner_lines(row, statement, inner) if inner else []
        self._last(row, statement, end)
        if lines:
            self.blocks[statement.line] = [*lines, *self._block(statement.line)]

    def _last(self, row: int, statement: Statement, end: float) -> None:
        """The statement's own point; an increment becomes a point, since what stands before it has moved."""
        if not self.found.relative[row]:
            self._move(row, end, statement.fields[:3])
            return
        if statement.last != statement.line:
            raise ValueError("an increment over several lines must become a point")
        text = self.lines[statement.line]
        rest = text[statement.fields[-1].end :]
        numbers = self._numbers(row, np.array([1.0]), [end], statement)
        self.blocks[statement.line] = self._head(statement) + numbers[0] + rest

    def _move(self, row: int, dz: float, fields: Sequence[StatementField]) -> None:
        """Add ``dz`` along Z of the part to three numbers."""
        setting = self.found.settings[self.found.setting[row]]
        up = self.up[setting.frame]
        # From the last to the first, so that the places of earlier fields in the same line stay right.
        for one, share in reversed(list(zip(fields, up.tolist(), strict=True))):
            if not share or not dz:
                continue
            decimals = self._decimals(one.text, setting.unit_mm)
            if self.fine[row]:
                decimals = decimals_to_show(dz, setting.unit_mm, decimals)
            old = float(one.number or 0.0)
            value = round(old + dz * share / setting.unit_mm, decimals)
            if value != old:
                self._replace(one, in_style(value, _plain(one.text), decimals))

    def _decimals(self, raw: str, unit: float) -> int:
        given = _VECTOR_DECIMALS if {"E", "D"} & set(raw.upper()) else decimals_of(raw)
        return max(default_decimals(unit), given)

    def _replace(self, one: StatementField, text: str) -> None:
        *before, line = self._block(one.line) or [self.lines[one.line]]
        body, end = line[: len(line.rstrip("\r\n"))], line[len(line.rstrip("\r\n")) :]
        statement = bare(line)
        card = body[len(statement) :]
        changed = statement[: one.start] + text + statement[one.end :]
        if card:
            if changed[_CARD_COLUMNS:].strip():
                raise ValueError("the longer number does not fit before the number of the card")
            changed = changed[:_CARD_COLUMNS].ljust(_CARD_COLUMNS)
        self.blocks[one.line] = [*before, changed + card + end]

    # -- pieces ------------------------------------------------------------------------------------------------------

    def _inner_lines(self, row: int, statement: Statement, inner: list[tuple[float, float]]) -> list[str]:
        """Lines of the points inside a motion, each a ``GOTO``; ``RAPID`` again behind each of a rapid motion."""
        head, (shares, offsets) = self._head(statement), zip(*inner, strict=True)
        rapid = head[:-5] + ("rapid" if head.islower() else "RAPID") + self.line_end
        behind = [rapid] if self.found.kind[row] == RAPID else []
        numbers = self._numbers(row, np.array(shares), offsets, statement)
        return [line for text in numbers for line in (head + text + self.line_end, *behind)]

    def _numbers(self, row: int, shares: Array, offsets: Sequence[float], statement: Statement) -> list[str]:
        """Numbers of points at shares of a motion, as text."""
        found = self.found
        tips, axes = self._between(row, shares)
        tips[:, 2] += offsets
        setting = found.settings[found.setting[row]]
        frame = found.frames[setting.frame]
        points, vectors = (tips - frame.shift) @ frame.rotation / setting.unit_mm, axes @ frame.rotation
        raws = [one.text for one in statement.fields]
        decimals = max(default_decimals(setting.unit_mm), *(self._decimals(raw, setting.unit_mm) for raw in raws[:3]))
        if found.relative[row]:
            place = (found.tip[row] - frame.shift) @ frame.rotation / setting.unit_mm
            decimals = max(decimals, *(decimals_for(float(value), setting.unit_mm) for value in place))
        sharp = max([_VECTOR_DECIMALS, *map(decimals_of, raws[3:])])
        stated = bool(found.vector[row]) or (bool(found.relative[row]) and bool(found.vector.any()))
        out = []
        for point, vector in zip(points.tolist(), vectors.tolist(), strict=True):
            texts = [in_style(value, "", decimals) for value in point]
            out.append(",".join(texts + ([in_style(value, "", sharp) for value in vector] if stated else [])))
        return out

    def _head(self, statement: Statement) -> str:
        """What stands before the numbers, with the sequence number of the statement and its case."""
        text = self.lines[statement.line]
        start = sequence_end(text)
        return text[:start] + ("goto/" if text[start : text.index("/")].islower() else "GOTO/")

    def _between(self, row: int, shares: Array) -> tuple[Array, Array]:
        """Tip and axis at shares of a motion."""
        found, at = self.found, shares[:, None]
        axes = found.start_axis[row] + at * (found.axis[row] - found.start_axis[row])
        length = np.linalg.norm(axes, axis=1)
        if (length < 0.5).any():
            raise ValueError("the axis turns by more than 120 degrees in a motion that must be divided")
        axes = axes / length[:, None]
        if found.kind[row] == OTHER_ARC:
            return arcs_of(found, np.array([row])).points(np.full(len(shares), row), shares), axes
        return found.start[row] + at * (found.tip[row] - found.start[row]), axes

    def _wrapped(self, text: str) -> list[str]:
        """A statement in lines of at most 72 columns, where no line of the file has more."""
        out = []
        body, end = text.rstrip("\r\n"), text[len(text.rstrip("\r\n")) :]
        while len(body) > _CARD_COLUMNS and "$" not in body and "," in body[: _CARD_COLUMNS - 1]:
            cut = body.rindex(",", 0, _CARD_COLUMNS - 1) + 1
            out.append(body[:cut] + "$" + self.line_end)
            body = "  " + body[cut:]
        return [*out, body + end]


def _plain(raw: str) -> str:
    """A number's own style without an exponent."""
    return raw.upper().split("E")[0].split("D")[0]
