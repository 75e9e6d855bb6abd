"""Places and floors: against a lattice count, an independent point-in-polygon, and invariances."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.path import Path as Outline

from floorfit.part import Part, Pocket, Ring, Tolerance
from floorfit.part.assign import assign_floors

L_SHAPE: Ring = ((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100))
U_SHAPE: Ring = ((0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100))


def _box(x: float, y: float, width: float, height: float) -> Ring:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def _part(*floors: tuple[Ring, tuple[Ring, ...]]) -> Part:
    tolerance = Tolerance(-0.1, 0.1)
    pockets = (Pocket(f"P{k}", ring, islands, 2.0, 2.0, tolerance) for k, (ring, islands) in enumerate(floors))
    return Part("trial", _box(-1000, -1000, 5000, 5000), tuple(pockets))


def _lattice(size: int) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.arange(-5.0, size), np.arange(-5.0, size))
    return x.ravel(), y.ravel()


@pytest.mark.parametrize(("ring", "area", "border"), [(L_SHAPE, 6400, 400), (U_SHAPE, 7800, 580)], ids=["L", "U"])
def test_lattice_points_of_a_floor_edges_included(ring: Ring, area: int, border: int):
    """Pick 1899: a polygon on the unit lattice holds area + border/2 + 1 lattice points, its border included."""
    found = assign_floors(_part((ring, ())), *_lattice(130))
    assert np.count_nonzero(found == 0) == area + border // 2 + 1


def test_island_is_no_floor_but_its_edge_is():
    """The inside of a 20 × 20 island has 19 · 19 lattice points (counted by hand)."""
    plain, holed = (_part((L_SHAPE, islands)) for islands in ((), (_box(10, 10, 20, 20),)))
    counts = [np.count_nonzero(assign_floors(part, *_lattice(130)) == 0) for part in (plain, holed)]
    assert counts[0] - counts[1] == 19 * 19


def test_agrees_with_an_independent_point_in_polygon():
    """matplotlib's Path.contains_points (its own crossing-number code) on 20,000 random places."""
    triangle: Ring = ((130, 3), (170, 17), (141, 90))
    part = _part((U_SHAPE, ()), (triangle, ()))
    places = np.random.default_rng(3).uniform(-10, 180, size=(20_000, 2))
    expected = np.full(len(places), -1)
    for k, ring in enumerate((U_SHAPE, triangle)):
        expected[Outline([*ring, ring[0]], closed=True).contains_points(places)] = k
    np.testing.assert_array_equal(assign_floors(part, *places.T), expected)


def test_shared_edge_belongs_to_the_first():
    part = _part((_box(0, 0, 10, 10), ()), (_box(10, 0, 10, 10), ()))
    assert list(assign_floors(part, [9, 10, 11], [5, 5, 5])) == [0, 0, 1]


def test_floor_on_another_floors_island():
    part = _part((_box(0, 0, 100, 100), (_box(40, 40, 20, 20),)), (_box(45, 45, 10, 10), ()))
    assert list(assign_floors(part, [5, 50, 42], [5, 50, 42])) == [0, 1, -1]


@pytest.mark.parametrize(("x", "y"), [(np.nan, 5), (5, np.nan), (np.inf, 5), (5, -np.inf), (500, 5), (1e300, 1e300)])
def test_places_on_no_floor(x: float, y: float):
    assert assign_floors(_part((_box(0, 0, 10, 10), ())), x, y)[0] == -1


def test_no_places_and_no_floors():
    assert assign_floors(_part((L_SHAPE, ())), [], []).shape == (0,)
    assert list(assign_floors(_part(), [1.0], [1.0])) == [-1]


def test_edge_survives_inches_far_from_the_origin():
    """Places on the edge stay on it though mm and inch round differently: 1 nm is allowed, 1 µm is not."""
    corner = 1e5 * 0.1 / 25.4 * 25.4
    part = _part((_box(1e4, 1e4, 10, 10), ()))
    edge = np.array([corner, np.nextafter(1e4, 0), 1e4 - 1e-7, 1e4 - 1e-3])
    assert list(assign_floors(part, edge, np.full(4, 1e4 + 5))) == [0, 0, 0, -1]


def test_invariant_under_shift_quarter_turn_and_order():
    rng = np.random.default_rng(5)
    x, y = rng.uniform(-10, 130, size=(2, 5_000))
    found = assign_floors(_part((U_SHAPE, ())), x, y)
    moved: Ring = tuple((1000 - b, 2000 + a) for a, b in U_SHAPE)
    order = rng.permutation(len(x))
    np.testing.assert_array_equal(assign_floors(_part((moved, ())), 1000 - y, 2000 + x), found)
    np.testing.assert_array_equal(assign_floors(_part((U_SHAPE, ())), x[order], y[order]), found[order])
