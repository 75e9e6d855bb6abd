"""The two formats of a part file as JSON Schema (draft 2020-12): its keys, their kinds, and what they mean.

`floorfit.part.document` holds a file against these schemas; `part_schema` shows them.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

__all__ = ["FORMAT", "LONGEST_NAME", "SHAPED_FORMAT", "Schema", "part_schema", "schema_of"]

#: Name and number of the format that this version reads and writes.
FORMAT = "floorfit-part/1"

#: The same with floors that need not be planes; written only for a part that has one.
SHAPED_FORMAT = "floorfit-part/2"

#: Longest name or id, characters; a label in a readings file has the same limit.
LONGEST_NAME = 256

Schema = dict[str, Any]


def _list(item: Schema, least: int) -> Schema:
    return {"type": "array", "items": item} | ({"minItems": least} if least else {})


def _row(*items: Schema) -> Schema:
    return {"type": "array", "prefixItems": list(items), "minItems": len(items), "maxItems": len(items)}


def _one(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


def _object(title: str, description: str, needed: tuple[str, ...], keys: dict[str, tuple[Schema, str]]) -> Schema:
    properties = {
        key: schema | ({} if "$ref" in schema else {"title": key.replace("_", " ").title()}) | {"description": words}
        for key, (schema, words) in keys.items()
    }
    head = {"type": "object", "title": title, "description": description, "additionalProperties": False}
    return {**head, "properties": properties} | ({"required": list(needed)} if needed else {})


_NUMBER: Schema = {"type": "number"}
_TEXT: Schema = {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME}
_PAIR = _row(_NUMBER, _NUMBER)
_RING = _list(_PAIR, 3)
_LIMIT: Schema = {"anyOf": [_NUMBER, {"type": "null"}]}
_LIMITS = (_row(_LIMIT, _LIMIT), "lower and upper deviation of the web; null for one open side")

_SHARED: dict[str, tuple[Schema, str]] = {
    "web": (_NUMBER, "nominal web thickness at the boundary's centroid, above 0"),
    "web_tolerance": _LIMITS,
    "finish_stock": (_NUMBER, "metal that roughing leaves above the nominal floor, 0 or more"),
    "underside_z": (_NUMBER, "nominal Z of the face under the web"),
}
_POCKET: dict[str, tuple[Schema, str]] = {
    **_SHARED,
    "id": (_TEXT, "name on the drawing, unique in the part"),
    "boundary": (_RING, "outline of the floor, closed implicitly, either winding"),
    "islands": (_list(_RING, 0) | {"default": []}, "metal that stands inside the boundary"),
    "floor_z": (_NUMBER, "nominal Z of the floor at the boundary's centroid"),
    "slope": (_PAIR, "dZ/dX and dZ/dY of a plane floor, ratios"),
    "corner_radius": (_NUMBER, "radius of the vertical inner corners, 0 or more"),
}
_HEIGHTS = _list(_one("HeightDocument"), 1)
_SHAPED_POCKET: dict[str, tuple[Schema, str]] = {
    **_POCKET,
    "floor": (_HEIGHTS, "in place of floor_z and slope: heights of the floor"),
    "underside": (_HEIGHTS, "in place of underside_z: heights of the face under the web"),
    "web_constant": ({"type": "boolean"}, "the underside lies web below the floor everywhere"),
    "web_along": (
        {"type": "string", "enum": ["z", "normal"]},
        "direction of web and web_tolerance; z where left out",
    ),
    "tolerances": (_list(_one("RegionTolerance"), 0), "limits of the web by region"),
}
_DEFAULTS = _object("Defaults", "Values for every pocket that does not state its own.", (), _SHARED)
_PLANE = _object(
    "PlaneDocument",
    "A plane.",
    ("at", "slope"),
    {
        "at": (_row(_NUMBER, _NUMBER, _NUMBER), "a point of the plane: x, y, z"),
        "slope": (_PAIR, "dZ/dX and dZ/dY, ratios"),
    },
)
_GRID = _object(
    "GridDocument",
    "Heights on a regular grid, bilinear in between.",
    ("origin", "step", "z"),
    {
        "origin": (_PAIR, "x and y of the first height"),
        "step": (_PAIR, "distance of neighbours along X and along Y, above 0"),
        "z": (_list(_list(_NUMBER, 2), 2), "a row of heights along X for each Y"),
    },
)
_HEIGHT = _object(
    "HeightDocument",
    "Heights over one region: one of level, plane and grid.",
    (),
    {
        "region": (_RING, "where they hold; everywhere where left out; the last entry counts"),
        "level": (_NUMBER, "one Z"),
        "plane": (_one("PlaneDocument"), "a plane"),
        "grid": (_one("GridDocument"), "heights on a grid"),
    },
)
_REGION = _object(
    "RegionTolerance",
    "Limits of the web in one region.",
    ("region", "web_tolerance"),
    {"region": (_RING, "where they hold; the last entry counts"), "web_tolerance": _LIMITS},
)


def _part(name: str, description: str, pocket: Schema, others: tuple[Schema, ...]) -> Schema:
    keys: dict[str, tuple[Schema, str]] = {
        "format": ({"type": "string", "const": name}, "name and number of this format"),
        "name": (_TEXT, "name on the drawing"),
        "units": ({"type": "string", "enum": ["mm", "in"]}, "unit of every length in the file"),
        "outline": (_RING, "outline of the part in plan"),
        "underside_z": (_NUMBER, "nominal Z of the face under the webs"),
        "defaults": (_one("Defaults"), "values for every pocket that does not state its own"),
        "pockets": (_list(_one(pocket["title"]), 1), "every floor, in order"),
    }
    defs = {one["title"]: one for one in (_DEFAULTS, pocket, *others)}
    draft = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$defs": defs}
    return draft | _object(name, description, ("format", "name", "units", "outline", "pockets"), keys)


_PART = _part(
    FORMAT,
    "A nominal part: outline and pocket floors.",
    _object("PocketDocument", "One floor at one level.", ("id", "boundary", "floor_z"), _POCKET),
    (),
)
_SHAPED_PART = _part(
    SHAPED_FORMAT,
    "A nominal part with floors that need not be planes: ``floorfit-part/2``.",
    _object(
        "ShapedPocketDocument",
        "One floor, which need not be a plane, over an underside that need not be level.",
        ("id", "boundary"),
        _SHAPED_POCKET,
    ),
    (_PLANE, _GRID, _HEIGHT, _REGION),
)


def schema_of(number: int) -> Schema:
    """Return the schema of a format, 1 or 2; not to be changed."""
    return _PART if number == 1 else _SHAPED_PART


def part_schema(number: int = 1) -> Schema:
    """Return the JSON Schema of the part file (draft 2020-12).

    Parameters
    ----------
    number : {1, 2}
        Number of the format.

    It says what keys there are and of what kind; that rings do not cross, floors do not overlap and webs agree
    is checked by `read_part` only.

    Returns
    -------
    dict
    """
    return deepcopy(schema_of(number))
