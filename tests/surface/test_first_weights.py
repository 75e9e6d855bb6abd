"""The nearest readings of each, by brute force."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.surface.first_weights import NEIGHBOURS, is_worst_nearby, neighbours


@pytest.mark.parametrize("count", [2, 5, NEIGHBOURS, NEIGHBOURS + 1, 60])
def test_neighbours_are_the_nearest_of_all_others(count: int) -> None:
    points = np.random.default_rng(count).uniform(0, 500, (count, 2))
    found = neighbours(points)
    assert found.shape == (count, min(NEIGHBOURS, count - 1))
    distance = np.hypot(*(points[:, None] - points).transpose(2, 0, 1))
    np.fill_diagonal(distance, np.inf)
    assert found.tolist() == np.argsort(distance, axis=1)[:, : found.shape[1]].tolist()


def test_only_the_worst_and_what_is_half_as_bad_are_doubted() -> None:
    near = np.array([[1, 2], [0, 2], [0, 1]])
    assert is_worst_nearby(np.array([-4.0, 2.0, 1.9]), near).tolist() == [True, True, False]
