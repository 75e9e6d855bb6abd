"""What the layers of a drawing say: floor Z and web, by their names or by a table."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from floorfit.cad.edits import table_rows

__all__ = ["OUTLINE_LAYER", "LayerMeaning", "layer_of_name", "read_layer_table"]

#: Layer of the part's outline where names are used.
OUTLINE_LAYER = "OUTLINE"

_NUMBER = r"[ _]*([-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+))"
#: ``FLOOR Z2.0 WEB2.0``: blanks, underscores or hyphens between the words; anything may follow after another one. A
#: drawing that was bound into another one has its name before its layers', up to a last $ (common practice, no source).
_PATTERN = re.compile(rf"FLOOR[ _-]+Z{_NUMBER}[ _-]+WEB{_NUMBER}(?:[ _-].*)?", re.IGNORECASE)


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
    name = name.rpartition("$")[2].strip()
    if name.upper() == OUTLINE_LAYER:
        return LayerMeaning(None, None)
    found = _PATTERN.fullmatch(name)
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
    out: dict[str, LayerMeaning] = {}

    def add(cells: list[str], _where: str) -> str | None:
        name, *values = cells
        if not name or name.lower() in out:
            return f"the layer {name!r} is empty or was named before. Correct the row."
        meaning = _meaning(values)
        if isinstance(meaning, str):
            return f"{meaning}. Correct the row."
        out[name.lower()] = meaning
        return None

    table_rows(Path(path), ("layer", "floor_z", "web"), add, "bad-row")
    return out


def _meaning(values: list[str]) -> LayerMeaning | str:
    """What a row says of its layer, or what is wrong with it."""
    if values == ["", ""]:
        return LayerMeaning(None, None)
    try:
        z, web = (float(value.replace(",", ".")) for value in values)
    except ValueError:
        return f"floor_z {values[0]!r} and web {values[1]!r} came, two numbers were expected"
    if not (abs(z) < 1e6 and 0.0 < web < 1e6):
        return f"floor_z {z:g} and web {web:g} came, a finite Z and a web above 0 were expected"
    return LayerMeaning(z, web)
