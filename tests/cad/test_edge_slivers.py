"""Curved floors with slivers along their edges, as kernels divide them, and with strips of a fillet that look alike."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cad_plates import mesh_of
from manifold3d import Manifold
from scipy.spatial import Delaunay

from floorfit.cad import extract_pockets
from floorfit.cad.edge_slivers import with_slivers
from floorfit.cad.mesh import join_mesh
from floorfit.cad.regions import Regions, planes_of

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


#: Floors by formula, mm: a twist, a dome and a wave with a radius of curvature of 900 mm.
FLOORS = {
    "twist": height,
    "dome": lambda x, y: 10.0 - ((x - 100.0) ** 2 + (y - 80.0) ** 2) / 4000.0,
    "wave": lambda x, y: 4.0 + 1.5 * np.sin(x / 45.0) * np.cos(y / 40.0),
}


def edged(floor, over, rise, cells):
    """Rows of facets over X with strips beyond it, ``over`` mm from the edge and ``rise`` mm over the floor there."""
    x = np.append(np.linspace(*X, cells + 1), X[1] + np.asarray(over))
    gx, gy = np.meshgrid(x, np.linspace(*Y, cells + 1), indexing="ij")
    z = floor(gx, gy)
    z[cells + 1 :] += np.asarray(rise)[:, None]
    i = np.arange(gx.size).reshape(gx.shape)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    mesh = join_mesh(np.column_stack([gx.ravel(), gy.ravel(), z.ravel()]), faces)
    return mesh, mesh.middles[:, 0] < X[1]


def taken(mesh, inside, owned):
    """Facets of the curved face, where every facet is a plane and the ``owned`` were joined to the face before."""
    label = np.arange(len(mesh.faces))
    regions = Regions(label, *planes_of(mesh, label), np.zeros(len(label), np.bool_))
    widths = np.where(inside, 10.0, mesh.heights / 2.0)
    return with_slivers(mesh, regions, np.where(inside | owned, 0, -1), widths, 3.0) == 0


@pytest.mark.parametrize("name", FLOORS)
@pytest.mark.parametrize("cells", [20, 40])
@pytest.mark.parametrize("radius", [2.0, 4.0, 12.0])
@pytest.mark.parametrize("angle", [0.05, 0.1, 0.2])
def test_strips_of_a_fillet_are_no_floor(name, cells, radius, angle):
    """Over the floor a fillet of radius r rises by r (1 - cos t) at r sin t: no part of the floor."""
    turned = angle * np.arange(1, 3)
    mesh, inside = edged(FLOORS[name], radius * np.sin(turned), radius * (1.0 - np.cos(turned)), cells)
    strip = ~inside & (mesh.middles[:, 0] < X[1] + radius * np.sin(angle))
    for owned in (strip & (np.arange(len(strip)) % 3 > 0), strip):
        assert np.array_equal(taken(mesh, inside, owned), inside)


@pytest.mark.parametrize("name", FLOORS)
@pytest.mark.parametrize("cells", [20, 40])
@pytest.mark.parametrize("over", [0.02, 0.2, 1.0])
def test_narrow_strips_of_the_floor_stay(name, cells, over):
    mesh, inside = edged(FLOORS[name], [over], [0.0], cells)
    assert taken(mesh, inside, ~inside).all()
