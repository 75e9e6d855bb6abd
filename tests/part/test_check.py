"""Checks of rings and floors: what counts as crossing, touching and overlapping, and where it is."""

from __future__ import annotations

import pytest
from shapely import Polygon

from floorfit.part.check import (
    check_ids,
    check_inside_outline,
    check_islands,
    check_overlaps,
    check_ring,
    check_web,
    clean_ring,
)
from floorfit.part.model import Pocket, Ring, Tolerance

_SQUARE: Ring = ((0, 0), (100, 0), (100, 100), (0, 100))


def _box(x: float, y: float, width: float, height: float) -> Ring:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def _island_codes(*islands: Ring) -> list[str]:
    placed = [(("islands", k), ring) for k, ring in enumerate(islands)]
    polygon, faults = check_islands(_SQUARE, placed, (), '"P"')
    assert (polygon is None) == bool(faults)
    return [fault.code for fault in faults]


def test_crossing_is_placed_where_the_diagonals_meet():
    """The diagonals of a square of side 50.8 mm meet at (25.4, 25.4) mm: (1, 1) in inches."""
    ring: Ring = ((0, 0), (50.8, 50.8), (50.8, 0), (0, 50.8))
    (fault,) = check_ring(ring, ("outline",), "the outline", 25.4)
    assert fault.code == "self-crossing"
    assert "near (1, 1)" in fault.text


@pytest.mark.parametrize(
    ("ring", "code"),
    [
        (((0, 0), (10, 0), (10, 10), (5, 0), (0, 10)), "self-crossing"),  # a vertex on another edge
        (((0, 0), (10, 0), (20, 0), (10, 0), (10, 10)), "self-crossing"),  # a spike without width
        (((0, 0), (10, 0), (5, 1e-9)), "no-area"),
        (((0, 0), (1, 1), (0, 0), (1, 1)), "degenerate-ring"),
        (((0, 0), (float("inf"), 0), (0, 1)), "absurd"),
        (((0, 0), (1e6 + 1, 0), (0, 1)), "absurd"),
    ],
)
def test_unsound_rings(ring: Ring, code: str):
    assert [fault.code for fault in check_ring(ring, (), "ring", 1.0)] == [code]


@pytest.mark.parametrize("ring", [_SQUARE, _SQUARE[::-1], ((0, 0), (1e6, 0), (0, 1e6)), ((0, 0), (0.01, 0), (0, 0.01))])
def test_sound_rings(ring: Ring):
    assert check_ring(ring, (), "ring", 1.0) == []


def test_clean_ring_drops_repeats_only():
    ring = clean_ring([[0, 0], [0, 0], [1, 0], [1, 1], [0, 0], [1, 1], [0, 0], [0, 0]], 2.0)
    assert ring == ((0, 0), (2, 0), (2, 2), (0, 0), (2, 2))


@pytest.mark.parametrize(
    ("islands", "codes"),
    [
        ([], []),
        ([_box(10, 10, 20, 20), _box(40, 10, 20, 20)], []),
        ([((0, 50), (20, 40), (20, 60))], []),  # touches the boundary at a point: still one piece of floor
        ([_box(0, 40, 20, 20)], ["island-touches"]),  # along an edge
        ([_box(10, 10, 20, 20), _box(30, 10, 20, 20)], ["island-touches"]),  # islands along an edge
        ([((0, 50), (50, 40), (100, 50), (50, 60))], ["island-touches"]),  # cuts the floor in two
        ([_box(90, 40, 20, 20)], ["island-outside"]),
        ([_box(200, 40, 20, 20)], ["island-outside"]),
        ([_box(10, 10, 20, 20), _box(25, 25, 20, 20)], ["islands-overlap"]),
        ([_box(10, 10, 50, 50), _box(20, 20, 5, 5)], ["islands-overlap"]),
    ],
)
def test_islands(islands: list[Ring], codes: list[str]):
    assert _island_codes(*islands) == codes


@pytest.mark.parametrize(
    ("gap", "is_apart"), [(1.0, True), (0.0, True), (-0.0008, True), (-0.0012, False), (-5, False)]
)
def test_overlap_begins_at_a_micrometre(gap: float, is_apart: bool):
    """Two squares side by side, apart by the gap; 1 µm counts as touching."""
    floors = [(("a",), '"A"', Polygon(_SQUARE)), (("b",), '"B"', Polygon(_box(100 + gap, 0, 100, 100)))]
    assert (check_overlaps(floors) == []) is is_apart


def test_overlap_names_both_pockets_and_points_at_the_later():
    floors = [(("a",), '"A"', Polygon(_SQUARE)), (("b",), '"B"', Polygon(_box(50, 0, 100, 100)))]
    (fault,) = check_overlaps(floors)
    assert fault.path == ("b",)
    assert '"A" and "B"' in fault.text


def test_concave_outline_is_not_taken_for_its_hull():
    """A pocket in the notch of an L lies outside it."""
    notch: Ring = ((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100))
    assert check_inside_outline(notch, [((), '"P"', _box(50, 50, 20, 20))]) != []
    assert check_inside_outline(notch, [((), '"P"', _box(10, 10, 20, 80))]) == []


def test_web_of_a_sloped_floor_counts_at_its_low_end():
    """Floor 100 mm long, 2 mm at the middle: slope 0.04 leaves 0 at the end, 0.0399 leaves 0.005."""
    pockets = [Pocket("P", _SQUARE, (), 2.0, 2.0, Tolerance(-0.1, 0.1), slope=(slope, 0)) for slope in (0.04, 0.0399)]
    assert [len(check_web(pocket, ())) for pocket in pockets] == [1, 0]


def test_ids_are_compared_as_written():
    assert check_ids([(("pockets", 0, "id"), "P1"), (("pockets", 1, "id"), "p1")]) == []
    (fault,) = check_ids([(("pockets", 0, "id"), "P1"), (("pockets", 1, "id"), "P1")])
    assert "pockets[0]" in fault.text
