"""Webs by cutting outlines, against rays cast by trimesh."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cad_plates import box, filleted_pocket, mesh_of
from shapely import Point

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.health import sound_mesh
from floorfit.cad.reading import RawModel
from floorfit.cad.underside import read_underside


@pytest.fixture(scope="module")
def solid():
    """A floor at Z 12 over an underside that is stepped, filleted and sloped."""
    under = filleted_pocket(40, 40, 120, 100, 10, 6, 0, 9, 0.05).mirror((0, 0, 1)).translate((0, 0, 8))
    slot = box(130, 30, -1, 150, 110, 2)
    return mesh_of(box(0, 0, 0, 200, 140, 40) - box(20, 20, 12, 180, 120, 41) - under - slot)


def test_range_of_the_web_holds_every_ray(solid):
    mesh, _ = sound_mesh(RawModel(np.array(solid.vertices), np.array(solid.faces), "", "mm"), ExtractSettings())
    underside = read_underside(mesh, 1e-3)
    for x0, y0, x1, y1 in [(20, 20, 180, 120), (45, 45, 60, 60), (122, 22, 160, 118), (36, 36, 50, 50)]:
        floor = trimesh.path.polygons.Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        web = underside.web_under(floor, np.array([0.0, 0.0, 12.0]), np.array([0.0, 0.0, 1.0]), 1e-3)
        grid = np.array([(x, y) for x in np.linspace(x0, x1, 33)[1:-1] for y in np.linspace(y0, y1, 33)[1:-1]])
        origins = np.column_stack([grid + 0.0137, np.full(len(grid), 12.0 - 1e-6)])
        hits, ray, _ = solid.ray.intersects_location(origins, np.tile([0.0, 0.0, -1.0], (len(grid), 1)))
        depth = np.full(len(grid), np.inf)
        np.minimum.at(depth, ray, 12.0 - hits[:, 2])
        depth = depth[np.isfinite(depth)]  # a ray that runs into an edge may be lost
        assert len(depth) > 0.98 * len(grid)
        assert web.covered == pytest.approx(1.0, abs=1e-6)
        assert web.minimum <= depth.min() + 1e-6
        assert web.maximum >= depth.max() - 1e-6
        # The grid comes within its step of the extremes; the fillet is at most as steep as its last chord.
        assert web.minimum == pytest.approx(depth.min(), abs=0.05)


def test_cover_and_roof(solid):
    mesh, _ = sound_mesh(RawModel(np.array(solid.vertices), np.array(solid.faces), "", "mm"), ExtractSettings())
    underside = read_underside(mesh, 1e-3)
    level = np.array([0.0, 0.0, 1.0])
    half_out = Point(0, 70).buffer(10, quad_segs=64)
    web = underside.web_under(half_out, np.array([0.0, 0.0, 12.0]), level, 1e-3)
    assert web.covered == pytest.approx(0.5, abs=1e-3)
    buried = underside.web_under(Point(80, 70).buffer(10), np.array([0.0, 0.0, 4.0]), level, 1e-3)
    assert (buried.covered, buried.roofed) == pytest.approx((0.0, 1.0), abs=1e-3)
