"""What is a floor and what is not: each case is a plate made so by constructive geometry."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from cad_plates import box, filleted_pocket, mesh_of, round_pocket, sloped_pocket
from manifold3d import Manifold

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
    assert floor.hole_kinds == ("hole",)
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
    assert floor.hole_kinds == ("island",)
    assert floor.area == pytest.approx(160 * 160 - 800)


def test_countersink_from_below_makes_the_web_vary():
    extraction = extract(bare() - box(220, 20, 2, 380, 180, 41) - cylinder(9, -0.01, 1.5, 300, 100, top=4))
    assert len(extraction.floors) == 1
    assert codes_at(extraction, 2.0) == ["web-varies"]


def test_underside_pocket_under_a_part_of_a_floor_is_named():
    extraction = extract(bare() - box(220, 20, 4, 380, 180, 41) - box(240, 40, -1, 300, 100, 1.5))
    (face,) = [face for face in extraction.rejected if face.code == "web-varies"]
    assert "the underside runs from Z 0 to 1.5" in face.reason
    assert "web 2.5 to 4 mm" in face.reason


def test_rib_on_the_underside_between_two_pockets_makes_the_web_vary():
    """A sampling grid could step over a rib of 1 mm; cutting outlines cannot."""
    solid = (
        bare() - box(220, 20, 12, 380, 180, 41) - box(220, 20, -1, 299.5, 180, 10) - box(300.5, 20, -1, 380, 180, 10)
    )
    assert codes_at(extract(solid), 12.0) == ["web-varies"]


def test_parallel_slopes_above_and_below_are_left_to_the_user():
    """The web is constant, but the part file knows one underside Z for a pocket only."""
    over = sloped_pocket(220, 20, 380, 180, 6.0, (0.01, 0.0), 41)
    under = sloped_pocket(220, 20, 380, 180, 3.0, (0.01, 0.0), 41)
    below = box(220, 20, -1, 380, 180, 41) - under
    assert [face.code for face in extract(bare() - over - below).rejected if face.area == pytest.approx(160 * 160)] == [
        "web-varies"
    ]


def test_too_steep_is_named_and_the_limit_can_be_moved():
    solid = bare() - sloped_pocket(220, 20, 380, 180, 15.0, (np.tan(np.radians(8.0)), 0.0), 41)
    extraction = extract(solid)
    assert [face.code for face in extraction.rejected if "8.00°" in face.reason] == ["too-steep"]
    assert len(extract(solid, max_slope_deg=8.5).floors) == 2


def test_curved_floor_is_named():
    barrel = Manifold.cylinder(160, 2000, 2000, 4000).rotate((90, 0, 0)).translate((300, 180, 2003))
    extraction = extract(bare() - (box(220, 20, 1, 380, 180, 41) ^ barrel))
    assert len(extraction.floors) == 1
    assert sum(face.area for face in extraction.rejected if face.code == "curved") == pytest.approx(160 * 160, rel=1e-3)


def test_covered_floor_is_named():
    extraction = extract(bare() - box(220, 20, 10, 380, 180, 20))
    assert codes_at(extraction, 10.0) == ["covered"]
    extraction = extract(bare() - box(220, 20, 2, 380, 180, 41) - box(210, 20, 2, 225, 180, 8))
    assert codes_at(extraction, 2.0) == ["covered"]


def test_too_small_and_too_thick_are_named():
    solid = bare() - box(220, 20, 2, 228, 28, 41) - box(240, 20, 30, 380, 180, 41)
    extraction = extract(solid, web_max=10.0)
    assert codes_at(extraction, 2.0) == ["too-small"]
    assert codes_at(extraction, 30.0) == ["too-thick"]
    assert len(extract(solid, min_area=50.0).floors) == 3


def test_open_pocket_is_a_floor_and_says_so():
    floor = extract(bare() - box(300, 20, 3, 401, 180, 41)).floors[1]
    assert floor.is_open
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
    assert floor.hole_kinds == ("island",)
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
