"""The whole way from a model to a part, on plates whose floors are known by construction.

Truth is the construction itself (manifold3d cuts rounded rectangles from a box) and closed forms; nothing here was
taken from floorfit's own output.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
import shapely
from cad_plates import (
    box,
    filleted_pocket,
    mesh_of,
    prism,
    round_pocket,
    sloped_pocket,
    soup_of,
    true_outline,
)
from manifold3d import Manifold

from floorfit.cad import extract_pockets
from floorfit.errors import InputError
from floorfit.part.part_file import part_from_document, part_to_document

CHORDS = (0.1, 0.01, 0.001)

# A fillet of radius 3 mm that ends at a wall with 3 degrees of draft reaches 3 · sin 87° in from where it ends.
INSET = 3.0 * np.sin(np.radians(87.0))

# Rectangle, corner radius, floor Z, underside Z; mm.
RECTANGLES = {
    "upright": ((20, 20, 180, 140), 8.0, 2.0, 0.0),
    "filleted": ((220 + INSET, 20 + INSET, 380 - INSET, 140 - INSET), 10.0 - INSET, 2.5, 0.0),
    "under": ((420, 20, 580, 140), 8.0, 12.0, 10.0),  # web between two pockets
    "low step": ((240, 180, 300, 260), 8.0, 2.0, 0.0),
}


def plate(chord):
    """A plate with a pocket of each kind; the lower left corner is the datum."""
    solid = box(0, 0, 0, 600, 300, 40)
    solid -= round_pocket(20, 20, 180, 140, 8, 2, 41, chord)
    solid -= filleted_pocket(220, 20, 380, 140, 10, 3, 2.5, 41, chord, draft_deg=3.0)
    solid -= round_pocket(420, 20, 580, 140, 8, 12, 41, chord)
    solid -= round_pocket(420, 20, 580, 140, 8, -1, 10, chord)
    solid -= round_pocket(20, 160, 180, 280, 8, 3, 41, chord) - round_pocket(80, 200, 120, 240, 4, -1, 20, chord)
    solid -= round_pocket(220, 160, 380, 280, 8, 10, 41, chord) + round_pocket(240, 180, 300, 260, 8, 2, 41, chord)
    solid -= sloped_pocket(400, 160, 480, 280, 4.0, (0.02, 0.01), 41)
    return solid - round_pocket(500, 160, 580, 280, 8, -1, 41, chord)  # a window


@pytest.fixture(scope="module", params=CHORDS)
def extracted(request):
    return request.param, extract_pockets(mesh_of(plate(request.param)), units="mm")


def nearest(extraction, outline):
    return min(extraction.part.pockets, key=lambda p: shapely.Polygon(p.boundary).hausdorff_distance(outline))


def assert_same(part, other):
    """Equal but for the last digits of the slope, whose sums run in another order."""
    assert part.outline == other.outline
    for a, b in zip(part.pockets, other.pockets, strict=True):
        assert a.slope == pytest.approx(b.slope, abs=1e-12)
        assert replace(a, slope=b.slope) == b


def test_every_floor_is_found_and_none_invented(extracted):
    _, extraction = extracted
    assert len(extraction.part.pockets) == 7
    # Rows from the corner of least X and Y; of two floors in one place the lower comes first.
    levels = [round(pocket.floor_z, 3) for pocket in extraction.part.pockets]
    assert levels == [2.0, 2.5, 12.0, 3.0, 2.0, 10.0, 4.0]
    assert [pocket.id for pocket in extraction.part.pockets] == [f"P{n:02d}" for n in range(1, 8)]


@pytest.mark.parametrize("name", RECTANGLES)
def test_outline_height_web_and_area(extracted, name):
    chord, extraction = extracted
    rectangle, radius, floor_z, underside_z = RECTANGLES[name]
    truth = true_outline(*rectangle, radius)
    pocket = nearest(extraction, truth)
    # Vertices lie on the arcs, so only the sagitta is allowed; 1e-4 mm is the rounding of the part file.
    assert pocket.polygon.hausdorff_distance(truth) <= chord + 1e-4
    assert pocket.floor_z == pytest.approx(floor_z, abs=1e-3)
    assert pocket.underside_z == pytest.approx(underside_z, abs=1e-3)
    assert pocket.web == pytest.approx(floor_z - underside_z, abs=2e-3)
    width, height = rectangle[2] - rectangle[0], rectangle[3] - rectangle[1]
    # Area of a rounded rectangle, closed form; a tenth of a per cent was promised.
    assert pocket.polygon.area == pytest.approx(width * height - (4 - np.pi) * radius**2, rel=1e-3)


def test_island_and_ledge(extracted):
    chord, extraction = extracted
    island = nearest(extraction, true_outline(20, 160, 180, 280, 8))
    hole = shapely.Polygon(island.islands[0])
    assert hole.hausdorff_distance(true_outline(80, 200, 120, 240, 4)) <= chord + 1e-4
    ledge = nearest(extraction, true_outline(220, 160, 380, 280, 8))
    below = shapely.Polygon(ledge.islands[0])
    assert below.hausdorff_distance(true_outline(240, 180, 300, 260, 8)) <= chord + 1e-4
    assert sum(len(floor.foot_islands) for floor in extraction.floors) == 2


def test_sloped_floor(extracted):
    _, extraction = extracted
    pocket = extraction.part.pocket("P07")
    # Single precision of a coordinate of 600 mm is 6e-5 mm, over 80 mm: 1e-6; double precision here.
    assert pocket.slope == pytest.approx((0.02, 0.01), abs=1e-9)
    assert pocket.floor_z == pytest.approx(4.0, abs=1e-3)
    # Rise over half the floor: 40 · 0.02 + 60 · 0.01 = 1.4 mm on either side.
    floor = extraction.floors[6]
    assert (floor.web_min, floor.web_max) == pytest.approx((2.6, 5.4), abs=2e-3)
    assert extraction.part.pocket("P01").slope == (0.0, 0.0)


def test_fillet_foot_and_wall_are_both_recorded(extracted):
    chord, extraction = extracted
    floor = extraction.floors[1]
    assert floor.fillet_radius == pytest.approx(3.0, abs=0.02)
    assert shapely.Polygon(floor.wall).hausdorff_distance(true_outline(220, 20, 380, 140, 10)) <= chord + 1e-3
    assert floor.fillet_share == pytest.approx(1.0, abs=1e-9)
    # The corner at the wall; a median of chords is exact on an inscribed polygon, 0.01 mm is its rounding.
    assert floor.corner_radius == pytest.approx(10.0, abs=0.011)


def test_boundary_at_the_wall_can_be_chosen():
    extraction = extract_pockets(mesh_of(plate(0.01)), units="mm", boundary="wall")
    pocket = extraction.part.pocket("P02")
    assert pocket.polygon.hausdorff_distance(true_outline(220, 20, 380, 140, 10)) <= 0.011


def test_the_part_can_be_written_and_read_again(extracted):
    _, extraction = extracted
    again = part_from_document(part_to_document(extraction.part))
    assert [p.boundary for p in again.pockets] == [p.boundary for p in extraction.part.pockets]


def test_outline_of_the_part(extracted):
    _, extraction = extracted
    assert shapely.Polygon(extraction.part.outline).equals(shapely.box(0, 0, 600, 300))


def test_shuffled_export_gives_the_same_part():
    mesh = mesh_of(plate(0.01))
    first = extract_pockets(mesh, units="mm").part
    rng = np.random.default_rng(7)
    order = rng.permutation(len(mesh.vertices))
    place = np.argsort(order)
    faces = place[mesh.faces][rng.permutation(len(mesh.faces))]
    rolled = np.array([np.roll(face, k) for face, k in zip(faces, rng.integers(0, 3, len(faces)), strict=True)])
    shuffled = type(mesh)(mesh.vertices[order], rolled, process=False)
    assert_same(extract_pockets(shuffled, units="mm").part, first)


def test_another_tessellation_keeps_the_ids():
    coarse, fine = (extract_pockets(mesh_of(plate(chord)), units="mm").part for chord in (0.1, 0.005))
    for a, b in zip(coarse.pockets, fine.pockets, strict=True):
        assert a.id == b.id
        # The two tolerances apart at most.
        assert a.polygon.hausdorff_distance(b.polygon) <= 0.105 + 1e-4


def test_finer_triangles_change_nothing():
    mesh = mesh_of(plate(0.1))
    fine = mesh.subdivide().subdivide()
    assert_same(extract_pockets(soup_of(fine), units="mm").part, extract_pockets(mesh, units="mm").part)


def test_side_bottom_reads_the_other_side():
    extraction = extract_pockets(mesh_of(plate(0.01)), units="mm", side="bottom")
    (pocket,) = extraction.part.pockets
    # Half a turn about X takes (x, y, z) to (x, −y, −z): the pocket from below has its floor at −10, its back at −12.
    assert (pocket.floor_z, pocket.underside_z) == pytest.approx((-10.0, -12.0), abs=1e-3)
    assert pocket.polygon.hausdorff_distance(true_outline(420, -140, 580, -20, 8)) <= 0.0101


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 1, 0), (1, 0, 0), (0, 0, -1), (1.0, 2.0, 3.0)])
def test_up_direction(up):
    mesh = mesh_of(plate(0.1))
    direction = np.array(up, float) / np.linalg.norm(up)
    # Any rotation that takes Z to the direction; the part then differs by a turn about Z only.
    first = np.cross(direction, [0.3, 0.5, 0.7])
    first /= np.linalg.norm(first)
    axes = np.column_stack([np.cross(direction, -first), first, direction])
    axes[:, 0] *= np.sign(np.linalg.det(axes))
    turned = type(mesh)(mesh.vertices @ axes.T, mesh.faces, process=False)
    extraction = extract_pockets(turned, units="mm", up=up)
    areas = sorted(pocket.polygon.area for pocket in extraction.part.pockets)
    truth = sorted(pocket.polygon.area for pocket in extract_pockets(mesh, units="mm").part.pockets)
    # Corners are rounded to 1e-4 mm: perimeter 560 mm times that.
    assert areas == pytest.approx(truth, abs=0.06)
    assert sorted(p.web for p in extraction.part.pockets) == pytest.approx([2, 2, 2, 2.5, 3, 4, 10], abs=2e-3)


def test_far_from_the_origin_in_single_precision(tmp_path):
    mesh = mesh_of(plate(0.1))
    mesh.apply_translation((3000.0, 2000.0, 100.0))
    mesh.export(tmp_path / "far.stl")
    extraction = extract_pockets(tmp_path / "far.stl", units="mm")
    truth = true_outline(3020, 2020, 3180, 2140, 8)
    # Single precision at 3000 mm resolves 2.4e-4 mm.
    assert extraction.part.pocket("P01").polygon.hausdorff_distance(truth) <= 0.1 + 3e-4
    assert [p.web for p in extraction.part.pockets] == pytest.approx([2, 2.5, 2, 3, 2, 10, 4], abs=2e-3)


def test_inch_model_gives_an_inch_part(tmp_path):
    mesh = mesh_of(plate(0.01))
    mesh.vertices = mesh.vertices / 25.4
    mesh.export(tmp_path / "inch.stl")
    part = extract_pockets(tmp_path / "inch.stl", units="in").part
    assert part.units == "in"
    assert [p.web for p in part.pockets] == pytest.approx([2, 2.5, 2, 3, 2, 10, 4], abs=2e-3)


def test_select_keeps_ids_and_names_the_rest():
    extraction = extract_pockets(mesh_of(plate(0.1)), units="mm", select=("P02", "P05"))
    assert [pocket.id for pocket in extraction.part.pockets] == ["P02", "P05"]
    assert sum(face.code == "not-selected" for face in extraction.rejected) == 5
    with pytest.raises(InputError, match="--select names P99; found were P01 to P07"):
        extract_pockets(mesh_of(plate(0.1)), units="mm", select=("P99",))


def test_hundred_and_twenty_pockets():
    cell = round_pocket(0, 0, 90, 70, 6, 2, 31, 0.1)
    cuts = [cell.translate((10 + 100 * i, 10 + 80 * j, 0)) for j in range(8) for i in range(15)]
    solid = box(0, 0, 0, 1510, 650, 30) - Manifold.batch_boolean(cuts, op())
    part = extract_pockets(mesh_of(solid), units="mm").part
    assert [p.id for p in part.pockets] == [f"P{n:03d}" for n in range(1, 121)]
    corners = [p.polygon.bounds[:2] for p in part.pockets]
    wanted = [(10 + 100 * i, 10 + 80 * j) for j in range(8) for i in range(15)]
    assert np.array(corners) == pytest.approx(np.array(wanted, float), abs=1e-3)


def op():
    from manifold3d import OpType

    return OpType.Add


def test_u_shape_with_fillet():
    """Concave outlines: area 7800 and centroid (60, 41.923077) of a U, reference geometry worked by hand."""
    ring = [(0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100)]
    solid = box(-20, -20, 0, 140, 120, 30) - prism(np.array(ring) + 0.0, 2, 31)
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    assert pocket.polygon.area == pytest.approx(7800.0, abs=1e-6)
    assert pocket.centroid == pytest.approx((60.0, 41.923077), abs=1e-6)


def test_settings_are_checked_together():
    with pytest.raises(InputError, match="side") as caught:
        extract_pockets(
            mesh_of(box(0, 0, 0, 90, 90, 9)), units="furlong", side="left", max_slope_deg=80.0, up=(0, 0, 0)
        )
    assert len(caught.value.findings) == 4


def test_a_block_has_no_floor():
    with pytest.raises(InputError, match="no pocket floor was found"):
        extract_pockets(mesh_of(box(0, 0, 0, 100, 60, 20)), units="mm")


def test_defaults_that_change_numbers_are_said():
    codes = [finding.code for finding in extract_pockets(mesh_of(plate(0.1)), units="mm").findings]
    assert codes[-2:] == ["default-tolerance", "default-stock"]
    assert "coarse-arcs" in codes


def test_what_a_part_file_would_refuse_is_left_out():
    from floorfit.cad.extraction import _sound_part

    extraction = extract_pockets(mesh_of(plate(0.1)), units="mm")
    first = extraction.part.pockets[0]
    doubled = replace(first, id="P99")
    part = replace(extraction.part, pockets=(*extraction.part.pockets, doubled))
    floors = [*extraction.floors, replace(extraction.floors[0], id="P99")]
    sound, kept, left = _sound_part(part, floors)
    assert len(sound.pockets) == len(kept) < len(floors)
    assert {face.code for face in left} == {"unsound"}
    part_from_document(part_to_document(sound))


def test_time_grows_about_linearly():
    """Speed as a law: four times the triangles cost 4 times if linear, 16 if quadratic.

    The best of two runs each; the second of the larger mesh is taken only where the first was disturbed.
    """
    mesh = mesh_of(plate(0.1))
    for _ in range(3):
        mesh = mesh.subdivide()
    small = min(_processor_time(mesh) for _ in range(2))
    finer = mesh.subdivide()
    assert any(_processor_time(finer) / small < 4**1.35 for _ in range(2))


def _processor_time(mesh) -> float:
    start = time.process_time()
    extract_pockets(mesh, units="mm")
    return time.process_time() - start


def test_progress_is_told_in_order():
    told = []
    extract_pockets(mesh_of(plate(0.1)), units="mm", progress=lambda name, share: told.append((share, name)))
    assert told == sorted(told, key=lambda pair: pair[0])
    assert told[0] == (0.0, "reading the model")
    assert told[-1][0] < 1.0
