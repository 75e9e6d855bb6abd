"""Step-block readings: their table, their file, and whether a gauge can be calibrated on them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.arrays import Array, Rows
from floorfit.errors import Finding, InputError
from floorfit.identity import identity_of
from floorfit.part.model import Part
from floorfit.readings.columns import READINGS, Field, Layout
from floorfit.readings.table_file import read_table
from floorfit.units import MM_PER_INCH, Unit

__all__ = ["Blocks", "blocks_from_arrays", "check_blocks", "read_blocks", "web_range_of"]

#: A row whose ratio to the others is one of these to 8 % was read wrongly.
WRONG_RATIOS = {2.0: "the second echo", MM_PER_INCH: "millimetres among inches", 1 / MM_PER_INCH: "inches"}
RATIO_TOLERANCE = 0.08
#: Readings from which it is no accident that all are round, and how far they are off then, mm. Own choice.
FEWEST_ROUND, OFF_MM = 4, 0.02
#: Thickness by which readings of the next step may fall short before that is asked, mm. Own choice.
NOT_RISEN_MM = 0.05
#: Thickness in a wrong unit over that in mm.
UNITS = {"inches": 1 / MM_PER_INCH, "thousandths of an inch": 1000 / MM_PER_INCH, "micrometres": 1000.0}
#: Lengths that differ by less are one, mm: a web of 2 may be 2.3 − 0.3, which in binary is not 2.
ROUNDING_MM = 1e-9

_POSITIVE = Field(may_be_blank=False, low=0.0, is_open=True)
_FIELDS = {
    "true": _POSITIVE,
    "reading": _POSITIVE,
    "tof_us": Field(is_length=False, may_be_blank=False, low=0.0, is_open=True),
    **{name: READINGS.fields[name] for name in ("u", "temperature_c")},
}


@dataclass(frozen=True)
class Blocks:
    """n readings of step blocks.

    Parameters
    ----------
    true : (n,) ndarray, mm
        Stated thickness of the step.
    reading : (n,) ndarray, mm or µs
        What the gauge showed, or the time of flight.
    is_tof : bool
        Whether ``reading`` is a time of flight.
    temperature : (n,) ndarray, °C
        NaN where not given.
    u : (n,) ndarray, mm
        Standard uncertainty of the stated thickness; NaN where not given.
    line : (n,) ndarray of int
        Line of the file.
    unit : {"mm", "in"}
        Unit of the file.
    source : str
        File name for messages.
    identity : mapping of str to str
        Facts that the file states, by the keys of `floorfit.identity`: which gauge, when.
    """

    true: Array
    reading: Array
    is_tof: bool
    temperature: Array
    u: Array
    line: NDArray[np.int64]
    unit: Unit = "mm"
    source: str = "blocks"
    identity: Mapping[str, str] = field(default_factory=dict)

    @property
    def steps(self) -> tuple[Array, Rows]:
        """Stated thickness of each step, mm, thinnest first, and the step of each row: lengths to a nanometre."""
        stated, step = np.unique(np.round(self.true, 6), return_inverse=True)
        return stated, step.reshape(-1)


def blocks_from_arrays(
    true: ArrayLike,
    reading: ArrayLike | None = None,
    *,
    tof: ArrayLike | None = None,
    temperature: ArrayLike | None = None,
    u: ArrayLike | None = None,
) -> Blocks:
    """Build a table of block readings.

    Parameters
    ----------
    true : (n,) array_like, mm
        Stated thickness.
    reading : (n,) array_like, mm
        What the gauge showed; or
    tof : (n,) array_like, µs
        time of flight there and back.
    temperature : (n,) array_like, °C, optional
        Temperature of the blocks.
    u : (n,) array_like, mm, optional
        Standard uncertainty of the stated thickness.

    Returns
    -------
    Blocks

    Raises
    ------
    ValueError
        If neither or both of ``reading`` and ``tof`` are given, or the lengths differ.

    Examples
    --------
    >>> blocks_from_arrays([1.0, 4.0], [1.02, 4.05]).is_tof
    False
    """
    if (reading is None) == (tof is None):
        raise ValueError("give reading or tof, one of them.")
    stated = np.array(true, float).reshape(-1)
    columns = [reading if tof is None else tof, temperature, u]
    arrays = [np.full(len(stated), np.nan) if c is None else np.array(c, float).reshape(-1) for c in columns]
    if any(len(array) != len(stated) for array in arrays):
        raise ValueError(f"the columns differ in length; true has {len(stated)} values.")
    return Blocks(stated, arrays[0], tof is not None, arrays[1], arrays[2], np.arange(1, len(stated) + 1))


def read_blocks(path: str | os.PathLike[str]) -> Blocks:
    """Read a file of block readings.

    Parameters
    ----------
    path : path
        CSV with ``true_mm`` (or ``true_in``), ``reading_mm`` or ``tof_us``, and optionally ``temperature_c`` and
        ``u_mm`` (standard uncertainty of the stated thickness). Lines ``# gauge: …``, ``# gauge_due: …`` and
        ``# read_at: …`` say which gauge, and when.

    Returns
    -------
    Blocks
        In mm and µs.

    Raises
    ------
    InputError
        If the file cannot be read or has faults.
    """
    sheet = read_table(path, Layout(_FIELDS, ("true",), example="true_mm,reading_mm"))
    has = {"reading", "tof_us"} & sheet.present
    if len(has) != 1:
        came = "both came" if has else "neither came"
        text = f"one of reading_mm (or reading_in) and tof_us was expected, {came}. Keep one of them."
        raise InputError([Finding("which-reading", sheet.source, "line 1", text)])
    (column,), numbers = has, sheet.numbers
    identity = identity_of(sheet.comments, sheet.texts, sheet.source)
    return Blocks(
        numbers["true"], numbers[column], column == "tof_us", numbers["temperature_c"], numbers["u"], sheet.line,
        sheet.unit, sheet.source, identity,
    )  # fmt: skip


def check_blocks(blocks: Blocks, method: str, web_range: tuple[float, float] | None) -> None:
    """Refuse blocks on which the gauge cannot be calibrated.

    Parameters
    ----------
    blocks : Blocks
        Readings of the steps.
    method : {"one-point", "two-point", "line"}
        How they will be used.
    web_range : (float, float) or None, mm
        Thinnest and thickest web that will be read.

    Raises
    ------
    InputError
        With every fault.
    """
    faults = [*_bad_values(blocks)]
    if not faults:
        rows = _other_order(blocks) or _wrong_rows(blocks) or _not_rising(blocks)
        faults = [*_exchanged(blocks), *rows, *_steps(blocks, method), *_bracket(blocks, web_range)]
    if faults:
        raise InputError(faults)


def _bad_values(blocks: Blocks) -> list[Finding]:
    if len(blocks.true) == 0:
        return [Finding("no-blocks", blocks.source, "", "no readings came, one or more were expected. Add rows.")]
    return [
        Finding("not-positive", blocks.source, f"line {line}", f"{value:g} came, a value above 0 was expected.")
        for column in (blocks.true, blocks.reading)
        for value, line in zip(column, blocks.line, strict=True)
        if not (np.isfinite(value) and value > 0)
    ]


def _exchanged(blocks: Blocks) -> list[Finding]:
    """Refuse columns that stand in each other's place.

    A step has one stated thickness however often it is read. Without repeats, steps are made in whole tenths, and a
    gauge that is off shows none.
    """
    stated, shown = blocks.true, blocks.reading
    doubled = [one for one in np.unique(shown) if len(np.unique(stated[shown == one])) > 1]
    is_repeated = len(doubled) > 1 and len(np.unique(stated)) == len(stated)
    is_off = len(stated) >= FEWEST_ROUND and float(np.median(np.abs(stated - shown))) > OFF_MM
    is_made_so = is_off and not blocks.is_tof and _is_round(shown, blocks.unit) and not _is_round(stated, blocks.unit)
    if not (is_repeated or is_made_so):
        return []
    text = (
        "the readings are the same, or in whole tenths, where the stated thicknesses differ: the two columns look "
        "exchanged. true_mm is what the block is, reading_mm or tof_us what the gauge showed."
    )
    return [Finding("exchanged-columns", blocks.source, "", text)]


def _is_round(lengths: Array, unit: Unit) -> bool:
    """Whether all are whole tenths of a millimetre, or hundredths of an inch."""
    step = 0.1 if unit == "mm" else 0.01 * MM_PER_INCH
    return bool(np.allclose(lengths / step, np.round(lengths / step), rtol=0, atol=1e-6))


def _wrong_rows(blocks: Blocks) -> list[Finding]:
    """Find rows whose ratio of reading to stated thickness is a known multiple of the others'."""
    ratio = blocks.reading / blocks.true
    usual = float(np.median(ratio))
    found = []
    for value, true, line in zip(ratio / usual, blocks.true, blocks.line, strict=True):
        for wrong, cause in WRONG_RATIOS.items():
            if abs(value / wrong - 1.0) < RATIO_TOLERANCE:
                text = f"the reading of {true:.4g} mm is {wrong:.4g} times what the others say: {cause}. Read it again."
                found.append(Finding("wrong-reading", blocks.source, f"line {line}", text))
    return found


def _falls(stated: Array, shown: Array) -> Rows:
    """Steps, by their place, from which to the next the readings do not rise half as far as elsewhere."""
    rise, wanted = np.diff(shown), np.diff(stated)
    usual = float(np.median(np.abs(rise / wanted))) if len(rise) else 0.0
    short = usual * wanted - rise
    return np.flatnonzero((short > 0.5 * usual * wanted) & (short > usual * NOT_RISEN_MM))


def _step_means(blocks: Blocks) -> tuple[Array, Array]:
    stated, step = blocks.steps
    return stated, np.bincount(step, blocks.reading) / np.bincount(step)


def _other_order(blocks: Blocks) -> list[Finding]:
    """Refuse readings that would rise with the blocks in another order: exchanged, or written from the other end."""
    stated, shown = _step_means(blocks)
    rising = np.sort(shown)
    if not len(_falls(stated, shown)):
        return []
    slope, zero = np.polyfit(stated, rising, 1)
    if np.abs(slope * stated + zero - rising).max() > slope * OFF_MM:
        return []
    moved = ", ".join(f"{one:.4g}" for one in stated[shown != rising][:5])
    text = (
        f"the readings of the steps {moved} mm stand in another order than the steps: a thicker block reads more. "
        "Correct true_mm or the readings."
    )
    return [Finding("other-order", blocks.source, "", text)]


def _not_rising(blocks: Blocks) -> list[Finding]:
    """Refuse readings that do not rise from one step to the next: slipped by a step, or one read wrongly."""
    stated, shown = _step_means(blocks)
    falls = _falls(stated, shown)
    if not len(falls):
        return []
    text = (
        f"from the step {stated[falls[0]]:.4g} to {stated[falls[0] + 1]:.4g} mm the readings do not rise as they do "
        "from others: they have slipped by a step, or one was read wrongly. Correct the rows, or read the blocks again."
    )
    return [Finding("not-rising", blocks.source, "", text)]


def _steps(blocks: Blocks, method: str) -> list[Finding]:
    steps, least = len(blocks.steps[0]), 1 if method == "one-point" else 2
    if steps == least or (method == "line" and steps > least):
        return []
    text = f"{steps} different thicknesses came, the {method} method takes {least}"
    text += " or more" if method == "line" else ""
    return [Finding("wrong-step-count", blocks.source, "", f"{text}. Change the rows or the method.")]


def _bracket(blocks: Blocks, web_range: tuple[float, float] | None) -> list[Finding]:
    if web_range is None:
        return []
    low, high = float(blocks.true.min()), float(blocks.true.max())
    unit = next((name for name, by in UNITS.items() if low / by <= web_range[0] and web_range[1] <= high / by), None)
    if low <= web_range[0] + ROUNDING_MM and web_range[1] <= high + ROUNDING_MM:
        return []
    text = (
        f"the blocks reach from {low:.4g} to {high:.4g} mm, the webs from {web_range[0]:.4g} to {web_range[1]:.4g} mm. "
        + (
            f"They look as if in {unit}: correct the unit, or read other blocks."
            if unit
            else "Read a block that is thinner than the thinnest web and one that is thicker than the thickest."
        )
    )
    return [Finding("no-bracket", blocks.source, "", text)]


def web_range_of(part: Part) -> tuple[float, float]:
    """Thinnest and thickest web that can be read: finished at its thinnest corner, roughed at its thickest, mm.

    Parameters
    ----------
    part : Part
        Nominal part; warp is not counted.
    """
    webs = [np.asarray(pocket.nominal_web(*np.array(pocket.boundary).T)) for pocket in part.pockets]
    thick = [web.max() + pocket.finish_stock for web, pocket in zip(webs, part.pockets, strict=True)]
    return float(min(web.min() for web in webs)), float(max(thick))
