"""Broken meshes get a clear answer, and with ``repair`` the true one."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cad_plates import box, filleted_pocket, mesh_of, prism, round_pocket, soup_of

from floorfit.cad import extract_pockets
from floorfit.errors import InputError


@pytest.fixture(scope="module")
def mesh():
    solid = box(0, 0, 0, 400, 160, 40) - filleted_pocket(20, 20, 180, 140, 10, 3, 2, 41, 0.05)
    return mesh_of(solid - round_pocket(200, 20, 380, 140, 8, 3, 41, 0.05))


@pytest.fixture(scope="module")
def truth(mesh):
    return extract_pockets(mesh, units="mm").part


def raw(vertices, faces):
    return trimesh.Trimesh(vertices, faces, process=False)


def extract(mesh, **choices):
    return extract_pockets(mesh, units="mm", **choices)


def codes(extraction):
    return {finding.code for finding in extraction.findings} - {"default-tolerance", "default-stock", "coarse-arcs"}


def test_duplicate_vertices_are_no_fault(mesh, truth):
    extraction = extract(soup_of(mesh))
    assert extraction.part == truth
    assert codes(extraction) == set()


def test_flipped_facets_are_refused_and_turned_on_request(mesh, truth):
    faces = mesh.faces.copy()
    some = np.random.default_rng(3).choice(len(faces), 40, replace=False)
    faces[some] = faces[some][:, ::-1]
    with pytest.raises(InputError, match=r"40 facets are the wrong way round.*--repair"):
        extract(raw(mesh.vertices, faces))
    repaired = extract(raw(mesh.vertices, faces), repair=True)
    assert repaired.part == truth
    assert codes(repaired) == {"flipped-facets"}


def test_inside_out_is_refused_and_turned_on_request(mesh, truth):
    turned = raw(mesh.vertices, mesh.faces[:, ::-1])
    with pytest.raises(InputError, match=r"inside out.*--repair"):
        extract(turned)
    assert extract(turned, repair=True).part == truth


def test_open_mesh_is_refused_and_read_on_request(mesh, truth):
    top = np.flatnonzero((mesh.face_normals[:, 2] > 0.99) & (mesh.triangles_center[:, 2] > 39))
    holed = raw(mesh.vertices, np.delete(mesh.faces, top[:1], axis=0))
    with pytest.raises(InputError, match="the surface is open: 1 holes, the first near"):
        extract(holed)
    extraction = extract(holed, repair=True)
    assert extraction.part.pockets == truth.pockets
    assert codes(extraction) == {"open-mesh"}


def test_a_hole_of_the_surface_at_a_floor_is_asked_about(mesh, truth):
    floor = np.flatnonzero((mesh.face_normals[:, 2] > 0.99) & (mesh.triangles_center[:, 2] < 2.5))
    extraction = extract(raw(mesh.vertices, np.delete(mesh.faces, floor[:1], axis=0)), repair=True)
    assert codes(extraction) == {"open-mesh", "open-floor"}
    assert extraction.open_questions
    assert sum(floor.area for floor in extraction.floors) < sum(pocket.polygon.area for pocket in truth.pockets) - 0.5


def test_missing_underside_gives_no_web(mesh):
    shell = raw(mesh.vertices, mesh.faces[mesh.face_normals[:, 2] > -0.9])
    with pytest.raises(InputError, match=r"only 0.0 % of it has metal below"):
        extract(shell, repair=True)


def test_corners_that_miss_each_other_by_less_than_the_resolution(mesh, truth):
    rng = np.random.default_rng(5)
    soup = soup_of(mesh)
    # Single precision at 400 mm resolves 4.8e-5 mm.
    shaken = raw(soup.vertices + rng.uniform(-1.5e-5, 1.5e-5, soup.vertices.shape), soup.faces)
    extraction = extract(shaken)
    assert codes(extraction) == {"near-vertices"}
    for a, b in zip(extraction.part.pockets, truth.pockets, strict=True):
        assert a.polygon.hausdorff_distance(b.polygon) < 2e-4
        assert a.web == pytest.approx(b.web, abs=1e-3)


def split_floor(mesh, *, fill):
    """Split floor and top facets at the middle of their first edge, on one side only."""
    vertices, faces = mesh.vertices.tolist(), []
    for face, normal in zip(mesh.faces.tolist(), mesh.face_normals, strict=True):
        if normal[2] < 0.99:
            faces.append(face)
            continue
        a, b, c = face
        vertices.append(((mesh.vertices[a] + mesh.vertices[b]) / 2).tolist())
        middle = len(vertices) - 1
        faces += [[a, middle, c], [middle, b, c]]
        if fill:
            faces.append([a, b, middle])  # a sliver without area closes the mesh
    return raw(np.array(vertices), np.array(faces))


def test_seams_are_closed_and_told(mesh, truth):
    extraction = extract(split_floor(mesh, fill=False))
    assert extraction.part == truth
    assert "seams" in codes(extraction)


def test_slivers_do_not_split_floors(mesh, truth):
    assert extract(split_floor(mesh, fill=True)).part == truth


def test_duplicate_facets(mesh, truth):
    extraction = extract(raw(mesh.vertices, np.vstack([mesh.faces, mesh.faces[:30]])))
    assert extraction.part.pockets == truth.pockets
    assert codes(extraction) == {"crowded-edges"}


def test_a_floor_that_lies_doubled_back_to_back_is_not_lost_without_a_word(mesh, truth):
    """No solid has such facets: that floor cannot be told, and the exit code says so; the other one is as it was."""
    level = np.flatnonzero((np.abs(mesh.vertices[mesh.faces][:, :, 2] - 3.0) < 1e-9).all(axis=1))
    extraction = extract(raw(mesh.vertices, np.vstack([mesh.faces, mesh.faces[level][:, ::-1]])))
    assert [(pocket.boundary, pocket.web) for pocket in extraction.part.pockets] == [
        (truth.pockets[0].boundary, truth.pockets[0].web)
    ]
    assert [(face.code, face.is_walled) for face in extraction.rejected if face.code != "no-wall"] == [
        ("unsound", True)
    ]
    assert extraction.open_questions == 1


def test_several_bodies(mesh, truth):
    other = mesh_of(box(500, 0, 0, 560, 100, 20))
    both = trimesh.util.concatenate([other, mesh])
    with pytest.raises(InputError, match=r"holds 2 separate bodies \(400 × 160 × 40 mm; 60 × 100 × 20 mm\)"):
        extract(both)
    assert extract(both, body="1").part == truth
    assert extract(both, body="all").part.pockets == truth.pockets
    with pytest.raises(InputError, match="body 3 was asked for, the model holds 2"):
        extract(both, body="3")


def test_a_second_body_of_one_is_refused(mesh):
    with pytest.raises(InputError, match="body 2 was asked for, the model holds 1"):
        extract(mesh, body="2")


def test_a_hollow_inside_is_no_second_body(truth):
    solid = box(0, 0, 0, 100, 100, 40) - box(10, 10, 20, 90, 90, 41) - box(20, 20, 5, 40, 40, 10)
    (pocket,) = extract(mesh_of(solid)).part.pockets
    # The hollow's roof is the underside there: 10 of the 20 mm are left.
    assert pocket.nominal_web([30, 60], [30, 60]) == pytest.approx([10, 20], abs=1e-4)


def test_moebius_strip_has_no_outside():
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = [
        (np.cos(t) * (50 + s * np.cos(t / 2)), np.sin(t) * (50 + s * np.cos(t / 2)), s * np.sin(t / 2))
        for t in turn
        for s in (-10, 10)
    ]
    faces = []
    for k in range(40):
        a, b = 2 * k, 2 * k + 1
        c, d = (2 * k + 2, 2 * k + 3) if k < 39 else (1, 0)
        faces += [(a, b, c), (b, d, c)]
    with pytest.raises(InputError, match="one side"):
        extract(raw(np.array(ring), np.array(faces)), repair=True)


@pytest.mark.parametrize(
    ("vertices", "faces", "message"),
    [
        (np.zeros((0, 3)), np.zeros((0, 3), int), "holds no triangle"),
        (np.eye(3) * np.nan, [[0, 1, 2]], "not finite"),
        ([[0, 0, 0], [90, 0, 0], [45, 0, 0]], [[0, 1, 1]], "every triangle has no area"),
        ([[0, 0, 0], [90, 0, 0], [0, 90, 0]], [[0, 1, 2]], "the surface is open"),
        (np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0]]), [[0, 1, 2]], "the largest side is 9 mm.*--any-size"),
        (np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0]]) * 1e4, [[0, 1, 2]], "the largest side is 90000 mm"),
    ],
)
def test_refusals(vertices, faces, message):
    with pytest.raises(InputError, match=message):
        extract(raw(np.array(vertices, float), np.array(faces)))


def test_facets_folded_on_their_neighbours():
    """A concave floor cut into triangles from one corner: the middle one looks down and laps over both others."""
    ring = [(20, 20), (180, 20), (180, 180), (100, 40), (20, 180)]
    solid = mesh_of(box(0, 0, 0, 200, 200, 20) - prism(np.array(ring, float), 5, 21))
    level = np.isclose(solid.triangles[:, :, 2], 5.0).all(axis=1)
    at = [int(np.flatnonzero(np.isclose(solid.vertices, (x, y, 5)).all(axis=1))[0]) for x, y in ring]
    fan = [(at[0], at[i], at[i + 1]) for i in (1, 2, 3)]
    folded = trimesh.Trimesh(solid.vertices, np.concatenate([solid.faces[~level], fan]), process=False)
    with pytest.raises(InputError, match=r"2 facets lie folded on a neighbour, the first near \(.*\)\. Polygons with"):
        extract_pockets(folded, units="mm")
