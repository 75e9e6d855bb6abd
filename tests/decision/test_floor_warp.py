"""A floor as points: all of it, and nothing but it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from known_warp import FLOOR, known_fit, known_webs, one_pocket_part, rectangle

from floorfit.decision.floor_warp import floor_means, floor_warp
from floorfit.part.lattice import floor_points, grid_spacing
from floorfit.web import Webs

PART = one_pocket_part()
U_SHAPE = ((0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100))
SHAPES = {
    "rectangle": FLOOR,
    "island": replace(FLOOR, islands=(rectangle(-20, -20, 40, 40),)),
    "U": replace(FLOOR, boundary=U_SHAPE),
    "sliver": replace(FLOOR, boundary=((0, 0), (400, 0), (400, 2))),
    "large": replace(FLOOR, boundary=rectangle(0, 0, 4000, 1200)),
    "far": replace(FLOOR, boundary=rectangle(1e6, 1e6, 100, 100)),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_points_lie_on_the_floor_and_hold_every_vertex(shape: str) -> None:
    pocket = SHAPES[shape]
    points = floor_points(pocket)
    # Places on an edge miss it by rounding: 1e-9 of a coordinate of 1e6 at the most.
    assert shapely.distance(pocket.polygon, shapely.points(points)).max() < 1e-6
    for ring in (pocket.boundary, *pocket.islands):
        for vertex in ring:
            assert np.hypot(*(points - vertex).T).min() < 1e-6


@pytest.mark.parametrize("shape", SHAPES)
def test_every_place_has_a_point_near(shape: str) -> None:
    pocket = SHAPES[shape]
    x0, y0, x1, y1 = pocket.polygon.bounds
    places = np.random.default_rng(1).uniform([x0, y0], [x1, y1], (2000, 2))
    places = places[shapely.contains_xy(pocket.polygon, *places.T)]
    spacing = max(grid_spacing(pocket), pocket.polygon.length / 96)
    nearest = np.array([np.hypot(*(floor_points(pocket) - place).T).min() for place in places[:100]])
    assert nearest.max() <= spacing


def test_extreme_is_missed_by_less_than_a_third_of_a_micrometre() -> None:
    # Bowl of 2e-5 /mm, the strongest that released stress gives (Treuting & Read 1951): its least value is in a middle.
    points = floor_points(replace(FLOOR, boundary=rectangle(-71, -53, 160, 120)))
    assert (1e-5 * (points**2).sum(axis=1)).min() < 0.0006  # half a diagonal of 10 mm cells: 1e-5 · 50


def test_samples_hold_the_shared_part_and_what_is_left_the_stock() -> None:
    fit = known_fit(lambda x, y: 1e-3 * x)
    common = np.linspace(-1, 1, fit.posterior.count)
    places = floor_means(PART, Webs(fit.surface))[0]
    floor = floor_warp(places, np.zeros((len(common), len(places.points))), common)
    assert floor.mean == pytest.approx(1e-3 * floor.points[:, 0])
    assert (floor.samples - floor.mean)[:, 7] == pytest.approx(common)
    # Roughed floor at nominal + stock, underside at w: the web left is nominal + stock − w (contract).
    assert floor.left == pytest.approx(0.5 - floor.mean)
    assert floor.deviation == pytest.approx(common.std())


def test_measured_web_is_taken_instead() -> None:
    floor = floor_means(PART, known_webs(lambda x, y: 0.1, lambda x, y: 0.02))[0]
    assert floor.left == pytest.approx(0.52)
