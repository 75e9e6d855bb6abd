"""Corners that scatter are noticed; those of a clean tessellation, flat or curved, are not. Truth: seeded noise."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from cad_plates import box, mesh_of, round_pocket, shaped_pocket, true_outline
from manifold3d import Manifold

from floorfit.cad import extract_pockets
from floorfit.cad.mesh import join_mesh
from floorfit.cad.scatter import scatter_note


def plate():
    barrel = Manifold.cylinder(160, 1000, 1000, 1000).rotate((90, 0, 0)).translate((300, 180, 1003))
    solid = box(0, 0, 0, 400, 200, 40) - round_pocket(20, 20, 180, 180, 8, 2, 41, 0.02)
    return mesh_of(solid - (box(220, 20, 1, 380, 180, 41) ^ barrel))


def note(mesh, noise=0.0, seed=3):
    vertices = mesh.vertices + noise * np.random.default_rng(seed).standard_normal(mesh.vertices.shape)
    return scatter_note(join_mesh(vertices, np.asarray(mesh.faces)), "")


@pytest.mark.parametrize("noise", [0.0001, 0.0005, 0.002, 0.01, 0.05])
@pytest.mark.parametrize("finer", [False, True])
def test_scatter_is_noticed(noise, finer):
    mesh = plate()
    if finer:
        mesh = mesh.subdivide_to_size(20.0)
        mesh.merge_vertices()
    assert [finding.code for finding in note(mesh, noise)] == ["noisy"]


def test_a_clean_model_is_still():
    """In double and in single precision, turned, far away, in two decimals, and the curved faces alone."""
    mesh = plate()
    turned = trimesh.transformations.rotation_matrix(0.4, (1.0, 2.0, 3.0))
    assert note(mesh) == []
    mesh.apply_transform(turned)
    mesh.vertices = (mesh.vertices + 5000.0).astype(np.float32)
    assert note(mesh) == []
    flat = plate()
    flat.vertices = np.round(flat.vertices, 2)
    assert note(flat) == []


def test_coarse_waves_are_no_scatter():
    """Six chords to a wave: a quadratic leaves 0.15 mm of it."""
    wave = shaped_pocket(20, 20, 180, 140, lambda x, y: 6.0 + 2.0 * np.sin((x - 100.0) / 40.0), 6, 4, 41)
    assert note(mesh_of(box(0, 0, 0, 200, 160, 40) - wave)) == []


def test_it_is_a_question():
    mesh = plate()
    mesh.vertices = mesh.vertices + 0.002 * np.random.default_rng(1).standard_normal(mesh.vertices.shape)
    extraction = extract_pockets(mesh, units="mm")
    assert "noisy" in {finding.code for finding in extraction.findings}
    assert extraction.open_questions


@pytest.mark.parametrize("noise", [0.002, 0.05])
def test_its_size_is_the_standard_deviation_across_the_faces(noise):
    """Unbiased with the six terms of a quadratic taken off the twelve corners (G. Seber & A. Lee 2003, theorem 3.3).

    The words give one digit: of 0.002 the nearest are half a unit away.
    """
    mesh = plate().subdivide_to_size(20.0)
    mesh.merge_vertices()
    (found,) = note(mesh, noise)
    said = float(found.text.split("about ")[1].split(" mm")[0])
    assert said == pytest.approx(noise, rel=0.3)


def test_corners_that_are_off_by_what_four_decimals_leave_are_still_and_do_no_harm():
    """Rounding to a step of 0.0001 leaves a uniform distribution: a standard deviation of 0.29 steps."""
    assert note(plate(), 0.000029) == []
    mesh = plate().subdivide_to_size(20.0)
    mesh.vertices = mesh.vertices + 0.000029 * np.random.default_rng(3).standard_normal(mesh.vertices.shape)
    extraction = extract_pockets(mesh, units="mm")
    assert len(extraction.floors) == 2
    assert not extraction.open_questions
    assert (
        shapely.hausdorff_distance(
            shapely.Polygon(extraction.floors[0].foot).exterior, true_outline(20, 20, 180, 180, 8).exterior
        )
        < 0.025
    )


def test_one_face_that_is_still_hides_nothing():
    """One end of the plate, 40 x 200 mm and some 4 % of its area, put back to where it was modelled."""
    mesh = plate().subdivide_to_size(20.0)
    mesh.merge_vertices()
    still = mesh.vertices[:, 0] < 1e-9
    scattered = mesh.vertices + 0.01 * np.random.default_rng(3).standard_normal(mesh.vertices.shape)
    mesh.vertices = np.where(still[:, None], mesh.vertices, scattered)
    assert [finding.code for finding in note(mesh)] == ["noisy"]
