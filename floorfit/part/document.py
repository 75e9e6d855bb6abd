"""A part file held against the schema of its format, and what is said where it departs from it.

Only what can be said of one value by itself is checked here; what the values mean together (rings that cross,
floors that overlap, webs that disagree) is the matter of `floorfit.part.check`.
"""

from __future__ import annotations

import difflib
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from floorfit.part.part_format import FORMAT, LONGEST_NAME, SHAPED_FORMAT, Schema, schema_of

__all__ = ["Fault", "json_path", "quoted", "structure_faults"]

Path = tuple[str | int, ...]


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
    schema = schema_of(2 if is_shaped else 1)
    return list(_faults(document, schema, (), schema["$defs"]))


def _faults(value: Any, schema: Schema, path: Path, defs: Schema) -> Iterator[Fault]:
    """Yield where a value departs from a schema, which uses the words of JSON Schema that are named here."""
    if "$ref" in schema:
        schema = defs[schema["$ref"].rpartition("/")[2]]
    if "anyOf" in schema:
        if value is None:
            return
        schema = schema["anyOf"][0]
    kind = schema["type"]
    if kind == "object":
        yield from _object_faults(value, schema, path, defs)
    elif kind == "array":
        yield from _array_faults(value, schema, path, defs)
    elif problem := _PROBLEM_OF[kind](value, schema):
        yield _fault(problem, path, value)


def _object_faults(value: Any, schema: Schema, path: Path, defs: Schema) -> Iterator[Fault]:
    if not isinstance(value, Mapping):
        yield _fault("kind", path, value)
        return
    known = schema["properties"]
    for key, inner in known.items():
        if key in value:
            yield from _faults(value[key], inner, (*path, key), defs)
        elif key in schema.get("required", ()):
            text = f"the key {quoted(key)} is missing. Add it: {_expected((*path, key))} was expected."
            yield Fault("missing", (*path, key), text)
    for key in value:
        if key not in known:
            yield Fault("unknown-key", (*path, key), _unknown_key(key, list(known)))


def _array_faults(value: Any, schema: Schema, path: Path, defs: Schema) -> Iterator[Fault]:
    inner = schema.get("prefixItems", ())
    if not isinstance(value, list | tuple):
        yield _fault("row" if inner else "kind", path, value)
    elif inner and len(value) > len(inner):
        yield _fault("row-too-long", path, value)
    elif inner:
        for i, (item, one) in enumerate(zip(value, inner, strict=False)):
            yield from _faults(item, one, (*path, i), defs)
        for i in range(len(value), len(inner)):
            yield Fault("missing", (*path, i), "a pair of two numbers was expected, a number is missing. Add it.")
    else:
        faults = [fault for i, item in enumerate(value) for fault in _faults(item, schema["items"], (*path, i), defs)]
        is_short = not faults and len(value) < schema.get("minItems", 0)
        yield from [_fault("too-short", path, value)] if is_short else faults


def _number_problem(value: Any, schema: Schema) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "number"
    return "" if abs(value) <= sys.float_info.max else "finite"


def _text_problem(value: Any, schema: Schema) -> str:
    allowed = schema.get("enum", [schema.get("const")])
    if not isinstance(value, str):
        return "text" if allowed == [None] else "value"
    if any(0xD800 <= ord(sign) <= 0xDFFF for sign in value):
        return "half-sign"
    if allowed != [None]:
        return "" if value in allowed else "value"
    return ("" if len(value) <= schema["maxLength"] else "text-too-long") if value else "empty"


def _flag_problem(value: Any, schema: Schema) -> str:
    return "" if isinstance(value, bool) else "kind"


_PROBLEM_OF = {"number": _number_problem, "string": _text_problem, "boolean": _flag_problem}


def _fault(problem: str, path: Path, value: Any) -> Fault:
    code, text = _TEXTS[problem]
    return Fault(code, path, text.format(came=quoted(value), expected=_expected(path)))


def _unknown_key(key: object, known: list[str]) -> str:
    near = difflib.get_close_matches(str(key), known, n=1)
    hint = f"Did you mean {quoted(near[0])}? Correct the spelling" if near else "Remove it, or correct the spelling"
    return f"unknown key {quoted(key)}. {hint}; known here are {', '.join(known)}."


def _expected(path: Path) -> str:
    """Say what belongs at a path."""
    keys = [step for step in path if isinstance(step, str)]
    if isinstance(path[-1] if path else None, int) and keys[-1] in _ITEMS:
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

#: What is said of each problem: its code and words.
_TEXTS = {
    "number": (
        "not-a-number",
        "{came} came where a number belongs. Write it without quotes, with a decimal point.",
    ),
    "finite": (
        "not-finite",
        "{came} came, a finite number was expected. Write the number, or leave the key out.",
    ),
    "text": ("wrong-kind", "{came} came, {expected} was expected. Put it in double quotes."),
    "half-sign": ("bad-text", "{came} came, with half a character in it (a lone surrogate). Write it anew."),
    "empty": ("empty", "the text is empty, {expected} was expected. Write one."),
    "text-too-long": ("too-long", "the text is too long, {expected} was expected. Shorten it."),
    "value": ("wrong-value", "{came} came, {expected} was expected. Correct the value."),
    "kind": ("wrong-kind", "{came} came, {expected} was expected. Correct the value."),
    "row": ("wrong-kind", "{came} came, a list of two numbers was expected: {expected}. Correct the value."),
    "too-short": ("too-short", "{came} came, {expected} was expected. Add what is missing."),
    "row-too-long": (
        "too-long",
        "{came} came, two numbers were expected: {expected}. Remove what is too much; a decimal comma must be a point.",
    ),
}
