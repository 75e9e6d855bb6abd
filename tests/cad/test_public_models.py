"""Models that nobody here made, from the samples of general-purpose libraries; see public/README.md.

What is expected comes from the models' own dimensions, closed forms, and sections by trimesh; never from our output.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh

from floorfit.cad import extract_pockets
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.reading import read_model
from floorfit.errors import InputError

PUBLIC = Path(__file__).parent / "public"
INCH = 25.4


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    folder = tmp_path_factory.mktemp("public")

    def unpacked(name):
        path = folder / name
        if not path.exists():
            path.write_bytes(gzip.decompress((PUBLIC / f"{name}.gz").read_bytes()))
        return path

    return unpacked


@pytest.fixture(scope="module")
def raw(model):
    """The frame's triangles; 0.05 mm chords keep the test short."""
    return read_model(model("slotted_frame.step"), ExtractSettings(chord_tolerance=0.05))


@pytest.fixture(scope="module")
def frame(raw):
    """The frame's slots look along −Y of the model."""
    return extract_pockets(raw, units="mm", up=(0.0, -1.0, 0.0), chord_tolerance=0.05)


def slot(width, straight):
    """Area of a slot with round ends: closed form."""
    return width * straight + np.pi / 4 * width**2


def level_floors(extraction):
    return [floor for floor in extraction.floors if not floor.underside]


def test_frame_has_its_slots(frame):
    """Eight slots 9/8 in wide, two 1 in, two 7/8 in, all 3 in between the centres; four bent ones; no other floor.

    The sizes are the radii and centres of the arcs in the STEP file. Chords within 0.05 mm of an arc of 11 mm or
    more lose under 0.35 % of a circle, which is under 0.1 % of a slot.
    """
    areas = sorted(floor.area for floor in level_floors(frame))
    straight = sorted(slot(width * INCH, 3 * INCH) for width in [9 / 8] * 8 + [1] * 2 + [7 / 8] * 2)
    assert len(areas) == 16
    assert areas[:12] == pytest.approx(straight, rel=1e-3)
    assert areas[12:] == pytest.approx([areas[12]] * 4, rel=1e-4)  # the frame is symmetrical


def test_frame_heights(frame):
    """Floors 11/16 in deep in a plate of 1 1/2 in: the Y of the STEP file's planes."""
    for floor in level_floors(frame):
        assert floor.floor_z == pytest.approx(-11 / 16 * INCH, abs=1e-3)
        assert floor.web == pytest.approx((24 - 11) / 16 * INCH, abs=2e-3)
        assert floor.edge_words == "wall 100 %"


def test_frame_outlines_are_those_of_a_section(raw, frame):
    """The walls are upright, so a section at half depth (trimesh) shows the outlines of the floors."""
    solid = trimesh.Trimesh(raw.vertices, raw.faces)
    section = solid.section(plane_origin=(0.0, 0.25 * INCH, 0.0), plane_normal=(0.0, 1.0, 0.0))
    rings = [shapely.Polygon(line[:, [0, 2]]) for line in section.discrete]
    for floor in level_floors(frame):
        shape = shapely.Polygon(floor.foot)
        near = min(rings, key=lambda ring: ring.centroid.distance(shape.centroid))
        assert near.symmetric_difference(shape).area < 1e-3 * shape.area  # the target for areas


def test_frame_pads_with_a_tab_behind_have_regions(frame):
    """Behind the two wide recesses the plate carries tabs that reach to Y 11 1/2 in (the model's depth)."""
    pads = [floor for floor in frame.floors if floor.underside]
    assert len(pads) == 2
    for floor in pads:
        assert floor.web_min == pytest.approx((24 - 11) / 16 * INCH, abs=2e-3)
        assert floor.web_max == pytest.approx((11.5 - 11 / 16) * INCH, abs=2e-3)


def test_frame_from_another_side_has_the_recesses_of_its_tabs(raw):
    """Recesses in the ends of the two tabs; the model is drawn in sixteenths of an inch."""
    floors = extract_pockets(raw, units="mm").floors
    assert len(floors) == 2
    for floor in floors:
        assert floor.web == pytest.approx(INCH, abs=2e-3)
        assert floor.floor_z * 16 / INCH == pytest.approx(round(floor.floor_z * 16 / INCH), abs=1e-3)


def test_bearing_block_counterbore(model):
    """Script of the model: 10 thick, counterbore 7 deep of radius 11 round an axle of radius 4."""
    with pytest.raises(InputError, match="round, Ø 22, with a hole in its middle: a bore; --bore-max is 30 mm"):
        extract_pockets(model("bearing_block.step"))
    (floor,) = extract_pockets(model("bearing_block.step"), bore_max=12.0).floors
    assert (floor.floor_z, floor.web) == pytest.approx((3.0, 3.0), abs=1e-3)
    # Chords within 0.01 mm take 4/3 · 0.01/11 of the circle and give as much to the hole: 0.2 % in all.
    assert floor.area == pytest.approx(np.pi * (11**2 - 4**2), rel=2e-3)
    assert len(floor.foot_islands) == 1


def test_card_box(model):
    """Script of the model: a pocket of 2 1/2 × 3 1/2 in and 2 mm more, corners of its width/15 less the wall of 3."""
    (floor,) = extract_pockets(model("card_box.step")).floors
    width, length = 2.5 * INCH + 2.0, 3.5 * INCH + 2.0
    radius = width / 15 - 3.0
    assert (floor.floor_z, floor.web) == pytest.approx((1.5, 1.5), abs=1e-3)
    assert floor.area == pytest.approx(width * length - (4 - np.pi) * radius**2, rel=1e-3)
    assert floor.corner_radius == pytest.approx(radius, abs=0.011)  # written with two places
    x0, y0, x1, y1 = shapely.Polygon(floor.foot).bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((width, length), abs=1e-3)


@pytest.mark.parametrize("side", ["top", "bottom"])
@pytest.mark.parametrize(
    ("name", "units", "reason"),
    [
        ("motor_bracket.step", None, "walls rise along"),
        ("hinge_leaf.stl", "mm", "walls rise along"),
        ("drilled_cylinder.stl", "mm", "walls rise along 0 %"),
    ],
)
def test_parts_without_a_pocket(model, name, units, reason, side):
    """An angle, a flat leaf with knuckles and a tube: faces that look up have walls on one side or none."""
    with pytest.raises(InputError, match=rf"no pocket floor was found\. Looked at: .*{reason}"):
        extract_pockets(model(name), units=units, side=side)


def test_small_part_in_the_right_and_the_wrong_unit(model):
    """Its largest side is 6 of whatever unit; in inches it is a part with one counterbore of 1 1/2 in."""
    path = model("small_part.stl")
    with pytest.raises(InputError, match=r"the largest side is 6 mm in the unit given"):
        extract_pockets(path, units="mm")
    with pytest.raises(InputError, match="the numbers carry no unit"):
        extract_pockets(path)
    with pytest.raises(InputError, match=r"round, Ø 38\.\d*, with a hole in its middle: a bore; --bore-max is 40 mm"):
        extract_pockets(path, units="in", bore_max=40.0)


def test_counterbore_of_the_small_part(model):
    """The only level face between bottom and top that trimesh finds in the mesh."""
    mesh = trimesh.load(model("small_part.stl"), process=True)
    level = mesh.facets_normal[:, 2] > 0.999
    low, high = mesh.bounds[:, 2]
    heights = np.array([mesh.triangles[facet][0, 0, 2] for facet in mesh.facets])
    (row,) = np.flatnonzero(level & (heights > low + 1e-3) & (heights < high - 1e-3) & (mesh.facets_area > 0.5))
    with pytest.raises(InputError, match=r"25\.4 deep over 50\.8 of metal: a spotface"):
        extract_pockets(model("small_part.stl"), units="in")
    (floor,) = extract_pockets(model("small_part.stl"), units="in", bore_max=0.0).floors
    assert floor.area == pytest.approx(mesh.facets_area[row] * INCH**2, rel=1e-4)  # six digits in the file
    assert floor.floor_z == pytest.approx(heights[row] * INCH, abs=1e-3)
    assert floor.web == pytest.approx((heights[row] - low) * INCH, abs=2e-3)
