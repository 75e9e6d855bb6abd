"""Curved floors: one floor whatever the tessellation, with the heights of the formula it was made by.

Truth is the formula and constructive geometry. How far a chord may be from its curve: f'' h² / 8 over a cell of h.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from cad_plates import box, mesh_of, prism, shaped_pocket, soup_of
from manifold3d import Manifold, Mesh64

from floorfit.cad import extract_pockets
from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.part.model import Part
from floorfit.part.part_file import part_from_document, part_to_document, read_part

#: Height over the plan, and its largest second derivative along X, Y and across.
SHAPES = {
    "cylinder of 600": (lambda x, y: 602.0 - np.sqrt(600.0**2 - (x - 100.0) ** 2), 1 / 580),
    "dome": (lambda x, y: 6.0 - ((x - 100.0) ** 2 + (y - 80.0) ** 2) / 4000.0, 2 / 2000),
    "saddle": (lambda x, y: 6.0 + ((x - 100.0) ** 2 - (y - 80.0) ** 2) / 4000.0, 1 / 2000),
    "twist": (lambda x, y: 6.0 + (x - 100.0) * (y - 80.0) / 2000.0, 2 / 2000),
    "wave": (lambda x, y: 6.0 + 2.0 * np.sin((x - 100.0) / 40.0), 2 / 1600),
}
CELLS = [(6, 4), (12, 8), (24, 20), (48, 40)]
#: Part axes in the model: +Z up as drawn, and the other way round about the axes.
UPS = {"z": (0, 1, 2), "y": (0, 2, 1), "x": (1, 2, 0)}


def plate(name, cells):
    return box(0, 0, 0, 200, 160, 40) - shaped_pocket(20, 20, 180, 140, SHAPES[name][0], *cells, 41)


def places():
    return np.random.default_rng(3).random((400, 2)).T * np.array([[160.0], [120.0]]) + 20.0


def chord_error(name, cells):
    """Of the longest edge, the diagonal: the sum over both axes is above it."""
    return SHAPES[name][1] * ((160.0 / cells[0]) ** 2 + (120.0 / cells[1]) ** 2) / 8.0


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("cells", CELLS)
def test_one_floor_with_the_heights_of_its_formula(name, cells):
    mesh = mesh_of(plate(name, cells))
    mesh.vertices = mesh.vertices.astype(np.float32)
    extraction = extract_pockets(soup_of(mesh), units="mm")
    (pocket,) = extraction.part.pockets
    assert pocket.polygon.symmetric_difference(shapely.box(20, 20, 180, 140)).area < 0.01
    x, y = places()
    # 2 µm beyond the mesh's own error, and twice the chord error where the grid steps over a crease.
    assert np.abs(pocket.floor_at(x, y) - SHAPES[name][0](x, y)).max() <= 2e-3 + 3.0 * chord_error(name, cells)
    assert extraction.open_questions == 0
    assert pocket.nominal_web(x, y) == pytest.approx(pocket.floor_at(x, y), abs=1e-5)
    assert part_from_document(part_to_document(extraction.part)) == extraction.part or pocket.floor


@pytest.mark.parametrize("away", [0.0, 1000.0, 7000.0])
def test_a_fine_shallow_wave_far_from_zero_is_no_plane(away):
    """Chords so fine that no two of them are two planes there; h² f'' / 8 over cells of 6 and 3 mm is 0.5 µm."""
    height = lambda x, y: 3.0 + 0.3 * np.sin((x - away - 215.0) / 60.0) * np.cos(y / 70.0)  # noqa: E731
    bay = (20 + away, 20, 410 + away, 200)
    solid = box(away, 0, 0, 430 + away, 220, 60) - shaped_pocket(*bay, height, 66, 66, 61)
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    x, y = np.random.default_rng(4).random((200, 2)).T * np.array([[390.0], [180.0]]) + np.array([[20 + away], [20]])
    assert pocket.nominal_web(x, y) == pytest.approx(height(x, y), abs=4e-3)


@pytest.mark.parametrize("axes", UPS)
@pytest.mark.parametrize("shift", [0.0, 3000.0])
def test_any_orientation_and_far_from_the_origin(axes, shift):
    order = UPS[axes]
    mesh = mesh_of(plate("wave", (24, 20)))
    turned = mesh.vertices[:, list(order)] + shift
    if np.linalg.det(np.eye(3)[:, list(order)]) < 0:
        turned[:, 2] *= -1.0
    mesh.vertices = turned.astype(np.float32)
    up = np.zeros(3)
    up[order.index(2)] = -1.0 if (order.index(2) == 2 and np.linalg.det(np.eye(3)[:, list(order)]) < 0) else 1.0
    floors = extract_pockets(mesh, units="mm", up=tuple(up)).floors
    assert [floor.kind for floor in floors] == ["curved"]
    assert floors[0].area == pytest.approx(160 * 120, rel=1e-5)


@pytest.mark.parametrize("cells", [(3, 1), (3, 3), (6, 2)])
def test_three_facets_of_an_arc_are_one_floor(cells):
    """What a kernel makes of 160 mm of a large radius by default; the mesh is said to be coarse."""
    extraction = extract_pockets(mesh_of(plate("cylinder of 600", cells)), units="mm")
    assert [floor.kind for floor in extraction.floors] == ["curved"]
    assert "coarse-floor" in [finding.code for finding in extraction.findings]
    # The facets themselves are the nominal floor: at their corners they are the arc's.
    pocket, x = extraction.part.pockets[0], np.linspace(20, 180, cells[0] + 1)[1:-1]
    assert pocket.floor_at(x, np.full(len(x), 70.0)) == pytest.approx(SHAPES["cylinder of 600"][0](x, 70.0), abs=1e-4)


def test_two_facets_are_in_doubt_and_the_exit_code_says_so(unpainted, tmp_path, capsys):
    """A chord over half an arc cannot be told from a plane: two floors, a word, exit 1; an edit settles it."""
    shallow = shaped_pocket(20, 20, 180, 140, lambda x, y: 2.0 + (x - 100.0) ** 2 / 4000.0, 2, 1, 41)
    model, out = tmp_path / "two.stl", tmp_path / "two.json"
    mesh_of(box(0, 0, 0, 200, 160, 40) - shallow).export(model)
    command = ["extract", str(model), "--units", "mm", "-o", str(out), "--replace"]
    assert main(command) == 1
    assert "meet in one smooth kink of 2.3°" in " ".join(capsys.readouterr().err.split())
    (tmp_path / "edits.csv").write_text("action,where,value\nmerge,60 80,140 80\n", encoding="utf-8")
    assert main([*command, "--edit", str(tmp_path / "edits.csv")]) == 0
    assert len(read_part(out).pockets) == 1


def test_range_of_the_web_of_a_curved_floor_is_that_of_all_of_it():
    """A dome over a level underside, 2.5 mm higher in the middle than at its four corners, which are level."""
    (floor,) = extract_pockets(mesh_of(plate("dome", (24, 20))), units="mm").floors
    # A strip of 0.05 mm along the edge is left out, where the dome falls by 0.05 and 0.04 in each.
    assert (floor.web_min, floor.web_max) == pytest.approx((3.5, 6.0), abs=5e-3)


@pytest.mark.parametrize("cells", [(48, 1), (48, 12)])
def test_range_of_the_web_where_strips_run_from_edge_to_edge(cells):
    """A cylinder of 600 along Y: 2 mm in its middle; 602 − √(600² − 79.95²) at a strip of 0.05 mm from its edge."""
    (floor,) = extract_pockets(mesh_of(plate("cylinder of 600", cells)), units="mm").floors
    assert (floor.web_min, floor.web_max) == pytest.approx((2.0, 7.3505), abs=3e-3)


def test_a_cylinder_over_a_slope_along_it_is_no_constant_web():
    """Floor and underside rise by 0.01 along Y: all four corners of the floor are 7.36 mm over it, its middle 2 mm."""
    slope = lambda x, y: 0.01 * (y - 80.0)  # noqa: E731
    over = shaped_pocket(20, 20, 180, 140, lambda x, y: 4 + slope(x, y) + SHAPES["cylinder of 600"][0](x, y), 48, 1, 41)
    under = shaped_pocket(20, 20, 180, 140, lambda x, y: -4 - slope(x, y), 1, 1, 1).mirror((0, 0, 1))
    (pocket,) = extract_pockets(mesh_of(box(0, 0, 0, 200, 160, 40) - over - under), units="mm").part.pockets
    x, y = places()
    assert pocket.nominal_web(x, y) == pytest.approx(SHAPES["cylinder of 600"][0](x, y), abs=0.01)


def test_a_dome_over_a_slope_that_its_corners_follow_is_no_constant_web():
    """All four corners of the floor are 3.5 mm over the underside, the middle 6 mm."""
    slope = lambda x, y: 0.01 * (x - 100.0)  # noqa: E731  (a formula like those above)
    over = shaped_pocket(20, 20, 180, 140, lambda x, y: 4 + slope(x, y) + SHAPES["dome"][0](x, y), 24, 20, 41)
    under = shaped_pocket(20, 20, 180, 140, lambda x, y: -4 - slope(x, y), 1, 1, 1).mirror((0, 0, 1))
    (pocket,) = extract_pockets(mesh_of(box(0, 0, 0, 200, 160, 40) - over - under), units="mm").part.pockets
    x, y = places()
    assert np.abs(pocket.nominal_web(x, y) - SHAPES["dome"][0](x, y)).max() <= 2e-3 + 3.0 * chord_error(
        "dome", (24, 20)
    )


@pytest.mark.parametrize("cells", CELLS[1:])
def test_underside_that_follows_the_floor_is_a_constant_web(cells):
    over = SHAPES["wave"][0]
    under = shaped_pocket(20, 20, 180, 140, lambda x, y: 2.0 - over(x, y), *cells, 1).mirror((0, 0, 1))
    solid = box(0, 0, 0, 200, 160, 40) - shaped_pocket(20, 20, 180, 140, over, *cells, 41) - under
    (floor,) = extract_pockets(mesh_of(solid), units="mm").floors
    assert floor.is_parallel
    assert floor.web == pytest.approx(2.0, abs=2e-3)


@pytest.mark.parametrize("cells", [(24, 4), (48, 8)])
def test_a_web_between_two_cylinders_about_one_line_is_one_number_and_its_normal(cells):
    """Radii of 600 and 602 mm: 2 mm along the normal everywhere, 2.018 mm along Z at the edge."""

    def arc(radius):
        return lambda x, y: 603.0 - np.sqrt(radius**2 - (x - 100.0) ** 2)

    below = shaped_pocket(20, 20, 180, 140, lambda x, y: -arc(602.0)(x, y), *cells, 1).mirror((0, 0, 1))
    solid = box(0, 0, 0, 200, 160, 40) - shaped_pocket(20, 20, 180, 140, arc(600.0), *cells, 41) - below
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    assert (pocket.web_along, pocket.is_parallel, pocket.underside) == ("normal", True, ())
    document = part_to_document(_alone(pocket))
    assert part_from_document(document).pockets[0].web_along == "normal"
    assert "underside" not in document["pockets"][0]
    x, y = places()
    chord = (160.0 / cells[0]) ** 2 / 8.0 / 580.0
    assert pocket.web / pocket.steepness_at(*pocket.centroid) == pytest.approx(2.0, abs=2e-3)
    assert np.abs(pocket.nominal_web(x, y) - (arc(600.0)(x, y) - arc(602.0)(x, y))).max() <= 2e-3 + 0.2 * chord


def _alone(pocket):
    return Part("invented", ((0.0, 0.0), (200.0, 0.0), (200.0, 160.0), (0.0, 160.0)), (pocket,))


@pytest.mark.parametrize("cells", CELLS[1:])
def test_curved_underside_of_a_plane_floor(cells):
    """A hollow ground into the underside: the web is thinnest in the middle."""

    def hollow(x, y):
        return 1.5 - ((x - 100.0) ** 2 + (y - 80.0) ** 2) / 8000.0

    below = shaped_pocket(20, 20, 180, 140, lambda x, y: -hollow(x, y), *cells, 1).mirror((0, 0, 1))
    solid = box(0, 0, 0, 200, 160, 40) - box(20, 20, 4, 180, 140, 41) - below
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    x, y = places()
    error = 2e-3 + 3.0 * 0.5e-3 * ((160.0 / cells[0]) ** 2 + (120.0 / cells[1]) ** 2) / 8.0
    assert np.abs(pocket.nominal_web(x, y) - (4.0 - np.maximum(hollow(x, y), 0.0))).max() <= error


def test_curved_bays_joined_by_a_notch_are_cut():
    bay = SHAPES["wave"][0]
    rib = box(98.5, 19, 0, 101.5, 141, 40) - box(98, 75, 0, 102, 85, 40)
    solid = box(0, 0, 0, 200, 160, 40) - (shaped_pocket(20, 20, 180, 140, bay, 48, 40, 41) - rib)
    floors = extract_pockets(mesh_of(solid), units="mm").floors
    assert [floor.kind for floor in floors] == ["curved", "curved"]
    assert [floor.area for floor in floors] == pytest.approx([78.5 * 120 + 1.5 * 10] * 2, abs=0.5)


@pytest.mark.parametrize("cells", [(150, 24), (24, 150), (90, 24), (60, 60)])
def test_a_bowl_is_whole_whatever_the_shape_of_its_facets(cells):
    """A sphere of 110 mm, up to 21 degrees steep; a kernel makes long facets of it, five times as long as wide."""
    height = lambda x, y: 113.0 - np.sqrt(110.0**2 - (x - 50.0) ** 2 - (y - 50.0) ** 2)  # noqa: E731
    solid = box(0, 0, 0, 100, 100, 40) - shaped_pocket(20, 20, 80, 80, height, *cells, 41)
    extraction = extract_pockets(mesh_of(solid), units="mm")
    (pocket,) = extraction.part.pockets
    assert pocket.polygon.symmetric_difference(shapely.box(20, 20, 80, 80)).area < 0.01
    x, y = np.random.default_rng(5).random((2, 300)) * 60.0 + 20.0
    # A chord of 2.5 mm lies 2.5² / (8 · 110) = 7 µm off, up to 1.25 times that where it leans; the grid adds as much.
    assert np.abs(pocket.floor_at(x, y) - height(x, y)).max() <= 0.03
    assert extraction.open_questions == 0


@pytest.mark.parametrize(("radius", "wide"), [(45.0, 30.0), (30.0, 20.0), (20.0, 30.0)])
def test_a_trough_between_walls_that_bends_too_tightly_is_asked_about(radius, wide):
    """Cylinders with upright walls round them are no fillets: README, exit 1 where a face with walls was left out."""
    height = lambda x, y: 3.0 + radius - np.sqrt(radius**2 - (x - 50.0) ** 2)  # noqa: E731
    trough = shaped_pocket(50 - wide / 2, 20, 50 + wide / 2, 120, height, 24, 1, 41)
    solid = box(0, 0, 0, 200, 140, 40) - trough - box(100, 20, 2, 180, 120, 41)
    extraction = extract_pockets(mesh_of(solid), units="mm")
    assert len(extraction.floors) == 1
    assert [face.is_walled for face in extraction.rejected if face.code == "curved"] == [True]
    assert extraction.open_questions == 1


def fanned_pocket(height, near, far):
    """The metal over a floor that bends along X, of triangles between places along Y = 20 and along Y = 120.

    So kernels cut a cylinder whose ends are oblique: triangles as long as the floor, none in the plane of another.
    """
    near, far = ([(x, y, height(x)) for x in xs] for xs, y in ((near, 20.0), (far, 120.0)))
    order = sorted([(p[0], 0) for p in near[1:]] + [(p[0], 1) for p in far[1:]])
    n, ends, low = len(near), [0, len(near)], []
    for _, side in order:
        low.append((ends[0], ends[1], ends[side] + 1))
        ends[side] += 1
    corners = np.array(near + far)
    low, count = np.array(low), len(corners)
    ring = np.r_[np.arange(n), np.arange(count - 1, n - 1, -1)]
    after = np.roll(ring, -1)
    sides = [np.column_stack([ring, after, after + count]), np.column_stack([ring, after + count, ring + count])]
    top = np.column_stack([corners[:, :2], np.full(count, 41.0)])
    faces = np.concatenate([low, low[:, ::-1] + count, *sides]).astype(np.uint64)
    return Manifold(Mesh64(np.concatenate([corners, top]), faces))


@pytest.mark.parametrize(("near", "far"), [(30, 44), (40, 59), (24, 31), (20, 21), (20, 23)])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_cylinder_cut_into_a_fan_of_long_triangles_is_whole(near, far, sense):
    """Radius 70, 40 wide: leans by asin(20 / 70) = 16.6 degrees at most. A secant is parallel to the arc's middle."""
    height = lambda x: 10.0 + sense * (65.0 - np.sqrt(70.0**2 - (x - 50.0) ** 2))  # noqa: E731
    tool = fanned_pocket(height, np.linspace(30, 70, near + 1), np.linspace(30, 70, far + 1))
    extraction = extract_pockets(mesh_of(box(0, 0, 0, 100, 140, 40) - tool), units="mm")
    (pocket,) = extraction.part.pockets
    assert pocket.polygon.symmetric_difference(shapely.box(30, 20, 70, 120)).area < 0.01
    x, y = np.random.default_rng(6).random((2, 300)) * [[40.0], [100.0]] + [[30.0], [20.0]]
    # 2 µm beyond the sagitta of the longer chords, and twice that where the grid steps over a crease.
    assert np.abs(pocket.floor_at(x, y) - height(x)).max() <= 2e-3 + 3.0 * (40.0 / near) ** 2 / 8.0 / 70.0
    assert extraction.open_questions == 0


def milled_slot(x0, x1, corner):
    """The metal that a slot removes along Y from 20 to 120, floor at 3, a fillet of ``corner`` along both walls."""
    angle = np.linspace(0.0, np.pi / 2, 17)
    low = 3.0 + corner * (1.0 - np.cos(angle))
    left = np.column_stack([x0 + corner * (1.0 - np.sin(angle)), low])[::-1]
    ring = np.vstack([left, np.column_stack([x1 - left[::-1, 0] + x0, low]), [(x1, 41.0), (x0, 41.0)]])
    return prism(ring, -120.0, -20.0).rotate((90.0, 0.0, 0.0))


@pytest.mark.parametrize(("wide", "corner"), [(12.0, 6.0), (14.0, 6.0), (20.0, 10.0), (6.0, 3.0)])
def test_a_slot_that_fillets_fill_is_asked_about(wide, corner):
    """A half cylinder between walls, or a strip of 2 mm between two fillets: milled by a ball end, a floor or none."""
    plate = box(0, 0, 0, 200, 140, 40) - box(100, 20, 2, 180, 120, 41)
    extraction = extract_pockets(mesh_of(plate - milled_slot(30, 30 + wide, corner)), units="mm")
    assert [floor.web for floor in extraction.floors] == [pytest.approx(2.0)]
    assert [face.is_walled for face in extraction.rejected if face.code == "curved"] == [True]
    assert extraction.open_questions == 1


@pytest.mark.parametrize("radius", [8.0, 20.0])
def test_a_bore_that_lies_and_the_point_of_a_drill_are_not_asked_about(radius):
    """A bore along Y through the plate's side, its lower half between walls; a blind hole of a drill of 140 degrees.

    Angle of the point: DIN 1412 allows it, common for carbide drills (from memory).
    """
    lying = Manifold.cylinder(200.0, radius, radius, 96).rotate((-90.0, 0.0, 0.0)).translate((50.0, -10.0, 32.0))
    point = 14.0 * np.tan(np.radians(20.0))
    drill = Manifold.cylinder(point, 0.0, 14.0, 96) + Manifold.cylinder(60.0, 14.0, 14.0, 96).translate((0, 0, point))
    plate = box(0, 0, 0, 200, 140, 64) - box(120, 20, 2, 180, 120, 65)
    extraction = extract_pockets(mesh_of(plate - lying - drill.translate((90.0, 60.0, 30.0))), units="mm")
    assert [floor.web for floor in extraction.floors] == [pytest.approx(2.0)]
    assert extraction.open_questions == 0


def test_wide_fillets_and_crowned_ribs_are_not_asked_about():
    """Fillets of 20 mm along two sides of a plane floor, and a rib top that is round by 30 mm."""

    def fillet(x, y):
        return 2.0 + 20.0 - np.sqrt(400.0 - np.maximum(np.abs(x - 60.0) - 25.0, 0.0) ** 2)

    def crown(x, y):
        return 40.0 - 30.0 + np.sqrt(900.0 - (x - 140.0) ** 2)

    bay = shaped_pocket(20, 20, 100, 120, fillet, 160, 1, 51)
    rib = box(120, 0, 0, 160, 140, 51) - shaped_pocket(120, -1, 160, 141, crown, 40, 1, 52)
    extraction = extract_pockets(mesh_of((box(0, 0, 0, 120, 140, 40) - bay) + rib), units="mm")
    assert [floor.web for floor in extraction.floors] == [pytest.approx(2.0)]
    assert extraction.open_questions == 0


def test_a_mesh_in_which_nothing_is_plane_is_refused_by_name():
    """2000 km from zero single precision resolves 0.2 m: no facet has a sure direction."""
    solid = mesh_of(plate("cylinder of 600", (48, 1)))
    solid.vertices = solid.vertices + np.array([2e9, 0.0, 0.0])
    with pytest.raises(InputError):
        extract_pockets(solid, units="mm")
