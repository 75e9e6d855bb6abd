"""Corners that a cutter leaves round, drawn sharp or drawn round: closed forms of a rectangle."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import readings_from_arrays
from floorfit.readings.sites import find_sites, lies_in_corner

RADIUS = 8.0
#: Any place will do, and none of it at the origin.
BOX = shapely.box(40, -30, 140, 30)


def part_of(outline: shapely.Polygon, radius: float = RADIUS) -> Part:
    ring = tuple((float(x), float(y)) for x, y in outline.exterior.coords[:-1])
    pocket = Pocket("P", ring, (), 2.0, 2.0, Tolerance(-0.1, 0.1), finish_stock=0.5, corner_radius=radius)
    return Part("invented", ((0.0, -60.0), (200.0, -60.0), (200.0, 60.0), (0.0, 60.0)), (pocket,))


def places() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Places in and round the rectangle, and how far each is from the sides, negative outside."""
    x, y = np.random.default_rng(3).uniform((30, -40), (150, 40), (4000, 2)).T
    return x, y, np.minimum(x - 40, 140 - x), np.minimum(y + 30, 30 - y)


def beyond_the_arc(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """How far places are outside the arc of their corner, where they are nearer than the radius to both sides."""
    return np.where((u < RADIUS) & (v < RADIUS), np.hypot(u - RADIUS, v - RADIUS) - RADIUS, -np.inf)


def test_a_corner_drawn_sharp_holds_the_metal_that_a_cutter_leaves() -> None:
    # A cutter of the corner's radius comes no nearer to the corner than its arc: (u − r)² + (v − r)² = r².
    x, y, u, v = places()
    _, _, wall, is_corner = find_sites(part_of(BOX), readings_from_arrays(x, y, np.full(len(x), 2.5)))
    inside, beyond = (u > 0) & (v > 0), beyond_the_arc(u, v)
    assert is_corner[inside & (beyond > 0.03)].all()  # 0.02 mm is left to chords
    assert not is_corner[beyond < 0.01].any()
    assert inside[is_corner].all() and is_corner.sum() > 10
    assert wall[inside] == pytest.approx(np.minimum(u, v)[inside])
    assert np.isnan(wall[~inside]).all()


def test_a_corner_drawn_round_has_metal_up_to_the_sharp_one() -> None:
    x, y, u, v = places()
    rounded = BOX.buffer(-RADIUS).buffer(RADIUS, quad_segs=64)
    off = ~shapely.contains_xy(rounded, x, y)
    x, y, u, v = x[off], y[off], u[off], v[off]
    found = lies_in_corner(part_of(rounded), x, y)
    # Places on no floor: in the corner are those inside the sharp rectangle. Chords of 64 leave 0.0006 mm.
    in_corner = (u > 0.001) & (v > 0.001) & (beyond_the_arc(u, v) > 0.01)
    assert found[in_corner].all()
    assert not found[(u < -0.001) | (v < -0.001)].any()
    for side_x in (x < 90, x > 90):
        for side_y in (y < 0, y > 0):
            assert (found & side_x & side_y).any()  # each of the four


def test_a_floor_without_a_corner_radius_has_no_such_metal() -> None:
    x, y, _, _ = places()
    assert not find_sites(part_of(BOX, 0.0), readings_from_arrays(x, y, np.full(len(x), 2.5)))[3].any()
    assert not lies_in_corner(part_of(BOX, 0.0), x, y).any()
