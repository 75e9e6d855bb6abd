"""Webs by cutting outlines, against rays cast by trimesh."""

from __future__ import annotations

import time

import numpy as np
import pytest
import trimesh
from cad_plates import box, filleted_pocket, mesh_of, prism
from shapely import Point, Polygon

from floorfit.cad import extract_pockets
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.facet_heights import Plane
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
        web = underside.web_under(floor, Plane(np.array([0.0, 0.0, 12.0]), np.array([0.0, 0.0, 1.0])), 1e-3)
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
    web = underside.web_under(half_out, Plane(np.array([0.0, 0.0, 12.0]), level), 1e-3)
    assert web.covered == pytest.approx(0.5, abs=1e-3)
    buried = underside.web_under(Point(80, 70).buffer(10), Plane(np.array([0.0, 0.0, 4.0]), level), 1e-3)
    assert (buried.covered, buried.roofed) == pytest.approx((0.0, 1.0), abs=1e-3)


def rippled(count, height):
    """A slab of 600 x 400 mm and 8 mm thick with ripples on both faces, ``count`` points along each side."""
    x, y = np.meshgrid(np.linspace(0, 600, count), np.linspace(0, 400, count), indexing="ij")
    z = (height + 1.5 * np.sin(x / 31) * np.cos(y / 23)).ravel()
    grid = np.arange(count * count).reshape(count, count)
    a, b, c, d = (q.ravel() for q in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]))
    up = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    ring = np.concatenate([grid[:, 0], grid[-1, 1:], grid[-2::-1, -1], grid[0, -2:0:-1]])
    after, n = np.roll(ring, -1), count * count
    side = np.concatenate([np.column_stack([ring + n, after + n, after]), np.column_stack([ring + n, after, ring])])
    plan = np.column_stack([x.ravel(), y.ravel()])
    points = np.concatenate([np.column_stack([plan, z + 8.0]), np.column_stack([plan, z])])
    return trimesh.Trimesh(points, np.concatenate([up, up[:, ::-1] + n, side]), process=False)


def two_sheets(count):
    """Two rippled slabs over each other, as they look from below a floor at Z 30."""
    mesh = trimesh.util.concatenate([rippled(count, 2.0), rippled(count, 15.0)])
    raw = RawModel(np.array(mesh.vertices), np.array(mesh.faces), "", "mm")
    return mesh, read_underside(sound_mesh(raw, ExtractSettings(body="all"))[0], 1e-3)


LEVEL = np.array([0.0, 0.0, 30.0]), np.array([0.0, 0.0, 1.0])
ROOM = Polygon([(20, 20), (580, 20), (580, 380), (20, 380)])


def test_what_lies_behind_a_sheet_is_not_seen():
    """Closed form: the upper slab's underside is 15 + 1.5 sin cos, whatever the lower slab does."""
    _, underside = two_sheets(60)
    web = underside.web_under(ROOM, Plane(*LEVEL), 1e-3)
    assert web.covered == pytest.approx(1.0, abs=1e-6)
    # Ripples of 31 and 23 mm in facets of 10 and 7 mm: vertices come within 2 % of the crests.
    assert (web.underside_low, web.underside_high) == pytest.approx((13.5, 16.5), abs=0.05)


def test_cost_under_a_floor_grows_with_the_facets_and_not_with_their_pairs():
    """A law, not seconds: four times the facets take less than eight times as long (all pairs: sixteen)."""
    taken = []
    for count in (50, 100):
        _, underside = two_sheets(count)
        runs = []
        for _ in range(4):  # the shortest: what else the machine does only adds
            start = time.process_time()
            underside.web_under(ROOM, Plane(*LEVEL), 1e-3)
            runs.append(time.process_time() - start)
        taken.append(min(runs))
    assert taken[1] < 8.0 * taken[0]


def test_a_sheet_that_runs_down_to_a_foot_hides_nothing_above_the_foot():
    """Underside at 0 and, down a slope of 4 in 20, at −20 from X 84 on; a slot from −8 to −4 cuts it from X 88 on.

    The web over the slot is 6 mm, that of the whole connected underside in the mean 3.9.
    """
    profile = [(0, 0), (80, 0), (84, -20), (110, -20), (110, 30), (0, 30)]
    solid = prism(profile, 0, 120).rotate((90, 0, 0)).translate((0, 120, 0))
    solid = solid - box(10, 10, 2, 100, 110, 31) - box(88, -1, -8, 111, 121, -4)
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    x, y = np.array([20.0, 79.0, 82.0, 86.0, 89.0, 95.0, 99.0]), np.full(7, 60.0)
    assert pocket.nominal_web(x, y) == pytest.approx([2.0, 2.0, 12.0, 22.0, 6.0, 6.0, 6.0], abs=1e-4)


def test_how_far_in_a_rib_of_the_other_side_reaches_along_a_whole_side():
    """A rib below, 5 mm under the floor's edge: its corners lie on the floor's outline, its middle 5 mm from it."""
    solid = box(0, 0, -20, 100, 120, 30) - box(10, 10, 2, 90, 110, 31) - box(15, -1, -21, 101, 121, 0)
    (floor,) = extract_pockets(mesh_of(solid), units="mm").floors
    assert floor.edge == pytest.approx(5.0, abs=1e-6)


def test_web_over_the_fillets_of_pockets_from_below_that_lie_elsewhere():
    """Fillets of 2 mm between two pockets from below and a rib of 12 mm, all across one floor at Z 2.

    Under a fillet of radius r, d from the wall, the metal is thicker by r − √(r² − (r − d)²): a circle.
    """
    solid = box(0, 0, -12, 160, 100, 30) - box(10, 10, 2, 150, 90, 31)
    for x0, x1 in ((4, 76), (84, 156)):
        below = filleted_pocket(x0, 20, x1, 80, 6, 2, 0, 13, 0.005)
        solid = solid - below.mirror((0, 0, 1))
    (pocket,) = extract_pockets(mesh_of(solid), units="mm").part.pockets
    d = np.array([0.3, 0.5, 0.8, 1.2, 1.7, 1.95])
    x = np.concatenate([76.0 - d, 84.0 + d, [40.0, 80.0, 120.0]])
    rise = 2.0 - np.sqrt(4.0 - (2.0 - d) ** 2)
    truth = np.concatenate([2.0 + rise, 2.0 + rise, [2.0, 14.0, 2.0]])
    # The circle is chords within 0.005 mm of it; at 0.3 mm from the wall it falls by 1.6 in 1.
    assert pocket.nominal_web(x, np.full(len(x), 50.0)) == pytest.approx(truth, abs=0.02)
