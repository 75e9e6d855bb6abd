"""``floorfit-part/2``: what is read means what was written, and what cannot be meant is refused by name."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from bad_inputs import good_part

from floorfit.errors import InputError
from floorfit.part import part_from_document, part_schema, part_to_document

RING = [[0, 0], [100, 0], [100, 60], [0, 60]]


def document(**pocket):
    """A part with one pocket; the web is 2 mm unless said otherwise."""
    one = {"id": "P01", "boundary": RING, "web": 2.0, "web_tolerance": [-0.1, 0.1], "finish_stock": 0.5}
    return {
        "format": "floorfit-part/2",
        "name": "invented",
        "units": "mm",
        "outline": [[-10, -10], [110, -10], [110, 70], [-10, 70]],
        "pockets": [{key: value for key, value in (one | pocket).items() if value is not None}],
    }


def pocket_of(**pocket):
    return part_from_document(document(**pocket)).pockets[0]


#: A barrel of radius 1000 about an axis along Y over the middle of the pocket: z = 3 + R - sqrt(R² - (x - 50)²).
def barrel(x):
    return 3.0 + 1000.0 - np.sqrt(1000.0**2 - (np.asarray(x, float) - 50.0) ** 2)


GRID = {"origin": [0, 0], "step": [2, 60], "z": [[float(barrel(2 * j)) for j in range(51)] for _ in range(2)]}
X, Y = np.random.default_rng(5).uniform((0, 0), (100, 60), (200, 2)).T


def test_a_curved_floor_of_constant_web():
    pocket = pocket_of(floor=[{"grid": GRID}], web_constant=True)
    # Chord of 2 mm: at most h² / 8R = 0.5 µm below the arc.
    np.testing.assert_allclose(pocket.floor_at(X, Y), barrel(X), atol=6e-4)
    np.testing.assert_allclose(pocket.nominal_web(X, Y), 2.0, atol=1e-12)
    np.testing.assert_allclose(pocket.slope_at(X, Y)[:, 0], (X - 50) / 1000, atol=2e-3)


def test_a_web_constant_along_the_normal():
    pocket = pocket_of(floor=[{"grid": GRID}], web_constant=True, web_along="normal")
    # Along Z a web that is 2 along the normal is 2 / cos of the slope angle.
    steep = np.sqrt(1 + pocket.slope_at(X, Y)[:, 0] ** 2)
    np.testing.assert_allclose(pocket.nominal_web(X, Y), 2.0 * steep, atol=1e-12)
    np.testing.assert_allclose(pocket.steepness_at(X, Y), steep)


def test_a_recess_below_and_a_tolerance_of_its_own():
    inner = [[20, 20], [40, 20], [40, 40], [20, 40]]
    pocket = pocket_of(
        floor_z=2.0,
        underside=[{"level": 0.0}, {"region": inner, "level": 0.5}],
        tolerances=[{"region": inner, "web_tolerance": [-0.05, None]}],
    )
    assert pocket.nominal_web([10, 30], [10, 30]) == pytest.approx([2.0, 1.5])
    lower, upper = pocket.tolerance_at([10, 30], [10, 30])
    assert lower == pytest.approx([-0.1, -0.05])
    assert upper == pytest.approx([0.1, np.inf])


def test_parallel_planes_have_a_constant_web():
    plane = {"at": [50, 30, 6.0], "slope": [0.01, 0.02]}
    under = {"at": [50, 30, 4.0], "slope": [0.01, 0.02]}
    pocket = pocket_of(floor=[{"plane": plane}], underside=[{"plane": under}])
    np.testing.assert_allclose(pocket.nominal_web(X, Y), 2.0, atol=1e-12)
    assert pocket.web == pytest.approx(2.0)


SHAPED = [
    {"floor": [{"grid": GRID}], "web_constant": True},
    {"floor": [{"grid": GRID}], "web_constant": True, "web_along": "normal"},
    {"floor_z": 2.0, "web": None, "underside": [
        {"level": 0.0}, {"region": RING, "plane": {"at": [1, 2, 0.1], "slope": [0.0, 0.01]}}]},
    {"floor_z": 2.0, "tolerances": [{"region": RING, "web_tolerance": [None, 0.2]}]},
]  # fmt: skip


@pytest.mark.parametrize("pocket", SHAPED)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_is_written_reads_back(pocket, units):
    part = replace(part_from_document(document(**pocket)), units=units)
    written = json.loads(json.dumps(part_to_document(part)))
    jsonschema.Draft202012Validator(part_schema(2)).validate(written)
    again = part_from_document(written, "part").pockets[0]
    before = part.pockets[0]
    for one, other in ((again.floor_at, before.floor_at), (again.nominal_web, before.nominal_web)):
        np.testing.assert_allclose(one(X, Y), other(X, Y), atol=1e-9)
    np.testing.assert_allclose(again.tolerance_at(X, Y), before.tolerance_at(X, Y), atol=1e-12)


def test_heights_survive_inches_to_a_unit_in_the_last_place():
    """Division and multiplication by 25.4 round once each (IEEE 754); 12 digits alone were off by 1000 such units."""
    part = replace(part_from_document(document(floor=[{"grid": GRID}], web_constant=True)), units="in")
    again, before = (one.pockets[0].floor[0].grid for one in (part_from_document(part_to_document(part)), part))
    np.testing.assert_array_max_ulp(np.array(again.z), np.array(before.z), maxulp=1)


def test_flat_parts_stay_in_the_first_format():
    assert part_to_document(part_from_document(good_part()))["format"] == "floorfit-part/1"
    assert part_to_document(part_from_document(good_part() | {"format": "floorfit-part/2"}))["format"] == (
        "floorfit-part/1"
    )


REFUSED = [
    ({"floor": [{"level": 1.0, "grid": GRID}]}, "one of level, plane and grid was expected, level and grid came"),
    ({"floor": [{"region": RING}], "web_constant": True}, "none came"),
    ({"floor": [{"level": 2.0}], "floor_z": 2.0}, "has both floor and floor_z"),
    ({}, "neither floor_z nor floor"),
    ({"floor": [{"grid": GRID | {"step": [0, 1]}}]}, "steps of the grid must be above 0"),
    ({"floor": [{"grid": GRID | {"z": [[1, 2], [1, 2, 3]]}}]}, "rows of one length"),
    ({"floor": [{"grid": GRID | {"step": [0.001, 1]}}]}, "slope over 45"),
    ({"floor_z": 2.0, "underside": [{"level": 0.1}]}, "web is 2, but floor and underside at the centroid give 1.9"),
    ({"floor_z": 2.0, "web": None, "underside": [{"level": 0.0}, {"region": [[1, 1], [9, 1], [9, 9]], "level": 3}]},
     "the web is not above 0"),
    ({"floor_z": 2.0, "web_constant": True, "underside_z": 0.0}, "has both web_constant and underside_z"),
    ({"floor_z": 2.0, "web_constant": True, "web": None}, "has no web"),
    ({"floor_z": 2.0, "tolerances": [{"region": RING, "web_tolerance": [0.1, -0.1]}]}, "Write \\[lower, upper\\]"),
    ({"floor_z": 2.0, "underside": [{"region": [[0, 0], [9, 9], [9, 0], [0, 9]], "level": 0.0}]}, "crosses"),
    ({"floor": [{"levl": 2.0}]}, 'Did you mean "level"'),
    ({"floor_z": 2.0, "web_along": "x"}, '"z" or "normal" was expected'),
]  # fmt: skip


@pytest.mark.parametrize(("pocket", "text"), REFUSED)
def test_refused_by_name(pocket, text):
    with pytest.raises(InputError, match=text):
        pocket_of(**pocket)


def test_the_first_format_does_not_know_the_keys():
    with pytest.raises(InputError, match='unknown key "underside"'):
        part_from_document(document(floor_z=2.0, underside=[{"level": 0.0}]) | {"format": "floorfit-part/1"})
