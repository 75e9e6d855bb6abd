"""The path through places: never longer than simple ones, and optimal where the optimum is known."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from floorfit.planning.path import order_path, order_there_and_back, path_length


def test_length_of_three_four_five() -> None:
    assert path_length([[0, 0], [3, 4], [3, 0]]) == pytest.approx(9.0)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 9])
def test_every_place_is_visited_once(count: int) -> None:
    points = np.random.default_rng(count).uniform(0, 100, (count, 2))
    assert sorted(order_path(points)) == list(range(count))


def test_places_on_a_line_are_walked_from_end_to_end() -> None:
    x = np.random.default_rng(1).permutation(40).astype(float)
    points = np.column_stack([x, 2 * x])
    assert path_length(points[order_path(points)]) == pytest.approx(39 * np.sqrt(5))


@pytest.mark.parametrize("seed", range(6))
def test_seven_places_against_all_orders(seed: int) -> None:
    points = np.random.default_rng(seed).uniform(0, 100, (7, 2))
    best = min(path_length(points[list(order)]) for order in permutations(range(7)))
    # 2-opt and or-opt end in a local optimum: within a tenth of the best on places as few as these.
    assert path_length(points[order_path(points)]) <= 1.10 * best


def test_ends_are_respected() -> None:
    points = np.array([[90.0, 0], [10, 0], [50, 0]])
    assert order_path(points, start=[100, 0], end=[0, 0]).tolist() == [0, 2, 1]
    assert order_path(points, start=[0, 0], end=[100, 0]).tolist() == [1, 2, 0]


def test_random_places_come_near_the_known_constant() -> None:
    # A shortest tour of n random places in a square of area A is about 0.7124·√(nA) long (J. Beardwood, J. Halton &
    # J. Hammersley, Proc. Camb. Phil. Soc. 55, 299, 1959; constant by D. Johnson & L. McGeoch 1996). 2-opt with
    # or-opt is about 5 % above it, and the edge of the square adds some: 20 % in all.
    points = np.random.default_rng(3).uniform(0, 1000, (200, 2))
    assert path_length(points[order_path(points)]) < 1.2 * 0.7124 * np.sqrt(200 * 1e6)


def plan_of_groups(each: int) -> tuple[np.ndarray, np.ndarray]:
    """Places of twelve groups in rows of four, and the group of each."""
    rng = np.random.default_rng(4)
    groups = np.repeat(np.arange(12), each)
    cells = np.column_stack([groups % 4 * 100, groups // 4 * 100])
    return cells + rng.uniform(5, 95, (len(groups), 2)), groups


def test_half_of_each_group_is_read_on_either_way() -> None:
    points, groups = plan_of_groups(6)
    order = order_there_and_back(points, groups)
    assert sorted(order) == list(range(72))
    named = groups[order]
    assert named[:36].tolist().count(5) == 3
    # Eleven steps there, eleven back, and none where it turns.
    assert (np.diff(named) != 0).sum() == 22
    assert list(dict.fromkeys(named[36:])) == list(dict.fromkeys(named[:36]))[::-1]
    assert path_length(points[order]) < path_length(points)


@pytest.mark.parametrize("each", [1, 2, 3, 6, 7])
def test_even_drift_is_no_tilt(each: int) -> None:
    # Coefficient of determination of a plane, fitted by least squares to what drifts from the first place to the last
    # (ordinary linear regression): read column by column a plane explains nearly all of it, there and back next to
    # nothing.
    points, groups = plan_of_groups(each)
    when = np.empty(len(points))
    when[order_there_and_back(points, groups)] = np.linspace(-0.5, 0.5, len(points))
    by_column = np.argsort(np.argsort(points[:, 0], kind="stable")) / (len(points) - 1.0) - 0.5
    plane = np.column_stack([np.ones(len(points)), points])

    def explained(values: np.ndarray) -> float:
        left = values - plane @ np.linalg.lstsq(plane, values, rcond=None)[0]
        return float(1 - left @ left / (values @ values))

    assert explained(when) < 0.1 and explained(by_column) > 0.9


def test_path_of_one_place_or_none() -> None:
    assert order_there_and_back([[3.0, 4.0]], [7]).tolist() == [0]
    assert order_there_and_back(np.empty((0, 2)), []).tolist() == []


def test_same_input_same_path() -> None:
    points = np.random.default_rng(5).uniform(0, 100, (50, 2))
    assert order_path(points).tolist() == order_path(points).tolist()
