"""Curved floors with long slivers along their straight edges, as kernels divide them: the whole face is one floor."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cad_plates import mesh_of
from manifold3d import Manifold
from scipy.spatial import Delaunay

from floorfit.cad import extract_pockets

X, Y = (20.0, 180.0), (20.0, 140.0)


def height(x, y):
    """A twist: its edges over the rectangle are straight."""
    return 6.0 + (x - 100.0) * (y - 80.0) / 2000.0


def twisted_pocket(near, count):
    """What a pocket removes; no corner of a facet lies on its edges, the nearest are ``near`` away from them."""
    rng = np.random.default_rng(1)
    along = np.linspace(near, 1.0 - near, 7)
    rows = [(s, t) for t in (near / 2, 1.0 - near / 2) for s in along] + [
        (t, s) for t in (near, 1 - near) for s in along
    ]
    share = np.vstack([[(0, 0), (1, 0), (1, 1), (0, 1)], rows, rng.uniform(0.05, 0.95, (count, 2))])
    xy = np.array([X[0], Y[0]]) + share * np.array([X[1] - X[0], Y[1] - Y[0]])
    floor = Delaunay(xy).simplices
    low = np.column_stack([xy, height(*xy.T)])
    top = np.column_stack([xy[:4], np.full(4, 41.0)])
    n = len(low)
    sides = [f for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)) for f in ((a, b, n + b), (a, n + b, n + a))]
    faces = [*floor[:, ::-1].tolist(), *sides, (n, n + 1, n + 2), (n, n + 2, n + 3)]
    solid = trimesh.Trimesh(np.vstack([low, top]), faces, process=False)
    assert solid.is_volume
    return solid


@pytest.mark.parametrize("count", [40, 300])
@pytest.mark.parametrize("near", [0.02, 0.004, 0.001])
def test_slivers_belong_to_the_floor(near, count):
    from manifold3d import Mesh64

    cut = twisted_pocket(near, count)
    cut = Manifold(Mesh64(np.asarray(cut.vertices, float), np.asarray(cut.faces, np.uint64)))
    extraction = extract_pockets(mesh_of(Manifold.cube((200, 160, 40)) - cut), units="mm")
    (pocket,) = extraction.part.pockets
    assert pocket.polygon.area == pytest.approx(160 * 120, rel=1e-5)
    assert extraction.floors[0].wall_share == pytest.approx(1.0, abs=1e-9)
    rng = np.random.default_rng(2)
    x, y = rng.uniform(*X, 300), rng.uniform(*Y, 300)
    # Edges of up to 60 mm across the twist of 1/2000: k L² / 8, and 2 µm.
    assert np.abs(pocket.floor_at(x, y) - height(x, y)).max() <= 2e-3 + 60.0**2 / 8.0 / 2000.0
