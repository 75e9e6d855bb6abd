"""A web that bends unlike the others, against a reading that lies: the two look alike, and the floor is not sure.

Dishes are those of clamped rectangles to one term, (1 - ξ²)² (1 - η²)² (Timoshenko & Woinowsky-Krieger 1959, §44, from
memory). What is true of each floor is known from that; by Bayes' theorem one reading alone cannot tell the two apart.
"""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import Readings, readings_from_arrays
from floorfit.result import Result
from floorfit.run import Settings, correct

#: Columns and rows of webs of 150 x 120 mm, ribs of 10 mm; the floor that is asked about, and others' dishes, mm.
COLUMNS, ROWS, ODD, DISH = 6, 4, 9, 0.010
#: Places on a floor, in halves of its sides from its middle: near the corners, and near the middle.
CORNERS, MIDDLE = ((-0.85, -0.8), (0.85, -0.8), (-0.85, 0.8), (0.85, 0.8)), (0.08, -0.1)


def part(tolerance: float) -> Part:
    pockets = []
    for k in range(COLUMNS * ROWS):
        x0, y0 = 10.0 + 160 * (k % COLUMNS), 10.0 + 130 * (k // COLUMNS)
        ring = ((x0, y0), (x0 + 150, y0), (x0 + 150, y0 + 120), (x0, y0 + 120))
        limits = Tolerance(-tolerance, tolerance)
        pockets.append(Pocket(f"P{k + 1}", ring, (), 2.0, 2.0, limits, finish_stock=0.5))
    length, width = 160.0 * COLUMNS + 10, 130.0 * ROWS + 10
    return Part("invented", ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)), tuple(pockets))


def readings(odd: float, lies: float, middles: int, seed: int, dish: float = DISH) -> Readings:
    """Four near the corners and some near the middle; one web dishes by ``odd``, or its first middle one lies."""
    draw = np.random.default_rng(seed)
    dishes = draw.normal(0.0, dish, COLUMNS * ROWS)
    dishes[ODD] = odd or dishes[ODD]
    places = [*CORNERS, *(np.array(MIDDLE) * sign for sign in (1, -1)[:middles])]
    floor, (across, along) = np.repeat(np.arange(len(dishes)), len(places)), np.tile(np.array(places).T, len(dishes))
    x, y = 85 + 160 * (floor % COLUMNS) + 75 * across, 70 + 130 * (floor // COLUMNS) + 60 * along
    warp = 0.2 * ((x - 480) / 480) ** 2 + dishes[floor] * ((1 - across**2) * (1 - along**2)) ** 2
    thickness = 2.5 + draw.normal(0.0, 0.010, len(x))
    thickness[np.flatnonzero(floor == ODD)[len(CORNERS)]] -= lies
    return readings_from_arrays(x, y, thickness, z=2.5 + warp)


def decided(
    *, odd: float = 0.0, lies: float = 0.0, middles: int = 1, tolerance: float = 0.12, seed: int = 1, dish: float = DISH
) -> Result:
    return correct(part(tolerance), readings(odd, lies, middles, seed, dish), Settings(z_u=0.002))


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("truth", [{"odd": 0.25}, {"odd": -0.25}])
def test_one_reading_near_the_middle_that_stands_out_leaves_the_floor_open(truth, seed):
    """Nobody can tell a web of 0.25 mm from a reading that is off by as much, where nothing else is near."""
    result = decided(**truth, seed=seed)
    assert result.decisions[ODD].verdict == "undecided" and result.decisions[ODD].action == "hold"
    assert not result.conforms
    assert sum(one.action == "hold" for one in result.decisions) == 1


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_second_reading_near_the_middle_shows_that_the_first_one_lies(seed):
    result = decided(lies=0.25, middles=2, seed=seed)
    assert result.conforms
    assert [code.split(":")[0] for code in result.observations.reason if code] == ["outlier"]


def test_a_web_that_would_stay_within_its_limits_is_not_asked_about():
    assert decided(lies=0.25, tolerance=0.5).decisions[ODD].verdict == "conform"


def test_the_reason_says_what_is_likely_and_what_frees_the_floor():
    reason = decided(odd=0.25).decisions[ODD].reason
    assert reason.code == "too-few-readings"
    assert "bends unlike all others" in reason.words and "near its middle" in reason.words


def test_webs_that_dish_like_each_other_are_cut():
    result = decided(seed=4)
    assert result.conforms


@pytest.mark.parametrize("lies", [0.2, -0.2])
def test_a_lying_reading_that_the_surface_follows_leaves_the_floor_open(lies):
    """Where webs dish by 0.07 mm a lone middle that is off by 0.2 may be metal, and the floor would be cut by it."""
    reason = decided(lies=lies, seed=2, dish=0.07).decisions[ODD].reason
    assert reason.code == "too-few-readings"
    assert "the reading near (571, 194) stands out" in reason.words and "two more readings there" in reason.words


def test_webs_of_a_plate_that_dishes_more_are_cut_where_the_middle_was_read_twice():
    assert decided(seed=3, middles=2, dish=0.05).conforms
