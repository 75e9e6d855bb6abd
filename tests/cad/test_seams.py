"""Seams: the surface stays, the facets get finer."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from floorfit.cad.mesh import join_mesh
from floorfit.cad.seams import close_seams


def seam(count, lift=0.0):
    """A large triangle whose hypotenuse meets a fan of ``count`` small ones."""
    points = [(0, 0, 0), (60, 0, 0), (0, 60, 0), (60, 60, 0)]
    inner = [(60 - 60 * k / count, 60 * k / count, lift) for k in range(1, count)]
    chain = [1, *range(4, 4 + len(inner)), 2]
    faces = [(0, 1, 2), *((b, a, 3) for a, b in pairwise(chain))]
    return join_mesh(np.array(points + inner, float), np.array(faces))


@pytest.mark.parametrize("count", [2, 3, 17])
def test_corners_on_an_edge_become_corners_of_both(count):
    mesh = seam(count)
    closed, put = close_seams(mesh, 1e-4)
    assert put == count - 1
    assert len(closed.open_faces) == 4
    assert closed.plan_areas.sum() == pytest.approx(3600 * 1.0) == pytest.approx(abs(mesh.plan_areas).sum())


def test_a_gap_wider_than_the_tolerance_stays():
    mesh = seam(3, lift=0.01)
    closed, put = close_seams(mesh, 1e-4)
    assert put == 0
    assert closed is mesh
