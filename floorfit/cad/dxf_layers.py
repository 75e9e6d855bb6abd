"""What the layers of a drawing say: floor Z and web, by their names or by a table."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from floorfit.errors import Finding, InputError

__all__ = ["OUTLINE_LAYER", "LayerMeaning", "layer_of_name", "read_layer_table"]

#: Layer of the part's outline where names are used.
OUTLINE_LAYER = "OUTLINE"

_NUMBER = r"([-+]?\d+(?:[.,]\d+)?)"
#: ``FLOOR Z2.0 WEB2.0``: blanks, underscores or hyphens between the words; anything may follow after another one.
_PATTERN = re.compile(rf"FLOOR[ _]+Z{_NUMBER}[ _-]+WEB{_NUMBER}(?:[ _-].*)?", re.IGNORECASE)
_COLUMNS = ("layer", "floor_z", "web")


@dataclass(frozen=True)
class LayerMeaning:
    """What one layer holds.

    Parameters
    ----------
    floor_z, web : float or None
        In the drawing's unit; None for the layer of the part's outline.
    """

    floor_z: float | None
    web: float | None

    @property
    def is_outline(self) -> bool:
        """Whether the layer holds the part's outline."""
        return self.floor_z is None


def layer_of_name(name: str) -> LayerMeaning | None:
    """Read a layer's name; None where it is not one of ours.

    Examples
    --------
    >>> layer_of_name("FLOOR Z2.5 WEB2.0")
    LayerMeaning(floor_z=2.5, web=2.0)
    >>> layer_of_name("DIMENSIONS") is None
    True
    """
    if name.strip().upper() == OUTLINE_LAYER:
        return LayerMeaning(None, None)
    found = _PATTERN.fullmatch(name.strip())
    if found is None:
        return None
    return LayerMeaning(float(found[1].replace(",", ".")), float(found[2].replace(",", ".")))


def read_layer_table(path: str | Path) -> dict[str, LayerMeaning]:
    """Read a table of layers: CSV with the columns ``layer, floor_z, web``, lengths in the drawing's unit.

    Parameters
    ----------
    path : path
        UTF-8, comma or semicolon separated (with semicolons a decimal comma is accepted); ``#`` starts a comment.

    Returns
    -------
    dict
        Meaning of each layer, by its name in lower case (names of layers know no case).

    Raises
    ------
    InputError
        With every fault of the table.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        words = "cannot be read as a UTF-8 text file. Check the path and the encoding."
        raise InputError([Finding("no-table", str(file), "", words)]) from error
    lines = [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    mark = ";" if lines and ";" in lines[0][1] else ","
    rows = [(n, [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]) for n, line in lines]
    if not rows or sorted(cell.lower() for cell in rows[0][1]) != sorted(_COLUMNS):
        words = f"the header must name the columns {', '.join(_COLUMNS)}. Correct the first line."
        raise InputError([Finding("bad-header", file.name, "line 1", words)])
    order = [cell.lower() for cell in rows[0][1]]
    return _meanings(rows[1:], order, mark, file.name)


def _meanings(rows: list[tuple[int, list[str]]], order: list[str], mark: str, source: str) -> dict[str, LayerMeaning]:
    out: dict[str, LayerMeaning] = {}
    findings = []
    for number, cells in rows:
        row = dict(zip(order, cells, strict=False))
        meaning, fault = _meaning(row, mark)
        if len(cells) != len(order):
            fault = f"{len(cells)} cells came, {len(order)} were expected"
        elif not row["layer"] or row["layer"].lower() in out:
            fault = f"the layer {row['layer']!r} is empty or was named before"
        if fault:
            findings.append(Finding("bad-row", source, f"line {number}", f"{fault}. Correct the row."))
        else:
            out[row["layer"].lower()] = meaning
    if findings:
        raise InputError(findings)
    return out


def _meaning(row: dict[str, str], mark: str) -> tuple[LayerMeaning, str]:
    values = [row.get(name, "") for name in ("floor_z", "web")]
    if values == ["", ""]:
        return LayerMeaning(None, None), ""
    try:
        z, web = (float(value.replace(",", ".") if mark == ";" else value) for value in values)
    except ValueError:
        return LayerMeaning(None, None), f"floor_z {values[0]!r} and web {values[1]!r} came, two numbers were expected"
    if not (abs(z) < 1e6 and 0.0 < web < 1e6):
        return LayerMeaning(
            None, None
        ), f"floor_z {z:g} and web {web:g} came, a finite Z and a web above 0 were expected"
    return LayerMeaning(z, web), ""
