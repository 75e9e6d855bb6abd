"""The header of a table: which column is what, in which unit, and how cells are separated."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from floorfit.errors import Finding, InputError
from floorfit.plain_text import is_number
from floorfit.units import MM_PER_UNIT, Unit

__all__ = ["READINGS", "Field", "Header", "Layout", "read_header"]

#: Largest length taken for meant, mm: a kilometre.
LARGEST_MM = 1e6


@dataclass(frozen=True)
class Field:
    """What a column of numbers may hold.

    Parameters
    ----------
    is_length : bool
        Whether the column's name carries ``_mm`` or ``_in``.
    may_be_blank : bool
        Whether blank, ``nan`` or dashes mean "nothing here" (NaN) or are refused.
    low, high : float
        Smallest and largest value taken for meant, mm (or °C, µs).
    is_open : bool
        Whether ``low`` itself is refused.
    """

    is_length: bool = True
    may_be_blank: bool = True
    low: float = -LARGEST_MM
    high: float = LARGEST_MM
    is_open: bool = False


@dataclass(frozen=True)
class Layout:
    """The columns that a table may and must have.

    Parameters
    ----------
    fields : mapping of str to Field
        Columns of numbers by their name without the unit.
    required : tuple of str
        Those that must be there.
    instead : mapping of str to str
        A field that does for a required one.
    label : str
        Name of a column of labels; ``""`` for none.
    example : str
        A header, for messages.
    """

    fields: Mapping[str, Field]
    required: tuple[str, ...]
    instead: Mapping[str, str] = field(default_factory=dict)
    label: str = ""
    example: str = "name_mm"

    @property
    def lengths(self) -> tuple[str, ...]:
        """Fields whose column names carry a unit."""
        return tuple(name for name, one in self.fields.items() if one.is_length)


#: A readings file. A thickness at or below 0 is kept: screening sets it aside.
READINGS = Layout(
    {
        "x": Field(may_be_blank=False),
        "y": Field(may_be_blank=False),
        "thickness": Field(),
        "z": Field(),
        "u": Field(low=0.0, is_open=True),
        # Absolute zero, and well above what any plate alloy stands.
        "temperature_c": Field(is_length=False, low=-273.15, high=2000.0),
        "tof_us": Field(is_length=False),
    },
    required=("x", "y", "thickness"),
    instead={"thickness": "tof_us"},
    label="pocket",
    example="x_mm,y_mm,thickness_mm",
)


@dataclass(frozen=True)
class Header:
    """The columns of a file.

    Parameters
    ----------
    names : tuple of str
        Names as written, blanks at the ends removed.
    fields : mapping of str to int
        Column of each known name without its unit (``"x"``, ``"pocket"``).
    unit : {"mm", "in"}
        Unit of the lengths.
    delimiter : str
        Comma or semicolon.
    """

    names: tuple[str, ...]
    fields: dict[str, int]
    unit: Unit
    delimiter: str

    @property
    def scale(self) -> float:
        """Millimetres in one unit of the file."""
        return MM_PER_UNIT[self.unit]

    @property
    def extra(self) -> dict[str, int]:
        """Columns that are carried through, by name as written."""
        used = set(self.fields.values())
        return {name: k for k, name in enumerate(self.names) if k not in used and name}

    @property
    def unnamed(self) -> list[int]:
        """Columns without a name; they must be blank all the way down."""
        return [k for k, name in enumerate(self.names) if not name]


def read_header(line: str, number: int, source: str, layout: Layout, part_unit: Unit = "mm") -> Header:
    """Understand the header line.

    Parameters
    ----------
    line : str
        The first line that is neither blank nor a comment.
    number : int
        Its line number.
    source : str
        File name for messages.
    layout : Layout
    part_unit : {"mm", "in"}
        Unit of the part, for the names that a message proposes.

    Returns
    -------
    Header

    Raises
    ------
    InputError
        With every fault of the header.
    """
    place = f"line {number}"
    delimiter = _delimiter(line, place, source)
    names = _split(line, delimiter, place, source)
    lowered = [name.lower() for name in names]
    lengths = layout.lengths
    texts = _numbers_only(names, layout) or [*_doubled(lowered), *_units_mixed(lowered, lengths)]
    unit: Unit = "in" if any(f"{name}_in" in lowered for name in lengths) else "mm"
    if not texts:
        texts = _missing(lowered, names, layout, part_unit)
    if texts:
        raise InputError([Finding(code, source, place, text) for code, text in texts])
    wanted = {name: f"{name}_{unit}" if name in lengths else name for name in (*layout.fields, layout.label)}
    fields = {name: lowered.index(column) for name, column in wanted.items() if column and column in lowered}
    return Header(names, fields, unit, delimiter)


def _delimiter(line: str, place: str, source: str) -> str:
    if "\t" in line.strip() and ";" not in line and "," not in line:
        text = "cells are separated by tabs. Save the file with commas or semicolons between the cells."
        raise InputError([Finding("tabs", source, place, text)])
    return ";" if line.count(";") > line.count(",") else ","


def _split(line: str, delimiter: str, place: str, source: str) -> tuple[str, ...]:
    try:
        (cells,) = csv.reader([line], delimiter=delimiter, strict=True)
    except csv.Error as error:
        text = f"a quote in the header is not closed ({error}). Correct the quotes."
        raise InputError([Finding("bad-quotes", source, place, text)]) from error
    return tuple(cell.strip() for cell in cells)


def _numbers_only(names: Sequence[str], layout: Layout) -> list[tuple[str, str]]:
    """Say so where the line has numbers in place of names."""
    if not all(not name or is_number(name) for name in names):
        return []
    text = f"the first line holds numbers, a header was expected. Add one, without #: {layout.example}."
    return [("no-header", text)]


def _doubled(lowered: Sequence[str]) -> list[tuple[str, str]]:
    doubled = sorted({name for name in lowered if name and lowered.count(name) > 1})
    return [("doubled-column", f'the column "{name[:60]}" is there twice. Rename or remove one.') for name in doubled]


def _units_mixed(lowered: Sequence[str], lengths: Sequence[str]) -> list[tuple[str, str]]:
    in_mm = [f"{name}_mm" for name in lengths if f"{name}_mm" in lowered]
    in_inch = [f"{name}_in" for name in lengths if f"{name}_in" in lowered]
    if not (in_mm and in_inch):
        return []
    text = f"columns in mm ({', '.join(in_mm)}) and in inches ({', '.join(in_inch)}) are mixed. Give all in one unit."
    return [("mixed-units", text)]


def _missing(lowered: Sequence[str], names: Sequence[str], layout: Layout, part_unit: Unit) -> list[tuple[str, str]]:
    """Say which required columns are not there."""
    found = ", ".join(f'"{name[:40]}"' for name in names[:12])
    texts = []
    for name in layout.required:
        is_length = layout.fields[name].is_length
        spelt = (f"{name}_mm", f"{name}_in") if is_length else (name,)
        if {*spelt, layout.instead.get(name, "")} & {*lowered} - {""}:
            continue
        rename = "Add it, with its unit in the name" if is_length else "Add it"
        if is_length and name in lowered:
            rename = f'Rename "{name}" to {name}_{part_unit}'
        shown = " (or ".join(spelt) + (")" if is_length else "")
        texts.append(("missing-column", f"the column {shown} is missing; found are {found}. {rename}."))
    return texts
