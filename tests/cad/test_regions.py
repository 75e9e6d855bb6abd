"""Planes found in meshes."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from floorfit.cad.mesh import join_mesh
from floorfit.cad.regions import planar_regions, plane_tolerance


def mesh_of_arrays(vertices, faces):
    return join_mesh(np.array(vertices, float), np.array(faces))


def height_field(z_of, n=24, size=100.0):
    x = np.linspace(0.0, size, n)
    grid_x, grid_y = (g.ravel() for g in np.meshgrid(x, x, indexing="ij"))
    i = np.arange(n * n).reshape(n, n)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return mesh_of_arrays(np.column_stack([grid_x, grid_y, z_of(grid_x, grid_y)]), faces)


def regions_of(mesh, tolerance=1e-3):
    return planar_regions(mesh, mesh.normals[:, 2] > 0.5, tolerance)


def test_six_sides_of_a_box():
    box = trimesh.creation.box((30, 20, 10)).subdivide().subdivide()
    mesh = mesh_of_arrays(box.vertices, box.faces)
    regions = planar_regions(mesh, np.ones(len(mesh.faces), bool), 1e-3)
    assert sorted(tuple(row) for row in np.round(regions.normals, 12) + 0.0) == sorted(
        [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    )
    assert sorted(regions.plan_areas)[-2:] == pytest.approx([600, 600])


@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.02, -0.01), (0.3, 0.1)])
def test_a_plane_stays_whole_with_noise_of_single_precision(slope):
    rng = np.random.default_rng(1)
    mesh = height_field(lambda x, y: 5 + slope[0] * x + slope[1] * y + rng.uniform(-6e-6, 6e-6, len(x)))
    regions = regions_of(mesh)
    assert len(regions.normals) == 1
    normal = regions.normals[0]
    assert -normal[:2] / normal[2] == pytest.approx(slope, abs=1e-6)


def test_two_planes_with_a_kink_are_two():
    regions = regions_of(height_field(lambda x, y: np.maximum(0.0, (x - 50.0) * 0.01) * (x >= 50), n=21))
    assert len(regions.normals) == 2
    assert regions.plan_areas == pytest.approx([5000, 5000])


def test_a_shallow_curve_is_not_taken_for_a_plane():
    """Facets of a radius of 50 m turn by 0.005° each: under any angle limit, but 25 µm in all."""
    regions = regions_of(height_field(lambda x, y: (x - 50.0) ** 2 / 100_000.0, n=21))
    flat = regions.plan_areas[~regions.is_curved]
    assert flat.max(initial=0.0) < 5000


def test_sliver_between_two_halves_joins_them():
    vertices = [(0, 0, 0), (50, 0, 0), (100, 0, 0), (100, 50, 0), (0, 50, 0), (50, 1e-9, 0)]
    faces = [(0, 1, 5), (1, 2, 5), (0, 5, 4), (5, 3, 4), (5, 2, 3)]
    regions = regions_of(mesh_of_arrays(vertices, faces))
    assert len(regions.normals) == 1
    assert (regions.label == 0).all()


def test_tolerance_is_never_below_the_resolution():
    far = mesh_of_arrays([(9e3, 0, 0), (9e3 + 9, 0, 0), (9e3, 9, 0)], [(0, 1, 2)])
    # One unit in the last place of single precision at 9009: 2⁻²³ · 9009 = 1.07e-3.
    assert plane_tolerance(far, 1e-3) == pytest.approx(4 * 9009 * 2.0**-23)
    near = mesh_of_arrays([(0, 0, 0), (9, 0, 0), (0, 9, 0)], [(0, 1, 2)])
    assert plane_tolerance(near, 1e-3) == 1e-3
