"""Which cutter is in the spindle: stated on the command line, in a small table, or by a comment the user describes."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding, InputError
from floorfit.json_file import read_text
from floorfit.nc.cutter import NEEDLE, Cutter
from floorfit.nc.motions import Motions
from floorfit.units import MM_PER_UNIT

__all__ = ["Tools", "joined", "listed", "read_tool_comments", "read_tool_table", "tool_of"]

#: Largest cutter believed, mm: a greater one is more often a wrong unit. Own choice, no source.
_LARGEST_MM = 400.0


@dataclass(frozen=True)
class Tools:
    """The cutters that are known.

    Parameters
    ----------
    by_number : mapping of int to Cutter
        By the number of the T word.
    every : Cutter or None
        The cutter of every tool that has no entry.
    """

    by_number: Mapping[int, Cutter] = field(default_factory=dict)
    every: Cutter | None = None

    def get(self, number: float) -> Cutter | None:
        """Return the cutter of a T number, or None where nothing is known; the only one where there is no T word."""
        if number < 0 and len(self.by_number) == 1 and self.every is None and number == -1.0:
            return next(iter(self.by_number.values()))
        return self.by_number.get(int(number), self.every)

    def of(self, motions: Motions) -> tuple[Rows, list[Cutter]]:
        """Return the cutter of each row as an index, and the cutters that occur."""
        numbers, which = np.unique(self.numbers(motions), return_inverse=True)
        index, cutters = listed([self.get(number) for number in numbers.tolist()])
        return index[which], cutters

    @staticmethod
    def numbers(motions: Motions) -> Array:
        """T number in the spindle for each row: of the last M6, or of the T word where there is no M6; -1: none."""
        tool = motions.field("tool").astype(float)
        return np.where(tool == -1.0, motions.field("selected").astype(float), tool)


def listed(cutters: Sequence[Cutter | None]) -> tuple[Rows, list[Cutter]]:
    """Return an index for each cutter, and the cutters that occur; `NEEDLE` stands for one not known, or for none."""
    known = [cutter or NEEDLE for cutter in cutters]
    every = list(dict.fromkeys(known)) or [NEEDLE]
    return np.array([every.index(cutter) for cutter in known], int), every


def tool_of(text: str) -> tuple[int | None, Cutter]:
    """Read ``[T=]DIAMETER[,CORNER]``, lengths in mm.

    Returns
    -------
    number : int or None
        The T number; None where the cutter stands for every tool.
    cutter : Cutter

    Raises
    ------
    InputError
        If it is not of that form, or no cutter has that shape.
    """
    match = re.fullmatch(r"\s*(?:[Tt]?(\d+)\s*=)?\s*([\d.]+)\s*(?:,\s*([\d.]+)\s*)?", text)
    try:
        if match:
            number = None if match[1] is None else int(match[1])
            return number, _cutter(float(match[2]), float(match[3] or 0.0))
    except ValueError as error:
        raise InputError(f"--tool {text}: {error}.") from error
    raise InputError(f"--tool {text}: expected T=DIAMETER or T=DIAMETER,CORNER in mm, for example 1=16,0.5.")


def _cutter(diameter: float, corner: float) -> Cutter:
    if not 0 < diameter <= _LARGEST_MM:
        raise ValueError(f"a diameter of {diameter:g} mm; expected more than 0 and at most {_LARGEST_MM:g}")
    if not 0 <= corner <= diameter / 2 + 1e-9:
        raise ValueError(f"a corner radius of {corner:g} mm; expected 0 to half the diameter ({diameter / 2:g})")
    return Cutter(diameter / 2, min(corner, diameter / 2))


def read_tool_table(path: Path) -> dict[int, Cutter]:
    """Read a tool table: CSV with ``tool``, ``diameter_mm`` and, if there, ``corner_mm`` (or ``_in``).

    Raises
    ------
    InputError
        With the line and the column, if it cannot be read.
    """
    lines = [(number, line) for number, line in enumerate(read_text(path).splitlines(), start=1) if _has_data(line)]
    reader = csv.DictReader([line for _, line in lines])
    names = list(reader.fieldnames or [])
    name = "in" if "diameter_in" in names else "mm"
    unit, corners = MM_PER_UNIT[name], [one for one in names if one.startswith("corner")]
    if not {"tool", f"diameter_{name}"} <= set(names) or (corners and f"corner_{name}" not in corners):
        text = f"has the columns {names}. Expected tool, diameter_mm and, if known, corner_mm (or _in for both)."
        raise InputError([Finding("tool-table", path.name, "line 1", text)])
    out: dict[int, Cutter] = {}
    for (number, _), row in zip(lines[1:], reader, strict=True):
        try:
            tool = int(str(row["tool"]).strip().lstrip("Tt"))
            if tool in out:
                raise ValueError(f"tool {tool} stands there twice")
            corner = float(row.get(f"corner_{name}") or 0.0)
            out[tool] = _cutter(float(row[f"diameter_{name}"] or "") * unit, corner * unit)
        except (ValueError, TypeError) as error:
            text = f"{error}. Expected a tool number, a diameter and a corner radius."
            raise InputError([Finding("tool-table", path.name, f"line {number}", text)]) from error
    return out


def _has_data(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def read_tool_comments(lines: Iterable[str], pattern: str, source: str) -> dict[int, Cutter]:
    """Take tools from a programme's comments.

    Parameters
    ----------
    lines : iterable of str
        The programme.
    pattern : str
        A comment as the programme writes it, with {T}, {D} and, if there, {R} where the tool's number, diameter and
        corner radius stand: ``(T{T} D={D} CR={R})``. Lengths in mm; blanks count as any number of blanks.
    source : str
        Name of the programme.

    Raises
    ------
    InputError
        If the pattern lacks {T} or {D}, a comment gives a shape that no cutter has, or two give one tool two shapes.
    """
    if "{T}" not in pattern or "{D}" not in pattern:
        raise InputError(f"--tool-comment {pattern}: expected {{T}} and {{D}} where number and diameter stand.")
    text = r"\s*".join(re.escape(part) for part in pattern.split())
    for name in "TDR":
        text = text.replace(rf"\{{{name}\}}", rf"(?P<{name}>[\d.]+)", 1)
    out: dict[int, Cutter] = {}
    for number, line in enumerate(lines, start=1):
        match = re.search(text, line)
        if match:
            parts = match.groupdict()
            try:
                tool, cutter = int(float(parts["T"])), _cutter(float(parts["D"]), float(parts.get("R") or 0.0))
                if out.setdefault(tool, cutter) != cutter:
                    raise ValueError(f"tool {tool} has another shape than in a comment before: say it by --tool")
            except ValueError as error:
                raise InputError([Finding("tool-comment", source, f"line {number}", f"{error}.")]) from error
    return out


def joined(tools: Sequence[tuple[int | None, Cutter]], *tables: Mapping[int, Cutter]) -> Tools:
    """Return the tools of all sources; what is said one by one goes before tables.

    Raises
    ------
    InputError
        If one tool is said to have two shapes.
    """
    said: dict[int | None, Cutter] = {}
    for number, cutter in tools:
        if said.setdefault(number, cutter) != cutter:
            raise InputError(f"--tool: {'every tool' if number is None else f'T{number}'} has two shapes. Give one.")
    numbered = {number: cutter for number, cutter in said.items() if number is not None}
    by_number = dict(pair for table in (*reversed(tables), numbered) for pair in table.items())
    return Tools(by_number, said.get(None))
