"""The shape of a part file: its keys and their kinds, and what is said when they are wrong.

Only what can be said of one value by itself is checked here; what the values mean together (rings that cross,
floors that overlap, webs that disagree) is the matter of `floorfit.part.check`.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

__all__ = [
    "FORMAT",
    "SHAPED_FORMAT",
    "Fault",
    "PartDocument",
    "ShapedPartDocument",
    "json_path",
    "quoted",
    "structure_faults",
]

#: Name and number of the format that this version reads and writes.
FORMAT = "floorfit-part/1"

#: The same with floors that need not be planes; written only for a part that has one.
SHAPED_FORMAT = "floorfit-part/2"

#: Longest name or id, characters; a label in a readings file has the same limit.
LONGEST_NAME = 256

Path = tuple[str | int, ...]


def _drop_default(schema: dict[str, Any]) -> None:
    schema.pop("default", None)


def _absent(description: str) -> Any:
    """Return a field that may be left out, but not be null."""
    return Field(default=None, description=description, json_schema_extra=_drop_default)


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Text = Annotated[str, Field(strict=True, min_length=1, max_length=LONGEST_NAME)]
Vertex = tuple[Number, Number]
RingOfVertices = Annotated[list[Vertex], Field(min_length=3)]
Limits = tuple[Number | None, Number | None]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", defer_build=True)


class Defaults(_Strict):
    """Values for every pocket that does not state its own."""

    web: Number = _absent("nominal web thickness at the boundary's centroid, above 0")
    web_tolerance: Limits = _absent("lower and upper deviation of the web; null for one open side")
    finish_stock: Number = _absent("metal that roughing leaves above the nominal floor, 0 or more")
    underside_z: Number = _absent("nominal Z of the face under the web")


class PocketDocument(Defaults):
    """One floor at one level."""

    id: Text = Field(description="name on the drawing, unique in the part")
    boundary: RingOfVertices = Field(description="outline of the floor, closed implicitly, either winding")
    islands: list[RingOfVertices] = Field(default=[], description="metal that stands inside the boundary")
    floor_z: Number = Field(description="nominal Z of the floor at the boundary's centroid")
    slope: Vertex = _absent("dZ/dX and dZ/dY of a plane floor, ratios")
    corner_radius: Number = _absent("radius of the vertical inner corners, 0 or more")


class PlaneDocument(_Strict):
    """A plane."""

    at: tuple[Number, Number, Number] = Field(description="a point of the plane: x, y, z")
    slope: Vertex = Field(description="dZ/dX and dZ/dY, ratios")


class GridDocument(_Strict):
    """Heights on a regular grid, bilinear in between."""

    origin: Vertex = Field(description="x and y of the first height")
    step: Vertex = Field(description="distance of neighbours along X and along Y, above 0")
    z: Annotated[list[Annotated[list[Number], Field(min_length=2)]], Field(min_length=2)] = Field(
        description="a row of heights along X for each Y"
    )


class HeightDocument(_Strict):
    """Heights over one region: one of level, plane and grid."""

    region: RingOfVertices = _absent("where they hold; everywhere where left out; the last entry counts")
    level: Number = _absent("one Z")
    plane: PlaneDocument = _absent("a plane")
    grid: GridDocument = _absent("heights on a grid")


class RegionTolerance(_Strict):
    """Limits of the web in one region."""

    region: RingOfVertices = Field(description="where they hold; the last entry counts")
    web_tolerance: Limits = Field(description="lower and upper deviation of the web; null for one open side")


Heights = Annotated[list[HeightDocument], Field(min_length=1)]


class ShapedPocketDocument(PocketDocument):
    """One floor, which need not be a plane, over an underside that need not be level."""

    floor_z: Number = _absent("nominal Z of the floor at the boundary's centroid")
    floor: Heights = _absent("in place of floor_z and slope: heights of the floor")
    underside: Heights = _absent("in place of underside_z: heights of the face under the web")
    web_constant: Annotated[bool, Field(strict=True)] = _absent("the underside lies web below the floor everywhere")
    web_along: Literal["z", "normal"] = _absent("direction of web and web_tolerance; z where left out")
    tolerances: list[RegionTolerance] = _absent("limits of the web by region")


class PartDocument(_Strict):
    """A nominal part: outline and pocket floors."""

    format: Literal["floorfit-part/1"] = Field(description="name and number of this format")
    name: Text = Field(description="name on the drawing")
    units: Literal["mm", "in"] = Field(description="unit of every length in the file")
    outline: RingOfVertices = Field(description="outline of the part in plan")
    underside_z: Number = _absent("nominal Z of the face under the webs")
    defaults: Defaults = _absent("values for every pocket that does not state its own")
    pockets: Annotated[list[PocketDocument], Field(min_length=1)] = Field(description="every floor, in order")


class ShapedPartDocument(PartDocument):
    """A nominal part with floors that need not be planes: ``floorfit-part/2``."""

    format: Literal["floorfit-part/2"] = Field(description="name and number of this format")  # type: ignore[assignment]
    pockets: Annotated[list[ShapedPocketDocument], Field(min_length=1)] = Field(  # type: ignore[assignment]
        description="every floor, in order"
    )


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a part document.

    Parameters
    ----------
    code : str
        Stable short code.
    path : tuple of str and int
        Keys and indices from the top of the document.
    text : str
        What came, what was expected, what to do.
    """

    code: str
    path: Path
    text: str


def json_path(path: Sequence[str | int]) -> str:
    """Write keys and indices as one path, for example ``pockets[3].boundary``; the top is ``top level``."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        elif step.isidentifier():
            text += f".{step}" if text else step
        else:
            text += f"[{quoted(step)}]"
    return text or "top level"


def quoted(value: object) -> str:
    """Show a value of a file in a message: as JSON, on one line, at most 60 characters."""
    text = _as_json(value).encode("utf-8", "backslashreplace").decode()
    text = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)
    return text if len(text) <= 60 else text[:57] + "..."


def _as_json(value: object) -> str:
    if isinstance(value, Mapping):
        return "an object {...}"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    try:
        return json.dumps(value, ensure_ascii=False)
    except (TypeError, ValueError):
        return f"a {type(value).__name__}"


def structure_faults(document: object) -> list[Fault]:
    """Check keys and kinds of a part document.

    Parameters
    ----------
    document : object
        What ``json.loads`` gave.

    Returns
    -------
    list of Fault
        Every fault; empty where the document has the right shape.
    """
    is_shaped = isinstance(document, Mapping) and document.get("format") == SHAPED_FORMAT
    model = ShapedPartDocument if is_shaped else PartDocument
    try:
        model.model_validate(document)
    except ValidationError as error:
        return [_fault(entry, is_shaped) for entry in error.errors(include_url=False)]
    return []


def _fault(entry: Any, is_shaped: bool) -> Fault:
    path: Path = tuple(entry["loc"])
    kind = str(entry["type"])
    if kind == "extra_forbidden":
        return Fault("unknown-key", path, _unknown_key(path, is_shaped))
    if kind == "missing":
        return Fault("missing", path, _missing(path))
    code, text = _TEXTS.get(kind, ("wrong-kind", f"{{came}} came. {entry['msg']}. Correct the value."))
    return Fault(code, path, text.format(came=quoted(entry["input"]), expected=_expected(path)))


def _missing(path: Path) -> str:
    if isinstance(path[-1], int):
        return "a pair of two numbers was expected, a number is missing. Add it."
    return f"the key {quoted(path[-1])} is missing. Add it: {_expected(path)} was expected."


def _unknown_key(path: Path, is_shaped: bool) -> str:
    known = _known_keys(path[:-1], is_shaped)
    near = difflib.get_close_matches(str(path[-1]), known, n=1)
    hint = f"Did you mean {quoted(near[0])}? Correct the spelling" if near else "Remove it, or correct the spelling"
    return f"unknown key {quoted(path[-1])}. {hint}; known here are {', '.join(known)}."


def _known_keys(path: Path, is_shaped: bool) -> list[str]:
    model: type[BaseModel] = PartDocument
    if path[:1] == ("defaults",):
        model = Defaults
    elif path[:1] == ("pockets",):
        model = ShapedPocketDocument if is_shaped else PocketDocument
    named = [step for step in path if step in _INNER]
    return list((_INNER[str(named[-1])] if named else model).model_fields)


_INNER: dict[object, type[BaseModel]] = {
    "floor": HeightDocument,
    "underside": HeightDocument,
    "plane": PlaneDocument,
    "grid": GridDocument,
    "tolerances": RegionTolerance,
}


def _expected(path: Iterable[str | int]) -> str:
    """Say what belongs at a path."""
    steps = list(path)
    keys = [step for step in steps if isinstance(step, str)]
    if isinstance(steps[-1] if steps else None, int) and keys[-1] in _ITEMS:
        return _ITEMS[keys[-1]]
    return _EXPECTED.get(keys[-1] if keys else "", "another value")


_EXPECTED = {
    "": "an object with the keys of a part",
    "format": f'"{FORMAT}" or "{SHAPED_FORMAT}"',
    "name": f"a text of 1 to {LONGEST_NAME} characters",
    "units": '"mm" or "in"',
    "outline": "a list of at least 3 vertices [x, y]",
    "defaults": "an object",
    "pockets": "a list of at least one pocket object",
    "id": f"a text of 1 to {LONGEST_NAME} characters",
    "boundary": "a list of at least 3 vertices [x, y]",
    "islands": "a list of rings, each of at least 3 vertices [x, y]",
    "floor_z": "a number",
    "underside_z": "a number",
    "web": "a number above 0",
    "web_tolerance": "a pair [lower, upper] of numbers, one of them perhaps null",
    "finish_stock": "a number, 0 or more",
    "slope": "a pair [dZ/dX, dZ/dY]",
    "corner_radius": "a number, 0 or more",
    "floor": "a list of at least one height object",
    "underside": "a list of at least one height object",
    "region": "a list of at least 3 vertices [x, y]",
    "level": "a number",
    "plane": "an object with at and slope",
    "at": "a point [x, y, z]",
    "grid": "an object with origin, step and z",
    "origin": "a pair [x, y]",
    "step": "a pair of numbers above 0",
    "z": "at least two rows of at least two numbers",
    "web_constant": "true or false",
    "web_along": '"z" or "normal"',
    "tolerances": "a list of objects with region and web_tolerance",
}

_ITEMS = {
    "outline": "a vertex [x, y]",
    "boundary": "a vertex [x, y]",
    "islands": "a ring of vertices [x, y]",
    "pockets": "a pocket object",
    "floor": "a height object",
    "underside": "a height object",
    "region": "a vertex [x, y]",
    "tolerances": "an object with region and web_tolerance",
}

#: pydantic's error types (its documentation, "Validation Errors") and what floorfit says instead.
_TEXTS = {
    "float_type": (
        "not-a-number",
        "{came} came where a number belongs. Write it without quotes, with a decimal point.",
    ),
    "finite_number": (
        "not-finite",
        "{came} came, a finite number was expected. Write the number, or leave the key out.",
    ),
    "string_type": ("wrong-kind", "{came} came, {expected} was expected. Put it in double quotes."),
    "string_unicode": ("bad-text", "{came} came, with half a character in it (a lone surrogate). Write it anew."),
    "string_too_short": ("empty", "the text is empty, {expected} was expected. Write one."),
    "string_too_long": ("too-long", "the text is too long, {expected} was expected. Shorten it."),
    "literal_error": ("wrong-value", "{came} came, {expected} was expected. Correct the value."),
    "list_type": ("wrong-kind", "{came} came, {expected} was expected. Correct the value."),
    "tuple_type": ("wrong-kind", "{came} came, a list of two numbers was expected: {expected}. Correct the value."),
    "model_type": ("wrong-kind", "{came} came, {expected} was expected. Correct the value."),
    "dict_type": ("wrong-kind", "{came} came, {expected} was expected. Correct the value."),
    "too_short": ("too-short", "{came} came, {expected} was expected. Add what is missing."),
    "too_long": (
        "too-long",
        "{came} came, two numbers were expected: {expected}. Remove what is too much; a decimal comma must be a point.",
    ),
}
