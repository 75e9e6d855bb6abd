"""A programme as it is understood: its motions, their path, and what the rule asks of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Rows
from floorfit.errors import Finding
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import Gains
from floorfit.nc.motions import CUTTING, Motions
from floorfit.nc.tip_path import TipPath

__all__ = ["Findings", "Understood"]

#: Findings of one kind that are written out; the rest are counted.
_SHOWN = 5


@dataclass(frozen=True)
class Understood:
    """A word-address programme as it is understood.

    Parameters
    ----------
    source : str
        Its name.
    lines : sequence of str
        Its lines as they run.
    floors : tuple of CutFloor
        All floors of the part.
    motions, path : Motions, TipPath
        What it does, and its tip in the part's frame.
    gains : Gains
        What the rule asks.
    """

    source: str
    lines: Sequence[str]
    floors: tuple[CutFloor, ...]
    motions: Motions
    path: TipPath
    gains: Gains

    @cached_property
    def cuts(self) -> Rows:
        """Cutting motions."""
        return np.flatnonzero(np.isin(self.motions.kind, CUTTING))

    def cuts_on(self, index: int) -> Rows:
        """Cutting motions that are on a floor for some of their way."""
        return np.intersect1d(self.gains.rows_on(index), self.cuts)

    def cuts_into(self, index: int) -> Rows:
        """Cutting motions that cut a held floor for some of their way."""
        rows = [row for row, floors in self.gains.guarded.items() if index in floors]
        return np.intersect1d(np.array(rows, dtype=int), self.cuts)


class Findings:
    """Collects findings, a few of each kind in words and the rest as a number.

    Parameters
    ----------
    source : str
        Name of the file.
    line : (n,) ndarray of int
        Line of each row, from 0.
    rest : str
        How the rest are told, by their number and the last line.
    """

    def __init__(self, source: str, line: NDArray[np.int64], rest: str = "{} more blocks, the last in line {}") -> None:
        """Start with none."""
        self.source, self.line, self.rest = source, line, rest
        self.found: list[Finding] = []

    def rows(self, code: str, rows: Iterable[int], text: str, severity: str = "error") -> None:
        """Add a finding for each of the first lines of rows, and one for the number of the others.

        Parameters
        ----------
        code, text, severity : str
            As of `Finding`.
        rows : iterable of int
            Rows of the motions.
        """
        lines = list(dict.fromkeys(self.line[np.array([*rows], dtype=int)].tolist()))
        for line in lines[:_SHOWN]:
            self.add(code, line, text, severity)
        if len(lines) > _SHOWN:
            more = "and " + self.rest.format(len(lines) - _SHOWN, lines[-1] + 1)
            self.found.append(Finding(code, self.source, more, text, severity))

    def add(self, code: str, line: int, text: str, severity: str = "error") -> None:
        """Add one finding at a line."""
        self.found.append(Finding(code, self.source, f"line {line + 1}", text, severity))
