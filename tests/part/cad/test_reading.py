"""Formats and units. A block with one pocket, written by independent libraries or by hand, read back."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cad_plates import box, mesh_of, round_pocket

from floorfit.errors import InputError, MissingExtraError
from floorfit.part.cad import extract_pockets

CASES = Path(__file__).parent / "cases"
# A rounded rectangle of 80 × 40 with corners of 8: closed form.
AREA = 80 * 40 - (4 - np.pi) * 64


@pytest.fixture(scope="module")
def block():
    return mesh_of(box(0, 0, 0, 120, 80, 20) - round_pocket(20, 20, 100, 60, 8, 2, 21, 0.005))


def check(extraction, scale=1.0):
    (pocket,) = extraction.part.pockets
    assert pocket.floor_z == pytest.approx(2.0 * scale, abs=1e-3)
    assert pocket.web == pytest.approx(2.0 * scale, abs=2e-3)
    assert pocket.polygon.area == pytest.approx(AREA * scale**2, rel=1e-3)


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply"])
def test_formats_without_a_unit(block, tmp_path, suffix):
    path = tmp_path / f"block.{suffix}"
    block.export(path)
    check(extract_pockets(path, units="mm"))
    with pytest.raises(InputError, match=f"{suffix.upper()}: the numbers carry no unit"):
        extract_pockets(path)


def test_ascii_stl(block, tmp_path):
    path = tmp_path / "ascii.STL"
    path.write_text(trimesh.exchange.stl.export_stl_ascii(block))
    check(extract_pockets(path, units="mm"))


@pytest.mark.parametrize(("units", "mm"), [("cm", 10.0), ("m", 1000.0), ("in", 25.4)])
def test_stated_units(block, tmp_path, units, mm):
    scaled = block.copy()
    scaled.vertices = scaled.vertices / mm
    scaled.export(tmp_path / "block.stl")
    check(extract_pockets(tmp_path / "block.stl", units=units))


def test_glb_is_in_metres(block, tmp_path):
    """glTF 2.0, section 3.5: the unit of all linear distances is the metre."""
    scaled = block.copy()
    scaled.vertices = scaled.vertices / 1000.0
    scaled.export(tmp_path / "block.glb")
    check(extract_pockets(tmp_path / "block.glb"))
    block.export(tmp_path / "wrong.glb")
    with pytest.raises(InputError, match="the largest side is 120000 mm in the unit given"):
        extract_pockets(tmp_path / "wrong.glb")
    overridden = extract_pockets(tmp_path / "wrong.glb", units="mm")
    check(overridden)
    assert "unit-overridden" in {finding.code for finding in overridden.findings}


def test_scene_with_transforms(block, tmp_path):
    scaled = block.copy()
    scaled.vertices = scaled.vertices / 1000.0
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(np.pi / 2, (0, 0, 1), (0.1, 0.1, 0.0))
    scene.add_geometry(scaled, transform=turn)
    scene.export(tmp_path / "scene.glb")
    check(extract_pockets(tmp_path / "scene.glb"))


def test_step_in_millimetres():
    extraction = extract_pockets(CASES / "pocket_block.step")
    check(extraction)
    assert extraction.floors[0].corner_radius == pytest.approx(8.0, abs=0.011)
    assert extraction.floors[0].arc_error <= 0.01


def test_step_chord_tolerance_is_used():
    coarse = extract_pockets(CASES / "pocket_block.step", chord_tolerance=0.01)
    fine = extract_pockets(CASES / "pocket_block.step", chord_tolerance=0.0005)
    assert fine.floors[0].arc_error <= 0.0005 < coarse.floors[0].arc_error


def test_step_in_inches_is_converted():
    extraction = extract_pockets(CASES / "pocket_block_inch.step")
    check(extraction, scale=2.54)
    assert extraction.part.units == "mm"
    assert extract_pockets(CASES / "pocket_block_inch.step", units="in").part.units == "in"


def test_step_cases_are_what_their_script_writes():
    sys.path.insert(0, str(CASES))
    try:
        from make_step import step_text
    finally:
        sys.path.remove(str(CASES))
    assert (CASES / "pocket_block.step").read_text(encoding="ascii") == step_text(False)
    assert (CASES / "pocket_block_inch.step").read_text(encoding="ascii") == step_text(True)


@pytest.mark.parametrize(
    ("suffix", "package", "remedy"),
    [("step", "cascadio", r"pip install 'floorfit\[step\]'"), ("3mf", "lxml", "pip install lxml")],
)
def test_missing_extra(tmp_path, monkeypatch, suffix, package, remedy):
    import importlib.util

    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name == package else found(name, *a))
    (tmp_path / f"block.{suffix}").write_bytes(b"something")
    with pytest.raises(MissingExtraError, match=remedy):
        extract_pockets(tmp_path / f"block.{suffix}")


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "glb", "step"])
def test_rubbish_is_refused(tmp_path, suffix):
    path = tmp_path / f"rubbish.{suffix}"
    path.write_bytes(b"this is not a model\n" * 20)
    with pytest.raises(InputError, match=rf"rubbish.{suffix}.*(cannot be read|holds no triangle)"):
        extract_pockets(path, units="mm")


def test_paths(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        extract_pockets(tmp_path / "none.stl", units="mm")
    (tmp_path / "empty.stl").write_bytes(b"")
    with pytest.raises(InputError, match="the file is empty"):
        extract_pockets(tmp_path / "empty.stl", units="mm")
    (tmp_path / "part.xyz").write_bytes(b"1")
    with pytest.raises(InputError, match=r"the ending \.xyz is not known; expected one of \.stl"):
        extract_pockets(tmp_path / "part.xyz", units="mm")
    (tmp_path / "part.stl").write_bytes(b"1")
    with pytest.raises(InputError, match="layers belong to a drawing"):
        extract_pockets(tmp_path / "part.stl", units="mm", layers="table.csv")


def test_truncated_binary_stl(block, tmp_path):
    block.export(tmp_path / "cut.stl")
    data = (tmp_path / "cut.stl").read_bytes()
    (tmp_path / "cut.stl").write_bytes(data[: len(data) // 2])
    with pytest.raises(InputError, match=r"cut\.stl"):
        extract_pockets(tmp_path / "cut.stl", units="mm")
