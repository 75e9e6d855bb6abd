"""Where a probe can stand: never too near a wall, and at the ends of the floor."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from floorfit.part.model import Pocket, Tolerance
from floorfit.planning.standing import floor_places

SHAPES: dict[str, tuple[tuple[float, float], ...]] = {
    "rectangle": ((0, 0), (160, 0), (160, 120), (0, 120)),
    "L": ((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)),
    "U": ((0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100)),
    "triangle": ((0, 0), (90, 0), (0, 60)),
    "hourglass": ((0, 0), (50, 45), (100, 0), (100, 100), (50, 50), (0, 100)),
}


def pocket(shape: str, radius: float = 6.0, islands: tuple[tuple[tuple[float, float], ...], ...] = ()) -> Pocket:
    return Pocket("A", SHAPES[shape], islands, 2.0, 2.0, Tolerance(-0.1, 0.1), 0.0, 0.5, (0.0, 0.0), radius)


@pytest.mark.parametrize("shape", SHAPES)
def test_every_candidate_keeps_its_distance(shape: str) -> None:
    floor = pocket(shape)
    places = floor_places(floor, 4.0, 40).candidates
    walls = shapely.distance(floor.polygon.boundary, shapely.points(places))
    assert len(places) > 12
    assert shapely.contains_xy(floor.polygon, *places.T).all()
    assert walls.min() >= 4.0 - 1e-9


def test_islands_are_kept_clear_of() -> None:
    island = ((60.0, 40.0), (100.0, 40.0), (100.0, 80.0), (60.0, 80.0))
    places = floor_places(pocket("rectangle", islands=(island,)), 5.0, 60).candidates
    distance = shapely.distance(shapely.Polygon(island), shapely.points(places))
    assert distance.min() >= 5.0 - 1e-9


def test_corners_of_the_reachable_region_are_candidates() -> None:
    places = floor_places(pocket("rectangle", radius=0.0), 4.0, 40).candidates
    for corner in ((4, 4), (156, 4), (156, 116), (4, 116)):
        # The mitre of an inset rectangle is its corner itself; 1e-3: the ten-thousandth added to the inset.
        assert np.min(np.hypot(*(places - corner).T)) < 1e-3


def test_ends_lie_in_the_corners() -> None:
    pairs = floor_places(pocket("rectangle", radius=0.0), 4.0, 40).pairs
    assert sorted(map(tuple, pairs[0].tolist())) == [(0.0, 0.0), (160.0, 120.0)]
    assert sorted(map(tuple, pairs[1].tolist())) == [(0.0, 120.0), (160.0, 0.0)]


def test_too_narrow_a_floor_has_no_candidates() -> None:
    assert len(floor_places(pocket("rectangle"), 61.0, 40).candidates) == 0


def test_middle_is_a_candidate_or_what_is_nearest_to_it() -> None:
    places = floor_places(pocket("rectangle"), 4.0, 40)
    assert places.middle[1] == pytest.approx(60.0, abs=0.5)
    assert np.min(np.hypot(*(places.candidates - places.middle).T)) < 1e-6
    island = ((60.0, 40.0), (100.0, 40.0), (100.0, 80.0), (60.0, 80.0))
    round_it = floor_places(pocket("rectangle", islands=(island,)), 5.0, 40)
    # 5 mm off an island of 40 mm, on whose middle the web's lies or beside it along the floor.
    assert np.min(np.hypot(*(round_it.candidates - round_it.middle).T)) < 25.1
