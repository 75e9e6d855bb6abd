"""The fillet between a curved floor and its walls: foot, radius and wall, whatever the chords."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from cad_plates import box, mesh_of
from manifold3d import Manifold, Mesh64

from floorfit.cad import extract_pockets

SHAPES = {
    "twist": lambda x, y: 8.0 + (x - 100.0) * (y - 80.0) / 2500.0,
    "dome": lambda x, y: 10.0 - ((x - 100.0) ** 2 + (y - 80.0) ** 2) / 4000.0,
}


def filleted(height, radius, steps, cells):
    """What a pocket from (20, 20) to (180, 140) removes; over the floor the fillet rises by r - sqrt(r² - d²)."""
    over = radius * np.sin(np.linspace(0.0, np.pi / 2, steps + 1))
    x, y = (
        np.concatenate(
            [low + radius - over[::-1], np.linspace(low + radius, high - radius, n + 1)[1:-1], high - radius + over]
        )
        for low, high, n in ((20.0, 180.0, cells), (20.0, 140.0, cells))
    )
    gx, gy = np.meshgrid(x, y, indexing="ij")
    d = np.maximum.reduce([20 + radius - gx, gx - 180 + radius, 20 + radius - gy, gy - 140 + radius, 0 * gx]).clip(
        0, radius
    )
    low = np.column_stack([gx.ravel(), gy.ravel(), (height(gx, gy) + radius - np.sqrt(radius**2 - d**2)).ravel()])
    i = np.arange(len(low)).reshape(gx.shape)
    a, b, c, e = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    rim = np.concatenate([i[:-1, 0], i[-1, :-1], i[:0:-1, -1], i[0, :0:-1]])
    n, beyond = len(low), np.roll(rim, -1)
    top = n + np.arange(len(rim))
    faces = [np.column_stack([a, c, b]), np.column_stack([a, e, c])]
    faces += [np.column_stack([rim, beyond, np.roll(top, -1)]), np.column_stack([rim, np.roll(top, -1), top])]
    lid = np.full(len(rim), n + len(rim))
    faces.append(np.column_stack([top, np.roll(top, -1), lid]))
    vertices = np.vstack([low, np.column_stack([low[rim, :2], np.full(len(rim), 41.0)]), [(100.0, 80.0, 41.0)]])
    return Manifold(Mesh64(vertices, np.concatenate(faces).astype(np.uint64)))


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("steps", [3, 8, 40])
@pytest.mark.parametrize("radius", [2.0, 6.0])
def test_fillet_of_a_curved_floor(name, steps, radius):
    solid = box(0, 0, 0, 200, 160, 40) - filleted(SHAPES[name], radius, steps, 16)
    (floor,) = extract_pockets(mesh_of(solid), units="mm").floors
    foot = shapely.box(20 + radius, 20 + radius, 180 - radius, 140 - radius)
    assert shapely.Polygon(floor.foot).hausdorff_distance(foot) <= 1e-3
    # Where the last two chords meet in a corner one of the two facets is upright.
    last = radius * (1.0 - np.cos(np.pi / 2 / steps))
    assert shapely.Polygon(floor.wall).hausdorff_distance(shapely.box(20, 20, 180, 140)) <= 1e-3 + last
    # The fillet is sheared along Z by the slope, up to 0.05: so much its radius may differ.
    assert floor.fillet_radius == pytest.approx(radius, rel=0.05)
    assert floor.fillet_share == pytest.approx(1.0)
