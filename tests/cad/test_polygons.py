"""OBJ files with polygons (Wavefront OBJ: f lists corners in order; indices from 1, negative ones count back)."""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import box, mesh_of

from floorfit.cad import extract_pockets
from floorfit.cad.polygons import has_polygons, triangulated_obj
from floorfit.errors import InputError

# A U of 160 × 160 with a slot of 80 × 120: 25600 − 9600 by hand.
U = [(20, 20), (180, 20), (180, 180), (140, 180), (140, 60), (60, 60), (60, 180), (20, 180)]
AREA = 16000.0
OUTER = [(0, 0), (200, 0), (200, 200), (0, 200)]


def tray(*, shift=0, word=str):
    """A block 20 high with a U-shaped pocket 15 deep, as polygons; its top is one polygon with a bridge to the U."""
    points = [(x, y, z) for ring, z in ((OUTER, 0), (OUTER, 20), (U, 20), (U, 5)) for x, y in ring]
    below, above, rim, floor = [0, 1, 2, 3], [4, 5, 6, 7], list(range(8, 16)), list(range(16, 24))
    faces = [below[::-1], np.roll(floor, shift).tolist(), [*above, above[0], rim[0], *rim[::-1]]]
    faces += [[below[i], below[i - 3], above[i - 3], above[i]] for i in range(4)]
    faces += [[rim[i], rim[i - 7], floor[i - 7], floor[i]] for i in range(8)]
    lines = [f"v {x} {y} {z}" for x, y, z in points]
    lines += ["f " + " ".join(word(k + 1) for k in face) for face in faces]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("shift", range(8))
def test_polygons_with_inner_corners(tmp_path, shift):
    (tmp_path / "tray.obj").write_text(tray(shift=shift))
    (floor,) = extract_pockets(tmp_path / "tray.obj", units="mm").floors
    assert (floor.floor_z, floor.web) == pytest.approx((5.0, 5.0), abs=1e-6)
    assert floor.area == pytest.approx(AREA, rel=1e-9)


@pytest.mark.parametrize("word", [lambda k: f"{k}//1", lambda k: str(k - 25), lambda k: f"{k}/1/1 "])
def test_ways_to_name_a_corner(tmp_path, word):
    (tmp_path / "tray.obj").write_text("mtllib none.mtl\nvn 0 0 1\nvt 0 0\nusemtl grey\n" + tray(word=word))
    (floor,) = extract_pockets(tmp_path / "tray.obj", units="mm").floors
    assert floor.area == pytest.approx(AREA, rel=1e-9)


def test_lines_that_go_on(tmp_path):
    (tmp_path / "tray.obj").write_text(tray().replace("f 17 18", "f 17 \\\n18"))
    (floor,) = extract_pockets(tmp_path / "tray.obj", units="mm").floors
    assert floor.area == pytest.approx(AREA, rel=1e-9)


def test_corner_that_is_not_there(tmp_path):
    (tmp_path / "tray.obj").write_text(tray() + "f 1 2 3 99\n")
    with pytest.raises(InputError, match=r"cannot be read as OBJ .*a face names vertex 99, the file has 24 before it"):
        extract_pockets(tmp_path / "tray.obj", units="mm")


def test_triangles_are_left_alone(tmp_path):
    mesh_of(box(0, 0, 0, 10, 10, 10)).export(tmp_path / "box.obj")
    assert not has_polygons(tmp_path / "box.obj")


def test_convex_quadrangles_are_cut_from_their_first_corner(tmp_path):
    """Concave ones from the corner that is inner, whichever it is; two triangles each."""
    square, dart = [(0, 0), (10, 0), (10, 10), (0, 10)], [(0, 0), (5, 2), (10, 0), (5, 10)]
    for ring, area in ((square, 100.0), (dart, 40.0)):
        lines = [f"v {x} {y} 0" for x, y in ring] + ["f 1 2 3 4"]
        (tmp_path / "face.obj").write_text("\n".join(lines))
        text = triangulated_obj(tmp_path / "face.obj")
        faces = np.array([line.split()[1:] for line in text.splitlines() if line.startswith("f")], int) - 1
        (ax, ay), (bx, by), (cx, cy) = np.array(ring, float)[faces].transpose(1, 2, 0)
        signed = ((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2
        assert len(faces) == 2
        assert (signed > 0.0).all()
        assert signed.sum() == pytest.approx(area)


def test_ply_with_inner_corners_is_refused_with_the_reason(tmp_path):
    """PLY polygons are cut from one corner while they are read: the check for folds finds it."""
    lines = tray().splitlines()
    points = [line[2:] for line in lines if line.startswith("v")]
    faces = [[int(word) - 1 for word in line.split()[1:]] for line in lines if line.startswith("f")]
    head = ["ply", "format ascii 1.0", f"element vertex {len(points)}", *(f"property float {axis}" for axis in "xyz")]
    head += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header"]
    rows = [" ".join(map(str, [len(face), *face])) for face in faces]
    (tmp_path / "tray.ply").write_text("\n".join([*head, *points, *rows]) + "\n")
    with pytest.raises(InputError, match=r"tray\.ply: \d+ facets lie folded on a neighbour"):
        extract_pockets(tmp_path / "tray.ply", units="mm")
