"""Chains of lines, and rings in rings."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from floorfit.cad.loops import chain_rings, nest_rings


def square(x, y, size):
    return np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)], float)


def test_pieces_in_any_order_close():
    rng = np.random.default_rng(2)
    ring = np.column_stack([np.cos(t := np.linspace(0, 2 * np.pi, 30)), np.sin(t)]) * 50
    ring[-1] = ring[0]
    pieces = [ring[a : b + 1] for a, b in ((0, 4), (4, 5), (5, 17), (17, 29))]
    pieces = [pieces[i][:: rng.choice([-1, 1])] for i in rng.permutation(4)]
    rings, faults = chain_rings(pieces)
    assert faults == []
    assert shapely.Polygon(rings[0]).equals(shapely.Polygon(ring))


def test_ends_within_a_hundredth_meet_and_wider_ones_do_not():
    for gap, closed in ((0.009, True), (0.011, False)):
        pieces = [np.array([(0, 0), (50, 0), (50, 50)], float), np.array([(50, 50), (0, 50), (0, gap)], float)]
        rings, faults = chain_rings(pieces)
        assert (len(rings) == 1) == closed
        assert bool(faults) != closed


def test_branches_are_named():
    pieces = [
        np.array(p, float) for p in ([(0, 0), (50, 0)], [(50, 0), (50, 50)], [(50, 50), (0, 0)], [(50, 0), (90, 0)])
    ]
    assert chain_rings(pieces)[1] == [
        "an outline ends near (90, 0) mm and does not close",
        "3 lines meet near (50, 0) mm, two were expected",
    ]


@pytest.mark.parametrize("way", [1, -1])
def test_lines_that_lie_on_each_other_are_one_fault_and_not_one_at_each_corner(way):
    """What is left without the doubled lines is a square, and closes; of two arcs between two places none is."""
    corners = square(0, 0, 50)[[0, 1, 2, 3, 0]]
    sides = [corners[k : k + 2] for k in range(4)]
    assert chain_rings([*sides, *(side[::way] for side in sides)])[1] == [
        "4 lines are drawn twice, one near (25, 0) mm"
    ]
    turn = np.linspace(0, np.pi, 19)
    arc = 50 * np.column_stack([np.cos(turn), np.sin(turn)])
    rings, faults = chain_rings([arc, arc * [1, -1]])
    assert len(rings) == 1 and faults == []


def test_floor_island_floor():
    floors, faults = nest_rings([square(30, 30, 10), square(0, 0, 100), square(20, 20, 40), square(200, 0, 50)])
    assert faults == []
    assert sorted(floor.area for floor in floors) == pytest.approx([100, 2500, 10_000 - 1600])


def test_no_pieces():
    assert chain_rings([]) == ([], [])
    assert nest_rings([]) == ([], [])
