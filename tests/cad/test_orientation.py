"""Turning the model: rotations, and the size that is questioned."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.orientation import check_size, rotation_to_part
from floorfit.errors import InputError


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -1, 0), (1, 2, 3), (1e-9, 0, -1), (-3, 1, -9)])
@pytest.mark.parametrize("side", ["top", "bottom"])
def test_up_becomes_z(up, side):
    rotation = rotation_to_part(ExtractSettings(up=up, side=side))
    direction = rotation @ np.array(up, float) / np.linalg.norm(up)
    assert direction == pytest.approx([0, 0, 1 if side == "top" else -1], abs=1e-9)
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(rotation) == pytest.approx(1.0)


def test_the_shortest_turn_is_taken():
    up = np.array([0.3, -0.5, 0.8])
    rotation = rotation_to_part(ExtractSettings(up=tuple(up)))
    angle = np.arccos(up[2] / np.linalg.norm(up))
    assert Rotation.from_matrix(rotation).magnitude() == pytest.approx(angle)


def test_axis_directions_are_exact():
    """No rounding comes into a plate whose pockets look along an axis."""
    for up in ((0, 0, 1), (0, 0, -1), (1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)):
        assert set(np.unique(np.abs(rotation_to_part(ExtractSettings(up=up))))) == {0.0, 1.0}


@pytest.mark.parametrize(("size", "refused"), [(19.9, True), (20.0, False), (20_000.0, False), (20_001.0, True)])
def test_sizes(size, refused):
    box = np.array([(0, 0, 0), (size, 5, 1)], float)
    if refused:
        with pytest.raises(InputError, match=r"the largest side is .* mm in the unit given \(mm\).*--units"):
            check_size(box, "a.stl", "mm", ExtractSettings())
    else:
        check_size(box, "a.stl", "mm", ExtractSettings())
    check_size(box, "a.stl", "mm", ExtractSettings(any_size=True))
