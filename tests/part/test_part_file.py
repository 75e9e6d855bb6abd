"""The part file: read, written, read again; everything that the contract allows, and all faults at once."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from bad_inputs import good_part, square
from hypothesis import given, settings
from hypothesis import strategies as st

from floorfit.errors import InputError
from floorfit.part import (
    Part,
    Pocket,
    Tolerance,
    part_from_document,
    part_schema,
    part_to_document,
    read_part,
    write_part,
)


def test_the_example_of_the_contract(tmp_path: Path):
    """The example printed in the project's contract, with every value where it says."""
    text = """{
      "format": "floorfit-part/1",
      "name": "equipment bay frame",
      "units": "mm",
      "outline": [[0, 0], [1200, 0], [1200, 500], [0, 500]],
      "underside_z": 0.0,
      "defaults": {"web": 2.0, "web_tolerance": [-0.1, 0.1], "finish_stock": 0.5},
      "pockets": [
        {"id": "P01", "boundary": [[20, 20], [180, 20], [180, 140], [20, 140]], "islands": [],
         "floor_z": 2.0, "slope": [0.0, 0.0], "corner_radius": 8.0}
      ]
    }"""
    path = tmp_path / "frame.json"
    path.write_text(text)
    expected = Pocket(
        id="P01",
        boundary=((20, 20), (180, 20), (180, 140), (20, 140)),
        islands=(),
        floor_z=2.0,
        web=2.0,
        tolerance=Tolerance(-0.1, 0.1),
        underside_z=0.0,
        finish_stock=0.5,
        corner_radius=8.0,
    )
    outline = ((0.0, 0.0), (1200.0, 0.0), (1200.0, 500.0), (0.0, 500.0))
    assert read_part(path) == Part("equipment bay frame", outline, (expected,), "mm", "frame.json")


def test_inches_become_millimetres():
    """25.4 mm to the inch, exact by definition (NIST SP 811, appendix B.8); slopes are ratios and stay."""
    document = good_part()
    document["units"] = "in"
    document["pockets"][1]["slope"] = [0.001, 0.0]
    part = part_from_document(document)
    second = part.pockets[1]
    assert part.outline[2] == (300 * 25.4, 200 * 25.4)
    assert (second.floor_z, second.web, second.finish_stock, second.corner_radius) == (50.8, 50.8, 12.7, 203.2)
    assert second.tolerance == Tolerance(-0.1 * 25.4, 0.1 * 25.4)
    assert second.slope == (0.001, 0.0)


# ---- what may be left out, and what overrides what -------------------------------------------------------------


def test_pocket_overrides_defaults():
    document = good_part()
    own = {"floor_z": 7.0, "underside_z": 4.0, "web": 3.0, "web_tolerance": [0, None], "finish_stock": 0.2}
    document["pockets"][1].update(own)
    first, second = part_from_document(document).pockets
    assert (first.underside_z, first.web, first.finish_stock) == (0.0, 2.0, 0.5)
    assert (second.underside_z, second.web, second.finish_stock) == (4.0, 3.0, 0.2)
    assert second.tolerance == Tolerance(0.0, None)


def test_web_is_floor_less_underside_where_not_stated():
    document = good_part()
    del document["defaults"]["web"]
    document["pockets"][1].update(floor_z=7.5, underside_z=4.0)
    assert [pocket.web for pocket in part_from_document(document).pockets] == [2.0, 3.5]


def test_underside_is_floor_less_web_where_not_stated():
    document = good_part()
    del document["underside_z"]
    document["pockets"][1]["floor_z"] = 7.0
    assert [pocket.underside_z for pocket in part_from_document(document).pockets] == [0.0, 5.0]


@pytest.mark.parametrize("units", ["mm", "in"])
def test_web_may_differ_by_a_micrometre(units: str):
    """The contract's 1 µm, in either unit; 1.2 µm is refused."""
    document = good_part()
    document["units"] = units
    per_unit = {"mm": 1.0, "in": 25.4}[units]
    document["pockets"][1]["floor_z"] = 2.0 + 0.0009 / per_unit
    assert part_from_document(document).pockets[1].web == pytest.approx(2.0 * per_unit + 0.0009, abs=1e-12)
    document["pockets"][1]["floor_z"] = 2.0 + 0.0012 / per_unit
    with pytest.raises(InputError, match=r"pockets\[1\]\.web: .*Correct one of the three"):
        part_from_document(document)


def test_float_dust_does_not_show_in_the_web():
    """0.3 − 0.1 is 0.19999999999999998 in binary; the stated 0.2 is what counts."""
    document = good_part()
    document["underside_z"] = 0.1
    document["defaults"]["web"] = 0.2
    for pocket in document["pockets"]:
        pocket["floor_z"] = 0.3
    assert part_from_document(document).pockets[0].web == 0.2


def test_closed_and_doubled_vertices_are_dropped():
    document = good_part()
    ring = document["pockets"][1]["boundary"]
    document["pockets"][1]["boundary"] = [ring[0], ring[0], *ring[1:], ring[0]]
    assert part_from_document(document) == part_from_document(good_part())


def test_odd_ids_are_kept():
    document = good_part()
    names = ['<script>alert("x")</script> & Tür; "ü", ' + "é" * 150, "'; --"]
    for pocket, name in zip(document["pockets"], names, strict=True):
        pocket["id"] = name
    assert [pocket.id for pocket in part_from_document(document).pockets] == names


def test_byte_order_mark_is_allowed(tmp_path: Path):
    path = tmp_path / "part.json"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(good_part()).encode())
    assert read_part(path).name == "trial plate"


# ---- geometry that is allowed ----------------------------------------------------------------------------------


def _with_second(**values: Any) -> dict[str, Any]:
    document = good_part()
    document["pockets"][1].update(values)
    return document


@pytest.mark.parametrize(
    "boundary",
    [square(120, 20, 100), square(120 - 5e-4, 20, 100), square(62, 62, 15), square(60, 60, 20)],
    ids=["shares an edge", "half a micrometre over", "on the other's island", "fills the other's island"],
)
def test_floors_side_by_side_are_accepted(boundary: list[list[float]]):
    assert len(part_from_document(_with_second(boundary=boundary)).pockets) == 2


def test_boundary_on_the_outline_is_accepted_and_two_micrometres_outside_are_not():
    part_from_document(_with_second(boundary=square(200, 0, 100)))
    part_from_document(_with_second(boundary=square(200.0005, 0, 100)))
    with pytest.raises(InputError, match="outside the outline"):
        part_from_document(_with_second(boundary=square(200.002, 0, 100)))


def test_either_winding_is_accepted():
    document = good_part()
    for ring in (document["outline"], *(pocket["boundary"] for pocket in document["pockets"])):
        ring.reverse()
    document["pockets"][0]["islands"][0].reverse()
    assert part_from_document(document).pockets[0].polygon.area == pytest.approx(100**2 - 20**2)


# ---- faults ------------------------------------------------------------------------------------------------------


def test_all_faults_come_at_once():
    document = good_part()
    document["colour"] = "red"
    document["outline"][1] = [300, "0"]
    document["pockets"][0]["finish_stock"] = -1
    document["pockets"][0]["islands"] = [square(500, 500, 10)]
    document["pockets"][1]["boundary"] = [[0, 0], [9, 9], [9, 0], [0, 9]]
    document["pockets"][1]["web"] = 3.0
    with pytest.raises(InputError, match="colour") as caught:
        part_from_document(document, "plate.json")
    assert {finding.place for finding in caught.value.findings} == {
        "colour",
        "outline[1][1]",
        "pockets[0].finish_stock",
        "pockets[0].islands[0]",
        "pockets[1].boundary",
        "pockets[1].web",
    }
    assert all(finding.source == "plate.json" for finding in caught.value.findings)


def test_a_fault_of_the_defaults_is_told_once():
    document = good_part()
    document["defaults"]["web_tolerance"] = [0.1, -0.1]
    with pytest.raises(InputError, match="lower") as caught:
        part_from_document(document)
    assert [finding.place for finding in caught.value.findings] == ["defaults.web_tolerance"]


def test_many_faults_are_cut_off_with_their_number():
    document = good_part()
    document["pockets"] += [{"id": str(k)} for k in range(200)]  # each lacks boundary and floor_z
    with pytest.raises(InputError, match="and 300 more faults") as caught:
        part_from_document(document)
    assert len(caught.value.findings) == 101


def test_120_equal_pockets_name_some_pairs_and_count_the_others():
    """120·119/2 = 7140 pairs, of which 20 are named."""
    document = good_part()
    document["pockets"] = [{"id": f"P{k}", "boundary": square(20, 20, 100), "floor_z": 2.0} for k in range(120)]
    with pytest.raises(InputError, match="7120 more pairs of pockets overlap"):
        part_from_document(document)


def test_missing_file_is_named(tmp_path: Path):
    with pytest.raises(InputError, match=r"nowhere\.json: cannot be read .*Check the path"):
        read_part(tmp_path / "nowhere.json")
    with pytest.raises(InputError, match="cannot be read"):
        read_part(tmp_path)


# ---- writing -----------------------------------------------------------------------------------------------------

_lengths = st.floats(0.001, 500, allow_nan=False).map(lambda value: float(f"{value:.6g}"))


@given(
    side=st.floats(0.1, 500),
    x=_lengths,
    floor=_lengths,
    under=_lengths,
    stock=_lengths,
    units=st.sampled_from(["mm", "in"]),
)
def test_read_write_read_gives_the_same_part(
    side: float, x: float, floor: float, under: float, stock: float, units: str
):
    document = good_part()
    document.update(units=units, underside_z=-under, outline=[[-10, -10], [2000, -10], [2000, 2000], [-10, 2000]])
    document["defaults"] = {"web_tolerance": [-stock, None], "finish_stock": stock}
    document["pockets"] = [{"id": "P", "boundary": square(x, x, side), "floor_z": floor, "corner_radius": stock}]
    part = part_from_document(document)
    assert part_from_document(json.loads(json.dumps(part_to_document(part)))) == part


@settings(deadline=None)
@given(value=st.floats(0.01, 1e5))
def test_any_millimetre_survives_inches_to_a_unit_in_the_last_place(value: float):
    """Division and multiplication by 25.4 round once each (IEEE 754), so one unit in the last place is the most."""
    pocket = Pocket("P", tuple((a, b) for a, b in square(0, 0, value)), (), value, value, Tolerance(-0.1, 0.1))
    part = Part("p", pocket.boundary, (pocket,), units="in")
    again = part_from_document(part_to_document(part)).pockets[0]
    assert abs(again.boundary[1][0] - value) <= math.ulp(value)
    assert abs(again.floor_z - value) <= math.ulp(value)


def test_inches_stay_short_in_the_file():
    """0.1 in is 2.54 mm (to the last bit 2.5399999999999996); the file says 0.1 again."""
    document = good_part()
    document["units"] = "in"
    ring = [[0.1, 0.7], [100.3, 0.7], [100.3, 99.9], [0.1, 99.9]]
    document["pockets"][0].update(boundary=ring, islands=[])
    assert part_to_document(part_from_document(document))["pockets"][0]["boundary"] == ring


def test_written_file_is_read_back_and_shares_defaults(tmp_path: Path):
    part = part_from_document(_with_second(id="Tür <b>", web_tolerance=[0, None]), "part.json")
    path = tmp_path / "part.json"
    write_part(part, path)
    assert read_part(path) == part
    document = json.loads(path.read_text(encoding="utf-8"))
    assert document["defaults"] == {"web": 2.0, "finish_stock": 0.5, "underside_z": 0.0}
    assert dataclasses.replace(read_part(path), source="part.json") == part


# ---- schema ------------------------------------------------------------------------------------------------------


def test_schema_is_valid_and_accepts_what_is_written():
    schema = part_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(good_part())
    validator.validate(part_to_document(part_from_document(_with_second(web_tolerance=[0, None]))))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), "floorfit-part/9"),
        (("units",), "cm"),
        (("colour",), "red"),
        (("outline",), [[0, 0], [1, 1]]),
        (("pockets",), []),
        (("pockets", 0, "floor_z"), "2.0"),
        (("pockets", 0, "web"), None),
        (("pockets", 0, "id"), ""),
        (("pockets", 0, "boundary", 0), [1, 2, 3]),
        (("defaults", "web_tolerance"), [0.1]),
        (("defaults", "webs"), 1),
    ],
)
def test_schema_and_reader_refuse_the_same(path: tuple[str | int, ...], value: Any):
    document: Any = good_part()
    target = document
    for step in path[:-1]:
        target = target[step]
    target[path[-1]] = value
    assert not jsonschema.Draft202012Validator(part_schema()).is_valid(document)
    with pytest.raises(InputError, match=str(path[0])):
        part_from_document(document)


# ---- anything at all in any place --------------------------------------------------------------------------------


def _places(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    keys = value.keys() if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    return [path, *(place for key in keys for place in _places(value[key], (*path, key)))]


@pytest.mark.parametrize("junk", [None, True, "x", "", [], {}, [[]], [[0, 0]], [1, 2, 3], {"a": 1}, 10**30, -1e7, 0])
def test_junk_in_any_place_is_refused_or_makes_a_sound_part(junk: Any):
    """Whatever stands wherever: an `InputError` with places and whole sentences, or a part that can be written."""
    for place in _places(good_part())[1:]:
        document: Any = good_part()
        target = document
        for step in place[:-1]:
            target = target[step]
        target[place[-1]] = junk
        _is_refused_or_sound(document)


def _is_refused_or_sound(document: Any) -> None:
    try:
        part = part_from_document(document)
    except InputError as error:
        assert all(finding.place and finding.text.endswith(".") for finding in error.findings)
    else:
        assert all(pocket.polygon.is_valid and pocket.web > 0 for pocket in part.pockets)
        assert part_from_document(part_to_document(part)) == part


@pytest.mark.parametrize("head", ["x_mm,y_mm,thickness_mm\n", "# job 7\n\nx_in;y_in;thickness_in\n"])
def test_a_readings_file_in_place_of_the_part_is_said_to_be_one(tmp_path, head):
    file = tmp_path / "readings.csv"
    file.write_text(head + "1,2,3\n")
    with pytest.raises(InputError, match="PART comes first on the command line, READINGS second"):
        read_part(file)
