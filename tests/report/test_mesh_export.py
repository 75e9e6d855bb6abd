import json
import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import record_factory
import trimesh

from floorfit.errors import InputError
from floorfit.report.colours import WEB, rgb
from floorfit.report.mesh_export import round_exaggeration, underside_mesh, write_mesh


def glb_document(path: Path) -> dict:
    data = path.read_bytes()
    length = struct.unpack("<I", data[12:16])[0]  # glTF 2.0, 4.4: twelve bytes of head, then the JSON chunk
    return json.loads(data[20 : 20 + length])


def test_heights_are_the_warp_times_the_factor() -> None:
    record = record_factory.frame()
    mesh = underside_mesh(record, 100.0)
    x, y = np.meshgrid(record.map.x_mm, record.map.y_mm)
    warp = np.array(record.map.warp_mm, dtype=float)
    expected = np.column_stack([x.ravel(), y.ravel(), 100 * warp.ravel()])
    assert np.allclose(mesh.vertices, expected, rtol=0, atol=1e-12)  # one product


def test_area_in_plan_is_that_of_the_part() -> None:
    record = record_factory.frame()
    flat = underside_mesh(record, 1e-9)
    # With no height left the area is length times width: 1200 by 500 mm; tolerance: sum of 75,000 triangles.
    assert flat.area == pytest.approx(1200 * 500, rel=1e-9)
    assert (flat.face_normals[:, 2] > 0).all()


def test_cells_outside_the_part_are_left_out() -> None:
    record = record_factory.frame()
    rows = [list(row) for row in record.map.warp_mm]
    rows[0][0] = None
    holed = record.model_copy(update={"map": replace(record.map, warp_mm=np.array(rows, float))})
    assert len(underside_mesh(record, 1).faces) - len(underside_mesh(holed, 1).faces) == 2
    assert np.isfinite(underside_mesh(holed, 1).vertices).all()


def test_colours_are_those_of_the_map() -> None:
    record = record_factory.frame()
    mesh = underside_mesh(record, 10)
    warp = np.array(record.map.warp_mm).ravel()
    assert np.array_equal(mesh.visual.vertex_colors[:, :3], rgb(WEB, (warp / np.abs(warp).max() + 1) / 2))


def test_glb_keeps_the_factor_and_is_in_metres_with_y_up(tmp_path: Path) -> None:
    record = record_factory.frame()
    factor = write_mesh(record, tmp_path / "u.glb", exaggeration=250)
    document = glb_document(tmp_path / "u.glb")
    assert factor == 250
    assert document["scenes"][0]["extras"]["exaggeration"] == 250
    assert "250" in document["meshes"][0]["name"]
    low, high = trimesh.load_scene(tmp_path / "u.glb").bounds
    warp = np.array(record.map.warp_mm)
    # glTF 2.0, 3.4: metres, +Y up; vertices are stored as 32-bit floats, so seven digits.
    assert (high - low) == pytest.approx([1.2, 250 * np.ptp(warp) / 1000, 0.5], rel=1e-6)


def test_ply_keeps_the_factor_and_its_colours(tmp_path: Path) -> None:
    record = record_factory.inch_part()
    write_mesh(record, tmp_path / "u.ply", exaggeration=50)
    head = (tmp_path / "u.ply").read_bytes().partition(b"end_header")[0].decode()
    assert [line for line in head.splitlines() if line.startswith("comment")] == [
        "comment warp of the underside, mm, height times 50"
    ]
    mesh = trimesh.load_mesh(tmp_path / "u.ply", process=False)
    assert np.array_equal(mesh.visual.vertex_colors, underside_mesh(record, 50).visual.vertex_colors)


@pytest.mark.parametrize("make", [record_factory.frame, record_factory.long_part, record_factory.inch_part])
def test_default_factor_is_round_and_shows_the_form(make) -> None:
    record = make()
    factor = round_exaggeration(record)
    assert float(f"{factor:.0e}") == factor and f"{factor:.0e}"[0] in "125"
    length = max(record.map.x_mm[-1], record.map.y_mm[-1])
    assert 0.02 < factor * np.nanmax(np.abs(np.array(record.map.warp_mm, dtype=float))) / length <= 0.08


def test_same_mesh_same_bytes(tmp_path: Path) -> None:
    record = record_factory.inch_part()
    for name in ("a.glb", "b.glb"):
        write_mesh(record, tmp_path / name)
    assert (tmp_path / "a.glb").read_bytes() == (tmp_path / "b.glb").read_bytes()


def test_refusals(tmp_path: Path) -> None:
    record = record_factory.frame()
    with pytest.raises(InputError, match=r"\.glb or \.ply"):
        write_mesh(record, tmp_path / "u.stl")
    with pytest.raises(InputError, match="above zero"):
        write_mesh(record, tmp_path / "u.glb", exaggeration=0.0)
    with pytest.raises(InputError, match="no fitted surface"):
        write_mesh(record_factory.no_surface(), tmp_path / "u.glb")
    assert list(tmp_path.iterdir()) == []
