"""The shape of a part document: paths and values as they are shown in messages."""

from __future__ import annotations

import pytest
from bad_inputs import good_part

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
