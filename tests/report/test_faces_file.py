"""The file of all faces: what was taken and what was not, with rings."""

from __future__ import annotations

import json

import pytest
import shapely
from cad_plates import box, mesh_of, round_pocket, sloped_pocket

from floorfit.cad import extract_pockets
from floorfit.report.faces_file import faces_document, write_faces


@pytest.fixture(scope="module")
def extraction():
    island = box(80, 60, 0, 100, 80, 41)
    solid = box(0, 0, 0, 400, 160, 30) - (round_pocket(20, 20, 180, 140, 8, 2, 31, 0.01) - island)
    return extract_pockets(mesh_of(solid - sloped_pocket(200, 20, 380, 140, 15.0, (0.12, 0.0), 31)), units="mm")


def test_every_face_is_there_once(extraction):
    faces = faces_document(extraction)["faces"]
    assert [face["code"] for face in faces] == [
        "taken",
        "too-steep",
        "no-wall",
        "no-wall",
    ]  # the last: the island's top
    assert [face["id"] for face in faces] == ["P01", None, None, None]
    steep = shapely.Polygon(faces[1]["boundary"])
    assert steep.bounds == pytest.approx((200, 20, 380, 140), abs=1e-3)
    assert faces[1]["walled"]
    top = shapely.Polygon(faces[2]["boundary"], faces[2]["islands"])
    # The plate's top without both pockets.
    assert top.area == pytest.approx(400 * 160 - 180 * 120 - 160 * 120 + (4 - 3.14159265) * 64, rel=1e-4)


def test_places_lie_on_their_faces(extraction):
    for face in faces_document(extraction)["faces"]:
        shape = shapely.Polygon(face["boundary"], face["islands"])
        assert shape.buffer(1e-6).covers(shapely.Point(face["place"][:2]))
        assert face["area"] == pytest.approx(shape.area, rel=1e-4)


def test_written_in_the_part_s_unit(extraction, tmp_path):
    write_faces(extraction, tmp_path / "faces.json")
    document = json.loads((tmp_path / "faces.json").read_text(encoding="utf-8"))
    assert (document["format"], document["units"]) == ("floorfit-faces/1", "mm")
    assert document["faces"][0]["web"] == pytest.approx([2.0, 2.0, 2.0], abs=1e-4)
