"""What is a floor and what is not: each case is a plate made so by constructive geometry."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from cad_plates import box, filleted_pocket, mesh_of, round_pocket, sloped_pocket, true_outline
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from floorfit.cad import extract_pockets
from floorfit.errors import InputError

CHORD = 0.01


def bare():
    """A plate with one plain pocket, so that there is always a floor."""
    return box(0, 0, 0, 400, 200, 40) - round_pocket(20, 20, 180, 180, 8, 2, 41, CHORD)


def extract(solid, **choices):
    return extract_pockets(mesh_of(solid), units="mm", **choices)


def codes_at(extraction, z):
    return [face.code for face in extraction.rejected if abs(face.place[2] - z) < 1e-6]


def cylinder(radius, z0, z1, x, y, *, top=None):
    return Manifold.cylinder(z1 - z0, radius, radius if top is None else top, 64).translate((x, y, z0))


NOT_FLOORS = {
    "top face": (bare(), 40.0),
    "window": (bare() - round_pocket(220, 20, 380, 180, 8, -1, 41, CHORD), 40.0),
    "flange along one side": (bare() - box(-1, 190, 5, 401, 201, 41), 5.0),
    "flange all round": (bare() - (box(-1, -1, 6, 401, 201, 41) - box(10, 10, 5, 390, 190, 41)), 6.0),
    "low rib top": (
        bare() - box(220, 20, 2, 290, 180, 41) - box(300, 20, 2, 380, 180, 41) - box(289, 20, 25, 301, 180, 41),
        25.0,
    ),
    "land": (bare() - (box(220, 20, 2, 380, 180, 41) - box(260, 60, 1, 340, 140, 12)), 12.0),
    "boss top": (bare() - (box(220, 20, 2, 380, 180, 41) - cylinder(15, 1, 12, 300, 100)), 12.0),
    "corner ledge open on two sides": (bare() - box(300, 100, 7, 401, 201, 41), 7.0),
}


@pytest.mark.parametrize("name", NOT_FLOORS)
def test_no_wall(name):
    solid, z = NOT_FLOORS[name]
    extraction = extract(solid)
    assert all(pocket.floor_z == pytest.approx(2.0, abs=1e-3) for pocket in extraction.part.pockets)
    assert codes_at(extraction, z) == ["no-wall"]


def test_hole_in_a_floor_is_cut_out():
    extraction = extract(bare() - cylinder(5, -1, 10, 100, 100))
    (floor,) = extraction.floors
    assert len(floor.foot_islands) == 1
    # A regular 64-gon of radius 5: n/2 r² sin(2π/n).
    assert floor.area == pytest.approx(160 * 160 - (4 - np.pi) * 64 - 32 * 25 * np.sin(np.pi / 32), rel=1e-4)


def test_bores_and_counterbores_are_no_floors():
    solid = bare() - cylinder(10, 30, 41, 300, 50) - cylinder(5, -1, 41, 300, 50) - cylinder(8, 20, 41, 300, 120)
    extraction = extract(solid - cylinder(20, 3, 41, 350, 100))
    assert [face.code for face in extraction.rejected if face.code == "bore"] == ["bore", "bore"]
    assert [floor.floor_z for floor in extraction.floors] == pytest.approx([2.0, 3.0], abs=1e-3)
    assert len(extract(solid, bore_max=0.0).floors) == 3


def test_island_that_touches_the_wall_at_an_edge():
    from cad_plates import prism

    diamond = prism(np.array([(300, 20), (320, 40), (300, 60), (280, 40)], float), -1, 30)
    floor = extract(bare() - (box(220, 20, 2, 380, 180, 41) - diamond)).floors[1]
    assert len(floor.foot_islands) == 1
    assert floor.area == pytest.approx(160 * 160 - 800)


def webs_at(pocket, places):
    x, y = np.array(places, float).T
    return pocket.nominal_web(x, y)


def test_countersink_from_below_is_recorded():
    solid = bare() - box(220, 20, 2, 380, 180, 41) - cylinder(9, -0.01, 1.5, 300, 100, top=4)
    pocket = extract(solid).part.pockets[1]
    # A cone of 1.51 mm over 9 to 4 mm of radius; 0.004 mm: the cone is a polygon of 64 sides, flat by 0.0012 r.
    radii = np.array([0.0, 2.0, 5.0, 7.0, 8.5, 12.0, 60.0])
    below = np.interp(radii, [4.0, 9.0], [1.5, -0.01]).clip(0.0)
    assert webs_at(pocket, [(300 + r, 100) for r in radii]) == pytest.approx(2.0 - below, abs=4e-3)


def test_recess_under_a_part_of_a_floor_is_a_region():
    extraction = extract(bare() - box(220, 20, 4, 380, 180, 41) - box(240, 40, -1, 300, 100, 1.5))
    pocket = extraction.part.pockets[1]
    inside = [(x, y) for x in (240.1, 270, 299.9) for y in (40.1, 70, 99.9)]
    outside = [(239.9, 70), (300.1, 70), (270, 39.9), (270, 100.1), (221, 21), (379, 179)]
    assert webs_at(pocket, inside) == pytest.approx(2.5, abs=1e-5)
    assert webs_at(pocket, outside) == pytest.approx(4.0, abs=1e-5)
    assert (extraction.floors[1].web_min, extraction.floors[1].web_max) == pytest.approx((2.5, 4.0), abs=1e-4)


def test_rib_on_the_underside_between_two_pockets_is_a_region():
    """A sampling grid could step over a rib of 1 mm; cutting outlines cannot."""
    solid = (
        bare() - box(220, 20, 12, 380, 180, 41) - box(220, 20, -1, 299.5, 180, 10) - box(300.5, 20, -1, 380, 180, 10)
    )
    pocket = extract(solid).part.pockets[1]
    assert webs_at(pocket, [(299.4, 100), (300.0, 30), (300.0, 170), (300.6, 100)]) == pytest.approx([2, 12, 12, 2])


def test_parallel_slopes_above_and_below_are_a_constant_web():
    over = sloped_pocket(220, 20, 380, 180, 6.0, (0.01, 0.0), 41)
    under = sloped_pocket(220, 20, 380, 180, 3.0, (0.01, 0.0), 41)
    below = box(220, 20, -1, 380, 180, 41) - under
    pocket = extract(bare() - over - below).part.pockets[1]
    assert pocket.is_parallel
    assert pocket.slope == pytest.approx((0.01, 0.0), abs=1e-9)
    assert webs_at(pocket, [(221, 21), (300, 100), (379, 179)]) == pytest.approx(3.0, abs=1e-5)


def test_tapered_underside_is_a_plane():
    under = box(220, 20, -1, 380, 180, 41) - sloped_pocket(220, 20, 380, 180, 2.0, (0.01, 0.005), 41)
    pocket = extract(bare() - box(220, 20, 5, 380, 180, 41) - under).part.pockets[1]
    assert not pocket.is_parallel
    places = [(221, 21), (300, 100), (379, 179)]
    truth = [3.0 - 0.01 * (x - 300) - 0.005 * (y - 100) for x, y in places]
    assert webs_at(pocket, places) == pytest.approx(truth, abs=1e-5)


def test_edge_broken_round_a_hole_below_is_recorded():
    """A deburr of 0.4 mm by 45 degrees round a hole of 20 mm: the web loses height towards the hole."""
    hole = cylinder(10, -1, 41, 300, 100) + cylinder(10.41, -0.01, 0.4, 300, 100, top=10)
    pocket = extract(bare() - box(220, 20, 2, 380, 180, 41) - hole).part.pockets[1]
    # Radius 10.2 along a corner of the polygon of 64: 0.2 of the 0.4 mm are gone there.
    assert webs_at(pocket, [(310.2, 100), (310.6, 100)]) == pytest.approx([1.8, 2.0], abs=5e-3)


@pytest.mark.parametrize("fillets", [(3.0, 5.0), (4.0, 4.5), (5.0, 3.0)])
@pytest.mark.parametrize("apart", [0.0, 0.5])
def test_two_sided_frame_has_the_web_of_its_flat_part(fillets, apart):
    """Fillets and flanges of the other side only thicken the web along the edge; the web is that of the flat."""
    over = filleted_pocket(220, 20, 380, 180, 8, fillets[0], 12, 41, CHORD)
    under = filleted_pocket(220 + apart, 20, 380 + apart, 180, 8, fillets[1], 0, 11, CHORD)
    extraction = extract(bare() - over - under.mirror((0, 0, 1)).translate((0, 0, 10)))
    pocket, floor = extraction.part.pockets[1], extraction.floors[1]
    assert pocket.is_plain
    assert (pocket.floor_z, pocket.underside_z) == pytest.approx((12.0, 10.0), abs=1e-4)
    # Foot against foot: what the lower fillet reaches further in, and the shift.
    assert floor.edge == pytest.approx(max(fillets[1] - fillets[0] + apart, 0.0), abs=0.1)


def test_too_steep_is_named_and_the_limit_can_be_moved():
    solid = bare() - sloped_pocket(220, 20, 380, 180, 15.0, (np.tan(np.radians(8.0)), 0.0), 41)
    extraction = extract(solid)
    assert [face.code for face in extraction.rejected if "8.00°" in face.reason] == ["too-steep"]
    assert len(extract(solid, max_slope_deg=8.5).floors) == 2


def test_curved_floor_is_one_floor():
    barrel = Manifold.cylinder(160, 2000, 2000, 4000).rotate((90, 0, 0)).translate((300, 180, 2003))
    pocket = extract(bare() - (box(220, 20, 1, 380, 180, 41) ^ barrel)).part.pockets[1]
    x = np.linspace(222, 378, 40)
    truth = 2003.0 - np.sqrt(2000.0**2 - (x - 300.0) ** 2)
    # 4000 chords round: a sagitta of 0.0006 mm; 0.002 mm is the grid's own allowance.
    assert pocket.floor_at(x, np.full(40, 77.0)) == pytest.approx(truth, abs=3e-3)
    assert pocket.polygon.area == pytest.approx(160 * 160, rel=1e-3)


def test_hollow_has_no_floor():
    assert codes_at(extract(bare() - box(220, 20, 10, 380, 180, 20)), 10.0) == ["covered"]


def test_undercut_is_left_out_and_the_floor_beside_it_taken():
    extraction = extract(bare() - box(220, 20, 2, 380, 180, 41) - box(210, 20, 2, 225, 180, 8))
    assert shapely.Polygon(extraction.part.pockets[1].boundary).bounds == pytest.approx((220, 20, 380, 180), abs=1e-3)


@pytest.mark.parametrize("angle", [0.2, 1.0, 3.0, 10.0])
def test_closed_walls_keep_the_foot(angle):
    """Walls that lean over the floor hide a strip of it from above; the floor is what meets the walls."""
    lean = 38.0 * np.tan(np.radians(angle))
    ring = [(220, 20), (380, 20), (380, 180), (220, 180)]
    top = [(220 + lean, 20), (380 - lean, 20), (380 - lean, 180), (220 + lean, 180)]
    points = [(x, y, 2.0) for x, y in ring] + [(x, y, 41.0) for x, y in top]
    pocket = extract(bare() - Manifold.hull_points(np.array(points, float))).part.pockets[1]
    assert shapely.Polygon(pocket.boundary).bounds == pytest.approx((220, 20, 380, 180), abs=1e-3)
    assert pocket.web == pytest.approx(2.0, abs=1e-4)


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize("width", [4.0, 12.0, 25.0])
@pytest.mark.parametrize("high", [12.0, 41.0])
def test_notch_through_a_rib_does_not_join_two_bays(width, turn, high):
    bays = box(220, 20, 2, 298.5, 180, 41) + box(301.5, 20, 2, 380, 180, 41)
    solid = bare() - bays - box(297, 100 - width / 2, 2, 303, 100 + width / 2, high)
    pockets = extract(solid.rotate((0, 0, turn)))
    areas = sorted(pocket.polygon.area for pocket in pockets.part.pockets)
    # Each bay has its own 78.5 x 160 mm; under the rib there is a roof, and beside it half of the notch's 3 mm.
    assert areas[:2] == pytest.approx([78.5 * 160 + (0.0 if high < 41 else 1.5 * width)] * 2, abs=0.5)
    assert len(areas) == 3


def test_channel_and_island_do_not_cut_a_floor():
    """A wide passage, a long one, and the way round a boss belong to the floor."""
    bays = box(220, 20, 2, 290, 180, 41) + box(330, 20, 2, 380, 180, 41)
    assert len(extract(bare() - bays - box(289, 90, 2, 331, 110, 41)).floors) == 2
    wide = box(220, 20, 2, 298.5, 180, 41) + box(301.5, 20, 2, 380, 180, 41) + box(297, 50, 2, 303, 150, 41)
    assert len(extract(bare() - wide).floors) == 2
    boss = box(220, 20, 2, 380, 180, 41) - box(232, 32, 1, 368, 168, 30)
    assert len(extract(bare() - boss).floors) == 2


def test_bay_open_on_two_sides_is_a_floor():
    floors = extract(box(0, 0, 0, 200, 100, 40) - box(-1, 20, 2, 201, 60, 41)).floors
    assert len(floors) == 1
    assert floors[0].wall_share == pytest.approx(400 / 480, abs=1e-9)
    square = extract(box(0, 0, 0, 100, 140, 40) - box(-1, 20, 2, 101, 120, 41)).floors
    assert square[0].wall_share == pytest.approx(0.5, abs=1e-9)


def test_gap_between_lugs_is_no_floor():
    """Two lugs 35 mm high and 20 mm apart, on a foot 5 mm higher than what is round it."""
    lugs = box(220, 60, 20, 300, 140, 60) - box(219, 90, 25, 301, 110, 61)
    cut = extract(bare() - box(200, -1, 20, 401, 201, 41) + lugs)
    assert [floor.floor_z for floor in cut.floors] == pytest.approx([2.0], abs=1e-3)
    assert [face.code for face in cut.rejected if "gap" in face.code] == ["lug-gap"]


@pytest.mark.parametrize(("radius", "web", "taken"), [(12.0, 2.0, True), (8.0, 1.5, True), (12.0, 12.0, False)])
def test_small_round_pocket_is_one_where_its_web_is_thin(radius, web, taken):
    solid = bare() - Manifold.cylinder(41 - web, radius, radius, 128).translate((300, 100, web))
    assert len(extract(solid).floors) == (2 if taken else 1)


@pytest.mark.parametrize("diameter", [38.0, 48.0, 60.0])
def test_spotface_is_no_floor(diameter):
    face = Manifold.cylinder(3, diameter / 2, diameter / 2, 128).translate((300, 100, 38))
    (one,) = [f for f in extract(bare() - face - cylinder(8, -1, 41, 300, 100)).rejected if f.code == "spotface"]
    assert "2 deep over 38 of metal" in one.reason


def test_groove_for_a_seal_is_no_floor():
    ring = Manifold.cylinder(4, 40, 40, 128) - Manifold.cylinder(4, 34, 34, 128)
    (one,) = [f for f in extract(bare() - ring.translate((300, 100, 37))).rejected if f.code == "groove"]
    assert "3 deep over 37 of metal" in one.reason


@pytest.mark.parametrize("width", [1.5, 3.0])
def test_a_slot_that_is_too_narrow_is_named(width):
    """Twice the area over the perimeter of a slot w wide and 100 long: 100 w / (100 + w)."""
    solid = bare() - box(220, 50, 2.5, 320, 50 + width, 41)
    extraction = extract(solid)
    assert len(extraction.floors) == 1
    (slot,) = [face for face in extraction.rejected if face.code == "too-narrow"]
    assert slot.area == pytest.approx(100 * width)
    assert f"{100 * width / (100 + width):.3g} mm wide" in slot.reason
    assert len(extract(solid, min_width=1.0).floors) == 2


def test_too_small_and_too_thick_are_named():
    solid = bare() - box(220, 20, 2, 228, 28, 41) - box(240, 20, 30, 380, 180, 41)
    extraction = extract(solid, web_max=10.0)
    assert codes_at(extraction, 2.0) == ["too-small"]
    assert codes_at(extraction, 30.0) == ["too-thick"]
    assert len(extract(solid, min_area=50.0).floors) == 3


def test_open_pocket_is_a_floor_and_says_so():
    floor = extract(bare() - box(300, 20, 3, 401, 180, 41)).floors[1]
    # Three walls of 100, 160 and 100 mm, one open side of 160 mm.
    assert floor.open_share == pytest.approx(160 / 520, abs=1e-9)
    assert "open 31 %" in floor.edge_words


def test_steps_and_kinks_to_other_floors_are_told():
    solid = bare() - box(220, 20, 2, 300, 180, 41) - box(300, 20, 5, 380, 180, 41)
    low, high = extract(solid).floors[1:]
    assert (low.floor_z, high.floor_z) == pytest.approx((2.0, 5.0), abs=1e-3)
    assert low.step_share == high.step_share == pytest.approx(160 / 480, abs=1e-9)


def test_level_floor_and_ramp_in_one_pocket_are_two_floors():
    ramp = Manifold.hull_points(
        np.array([(x, y, z) for y in (20, 180) for x, z in ((300, 2), (380, 5), (300, 41), (380, 41))], float)
    )
    low, high = extract(bare() - box(220, 20, 2, 300, 180, 41) - ramp).floors[1:]
    assert (low.slope, high.slope) == ((0.0, 0.0), pytest.approx((3 / 80, 0.0), abs=1e-9))
    assert low.fillet_radius == 0.0


@pytest.mark.parametrize("fillet", [1.0, 3.0, 7.9])
@pytest.mark.parametrize("draft", [0.0, 5.0])
@pytest.mark.parametrize("chord", [0.05, 0.005])
def test_fillet_radius_whatever_the_chord(fillet, draft, chord):
    solid = box(0, 0, 0, 200, 160, 40) - filleted_pocket(20, 20, 180, 140, 8, fillet, 2, 41, chord, draft_deg=draft)
    (floor,) = extract(solid).floors
    # The strips are chords of the arc: radius = height / (2 sin²) is exact; 0.01 mm is its rounding.
    assert floor.fillet_radius == pytest.approx(fillet, abs=0.011)
    assert floor.fillet_share == pytest.approx(1.0)


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize("chord", [0.1, 0.01, 0.001, 0.0005])
def test_fillet_of_a_turned_plate_in_single_precision(chord, turn):
    """The first chord of a fine fillet is a cone within 1 µm of the floor's plane; it is no part of the floor."""
    solid = box(0, 0, 0, 800, 200, 40)
    for x in (20, 420):
        solid -= filleted_pocket(x, 20, x + 170, 190, 10, 3.2, 2, 41, chord)
    mesh = mesh_of(solid.rotate((0, 0, turn)))
    mesh.vertices = mesh.vertices.astype(np.float32)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    floors = extract_pockets(mesh, units="mm").floors
    assert len(floors) == 2
    for x in (20, 420):
        foot = true_outline(x + 3.2, 23.2, x + 166.8, 186.8, 6.8)
        truth = shapely.transform(foot, lambda xy: xy @ np.array([[c, s], [-s, c]]))
        # Chords of the corner, and what single precision and the part file round; 0.01 was promised.
        near = min(shapely.Polygon(floor.foot).hausdorff_distance(truth) for floor in floors)
        assert near <= 0.6 * chord + 4e-3
    for floor in floors:
        assert floor.fillet_radius == pytest.approx(3.2, abs=0.1)


@pytest.mark.parametrize("seed", range(4))
def test_rounded_corners_of_a_turned_part_in_single_precision(seed):
    """Strips between corners of two arcs, as wide as their chords, lean by the rounding: no other plane for that."""
    bays = [(20 + 140 * i, 20 + 130 * j, 155 + 140 * i, 145 + 130 * j) for i in range(4) for j in range(2)]
    solid = box(0, 0, 0, 600, 300, 40)
    for number, bay in enumerate(bays):
        solid -= round_pocket(*bay, 5 + number, 2, 41, 0.005)
    turn = Rotation.random(random_state=seed).as_matrix()
    mesh = mesh_of(solid)
    mesh.vertices = (mesh.vertices @ turn.T).astype(np.float32).astype(np.float64)
    extraction = extract_pockets(mesh, units="mm", up=tuple(turn[:, 2]), x_axis=tuple(turn[:, 0]))
    assert len(extraction.floors) == 8
    for number, (x0, y0, x1, y1) in enumerate(bays):
        outline = true_outline(x0, y0, x1, y1, 5 + number)
        floor = next(floor for floor in extraction.floors if outline.contains(shapely.Polygon(floor.foot).centroid))
        assert shapely.hausdorff_distance(shapely.Polygon(floor.foot).exterior, outline.exterior) < 0.02


@pytest.mark.parametrize(("width", "corner", "draft"), [(200, 8, 0), (310, 8, 5)])
def test_the_first_chord_of_a_fillet_is_not_of_the_floor(width, corner, draft):
    """Far from the origin a strip at a corner, of facets that look different ways, made a curved floor of both."""
    hole = filleted_pocket(720, 20, 720 + width, 160, corner, 6, 2, 61, 0.005, draft_deg=draft)
    (floor,) = extract_pockets(mesh_of(box(700, 0, 0, 760 + width, 180, 60) - hole), units="mm").floors
    inset = 6 * np.cos(np.radians(draft))
    outline = true_outline(720 + inset, 20 + inset, 720 + width - inset, 160 - inset, corner - inset)
    assert floor.kind == "plane"
    assert shapely.hausdorff_distance(shapely.Polygon(floor.foot).exterior, outline.exterior) < 0.02


def test_fillet_round_an_island():
    from cad_plates import rounded_ring

    angles = np.linspace(0.0, np.pi / 2, 13)
    rows = []
    for angle in angles:
        out = 3.0 * (1.0 - np.sin(angle))
        ring = rounded_ring(80 - out, 80 - out, 120 + out, 120 + out, 6 + out, 0.0, steps=12)
        rows.append(np.column_stack([ring, np.full(len(ring), 2.0 + 3.0 * (1.0 - np.cos(angle)))]))
    layers = [Manifold.hull_points(np.concatenate([a, b])) for a, b in pairwise(rows)]
    island = Manifold.batch_boolean([*layers, round_pocket(80, 80, 120, 120, 6, 4.9, 20, 0.001)], _add())
    solid = box(0, 0, 0, 200, 200, 40) - (round_pocket(20, 20, 180, 180, 8, 2, 41, CHORD) - island)
    (floor,) = extract(solid).floors
    assert len(floor.foot_islands) == 1
    # Foot: 40 + 6 square with corners of 9; wall: 40 square with corners of 6.
    foot, wall = (area(ring) for ring in (floor.foot_islands[0], floor.wall_islands[0]))
    assert foot == pytest.approx(46**2 - (4 - np.pi) * 81, rel=1e-3)
    assert wall == pytest.approx(40**2 - (4 - np.pi) * 36, rel=1e-3)


def _add():
    from manifold3d import OpType

    return OpType.Add


def area(ring):
    x, y = np.array(ring).T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def test_message_when_nothing_is_found_names_what_was_looked_at():
    with pytest.raises(InputError, match=r"Looked at: face at \(.*walls rise along 0 %.*--side bottom"):
        extract(box(0, 0, 0, 400, 200, 40) - box(20, 20, -1, 380, 180, 38))


@pytest.mark.parametrize("away", [1000.0, 5000.0])
def test_corner_radius_far_from_the_origin_with_fine_chords(away):
    """At 5 m a single precision number steps by 0.0005 mm, half of what the chords are off the arc."""
    mesh = mesh_of(box(0, 0, 0, 200, 160, 40) - round_pocket(20, 20, 180, 140, 8.0, 5.0, 41.0, 0.001))
    mesh.vertices = (mesh.vertices + np.array([away, away, 0.0])).astype(np.float32)
    (floor,) = extract_pockets(mesh, units="mm").floors
    assert floor.corner_radius == pytest.approx(8.0, abs=0.01)


def test_a_bridge_over_a_bay_leaves_a_floor_on_either_side():
    """The walls along the bay are one edge each and run on under the bridge: three walls of four are left."""
    bridge = box(290, 20, 35, 310, 180, 40)
    extraction = extract(bare() - box(220, 20, 2, 380, 180, 41) + bridge)
    assert [floor.area for floor in extraction.floors[1:]] == pytest.approx([70 * 160] * 2)
    assert extraction.open_questions == 0


@pytest.mark.parametrize("width", [1.0, 15.0])
def test_flanges_that_lean_inwards_all_round_leave_the_floor_between_them(width):
    """Four stiffeners with flanges: no wall touches what is seen of the floor, and it is walled all round."""
    mouth = box(220 + width, 20 + width, 2, 380 - width, 180 - width, 41)
    extraction = extract(bare() - box(220, 20, 2, 380, 180, 37) - mouth)
    assert extraction.floors[1].area == pytest.approx((160 - 2 * width) ** 2)
    assert [face.code for face in extraction.rejected if face.code != "no-wall"] == ["under-a-roof"]


@pytest.mark.parametrize("corner", [(300, 20), (300, 100), (220, 50)])
def test_a_bay_open_at_a_corner_is_asked_about(corner):
    """Walls along half of its outline or less, on two sides, 38 mm high over a web of 3 mm."""
    extraction = extract(bare() - box(*corner, 3, 401, 201, 41))
    (face,) = [face for face in extraction.rejected if face.place[2] == pytest.approx(3.0, abs=1e-6)]
    assert "open at a corner" in face.reason
    assert extraction.open_questions == 1


def test_flanges_lands_and_feet_are_no_question():
    """A foot with one wall, a flange round two sides, and a thick corner land."""
    for cut in (
        box(200, -1, 5, 401, 201, 41),
        box(200, -1, 5, 401, 10, 41) + box(390, -1, 5, 401, 201, 41),
        box(300, 100, 25, 401, 201, 41),
    ):
        assert extract(bare() - cut).open_questions == 0


def test_a_floor_that_runs_up_into_its_wall_is_asked_about():
    """A radius of 60 mm from the floor to the wall: no edge says where the floor ends."""
    round_end = Manifold.cylinder(160, 60, 60, 400).rotate((90, 0, 0)).translate((280, 180, 62))
    tool = box(280, 20, 2, 380, 180, 101) + box(220, 20, 62, 380, 180, 101) + round_end
    plate = box(0, 0, 0, 400, 200, 100) - round_pocket(20, 20, 180, 180, 8, 2, 101, CHORD)
    extraction = extract(plate - tool)
    assert [face.code for face in extraction.rejected if face.is_walled] == ["too-steep"]
    assert extraction.open_questions == 1
