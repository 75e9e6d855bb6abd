"""The nominal part: areas, centroids and levels against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from floorfit.part import Part, Pocket, Ring, Tolerance

_ANY = Tolerance(-0.1, 0.1)

# Rings of rectilinear shapes; area and centroid by hand, from the rectangles that they are made of.
L_SHAPE: Ring = ((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100))
STEP_SHAPE: Ring = ((0, 0), (160, 0), (160, 60), (100, 60), (100, 120), (0, 120))
U_SHAPE: Ring = ((0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100))


def pocket(boundary: Ring, *islands: Ring, **values: float) -> Pocket:
    return Pocket("P", boundary, islands, floor_z=2.0, web=2.0, tolerance=_ANY, **values)


@pytest.mark.parametrize(
    ("ring", "area", "centroid"),
    [
        (L_SHAPE, 6400, (38.75, 38.75)),
        (STEP_SHAPE, 15600, (890 / 13, 690 / 13)),
        (U_SHAPE, 7800, (60, (3600 * 15 + 2 * 2100 * 65) / 7800)),
    ],
    ids=["L", "step", "U"],
)
def test_area_and_centroid(ring: Ring, area: float, centroid: tuple[float, float]):
    floor = pocket(ring)
    assert floor.polygon.area == pytest.approx(area, rel=1e-14)  # sums of products of small whole numbers
    assert floor.centroid == pytest.approx(centroid, rel=1e-14)


def test_centroid_of_a_u_lies_outside_it_and_is_defined_all_the_same():
    from shapely import Point

    floor = pocket(U_SHAPE)
    assert not floor.polygon.contains(Point(floor.centroid))
    assert floor.nominal_z(*floor.centroid) == pytest.approx(2.0)


def test_island_is_taken_out_of_the_area_but_not_of_the_centroid():
    """160 × 120 less 20 × 20 is 18800; the contract refers the centroid to the boundary polygon."""
    floor = pocket(((0, 0), (160, 0), (160, 120), (0, 120)), ((10, 10), (30, 10), (30, 30), (10, 30)))
    assert floor.polygon.area == pytest.approx(18800, rel=1e-14)
    assert floor.centroid == pytest.approx((80, 60), rel=1e-14)


def test_centroid_does_not_depend_on_winding_or_first_vertex():
    turned = L_SHAPE[2:] + L_SHAPE[:2]
    assert pocket(turned[::-1]).centroid == pytest.approx(pocket(L_SHAPE).centroid, rel=1e-14)


def test_sloped_floor_is_a_plane_through_floor_z_at_the_centroid():
    floor = pocket(L_SHAPE, slope=(0.01, -0.02), finish_stock=0.5, underside_z=0.25)
    cx, cy = floor.centroid
    x, y = np.array([cx, cx + 10, cx]), np.array([cy, cy, cy + 10])
    expected = np.array([2.0, 2.1, 1.8])  # 2 + 0.01·10 and 2 − 0.02·10
    np.testing.assert_allclose(floor.nominal_z(x, y), expected, atol=1e-14)
    np.testing.assert_allclose(floor.rough_z(x, y), expected + 0.5, atol=1e-14)
    np.testing.assert_allclose(floor.nominal_web(x, y), expected - 0.25, atol=1e-14)


def test_positions_are_broadcast_together():
    floor = pocket(L_SHAPE, slope=(0.01, 0.0))
    assert floor.nominal_z(np.zeros((3, 1)), np.zeros(4)).shape == (3, 4)


@pytest.mark.parametrize(("lower", "upper", "width"), [(-0.1, 0.1, 0.2), (0.0, None, math.inf), (None, 0.1, math.inf)])
def test_tolerance_width(lower: float | None, upper: float | None, width: float):
    assert Tolerance(lower, upper).width == pytest.approx(width)


def test_bounds_and_pocket_by_id():
    part = Part("trial", STEP_SHAPE, (pocket(L_SHAPE),))
    assert part.bounds == (0.0, 0.0, 160.0, 120.0)
    assert part.pocket("P") is part.pockets[0]
    with pytest.raises(KeyError, match="Q"):
        part.pocket("Q")
