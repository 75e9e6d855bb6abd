"""What real parts have: plates by constructive geometry, each floor's height, web and area in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import box, mesh_of, prism, round_pocket
from manifold3d import Manifold

from floorfit.cad import extract_pockets

CHORD = 0.01
#: What a corner of 8 mm takes away, four times.
CORNERS = (4 - np.pi) * 64


def plate():
    return box(0, 0, 0, 400, 200, 40)


def pocket(x0, y0, x1, y1, z0=2.0, z1=41.0, corner=8.0):
    return round_pocket(x0, y0, x1, y1, corner, z0, z1, CHORD)


def holes(radius, z0, z1, places):
    return Manifold.batch_boolean(
        [Manifold.cylinder(z1 - z0, radius, radius, 64).translate((x, y, z0)) for x, y in places], add()
    )


def add():
    from manifold3d import OpType

    return OpType.Add


def chamfered_plate(inset, height):
    """The plate with its lower edges cut away by a chamfer."""
    low = [(inset, inset, 0), (400 - inset, inset, 0), (400 - inset, 200 - inset, 0), (inset, 200 - inset, 0)]
    rest = [(x, y, z) for z in (height, 40) for x, y in ((0, 0), (400, 0), (400, 200), (0, 200))]
    return Manifold.hull_points(np.array(low + rest, float))


GRID = [(x, y) for x in range(40, 380, 40) for y in (50, 100, 150)]
WHOLE = 360 * 160 - CORNERS

# Name: how the solid is made, and for each floor (Z, web, area).
FOUND = {
    "a recess in the top of an island": (
        lambda: (
            plate() - (pocket(20, 20, 380, 180) - (pocket(100, 60, 300, 140, 1.0) - pocket(120, 80, 280, 120, 20.0)))
        ),
        [(2.0, 2.0, WHOLE - (200 * 80 - CORNERS)), (20.0, 20.0, 160 * 40 - CORNERS)],
    ),
    "pockets from both sides, one under the other": (
        lambda: plate() - pocket(20, 20, 380, 180, 22.0) - pocket(20, 20, 380, 180, -1.0, 20.0),
        [(22.0, 2.0, WHOLE)],
    ),
    "a larger pocket below": (
        lambda: plate() - pocket(60, 60, 340, 140, 22.0) - pocket(20, 20, 380, 180, -1.0, 20.0),
        [(22.0, 2.0, 280 * 80 - CORNERS)],
    ),
    "a low rib from wall to wall": (
        lambda: plate() - (pocket(20, 20, 380, 180) - box(195, 0, 0, 205, 200, 6)),
        [(2.0, 2.0, 175 * 160 - CORNERS / 2)] * 2,
    ),
    "a low rib that ends in the floor": (
        lambda: plate() - (pocket(20, 20, 380, 180) - box(100, 60, 0, 300, 64, 3)),
        [(2.0, 2.0, WHOLE - 200 * 4)],
    ),
    "a wall of 0.4 mm": (
        lambda: plate() - pocket(20, 20, 199.8, 180) - pocket(200.2, 20, 380, 180),
        [(2.0, 2.0, 179.8 * 160 - CORNERS)] * 2,
    ),
    "a channel through the part": (lambda: plate() - pocket(-20, 50, 420, 150), [(2.0, 2.0, 400 * 100)]),
    "a step of 0.01 mm": (
        lambda: plate() - box(20, 20, 2, 200, 180, 41) - box(200, 20, 2.01, 380, 180, 41),
        [(2.0, 2.0, 180 * 160), (2.01, 2.01, 180 * 160)],
    ),
    "a window in the floor": (
        lambda: plate() - pocket(20, 20, 380, 180) - pocket(100, 60, 300, 140, -1.0),
        [(2.0, 2.0, WHOLE - (200 * 80 - CORNERS))],
    ),
    "27 holes in the floor": (
        # Polygons of 64 sides: n/2 r² sin(2π/n).
        lambda: plate() - pocket(20, 20, 380, 180) - holes(2.5, -1, 10, GRID),
        [(2.0, 2.0, WHOLE - len(GRID) * 32 * 2.5**2 * np.sin(2 * np.pi / 64))],
    ),
    "a chamfer along the lower edge, outside the floor": (
        lambda: chamfered_plate(5, 5) - pocket(20, 20, 380, 180),
        [(2.0, 2.0, WHOLE)],
    ),
    "walls that lean in over the floor": (
        lambda: (
            plate()
            - Manifold.hull_points(
                np.array(
                    [(x, y, 2) for x in (50, 350) for y in (50, 150)]
                    + [(x, y, 41) for x in (60, 340) for y in (60, 140)],
                    float,
                )
            )
        ),
        [(2.0, 2.0, 300 * 100)],
    ),
    "a triangle": (
        lambda: plate() - prism(np.array([(50, 30), (350, 30), (200, 170)], float), 2, 41),
        [(2.0, 2.0, 300 * 140 / 2)],
    ),
}


@pytest.mark.parametrize("name", FOUND)
def test_floors(name):
    solid, wanted = FOUND[name]
    floors = extract_pockets(mesh_of(solid()), units="mm").floors
    got = sorted((floor.floor_z, floor.web, floor.area) for floor in floors)
    assert len(got) == len(wanted)
    for (z, web, area), (true_z, true_web, true_area) in zip(got, sorted(wanted), strict=True):
        # The targets of the recognition: 1 µm, 2 µm, 0.1 %.
        assert z == pytest.approx(true_z, abs=1e-3)
        assert web == pytest.approx(true_web, abs=2e-3)
        assert area == pytest.approx(true_area, rel=1e-3)


# Name: how the solid is made, and the web at places: (x, y, web).
VARYING = {
    "blind holes from below": (
        lambda: plate() - pocket(20, 20, 380, 180, 10.0) - holes(3.0, -1, 5, [(250, 100)]),
        [(250, 100, 5.0), (252.9, 100, 5.0), (253.1, 100, 10.0), (30, 30, 10.0)],
    ),
    "a groove of 0.2 mm in the underside": (
        lambda: plate() - pocket(20, 20, 380, 180, 10.0) - box(100, 90, -1, 102, 110, 0.2),
        [(101, 91, 9.8), (101, 109, 9.8), (99.9, 100, 10.0), (300, 100, 10.0)],
    ),
    "a chamfer along the lower edge, under the floor": (
        # 30 mm by 45 degrees: at 26 mm from the edge 4 mm are gone.
        lambda: chamfered_plate(30, 30) - pocket(25, 25, 375, 175, 32.0),
        [(26, 100, 28.0), (29, 100, 31.0), (200, 26, 28.0), (200, 100, 32.0)],
    ),
}


@pytest.mark.parametrize("name", VARYING)
def test_webs_that_vary_are_recorded(name):
    solid, places = VARYING[name]
    (part_pocket,) = extract_pockets(mesh_of(solid()), units="mm").part.pockets
    x, y, webs = np.array(places).T
    assert part_pocket.nominal_web(x, y) == pytest.approx(webs, abs=1e-4)


@pytest.mark.parametrize("step_deg", [0.2, 0.45, 1.1, 6.0])
def test_fillet_radius_of_uneven_and_fine_chords(step_deg):
    """A channel with fillets of 12.7 mm: uneven chords, the finest of 3e-5 mm."""
    count = int(90 / step_deg / 1.25) // 2 * 2
    share = np.cumsum(np.tile([1.0, 1.5], count // 2))
    angle = np.concatenate([[0.0], share / share[-1] * np.pi / 2])
    right = np.column_stack([80 - 12.7 + 12.7 * np.sin(angle), 2 + 12.7 * (1 - np.cos(angle))])
    left = np.column_stack([-right[::-1, 0], right[::-1, 1]])
    profile = np.concatenate([right, [(80, 41), (-80, 41)], left])
    channel = prism(profile, -201, 201).rotate((90, 0, 0))
    (floor,) = extract_pockets(mesh_of(box(-100, -200, 0, 100, 200, 40) - channel), units="mm").floors
    assert floor.area == pytest.approx((160 - 2 * 12.7) * 400, rel=1e-3)
    # Tilts of neighbours within 5 % count as one chord: as much in the radius.
    assert floor.fillet_radius == pytest.approx(12.7, rel=0.05)
