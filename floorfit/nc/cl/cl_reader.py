"""Read cutter-location data: statements in, a table of locations out; nothing unknown is taken for granted."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Sequence
from itertools import pairwise
from pathlib import Path

from floorfit.errors import Finding
from floorfit.nc.cl import cl_words
from floorfit.nc.cl.locations import UNIT_SLACK, FileFrame, LocationColumns, Locations, Setting, settle_circles
from floorfit.nc.cl.statements import Statement, StatementError, read_statement
from floorfit.nc.motions import CYCLE, JUMP, LINE, OTHER_ARC, RAPID

__all__ = ["is_cutter_location", "read_locations"]

_ANY_POINT = re.compile(rb"^[ \t]*(?:N?\d+[ \t]*)?(?:GO[ \t]*TO|GODLTA|FROM)[ \t]*/", re.IGNORECASE | re.MULTILINE)
_EXTENSIONS = (".cl", ".cld", ".cldata", ".apt")
#: Findings of which no more are collected.
_MOST = 25
_UPRIGHT = (0.0, 0.0, 1.0)
#: Depth of a hole, and how far above its point the rapid to it ends: not known.
_NO_HOLE = (float("nan"), float("nan"))
#: Words of ``CYCLE`` before that height; a unit of feed stands before it where it has no word. From memory.
_RAPID_TO = (("RAPTO", "CLEAR"), ("MMPM", "MMPR", "IPM", "IPR"))


def is_cutter_location(program: bytes | Path) -> bool:
    """Return whether a file is cutter-location data, by what is in it; by its extension where no point is.

    Word-address programmes never have a slash behind a word. A file that cannot be read is none.
    """
    if isinstance(program, bytes):
        return _ANY_POINT.search(program) is not None
    try:
        data = program.read_bytes()
    except OSError:
        return False
    return _ANY_POINT.search(data) is not None or program.suffix.lower() in _EXTENSIONS


def read_locations(
    lines: Sequence[str],
    *,
    source: str,
    units: str | None = None,
    frame: FileFrame | None = None,
    keep: Collection[str] = (),
    tick: Callable[[int], None] | None = None,
) -> Locations:
    """Read a file, linear in its lines.

    Parameters
    ----------
    lines : sequence of str
        The lines with their ends, one character a byte.
    source : str
        Name of the file.
    units : {"mm", "in"} or None
        In force before the file says ``UNITS``.
    frame : FileFrame or None
        Where the file's frame is in the part's.
    keep : collection of str
        Major words that the user states to move nothing.
    tick : callable or None
        Called with the number of lines done, now and then.

    Returns
    -------
    Locations
        With an error in ``findings`` for every statement that cannot be followed.
    """
    reader = _LocationReader(source, units, frame or FileFrame(), keep)
    number = 0
    while number < len(lines) and not reader.ended and len(reader.findings) <= _MOST:
        number = reader.take(lines, number) + 1
        if tick is not None:
            tick(number)
    return reader.table()


class _LocationReader:
    """State between statements; the method ``on_goto`` takes the statements of the word ``GOTO``."""

    def __init__(self, source: str, units: str | None, frame: FileFrame, keep: Collection[str]) -> None:
        self.source, self.keep = source, frozenset(word.upper() for word in keep)
        self.findings: list[Finding] = []
        self.ended = False
        self.unit = cl_words.UNIT_MM.get((units or "").upper())
        self.outer, self.frames = frame, [frame]
        self.setting = Setting(unit_mm=self.unit or 1.0)
        self.known: dict[Setting, int] = {}
        self.index = -1
        self.multax: bool | None = None
        self.at: tuple[float, ...] | None = None
        self.vector: tuple[float, ...] = _UPRIGHT
        self.rapid = self.in_cycle = self.can_step = False
        self.hole = _NO_HOLE
        self.circle = -1
        self.fresh_cutter = False
        self.unknown: dict[str, int] = {}
        self.read = LocationColumns()

    # -- points ------------------------------------------------------------------------------------------------------

    def _point(self, line: int, xyz: tuple[float, ...], stated: bool, relative: bool = False) -> None:
        if self.unit is None:
            self.bad(line, "no-units", "a point before UNITS/MM or UNITS/INCHES. Say --units mm or --units in.")
            self.unit = 1.0
        kind = CYCLE if self.in_cycle else RAPID if self.rapid else OTHER_ARC if self.circle >= 0 else LINE
        self._row(line, kind, xyz, stated, relative)
        self.rapid, self.circle, self.can_step = False, -1, True

    def _row(self, line: int, kind: int, xyz: tuple[float, ...], stated: bool = False, relative: bool = False) -> None:
        if self.index < 0:
            self.index = self.known.setdefault(self.setting, len(self.known))
        circle = self.circle if kind == OTHER_ARC else -1
        hole = self.hole if kind == CYCLE else _NO_HOLE
        self.read.rows.add(line, kind, self.index, *xyz, *self.vector, stated, relative, circle, *hole)
        self.at, self.fresh_cutter = xyz, False

    def change(self, **fields: object) -> None:
        """Another setting from here on."""
        self.setting = self.setting._replace(**fields)  # type: ignore[arg-type]
        self.index = -1

    # -- statements --------------------------------------------------------------------------------------------------

    def bad(self, line: int, code: str, text: str, severity: str = "error") -> None:
        """Note what is wrong in a line."""
        self.findings.append(Finding(code, self.source, f"line {line + 1}", text, severity))

    def take(self, lines: Sequence[str], number: int) -> int:
        """Take the statement that begins in a line; return the index of its last line."""
        try:
            statement = read_statement(lines, number)
        except StatementError as error:
            self.bad(number, "not-a-statement", str(error))
            return error.last
        major = statement.major
        if not major or major in self.keep or major in cl_words.STILL or (major in cl_words.TEXT and major != "INSERT"):
            return statement.last
        try:
            getattr(self, f"on_{major.lower()}", self._other)(statement)
        except ValueError as error:
            self.bad(statement.line, "statement", f"{major}: {error}.")
        return statement.last

    def _other(self, statement: Statement) -> None:
        major, words = statement.major, statement.words
        if major in cl_words.AWAY:
            self._row(statement.line, JUMP, (math.nan,) * 3)
            self.at, self.rapid, self.circle, self.can_step = None, False, -1, False
        elif major in cl_words.REFUSED:
            raise ValueError(f"{cl_words.REFUSED[major]}. Where it changes nothing, say --keep {major}")
        elif major in cl_words.SOURCE or "=" in major or "(" in major or ")" in major:
            raise ValueError("a statement of a part programme, and not of cutter-location data. Process it first")
        elif not re.fullmatch(r"[A-Z_.-]+", major):
            raise ValueError("no major word of cutter-location data. Is the file whole, and plain text?")
        elif statement.numbers or cl_words.FRAME_MINORS & set(words) or any("=" in word for word in words):
            raise ValueError(
                "a word not known here, and it may move the tool or shift its zero. "
                f"Where it does neither, say --keep {major}"
            )
        else:
            self.unknown.setdefault(major, statement.line)

    def on_goto(self, statement: Statement) -> None:
        """``GOTO/x,y,z`` with or without the axis."""
        values = _only_numbers(statement, (3, 6), "3 or 6 expected (x, y, z and the axis)")
        self._take_vector(values[3:])
        self._point(statement.line, tuple(values[:3]), len(values) == 6)

    def _take_vector(self, vector: list[float]) -> None:
        if vector:
            if self.multax is False and tuple(vector) != _UPRIGHT:
                raise ValueError("an axis after MULTAX/OFF. Which of the two holds?")
            self.vector = tuple(vector)
        elif self.multax is False and self.vector != _UPRIGHT:
            raise ValueError("no axis after MULTAX/OFF, and the last one was not upright. State the axis")

    def on_from(self, statement: Statement) -> None:
        """``FROM/x,y,z``: where the tool stands."""
        values = _only_numbers(statement, (3, 6), "3 or 6 expected")
        self._take_vector(values[3:])
        self._need_unit("a point")
        self._row(statement.line, JUMP, tuple(values[:3]), len(values) == 6)
        self.can_step = True

    def on_godlta(self, statement: Statement) -> None:
        """``GODLTA/dx,dy,dz``, or one number along the axis."""
        values = _only_numbers(statement)
        if self.at is None or not self.can_step:
            raise ValueError("an increment, and where it starts is not known. Write GOTO")
        if self.in_cycle:
            raise ValueError("an increment in a cycle: where the tool stands between holes is not known. Write GOTO")
        if len(values) == 1:
            values = [values[0] * part for part in self.vector]
        if len(values) != 3:
            raise ValueError(f"{len(values)} numbers, 3 or 1 expected")
        xyz = tuple(a + b for a, b in zip(self.at, values, strict=True))
        self._point(statement.line, xyz, False, True)

    def on_circle(self, statement: Statement) -> None:
        """``CIRCLE/x,y,z,i,j,k,r``: the next point is reached along it."""
        expected = "7 expected (centre, axis, radius), and at most four tolerances"
        values = _only_numbers(statement, range(7, 12), expected)
        if abs(math.hypot(*values[3:6]) - 1) > UNIT_SLACK or not values[6] > 0:
            raise ValueError("the axis must be of length 1 and the radius above 0")
        if self.at is None:
            raise ValueError("a circle, and where it starts is not known. Write a GOTO before it")
        if self.rapid or self.in_cycle:
            raise ValueError("a circle under RAPID or in a cycle. Which of the two holds?")
        self.circle = len(self.read.circle_lines)
        self.read.circle_lines.append((statement.line, statement.last))
        self.read.circles.extend(values[:7])

    def on_rapid(self, statement: Statement) -> None:
        """``RAPID``: the next motion."""
        if statement.fields:
            raise ValueError("fields behind RAPID, none expected")
        if self.circle >= 0:
            raise ValueError("a circle under RAPID. Which of the two holds?")
        self.rapid = True

    def on_fedrat(self, statement: Statement) -> None:
        """``FEDRAT/f,unit``."""
        words = statement.words
        if "RAPID" in words:
            raise ValueError("RAPID as a feed: whether it lasts is not known. Write RAPID before each motion")
        invers = any(word.startswith(("INVERS", "INVTIM")) for word in words)
        numbers = [] if invers else statement.numbers
        self.change(per="INVERS" if invers else ",".join(words), feed=numbers[0] if len(numbers) == 1 else 0.0)

    def on_units(self, statement: Statement) -> None:
        """``UNITS/MM`` or ``UNITS/INCHES``."""
        name = statement.words[0] if len(statement.words) == 1 and not statement.numbers else ""
        if name not in cl_words.UNIT_MM:
            came = ",".join(field.text for field in statement.fields) or "nothing"
            raise ValueError(f"{came}, MM or INCHES expected")
        if self.at is not None and self.unit not in (None, cl_words.UNIT_MM[name]):
            raise ValueError("another unit after the first point. Split the file there")
        self.unit = cl_words.UNIT_MM[name]
        self.change(unit_mm=self.unit)

    def on_multax(self, statement: Statement) -> None:
        """``MULTAX``, ``MULTAX/ON`` or ``MULTAX/OFF``."""
        text = ",".join(field.text for field in statement.fields)
        if text not in ("", "ON", "OFF"):
            raise ValueError(f"{text}, ON or OFF expected")
        self.multax = text != "OFF"

    def on_tlaxis(self, statement: Statement) -> None:
        """``TLAXIS/i,j,k``: the axis of what follows."""
        self.vector = tuple(_only_numbers(statement, (3,), "3 expected"))

    def on_cutter(self, statement: Statement) -> None:
        """``CUTTER/d,r,e,f,a,b,h``: at least the diameter."""
        values = _only_numbers(statement, range(1, 8), "1 to 7 expected")
        unit = self._need_unit("lengths")
        d, r = values[0], values[1] if len(values) > 1 else 0.0
        if not d > 0 or not r >= 0:
            raise ValueError("the diameter must be above 0 and the corner radius not below 0")
        e, f, a, b, h = (*values[2:], *(d / 2 - r, r, 0.0, 0.0, 0.0)[len(values[2:]) :])
        lengths = [length * unit for length in (d, r, e, f)]
        self.change(cutter=(*lengths, math.radians(a), math.radians(b), h * unit))
        self.fresh_cutter = True

    def on_loadtl(self, statement: Statement) -> None:
        """``LOADTL/n`` and its likes: another tool, whose cutter must be stated."""
        tool = statement.fields[0].text if statement.fields else ""
        if tool != self.setting.tool:
            self.change(tool=tool, cutter=self.setting.cutter if self.fresh_cutter else None)
        self.fresh_cutter = False

    on_tlno = on_toolno = on_turret = on_loadtl

    def on_cutcom(self, statement: Statement) -> None:
        """``CUTCOM``: the control's own offset, sideways or along the tool."""
        words = statement.words
        if not {"LENGTH", "ADJUST", "NORMDS", "NORMPS"} & set(words):
            self.change(compensated=not {"OFF", "NOMORE"} & set(words))
        elif {"NORMDS", "NORMPS"} & set(words):
            raise ValueError("an offset in space by the control. Have the file written without it")

    def on_cycle(self, statement: Statement) -> None:
        """``CYCLE/...``: the points that follow are holes, up to ``CYCLE/OFF``."""
        self.in_cycle = not {"OFF", "NOMORE"} & set(statement.words)
        fields = statement.fields
        deep = [b.number for a, b in pairwise(fields) if a.text == "DEPTH"] or [one.number for one in fields[1:2]]
        rapid_to = [b.number for names in _RAPID_TO for a, b in pairwise(fields) if a.text in names]
        self.hole = _first_number(deep), _first_number(rapid_to)

    def on_opskip(self, statement: Statement) -> None:
        """``OPSKIP/ON`` and ``OPSKIP/OFF``."""
        self.change(optional="OFF" not in statement.words)

    def on_trans(self, statement: Statement) -> None:
        """``TRANS/x,y,z``: added to what follows."""
        values = [] if "NOMORE" in statement.words else _only_numbers(statement, (0, 3), "3 expected")
        x, y, z = values or (0.0, 0.0, 0.0)
        self._frame([1, 0, 0, x, 0, 1, 0, y, 0, 0, 1, z])

    def on_tracut(self, statement: Statement) -> None:
        """``TRACUT/`` with 12 numbers, or ``NOMORE``."""
        off = [field.text for field in statement.fields] == ["NOMORE"]
        self._frame([1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0] if off else _only_numbers(statement))

    def _need_unit(self, what: str) -> float:
        if self.unit is None:
            raise ValueError(f"{what} before UNITS/MM or UNITS/INCHES. Say --units mm or --units in")
        return self.unit

    def _frame(self, numbers: Sequence[float]) -> None:
        self.frames.append(self.outer.after(FileFrame.of(list(numbers), self._need_unit("lengths"))))
        self.change(frame=len(self.frames) - 1)
        self.can_step, self.circle = False, -1

    def on_insert(self, statement: Statement) -> None:
        """``INSERT text``: handed to the control as it is."""
        text = statement.fields[0].text.upper()
        if cl_words.INSERT_MOVES.search(re.sub(r"\(.*?\)", "", text).lstrip("/ ")):
            raise ValueError(
                "a G word or an axis word handed to the control: it may move the tool or shift its zero. "
                "Where it does neither, say --keep INSERT"
            )

    def on_prefun(self, statement: Statement) -> None:
        """``PREFUN/n``: a G word for the control."""
        moving = sorted(set(statement.numbers) - cl_words.PREFUN_STILL)
        if moving:
            raise ValueError(
                f"G{moving[0]:g} handed to the control: it may move the tool or shift its zero. "
                "Where it does neither, say --keep PREFUN"
            )

    def on_fini(self, _statement: Statement) -> None:
        """``FINI``: nothing is read behind it."""
        self.ended = True

    def table(self) -> Locations:
        """The rows as arrays; with the findings."""
        for word, line in self.unknown.items():
            text = f"{word} is not known here; it carries no number and is kept as it is."
            self.bad(line, "unknown-word", text, "warning")
        for line, text in self.read.faults():
            self.bad(line, "point", text)
        return settle_circles(self.read.table(tuple(self.known), tuple(self.frames)), self.source, self.findings)


def _only_numbers(statement: Statement, counts: Collection[int] = (), expected: str = "") -> list[float]:
    """Fields that are all numbers, and as many as may be; any number of them where no counts are given."""
    if statement.words:
        raise ValueError(f"{statement.words[0]} is no number")
    if counts and len(statement.numbers) not in counts:
        raise ValueError(f"{len(statement.numbers)} numbers, {expected}")
    return statement.numbers


def _first_number(numbers: Sequence[float | None]) -> float:
    return next((one for one in numbers if one is not None), float("nan"))
