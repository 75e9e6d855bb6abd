"""Raised faces in a bay: which are floors with a web of their own. The solids are made by constructive geometry."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from cad_plates import box, filleted_pocket, mesh_of, prism, round_pocket
from manifold3d import Manifold

from floorfit.cad import extract_pockets

FLOOR, WALLS = 2.0, 30.0


def bay():
    """A bay of 360 x 160 mm, 30 mm deep, with a web of 2 mm."""
    return box(0, 0, 0, 400, 200, FLOOR + WALLS) - round_pocket(20, 20, 380, 180, 8, FLOOR, 33, 0.01)


def extract(solid):
    return extract_pockets(mesh_of(solid), units="mm")


def webs(extraction):
    return sorted(pocket.web for pocket in extraction.part.pockets)


def drum(radius, top, hole=0.0):
    solid = Manifold.cylinder(top - 1.0, radius, radius, 128).translate((100, 100, 1))
    return solid - Manifold.cylinder(40, hole, hole, 64).translate((100, 100, -1)) if hole else solid


#: Solid added to the bay, and plan area of its top.
PADS = {
    "in the middle": (box(100, 80, 1, 150, 120, 5), 2000.0),
    "at a wall": (box(100, 10, 1, 150, 60, 5), 2000.0),
    "in a corner": (box(10, 10, 1, 60, 60, 5), 1600.0 - 64.0 * (1.0 - np.pi / 4.0)),
    "round": (drum(12, 4.5), 64 * 144 * np.sin(np.pi / 64)),
    "a gap of 4 mm from both walls": (box(100, 24, 1, 150, 176, 5), 50.0 * 152.0),
    "a triangle": (prism(np.array([(100, 60), (180, 80), (120, 150)], float), 1, 6), 3400.0),
    "with a draft": (
        Manifold.hull_points(
            np.array(
                [(x, y, 1) for x in (100, 160) for y in (60, 120)] + [(x, y, 5) for x in (103, 157) for y in (63, 117)],
                float,
            )
        ),
        54.0 * 54.0,
    ),
}


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize("name", PADS)
def test_a_low_wide_pad_is_a_floor(name, turn):
    pad, area = PADS[name]
    extraction = extract((bay() + pad).rotate((0, 0, turn)))
    low, high = sorted(extraction.part.pockets, key=lambda pocket: pocket.web)
    assert (low.web, high.web) == pytest.approx((FLOOR, pad.bounding_box()[5]), abs=1e-4)
    assert high.polygon.area == pytest.approx(area, rel=1e-4)
    # The corners of a pad are outer ones: no wall keeps a cutter from them.
    assert (low.corner_radius, high.corner_radius) == (pytest.approx(8.0, abs=0.011), 0.0)
    assert not low.polygon.intersects(high.polygon.buffer(-1e-3))
    assert extraction.open_questions == 0
    assert all(floor.open_share == pytest.approx(0.0, abs=1e-9) for floor in extraction.floors)


def test_a_pad_over_fillets_and_a_pad_on_a_pad():
    """A fillet of 4 mm runs round the lower pad: between floor and pad lies a strip that belongs to neither."""
    angles = np.linspace(0.0, np.pi / 2, 9)
    rows = [
        np.array([(x, y, 2.0 + 4.0 * (1 - np.cos(a))) for x in (100 - o, 180 + o) for y in (60 - o, 140 + o)])
        for a in angles
        for o in [4.0 * (1.0 - np.sin(a))]
    ]
    foot = Manifold()
    for a, b in pairwise(rows):
        foot += Manifold.hull_points(np.concatenate([a, b]))
    pads = foot + box(100, 60, 1, 180, 140, 6) + box(120, 80, 1, 160, 120, 8)
    extraction = extract(bay() + pads)
    assert webs(extraction) == pytest.approx([2.0, 6.0, 8.0], abs=1e-4)
    assert sorted(floor.area for floor in extraction.floors)[:2] == pytest.approx([1600.0, 4800.0], rel=1e-4)


def test_a_pad_with_a_drilling_and_a_collar():
    drilled = extract(bay() + drum(8, 5) - drum(3.3, 41).translate((0, 0, -5)))
    assert webs(drilled) == pytest.approx([2.0, 5.0], abs=1e-4)
    collar = extract(bay() + drum(35, 3.5) - drum(25, 41).translate((0, 0, -5)))
    assert webs(collar) == pytest.approx([2.0, 3.5], abs=1e-4)


#: Solid added to the bay, and whether it is asked about.
NO_PADS = {
    "boss": (drum(7, 13), False),
    "wide boss": (drum(15, 13), True),
    "lip of a lightening hole": (drum(29, 6), False),
    "thick pad": (box(100, 80, 1, 150, 120, 12), True),
    "stub to the walls' tops": (box(100, 80, 1, 150, 120, 32), False),
    "high bead": (box(60, 60, 1, 160, 64, 5), False),
    "flat bead": (box(60, 60, 1, 160, 66, 4), True),
}


@pytest.mark.parametrize("name", NO_PADS)
def test_higher_or_narrower_is_no_floor_and_what_is_near_one_is_asked_about(name):
    added, asked = NO_PADS[name]
    hole = drum(25, 41).translate((0, 0, -5)) if "hole" in name else Manifold()
    extraction = extract(bay() + added - hole)
    assert webs(extraction) == pytest.approx([2.0], abs=1e-4)
    assert extraction.open_questions == asked
    (one,) = [face for face in extraction.rejected if face.place[2] < 31.0] or [extraction.rejected[0]]
    assert one.code == "no-wall"
    assert ("a pad, a land, a lip or a boss" in one.reason) == asked


def test_the_flange_of_an_open_side_is_asked_about():
    """Low, wide, with the floor along one side and nothing along the other: a flange, or a pad at the edge."""
    open_bay = box(0, 0, 0, 400, 200, 32) - box(20, -1, 2, 380, 180, 33)
    extraction = extract(open_bay + box(20, 0, 1, 380, 15, 5))
    assert webs(extraction) == pytest.approx([2.0], abs=1e-4)
    assert extraction.open_questions == 1


def test_a_face_on_what_is_no_floor_is_no_pad():
    """A nut's seat in a spotface."""
    face = Manifold.cylinder(9, 30, 30, 128).translate((200, 100, 36))
    solid = box(0, 0, 0, 400, 200, 40) - round_pocket(20, 20, 100, 180, 8, 2, 41, 0.01) - face
    extraction = extract(solid + Manifold.cylinder(1, 12, 12, 64).translate((200, 100, 36)))
    assert webs(extraction) == pytest.approx([2.0], abs=1e-4)


def test_a_pad_in_a_filleted_bay_touches_no_wall():
    """The pad ends in the fillet at the foot of the wall."""
    solid = box(0, 0, 0, 400, 200, 32) - filleted_pocket(20, 20, 380, 180, 12, 5, 2, 33, 0.01)
    extraction = extract(solid + box(100, 20, 1, 150, 60, 5))
    assert webs(extraction) == pytest.approx([2.0, 5.0], abs=1e-4)
