"""Plan polygons: areas and centroids in closed form, canonical rings."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from cad_plates import rounded_ring

from floorfit.cad.drawing import region_polygon, tidy_polygon
from floorfit.cad.mesh import join_mesh

# Areas and centroids worked by hand.
POLYGONS = {
    "L": ([(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)], 6400.0, (38.75, 38.75)),
    "step": (
        [(0, 0), (160, 0), (160, 60), (100, 60), (100, 120), (0, 120)],
        15600.0,
        (890 / 13, 690 / 13),
    ),
    "U": (
        [(0, 0), (120, 0), (120, 100), (90, 100), (90, 30), (30, 30), (30, 100), (0, 100)],
        7800.0,
        (60.0, 41.923076923),
    ),
}


def flat_mesh(polygon):
    vertices, faces = trimesh.creation.triangulate_polygon(polygon, engine="earcut")
    return join_mesh(np.column_stack([vertices, np.full(len(vertices), 2.0)]), np.asarray(faces))


@pytest.mark.parametrize("name", POLYGONS)
def test_area_and_centroid(name):
    ring, area, centroid = POLYGONS[name]
    mesh = flat_mesh(shapely.Polygon(ring))
    polygon = region_polygon(mesh, np.arange(len(mesh.faces)))
    assert polygon.area == pytest.approx(area, rel=1e-12)
    assert polygon.centroid.coords[0] == pytest.approx(centroid, abs=1e-8)


def test_rounded_rectangle_area():
    """160 × 120 with corner radius 8: 19145.06192983 (reference geometry, closed form)."""
    mesh = flat_mesh(shapely.Polygon(rounded_ring(0, 0, 160, 120, 8, 0.0, steps=400)))
    # 400 chords a corner leave out r²/2 (δ − sin δ) each: under 2e-4 mm² in all.
    assert region_polygon(mesh, np.arange(len(mesh.faces))).area == pytest.approx(19145.06192983, abs=1e-3)


def test_holes():
    shape = shapely.box(0, 0, 160, 120) - shapely.box(70, 50, 90, 70)
    mesh = flat_mesh(shape)
    assert region_polygon(mesh, np.arange(len(mesh.faces))).equals(shape)


def ramp(turns, steps=60):
    """A spiral ramp between the radii 20 and 30 that rises as it turns: over one turn it laps over itself in plan."""
    angle = np.linspace(0.0, 2 * np.pi * turns, steps + 1)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    rings = [np.column_stack([radius * way, 5.0 * angle]) for radius in (20.0, 30.0)]
    inner, outer = np.arange(steps), np.arange(steps) + steps + 1
    faces = np.concatenate([np.column_stack([inner, outer, outer + 1]), np.column_stack([inner, outer + 1, inner + 1])])
    return join_mesh(np.concatenate(rings), faces)


@pytest.mark.parametrize("turns", [0.5, 1.0, 1.25, 2.5])
def test_a_patch_that_laps_over_itself(turns):
    mesh = ramp(turns)
    step = 2 * np.pi * turns / 60
    # Each of 60 flat sectors has (30² − 20²) sin(step) / 2; a second lap on the same chords adds nothing.
    seen = (30.0**2 - 20.0**2) / 2 * np.sin(step) * 60 * min(1.0, 1.0 / turns)
    polygon = region_polygon(mesh, np.arange(len(mesh.faces)))
    assert polygon.is_valid
    # Laps whose chords do not fall on each other cover up to a sagitta 30 (1 − cos(step/2)) more.
    spare = 0.0 if turns <= 1.0 else 2 * np.pi * 50 * 30 * (1 - np.cos(step / 2))
    assert seen - 1e-3 <= polygon.area <= seen + spare + 1e-3
    triangles = shapely.union_all(shapely.polygons(mesh.vertices[mesh.faces][:, :, :2]), grid_size=1e-6)
    assert polygon.area == pytest.approx(triangles.area, abs=1e-2)  # grid of 1e-6 mm on 300 mm of outline and overlaps


def test_rings_are_canonical():
    ring = rounded_ring(10, 10, 90, 60, 8, 0.1)
    wanted = tidy_polygon(shapely.Polygon(ring), 1e-6)
    for shift in (1, 7, 20):
        for step in (1, -1):
            rolled = np.roll(ring, shift, axis=0)[::step]
            assert tidy_polygon(shapely.Polygon(rolled), 1e-6).equals_exact(wanted, 0.0)
    assert wanted.exterior.is_ccw


def test_points_on_straight_lines_go_and_arcs_stay():
    ring = rounded_ring(10, 10, 90, 60, 8, 0.1)
    dense = np.concatenate([np.linspace(a, b, 5)[:-1] for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)])
    tidy = tidy_polygon(shapely.Polygon(dense), 1e-6)
    assert len(tidy.exterior.coords) == len(ring) + 1
    assert tidy.hausdorff_distance(shapely.Polygon(ring)) < 1e-9
