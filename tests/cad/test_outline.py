"""Outline of the whole part."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from cad_plates import box, filleted_pocket, mesh_of, prism, rounded_ring, soup_of

from floorfit.cad.mesh import join_mesh
from floorfit.cad.outline import part_outline

L_SHAPE = [(0, 0), (300, 0), (300, 100), (120, 100), (120, 200), (0, 200)]
BLOCKS = {
    "plain": (box(0, 0, 0, 300, 200, 20), shapely.box(0, 0, 300, 200)),
    "L": (prism(np.array(L_SHAPE, float), 0, 20), shapely.Polygon(L_SHAPE)),
    "round corners": (
        prism(rounded_ring(0, 0, 300, 200, 30, 0.01), 0, 20),
        shapely.Polygon(rounded_ring(0, 0, 300, 200, 30, 0.01)),
    ),
    "windows are filled": (box(0, 0, 0, 300, 200, 20) - box(50, 50, -1, 90, 90, 21), shapely.box(0, 0, 300, 200)),
    "flange": (box(0, 0, 0, 300, 200, 20) - box(-1, 150, 5, 301, 201, 21), shapely.box(0, 0, 300, 200)),
    "overhang": (box(0, 0, 0, 300, 200, 20) - box(-1, -1, -1, 301, 50, 10), shapely.box(0, 0, 300, 200)),
    "pocket with fillets": (
        box(0, 0, 0, 300, 200, 20) - filleted_pocket(20, 20, 280, 180, 10, 3, 2, 21, 0.01, draft_deg=2.0),
        shapely.box(0, 0, 300, 200),
    ),
}


@pytest.mark.parametrize("name", BLOCKS)
@pytest.mark.parametrize("fine", [False, True])
def test_outline(name, fine):
    solid, wanted = BLOCKS[name]
    mesh = mesh_of(solid)
    mesh = soup_of(mesh.subdivide() if fine else mesh)
    found = part_outline(join_mesh(np.array(mesh.vertices), np.array(mesh.faces)))
    # The patches are joined over 1 µm; corners stay because the joints are mitred.
    assert found.hausdorff_distance(wanted) < 2e-3
    assert len(found.exterior.coords) == len(wanted.exterior.coords)
