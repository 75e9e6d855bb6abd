"""The nearest of some places and pairs that lie together: as scipy's search tree finds them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from floorfit.nearest import FEW, nearest_of, pairs_within


@pytest.mark.parametrize(("places", "count"), [(1, 1), (30, 9), (FEW, 9), (FEW + 1, 1), (FEW + 1, 9)])
def test_nearest_are_those_of_a_search_tree(places: int, count: int) -> None:
    generator = np.random.default_rng(places)
    known, points = generator.uniform(0, 4000, (places, 2)), generator.uniform(0, 4000, (2 * FEW + 5, 2))
    distances, rows = nearest_of(known, count)(points)
    expected, expected_rows = cKDTree(known).query(points, k=np.arange(1, count + 1))
    assert np.array_equal(rows, expected_rows)
    assert distances == pytest.approx(expected, rel=1e-12)


def test_no_point_has_no_nearest() -> None:
    distances, rows = nearest_of(np.zeros((3, 2)), 2)(np.zeros((0, 2)))
    assert distances.shape == rows.shape == (0, 2)


@pytest.mark.parametrize("count", [0, 1, 2, 300, FEW + 1])
def test_pairs_are_those_of_a_search_tree(count: int) -> None:
    points = np.random.default_rng(count).uniform(0, 100, (count, 2))
    found = {frozenset(pair) for pair in pairs_within(points, 7.0).tolist()}
    assert len(found) == len(pairs_within(points, 7.0))
    assert found == ({frozenset(pair) for pair in cKDTree(points).query_pairs(7.0)} if count else set())


def test_a_pair_at_the_very_distance_counts() -> None:
    assert pairs_within(np.array([[0.0, 0.0], [3.0, 4.0]]), 5.0).tolist() in ([[0, 1]], [[1, 0]])  # 3, 4, 5
