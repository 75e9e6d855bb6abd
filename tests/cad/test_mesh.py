"""Welding and neighbours, against counts that hold for every closed surface."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from floorfit.cad.mesh import component_labels, join_mesh, weld


def joined(mesh):
    soup = mesh.triangles.reshape(-1, 3)
    return join_mesh(soup, np.arange(len(soup)).reshape(-1, 3))


@pytest.mark.parametrize(
    "mesh", [trimesh.creation.box((9, 8, 7)), trimesh.creation.icosphere(3), trimesh.creation.torus(9, 2)]
)
def test_closed_surfaces(mesh):
    result = joined(mesh)
    # Euler: a closed triangle mesh has 3 F = 2 E; V − E + F is 2 for a sphere, 0 for a torus.
    assert len(result.vertices) == len(mesh.vertices)
    assert 2 * len(result.pairs) == 3 * len(result.faces)
    assert len(result.open_faces) == len(result.flipped_pairs) == result.crowded_edges == 0
    assert len(result.vertices) - len(result.pairs) + len(result.faces) == mesh.euler_number
    # The vector areas of a closed surface sum to nothing (divergence theorem).
    assert result.vectors.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)


def test_pairs_agree_with_trimesh():
    mesh = trimesh.creation.icosphere(2)
    result = join_mesh(np.array(mesh.vertices), np.array(mesh.faces))
    ours = {tuple(sorted(pair)) for pair in result.pairs.tolist()}
    assert ours == {tuple(sorted(pair)) for pair in mesh.face_adjacency.tolist()}


def test_open_and_flipped_edges():
    square = np.array([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], float)
    flat = join_mesh(square, np.array([(0, 1, 2), (0, 2, 3)]))
    assert len(flat.pairs) == 1
    assert len(flat.open_faces) == 4
    bent = join_mesh(square, np.array([(0, 1, 2), (0, 3, 2)]))
    assert bent.flipped_pairs.tolist() == [[0, 1]]


def test_weld_drops_facets_that_lose_a_corner():
    vertices = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0.0, -0.0, 0.0)])
    points, faces = weld(vertices, np.array([(0, 1, 2), (3, 1, 2), (0, 3, 1)]))
    assert len(points) == 3
    assert len(faces) == 2


def test_weld_of_many_points_is_exact():
    rng = np.random.default_rng(0)
    points = np.round(rng.uniform(0, 9, (20_000, 3)), 2)
    ours, faces = weld(points, np.arange(19_998).reshape(-1, 3))
    assert len(ours) == len(np.unique(points, axis=0))
    assert (ours[faces[:50]] == points[:150].reshape(-1, 3, 3)).all()


def test_heights_and_components():
    thin = join_mesh(np.array([(0, 0, 0), (4, 0, 0), (2, 0.5, 0)], float), np.array([(0, 1, 2)]))
    # Smallest height: twice the area (2 · 1) over the longest side (4).
    assert thin.heights == pytest.approx([0.5])
    assert component_labels(5, np.array([(0, 1), (3, 4)])).tolist() == [0, 0, 1, 2, 2]
