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
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.reml import Prior, assemble, solve


def at(table: ShapeTable, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return LocalShapes(("web",), (table,), np.ones(1)).total_at(np.ones(1), np.column_stack([x, y]))


def test_ellipse_is_exact() -> None:
    # −Δp = 1 on an ellipse: p ∝ 1 − x²/a² − y²/b²; a clamped one dishes as p² (Timoshenko & Woinowsky-Krieger, §71).
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    ellipse = shapely.Polygon(np.column_stack([90 * np.cos(angle), 60 * np.sin(angle)]))
    table = poisson_tables(ellipse)[0]
    x, y = np.random.default_rng(1).uniform(-40, 40, (2, 60))
    # A lattice of a twelfth of the shorter side leaves steps of 10 mm at a slanted wall.
    assert at(table, x, y) == pytest.approx(1 - (x / 90) ** 2 - (y / 60) ** 2, abs=0.06)


def test_long_web_is_a_parabola_across() -> None:
    # Far from the ends −p'' = 1 between two walls.
    table = poisson_tables(shapely.box(0, 0, 1000, 100))[0]
    y = np.linspace(5, 95, 10)
    assert at(table, np.full(10, 500.0), y) == pytest.approx(4 * (y / 100) * (1 - y / 100), abs=0.02)


def test_boss_rides_on_its_web() -> None:
    outline, boss = shapely.box(0, 0, 200, 200), shapely.box(80, 80, 120, 120)
    table = poisson_tables(outline, [boss])[0]
    inside = at(table, np.array([85.0, 100.0, 115.0]), np.array([90.0, 100.0, 110.0]))
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
    assert at(first, 30.0, 40.0) > at(second, 30.0, 40.0)


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


def test_sizes_and_what_is_common_go_with_powers_of_span_and_thickness() -> None:
    """One stress bends a web as a² κ0 (Treuting & Read 1951), even pressure as a⁴/t³ (Timoshenko & Woinowsky-Krieger

    1959, §41, from memory): squares of side a, thickness t with its stock, in units of the middle ones.
    """
    sides, webs = (90.0, 100.0, 115.0), (1.7, 2.0, 2.2)
    pockets = tuple(
        replace(FLOOR, id=f"P{k}", boundary=rectangle(140 * k, 0, a, a), web=t, floor_z=t)
        for k, (a, t) in enumerate(zip(sides, webs, strict=True))
    )
    a, t = np.array(sides) / 100.0, (np.array(webs) + 0.5) / 2.5
    for family in web_dishes(Part("invented", rectangle(-10, -10, 500, 200), pockets, "mm")):
        assert family.sizes == pytest.approx(a**2 / np.sqrt(t), rel=0.01)  # the inscribed circle is found to 1 %
        common = 2.0 * np.stack([np.ones(3), np.log(a), 2.0 * np.log(t)])
        assert np.asarray(family.common) == pytest.approx(common, abs=0.02)
        # Even pressure beside one stress is a² t^-2.5 of a web: within two standard deviations of either power.
        assert family.is_loose is (family.power < 2.0)


def test_a_stepped_web_dishes_as_the_one_web_that_it_is() -> None:
    # Superposition, then the power of the whole: p = p₁ + p₂, and the two shares add up to p^power.
    stepped = web_dishes(part_of(rectangle(0, 0, 60, 80), rectangle(60, 0, 100, 80), rectangle(200, 0, 100, 80)))
    whole = web_dishes(part_of(rectangle(0, 0, 160, 80), rectangle(200, 0, 100, 80)))
    places = np.random.default_rng(2).uniform((10, 10), (150, 70), (40, 2))
    for several, one in zip(stepped, whole, strict=True):
        assert several.total_at(np.ones(3), places) == pytest.approx(one.total_at(np.ones(2), places), abs=0.03)
        assert several.covariance.shape == (3, 3) and several.root.common.shape[1] == 3


def test_a_rib_of_three_millimetres_parts_two_webs() -> None:
    for family in web_dishes(part_of(rectangle(0, 0, 97, 80), rectangle(100, 0, 97, 80))):
        assert family.total_at(np.ones(2), [[98.5, 40.0]]) == pytest.approx(0.0)
        assert family.total_at(np.array([1.0, 0.0]), [[150.0, 40.0]]) == pytest.approx(0.0)


def test_further_forms_keep_the_power_of_their_family() -> None:
    assert [one.with_forms().power for one in web_dishes(part_of(rectangle(0, 0, 100, 80)))] == list(POWERS)
