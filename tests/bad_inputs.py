"""The zoo of bad part and readings files: a name, the bytes, and what the refusal must say.

``place`` is the line, column or JSON path that a person looks for; ``remedy`` is a piece of what to do.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

__all__ = ["BAD_PARTS", "BAD_READINGS", "BadFile", "good_part", "good_readings", "square"]


@dataclass(frozen=True)
class BadFile:
    """One bad file."""

    name: str
    content: bytes
    place: str
    remedy: str


def square(x: float, y: float, side: float) -> list[list[float]]:
    return [[x, y], [x + side, y], [x + side, y + side], [x, y + side]]


def good_part() -> dict[str, Any]:
    """Two pockets of an invented part, as a document that is accepted."""
    return {
        "format": "floorfit-part/1",
        "name": "trial plate",
        "units": "mm",
        "outline": [[0, 0], [300, 0], [300, 200], [0, 200]],
        "underside_z": 0.0,
        "defaults": {"web": 2.0, "web_tolerance": [-0.1, 0.1], "finish_stock": 0.5},
        "pockets": [
            {"id": "P1", "boundary": square(20, 20, 100), "islands": [square(60, 60, 20)], "floor_z": 2.0},
            {"id": "P2", "boundary": square(150, 20, 100), "floor_z": 2.0, "slope": [0.0, 0.0], "corner_radius": 8},
        ],
    }


def good_readings() -> bytes:
    """Readings that cover both pockets."""
    rows = ["x_mm,y_mm,thickness_mm"]
    rows += [f"{x},{y},2.5" for x0 in (20, 150) for x in range(x0 + 5, x0 + 100, 30) for y in range(25, 120, 30)]
    return "\n".join(rows).encode() + b"\n"


def _part(name: str, place: str, remedy: str, change: Callable[[dict[str, Any]], object]) -> BadFile:
    document = good_part()
    change(document)
    return BadFile(name, json.dumps(document).encode(), place, remedy)


def _set(*path_and_value: Any) -> Callable[[dict[str, Any]], object]:
    *path, key, value = path_and_value

    def change(document: Any) -> None:
        for step in path:
            document = document[step]
        document[key] = value

    return change


def _drop(*path: Any) -> Callable[[dict[str, Any]], object]:
    def change(document: Any) -> None:
        for step in path[:-1]:
            document = document[step]
        del document[path[-1]]

    return change


def _both(*changes: Callable[[dict[str, Any]], object]) -> Callable[[dict[str, Any]], object]:
    return lambda document: [change(document) for change in changes]


def _pocket(key: str, value: Any) -> Callable[[dict[str, Any]], object]:
    return _set("pockets", 1, key, value)


def _text(old: str, new: str) -> bytes:
    text = json.dumps(good_part())
    assert old in text
    return text.replace(old, new, 1).encode()


_BOW_TIE = [[150, 20], [250, 120], [250, 20], [150, 120]]
_LINE = [[150, 20], [200, 20], [250, 20]]
_P2 = "pockets[1]"

BAD_PARTS = [
    BadFile("empty file", b"", "line 1", "missing or spare"),
    BadFile("cut off", json.dumps(good_part()).encode()[:-40], "line 1", "missing or spare"),
    BadFile("spare comma", _text("}]}", "},]}"), "line 1", "spare comma"),
    BadFile("not UTF-8", _text("trial plate", "PLATE").replace(b"PLATE", b"T\xfcr"), "line 1", "in UTF-8"),
    BadFile("UTF-16", json.dumps(good_part()).encode("utf-16"), "line 1", "in UTF-8"),
    BadFile("a list on top", b"[1, 2]", "top level", "Correct the value"),
    BadFile("a number on top", b"7", "top level", "Correct the value"),
    BadFile("null on top", b"null", "top level", "Correct the value"),
    BadFile("nested too deeply", b"[" * 100_000, "bad.json", "Check the brackets"),
    BadFile("doubled key", _text('"units": "mm"', '"units": "in", "units": "mm"'), "units", "Keep one"),
    BadFile("doubled key in a pocket", _text('"id": "P2"', '"floor_z": 3, "id": "P2"'), f"{_P2}.floor_z", "Keep one"),
    BadFile("NaN", _text('"floor_z": 2.0', '"floor_z": NaN'), "pockets[0].floor_z", "Write the number"),
    BadFile("Infinity", _text("[300, 200]", "[300, Infinity]"), "outline[2][1]", "Write the number"),
    BadFile("beyond float", _text("[300, 200]", "[300, 1e999]"), "outline[2][1]", "Write the number"),
    BadFile("400 digits", _text("[300, 200]", f"[300, {'9' * 400}]"), "outline[2][1]", "Write the number"),
    BadFile("decimal comma", _text("[300, 200]", "[300, 200,5]"), "outline[2]", "decimal comma must be a point"),
    _part("other format number", "format", "floorfit-part/1", _set("format", "floorfit-part/9")),
    _part("no format", "format", "Add it", _drop("format")),
    _part("no name", "name", "Add it", _drop("name")),
    _part("blank name", "name", "Correct it", _set("name", "  ")),
    _part("name with an escape character", "name", "Correct it", _set("name", "a\x1b[2J")),
    _part("units in cm", "units", '"mm" or "in"', _set("units", "cm")),
    _part("no units", "units", "Add it", _drop("units")),
    _part("unknown key on top", "tolerances", "Remove it", _set("tolerances", 1)),
    _part("unknown key in defaults", "defaults.webs", 'Did you mean "web"', _set("defaults", "webs", 2)),
    _part("misspelt key", f"{_P2}.corner_raduis", 'Did you mean "corner_radius"', _pocket("corner_raduis", 8)),
    _part("number as text", f"{_P2}.floor_z", "without quotes", _pocket("floor_z", "2.0")),
    _part("number as truth value", f"{_P2}.floor_z", "without quotes", _pocket("floor_z", True)),
    _part("null for a number", f"{_P2}.web", "Write it", _pocket("web", None)),
    _part("no pockets key", "pockets", "Add it", _drop("pockets")),
    _part("no pockets", "pockets", "Add what is missing", _set("pockets", [])),
    _part("pockets as object", "pockets", "list of at least one", _set("pockets", {"P1": 1})),
    _part("pocket as text", "pockets[0]", "a pocket object", _set("pockets", 0, "P1")),
    _part("no outline", "outline", "Add it", _drop("outline")),
    _part("outline of two vertices", "outline", "Add what is missing", _set("outline", [[0, 0], [300, 0]])),
    _part("outline crosses itself", "outline", "in order round", _set("outline", [[0, 0], [9, 9], [9, 0], [0, 9]])),
    _part("absurd coordinate", "outline", "Check the number", _set("outline", 2, [300, 2e9])),
    _part("id as number", f"{_P2}.id", "in double quotes", _pocket("id", 2)),
    _part("empty id", f"{_P2}.id", "Write one", _pocket("id", "")),
    _part("doubled id", f"{_P2}.id", "Give each floor its own", _pocket("id", "P1")),
    _part("id with a line break", f"{_P2}.id", "Remove them", _pocket("id", "P\n2")),
    _part("id with blanks at an end", f"{_P2}.id", "Remove them", _pocket("id", "P2 ")),
    _part("id with half a character", f"{_P2}.id", "Write it anew", _pocket("id", "P\ud800")),
    _part("id of 300 characters", f"{_P2}.id", "Shorten it", _pocket("id", "P" * 300)),
    _part("no boundary", f"{_P2}.boundary", "Add it", _drop("pockets", 1, "boundary")),
    _part(
        "vertex of one number", f"{_P2}.boundary[1][1]", "Add it", _pocket("boundary", [[150, 20], [160], [150, 90]])
    ),
    _part("vertex as object", f"{_P2}.boundary[0]", "vertex [x, y]", _pocket("boundary", [{"x": 1}, [2, 3], [9, 0]])),
    _part("boundary crosses itself", f"{_P2}.boundary", "in order round", _pocket("boundary", _BOW_TIE)),
    _part("boundary on a line", f"{_P2}.boundary", "Correct the vertices", _pocket("boundary", _LINE)),
    _part("boundary of one point", f"{_P2}.boundary", "Add the others", _pocket("boundary", [[150, 20]] * 4)),
    _part("pocket outside the outline", f"{_P2}.boundary", "Correct one", _pocket("boundary", square(250, 20, 100))),
    _part("pockets overlap", f"{_P2}.boundary", "Correct one", _pocket("boundary", square(110, 20, 100))),
    _part("same pocket twice", f"{_P2}.boundary", "Correct one", _pocket("boundary", square(20, 20, 100))),
    _part("island outside", f"{_P2}.islands[0]", "Correct its vertices", _pocket("islands", [square(20, 20, 9)])),
    _part("island partly outside", f"{_P2}.islands[0]", "Correct its", _pocket("islands", [square(240, 50, 30)])),
    _part("island crosses itself", f"{_P2}.islands[0]", "in order round", _pocket("islands", [_BOW_TIE])),
    _part("island along the boundary", f"{_P2}.islands", "Draw it into", _pocket("islands", [square(150, 50, 30)])),
    _part(
        "islands overlap",
        f"{_P2}.islands[0]",
        "Join them",
        _pocket("islands", [square(160, 30, 30), square(180, 40, 30)]),
    ),
    _part("floor at the underside", _P2, "must lie above", _both(_drop("defaults", "web"), _pocket("floor_z", 0.0))),
    _part("web and floor disagree", f"{_P2}.web", "Correct one of the three", _pocket("floor_z", 12.0)),
    _part("web disagrees by 2 µm", f"{_P2}.web", "Correct one of the three", _pocket("floor_z", 2.002)),
    _part("two undersides", "defaults.underside_z", "Keep one", _set("defaults", "underside_z", 1.0)),
    _part(
        "no underside and no web",
        f"{_P2}.underside_z",
        "or give the web",
        _both(_drop("underside_z"), _drop("defaults", "web")),
    ),
    _part("limits swapped", f"{_P2}.web_tolerance", "[lower, upper]", _pocket("web_tolerance", [0.1, -0.1])),
    _part("no limit at all", f"{_P2}.web_tolerance", "[0, null]", _pocket("web_tolerance", [None, None])),
    _part("one limit", f"{_P2}.web_tolerance[1]", "Add it", _pocket("web_tolerance", [0.1])),
    _part("no tolerance", f"{_P2}.web_tolerance", "Add it", _drop("defaults", "web_tolerance")),
    _part("no finish stock", f"{_P2}.finish_stock", "0 if roughing left nothing", _drop("defaults", "finish_stock")),
    _part("negative finish stock", "defaults.finish_stock", "Correct the number", _set("defaults", "finish_stock", -1)),
    _part("negative corner radius", f"{_P2}.corner_radius", "Correct the number", _pocket("corner_radius", -8)),
    _part("slope in degrees", f"{_P2}.slope", "not degrees", _pocket("slope", [2.0, 0.0])),
    _part("slope down through the underside", _P2, "Correct one", _pocket("slope", [0.1, 0.0])),
]

_HEAD = "x_mm,y_mm,thickness_mm\n"


def _rows(name: str, text: str, place: str, remedy: str) -> BadFile:
    return BadFile(name, text.encode(), place, remedy)


BAD_READINGS = [
    _rows("empty file", "", "line 1", "x_mm,y_mm,thickness_mm"),
    _rows("comments only", "# taken on a trial\n\n# twice\n", "line 1", "x_mm,y_mm,thickness_mm"),
    _rows("no header", "# x_mm,y_mm,thickness_mm\n30,30,2.5\n60,30,2.5\n", "line 2", "Add one, without #"),
    _rows("no y", "x_mm,thickness_mm\n1,2\n", "line 1", "Add it"),
    _rows("no thickness", "x_mm,y_mm\n1,2\n", "line 1", "Add it"),
    _rows("no unit in the names", "x,y,thickness\n1,2,3\n", "line 1", 'Rename "x" to x_mm'),
    _rows("mixed units", "x_mm,y_mm,thickness_in\n30,30,0.1\n", "line 1", "all in one unit"),
    _rows("mixed units in an optional column", "x_in,y_in,thickness_in,z_mm\n1,1,0.1,2\n", "line 1", "all in one unit"),
    _rows("doubled column", "x_mm,y_mm,thickness_mm,X_MM\n1,2,3,4\n", "line 1", "Rename or remove one"),
    _rows("tabs", "x_mm\ty_mm\tthickness_mm\n1\t2\t3\n", "line 1", "commas or semicolons"),
    _rows("header quote open", 'x_mm,y_mm,"thickness_mm\n1,2,3\n', "line 1", "Correct the quotes"),
    _rows("words for a number", _HEAD + "30,30,2.5\n30,60,thick\n", "line 3, column thickness_mm", "Correct the value"),
    _rows("unit in the cell", _HEAD + "30,30,2.5 mm\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("blank x", _HEAD + ",30,2.5\n", "line 2, column x_mm", "Fill it in"),
    _rows("blank y", _HEAD + "30, ,2.5\n", "line 2, column y_mm", "Fill it in"),
    _rows("nan for x", _HEAD + "nan,30,2.5\n", "line 2, column x_mm", "Fill it in"),
    _rows("dashes for y", _HEAD + "30,---,2.5\n", "line 2, column y_mm", "Fill it in"),
    _rows("inf thickness", _HEAD + "30,30,inf\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("minus infinity for x", _HEAD + "-Infinity,30,2.5\n", "line 2, column x_mm", "Correct the value"),
    _rows("beyond float", _HEAD + "30,30,1e999\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("absurd x", _HEAD + "3e9,30,2.5\n", "line 2, column x_mm", "Check the number"),
    _rows("grouped digits", _HEAD + "30,30,1_000\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("digits of another script", _HEAD + "30,30,٢\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("hexadecimal", _HEAD + "30,30,0x1p3\n", "line 2, column thickness_mm", "Correct the value"),
    _rows("decimal comma between commas", _HEAD + "30,0,30,0,2,5\n", "line 2", "separate the cells by semicolons"),
    _rows("quoted decimal comma", _HEAD + '30,30,"2,5"\n', "line 2, column thickness_mm", "write a decimal point"),
    _rows("grouped thousands", "x_mm;y_mm;thickness_mm\n1.030,5;30;2,5\n", "line 2, column x_mm", "Correct the value"),
    _rows("a cell too few", _HEAD + "30,30,2.5\n30,60\n", "line 3", "Correct the separators"),
    _rows("a cell too many", _HEAD + "30,30,2.5,good\n", "line 2", "Correct the separators"),
    _rows("quote over the line's end", _HEAD + '30,30,"2.5\n30,60,2.5"\n', "line 2", "remove it"),
    _rows("quote inside a cell", _HEAD + '30,30,"2.5"x\n', "line 2", "remove it"),
    _rows("semicolon rows under a comma header", _HEAD + "30;30;2,5\n", "line 2", "Correct the separators"),
    _rows("uncertainty zero", "x_mm,y_mm,thickness_mm,u_mm\n1,2,3,0\n", "line 2, column u_mm", "Correct it"),
    _rows("uncertainty negative", "x_mm,y_mm,thickness_mm,u_mm\n1,2,3,-0.01\n", "line 2, column u_mm", "Correct it"),
    _rows("words for z", "x_mm,y_mm,thickness_mm,z_mm\n1,2,3,top\n", "line 2, column z_mm", "Correct the value"),
    _rows(
        "colder than can be",
        "x_mm,y_mm,thickness_mm,temperature_c\n1,2,3,-300\n",
        "line 2, column temperature_c",
        "Check the number",
    ),
    _rows("column without a name", "x_mm,y_mm,thickness_mm,\n1,2,3,4\n", "line 2, column 4", "Name it"),
    _rows(
        "label of 300 characters",
        f"x_mm,y_mm,thickness_mm,pocket\n1,2,3,{'P' * 300}\n",
        "line 2, column pocket",
        "Shorten it",
    ),
    _rows("fault after comments and blank lines", "# a\n\n" + _HEAD + "# b\n\n1,2,x\n", "line 6, column", "Correct"),
    BadFile("not UTF-8", _HEAD.encode() + b"30,30,2.5\n30,60,2\xb75\n", "line 3", "in UTF-8"),
    BadFile("UTF-16", _HEAD.encode("utf-16"), "line 1", "in UTF-8"),
    BadFile("a packed workbook", b"PK\x03\x04\xff\xfe\x00\x91", "line 1", "as CSV"),
    BadFile("a null byte", _HEAD.encode() + b"30,30,2\x005\n", "line 2, column thickness_mm", "Correct the value"),
]
