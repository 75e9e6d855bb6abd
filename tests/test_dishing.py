"""Shapes of dished webs, against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from known_warp import FLOOR, rectangle

from floorfit.dishing import POWERS, poisson_tables, web_dishes
from floorfit.part import Part
from floorfit.surface.grid import make_grid
from floorfit.surface.reml import Prior, assemble, solve


def test_ellipse_is_exact() -> None:
    # −Δp = 1 on an ellipse: p ∝ 1 − x²/a² − y²/b²; a clamped one dishes as p² (Timoshenko & Woinowsky-Krieger, §71).
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    ellipse = shapely.Polygon(np.column_stack([90 * np.cos(angle), 60 * np.sin(angle)]))
    table = poisson_tables(ellipse)[0]
    x, y = np.random.default_rng(1).uniform(-40, 40, (2, 60))
    # A lattice of a twelfth of the shorter side leaves steps of 10 mm at a slanted wall.
    assert table.at(x, y) == pytest.approx(1 - (x / 90) ** 2 - (y / 60) ** 2, abs=0.06)


def test_long_web_is_a_parabola_across() -> None:
    # Far from the ends −p'' = 1 between two walls.
    table = poisson_tables(shapely.box(0, 0, 1000, 100))[0]
    y = np.linspace(5, 95, 10)
    assert table.at(np.full(10, 500.0), y) == pytest.approx(4 * (y / 100) * (1 - y / 100), abs=0.02)


def test_boss_rides_on_its_web() -> None:
    outline, boss = shapely.box(0, 0, 200, 200), shapely.box(80, 80, 120, 120)
    table = poisson_tables(outline, [boss])[0]
    inside = table.at(np.array([85.0, 100.0, 115.0]), np.array([90.0, 100.0, 110.0]))
    assert inside == pytest.approx(1.0, abs=0.05)  # rigid, and the highest


def part_of(*boundaries: tuple[tuple[float, float], ...]) -> Part:
    pockets = tuple(replace(FLOOR, id=f"P{k}", boundary=ring) for k, ring in enumerate(boundaries))
    return Part("invented", rectangle(-500, -500, 1000, 1000), pockets, "mm")


def test_floors_without_a_rib_between_are_one_web() -> None:
    step = part_of(rectangle(0, 0, 100, 80), rectangle(100, 0, 60, 80), rectangle(166, 0, 100, 80))
    families = web_dishes(step)
    assert len(families) == len(POWERS)
    assert families[0].names == ("P0", "P1", "P2")
    # The highest place of the one web of 160 mm is its middle; beyond a rib of 6 mm there is nothing.
    both = np.array([1.0, 1.0, 0.0])
    for family in families:
        assert family.total_at(both, [[80.0, 40.0]]) == pytest.approx(1.0, abs=0.02)
        assert family.total_at(both, [[216.0, 40.0]]) == pytest.approx(0.0)


def test_floors_of_one_web_add_up_to_the_web_of_one() -> None:
    # The equation is linear: the loads of two floors add up to that of the whole (superposition).
    halves = [shapely.box(0, 0, 60, 80), shapely.box(60, 0, 160, 80)]
    outline = shapely.box(0, 0, 160, 80)
    first, second = poisson_tables(outline, [], halves)
    assert first.values + second.values == pytest.approx(poisson_tables(outline)[0].values, abs=1e-9)
    # A load on the left bends the left more.
    assert first.at(np.array([30.0]), np.array([40.0])) > second.at(np.array([30.0]), np.array([40.0]))


def test_floors_that_touch_at_a_corner_are_two_webs() -> None:
    assert web_dishes(part_of(rectangle(0, 0, 100, 80), rectangle(100, 80, 60, 80)))[0].names == ("P0", "P1")


def test_nothing_at_the_wall() -> None:
    for family in web_dishes(part_of(rectangle(0, 0, 100, 80))):
        wall = np.array([[0.0, 40.0], [100.0, 40.0], [50.0, 0.0], [50.0, 80.0]])
        assert family.total_at(np.ones(1), wall) == pytest.approx(0.0, abs=1e-12)


def test_middles_alone_do_not_tell_a_common_dish_from_warp() -> None:
    # Two plates that read the same at their middles: webs that all dish by h on a plate lowered by h, and none of it.
    # So what is common may not become known by webs of several thicknesses, however each of them dishes beside it.
    pockets = tuple(
        replace(FLOOR, id=f"P{k}", boundary=rectangle(120 * (k % 6), 100 * (k // 6), 110, 90), web=1.5 + 0.5 * (k % 4))
        for k in range(24)
    )
    shapes = web_dishes(Part("invented", rectangle(-10, -10, 720, 410), pockets, "mm"))[0]
    middles = np.array([[120.0 * (k % 6) + 55, 100.0 * (k // 6) + 45] for k in range(24)])
    grid, weights = make_grid((-10.0, -10.0, 710.0, 400.0), 60.0), np.full(24, 1 / 0.010**2)
    solution = solve(assemble(grid, middles, np.zeros(24), weights, 24.0, shapes), Prior(1e6, 400.0))
    assert solution.border is not None
    mean = np.full(24, 1 / 24)
    rho, spectrum = 0.02**2, solution.border.spectrum
    after = rho * np.sum((mean @ spectrum.basis) ** 2 / (1 + rho * spectrum.information))
    assert after > 0.8 * rho * mean @ shapes.covariance @ mean
