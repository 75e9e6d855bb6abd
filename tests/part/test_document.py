"""The shape of a part document: paths and values as they are shown in messages."""

from __future__ import annotations

import copy
import math
import sys
from typing import Any

import jsonschema
import pytest
from bad_inputs import good_part

from floorfit.part import part_schema
from floorfit.part.document import json_path, quoted, structure_faults


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ((), "top level"),
        (("pockets", 3, "boundary", 0, 1), "pockets[3].boundary[0][1]"),
        (("odd key",), '["odd key"]'),
        (("defaults", ""), 'defaults[""]'),
    ],
)
def test_json_path(path: tuple[str | int, ...], text: str):
    assert json_path(path) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("a", '"a"'),
        (None, "null"),
        (True, "true"),
        (2.5, "2.5"),
        (float("nan"), "NaN"),
        ([1, 2], "a list of 2"),
        ({"a": 1}, "an object {...}"),
        ("\x1b[2J", '"\\u001b[2J"'),
        ("\ud800", '"\\ud800"'),
        ({1}, "a set"),
    ],
)
def test_quoted(value: object, text: str):
    assert quoted(value) == text


def test_quoted_is_short_and_on_one_line():
    shown = quoted("line\nbreak \u202e" * 50)
    assert len(shown) <= 60
    assert shown.isprintable()


def test_good_document_has_no_faults():
    assert structure_faults(good_part()) == []


def test_each_fault_has_its_path():
    document = good_part()
    document["pockets"][1]["boundary"][2] = [1, None]
    del document["pockets"][0]["floor_z"]
    paths = {json_path(fault.path) for fault in structure_faults(document)}
    assert paths == {"pockets[1].boundary[2][1]", "pockets[0].floor_z"}


def shaped_part() -> dict[str, Any]:
    """A part of the second format with every key that it adds."""
    document = good_part()
    document["format"] = "floorfit-part/2"
    ring = [[0, 0], [9, 0], [9, 9]]
    plane = {"at": [0, 0, 2.0], "slope": [0.0, 0.001]}
    grid = {"origin": [0, 0], "step": [9, 9], "z": [[2.0, 2.1], [2.0, 2.2]]}
    document["pockets"][0] |= {
        "floor": [{"level": 2.0}, {"region": ring, "plane": plane}, {"region": ring, "grid": grid}],
        "underside": [{"level": 0}],
        "web_constant": True,
        "web_along": "z",
        "tolerances": [{"region": ring, "web_tolerance": [None, 1.0]}],
    }
    return document


#: What no file may lack, and the least of a list: the contract's words, apart from the schema.
@pytest.mark.parametrize(
    "place",
    [
        ("format",), ("name",), ("units",), ("outline",), ("pockets",), ("outline", 2), ("outline", 0, 1),
        ("pockets", 0, "id"), ("pockets", 0, "boundary"), ("pockets", 0, "floor", 1, "region", 2),
        ("pockets", 0, "floor", 1, "plane", "at"), ("pockets", 0, "floor", 1, "plane", "slope"),
        ("pockets", 0, "floor", 1, "plane", "at", 2), ("pockets", 0, "floor", 1, "plane", "slope", 1),
        ("pockets", 0, "floor", 2, "grid", "origin"), ("pockets", 0, "floor", 2, "grid", "step"),
        ("pockets", 0, "floor", 2, "grid", "z"), ("pockets", 0, "floor", 2, "grid", "z", 1),
        ("pockets", 0, "floor", 2, "grid", "z", 0, 1), ("pockets", 0, "underside", 0),
        ("pockets", 0, "tolerances", 0, "region"), ("pockets", 0, "tolerances", 0, "web_tolerance"),
        ("pockets", 0, "tolerances", 0, "web_tolerance", 1),
    ],
)  # fmt: skip
def test_nothing_that_a_part_needs_may_be_missing(place: tuple[str | int, ...]):
    document = shaped_part()
    document["outline"] = document["outline"][:3]
    *above, last = place
    target: Any = document
    for step in above:
        target = target[step]
    del target[last]
    assert structure_faults(document)


JUNK = [
    None,
    True,
    0,
    2.5,
    "",
    "mm",
    "x" * 300,
    [],
    [1],
    [1, 2],
    [None, 1],
    [1, 2, 3],
    [[1, 2]] * 3,
    {},
    {"at": [1, 2, 3]},
]


def _spoilt(good: dict[str, Any]) -> list[dict[str, Any]]:
    """The document with junk in each place, with each place left out, and with a key too many in each object.

    Of more than two rows or numbers that are alike, the first and the last place.
    """

    def places(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
        keys: Any = value if isinstance(value, dict) else ()
        if isinstance(value, list):
            keys = sorted({0, len(value) - 1} if value and not isinstance(value[0], dict) else range(len(value)))
        return [path, *(place for key in keys for place in places(value[key], (*path, key)))]

    out = []
    for *above, last in places(good)[1:]:
        for junk in [*JUNK, "left out", "one more"]:
            document = copy.deepcopy(good)
            target: Any = document
            for step in above:
                target = target[step]
            if junk == "left out":
                del target[last]
            elif junk == "one more":
                target.update(odd=1) if isinstance(target, dict) else target.append(1)
            else:
                target[last] = junk
            out.append(document)
    return out


def _least(good: dict[str, Any]) -> dict[str, Any]:
    """The document with one pocket that has the keys of all, and rings of three vertices: each place costs seconds."""
    pocket = {key: value for one in reversed(good["pockets"]) for key, value in one.items()}
    rings = {"boundary": pocket["boundary"][:3], "islands": [ring[:3] for ring in pocket["islands"]]}
    return good | {"outline": good["outline"][:3], "pockets": [pocket | rings]}


#: Faults of a key that stands in an object, or of what is missing: jsonschema names the object or row.
_OF_A_KEY = ("missing", "unknown-key")


@pytest.mark.parametrize("number", [1, 2])
def test_what_departs_from_the_published_schema_is_refused_and_nothing_else(number: int):
    """By the library jsonschema (draft 2020-12); of a row it may name both its length and its items."""
    validator = jsonschema.Draft202012Validator(part_schema(number))
    good = _least(good_part() if number == 1 else shaped_part())
    for document in [good, *_spoilt(good)]:
        if number == 2 and document.get("format") != "floorfit-part/2":
            continue  # held against the first format
        faults = structure_faults(document)
        found = {one.path[:-1] if one.code in _OF_A_KEY else one.path for one in faults}
        expected = {place for error in validator.iter_errors(document) for place in _leaves(error)}
        assert found <= expected, document
        assert bool(found) == bool(expected), document


def _leaves(error: jsonschema.ValidationError) -> list[tuple[str | int, ...]]:
    return [place for one in error.context for place in _leaves(one)] or [tuple(error.absolute_path)]


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("x" * 256, None),
        ("x" * 257, "too-long"),
        ("\ud7ff\ue000", None),
        ("half \ud800", "bad-text"),
        ("half \udfff", "bad-text"),
    ],
)
def test_edges_of_a_text(name: str, code: str | None):
    """256 characters at most (contract); surrogates are U+D800 to U+DFFF (Unicode, D71 to D75: from memory)."""
    assert [fault.code for fault in structure_faults(good_part() | {"name": name})] == ([code] if code else [])


@pytest.mark.parametrize("number", [sys.float_info.max, -sys.float_info.max, 10**400, -(10**400), math.inf, math.nan])
def test_a_number_is_finite_in_double_precision(number: float):
    """The largest is (2 - 2^-52) 2^1023 (IEEE 754-2019, table 3.5): whole numbers of JSON may be larger."""
    is_finite = abs(number) <= (2**53 - 1) * 2**971
    codes = [fault.code for fault in structure_faults(good_part() | {"underside_z": number})]
    assert codes == ([] if is_finite else ["not-finite"])


def test_sixty_characters_are_shown_whole():
    assert quoted("x" * 58) == '"' + "x" * 58 + '"'
    assert quoted("x" * 59) == '"' + "x" * 56 + "..."
