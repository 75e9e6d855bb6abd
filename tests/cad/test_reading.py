"""Formats and units. A block with one pocket, written by independent libraries or by hand, read back."""

from __future__ import annotations

import zipfile

import numpy as np
import pytest
import trimesh
from cad_plates import box, mesh_of, round_pocket
from step_solids import StepSolid, back, box_ring, rounded_ring

from floorfit.cad import extract_pockets
from floorfit.errors import InputError, MissingExtraError

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


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"


def write_3mf(path, mesh, unit, *, item='<item objectid="1"/>', more=""):
    """A 3MF file by hand, after the core specification (ISO/IEC 25422:2025): the model in a zip, units in millimetres.

    ``unit`` is the attribute's text; empty leaves it out.
    """
    vertices = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in mesh.vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist())
    stated = f' unit="{unit}"' if unit else ""
    body = f'<object id="1" type="model"><mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh>'
    text = f'<model{stated} xmlns="{CORE}"><resources>{body}</object>{more}</resources><build>{item}</build></model>'
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("3D/3dmodel.model", text)


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        ("", 1.0),  # 3MF core specification, section 3.4: millimeter where nothing is stated
        ("micron", 0.001),
        ("millimeter", 1.0),
        ("centimeter", 10.0),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000.0),
    ],
)
def test_3mf_states_its_unit(block, tmp_path, unit, mm):
    scaled = block.copy()
    scaled.vertices = scaled.vertices / mm
    write_3mf(tmp_path / "plate.3mf", scaled, unit)
    extraction = extract_pockets(tmp_path / "plate.3mf")
    check(extraction)
    assert extraction.part.units == ("in" if unit == "inch" else "mm")


def test_3mf_as_trimesh_writes_it(block, tmp_path):
    block.export(tmp_path / "plate.3mf")
    check(extract_pockets(tmp_path / "plate.3mf"))


def test_3mf_components_and_items_are_placed(block, tmp_path):
    """Core specification, sections 4.1 and 4.2.1: transforms of the component and of the item, in this order."""
    turned = '<component objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>'
    more = f'<object id="2"><components>{turned}</components></object>'
    item = '<item objectid="2" transform="1 0 0 0 1 0 0 0 1 100 0 5"/>'
    write_3mf(tmp_path / "placed.3mf", block, "millimeter", item=item, more=more)
    (pocket,) = extract_pockets(tmp_path / "placed.3mf").part.pockets
    # A quarter turn takes the pocket's 20..100 × 20..60 to −60..−20 × 20..100; the item moves it by (100, 0, 5).
    assert pocket.polygon.bounds == pytest.approx((40.0, 20.0, 80.0, 100.0), abs=1e-3)
    assert pocket.floor_z == pytest.approx(7.0, abs=1e-3)


def test_3mf_with_another_unit_stated(block, tmp_path):
    write_3mf(tmp_path / "plate.3mf", block, "inch")  # numbers that are millimetres, under the name of inches
    extraction = extract_pockets(tmp_path / "plate.3mf", units="mm")
    check(extraction)
    (finding,) = [finding for finding in extraction.findings if finding.code == "unit-overridden"]
    assert "the file's own unit is 25.4 mm, --units mm was stated and is used" in finding.text
    agreed = extract_pockets(tmp_path / "plate.3mf", units="in")
    assert "unit-overridden" not in {finding.code for finding in agreed.findings}
    write_3mf(tmp_path / "metres.3mf", block, "meter")
    with pytest.raises(InputError, match="the largest side is 120000 mm in the unit given"):
        extract_pockets(tmp_path / "metres.3mf")


def test_3mf_with_an_unknown_unit(block, tmp_path):
    write_3mf(tmp_path / "plate.3mf", block, "furlong")
    with pytest.raises(InputError, match=r"plate\.3mf, unit: the file states the unit 'furlong'; one of micron, mil"):
        extract_pockets(tmp_path / "plate.3mf")


def test_3mf_without_anything_to_build(block, tmp_path):
    write_3mf(tmp_path / "plate.3mf", block, "millimeter", item="")
    with pytest.raises(InputError, match=r"plate\.3mf.*(holds no triangle|cannot be read)"):
        extract_pockets(tmp_path / "plate.3mf")


def test_scene_with_transforms(block, tmp_path):
    scaled = block.copy()
    scaled.vertices = scaled.vertices / 1000.0
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(np.pi / 2, (0, 0, 1), (0.1, 0.1, 0.0))
    scene.add_geometry(scaled, transform=turn)
    scene.export(tmp_path / "scene.glb")
    check(extract_pockets(tmp_path / "scene.glb"))


def test_inches_said_to_be_millimetres(tmp_path):
    """A plate of 3 m in inches (25.4 mm, ISO 31-1) is as large as a small part in mm; its web of 2 mm gives it away."""
    solid = box(0, 0, 0, 3000, 1500, 60) - box(100, 100, 2, 2900, 1400, 61)
    plate = mesh_of(solid)
    plate.vertices = plate.vertices / 25.4
    plate.export(tmp_path / "plate.stl")
    with pytest.raises(InputError, match=r"the webs are 0.07874 to 0.07874 mm in the unit given \(mm\)"):
        extract_pockets(tmp_path / "plate.stl", units="mm")
    assert extract_pockets(tmp_path / "plate.stl", units="in").part.pockets[0].web == pytest.approx(2.0, abs=1e-5)
    assert extract_pockets(tmp_path / "plate.stl", units="mm", any_size=True).part.pockets[0].web < 0.08


def step_block(folder, scale=1.0, unit="mm"):
    """The block as STEP, in the unit; the figures are millimetres times the scale."""
    w = StepSolid()
    low, top = (box_ring(0.0, 0.0, 120 * scale, 80 * scale, z * scale) for z in (0, 20))
    foot, rim = (rounded_ring(20 * scale, 20 * scale, 100 * scale, 60 * scale, 8 * scale, z * scale) for z in (2, 20))
    w.plane([back(low)], (0, 0, -1))
    w.plane([top, back(rim)], (0, 0, 1))
    w.plane([foot], (0, 0, 1))
    w.sides(low, top, hole=False)
    w.sides(foot, rim, hole=True)
    path = folder / "block.step"
    path.write_text(w.text(unit), encoding="ascii")
    return path


def test_step_in_millimetres(tmp_path):
    extraction = extract_pockets(step_block(tmp_path))
    check(extraction)
    assert extraction.floors[0].corner_radius == pytest.approx(8.0, abs=0.011)
    assert extraction.floors[0].arc_error <= 0.01


def test_step_with_one_face_coloured(tmp_path):
    """A colour is a style of a face or a solid (ISO 10303-46, styled_item) and changes no geometry."""
    w = StepSolid()
    model = step_block(tmp_path)
    w.lines = model.read_text(encoding="ascii").split("DATA;\n")[1].split("\nENDSEC;")[0].split("\n")
    face = next(number for number, text in enumerate(w.lines, 1) if "=ADVANCED_FACE(" in text)
    style = "COLOUR_RGB('',1.,0.,0.)"
    for around in (
        "FILL_AREA_STYLE_COLOUR('',{})",
        "FILL_AREA_STYLE('',({}))",
        "SURFACE_STYLE_FILL_AREA({})",
        "SURFACE_SIDE_STYLE('',({}))",
        "SURFACE_STYLE_USAGE(.BOTH.,{})",
        "PRESENTATION_STYLE_ASSIGNMENT(({}))",
        f"STYLED_ITEM('',({{}}),#{face})",
    ):
        style = around.format(w.add(style))
    item = w.add(style)
    context = next(text.split("=")[0] for text in w.lines if "GEOMETRIC_REPRESENTATION_CONTEXT" in text)
    w.add(f"MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',({item}),{context})")
    head = model.read_text(encoding="ascii").split("DATA;\n")[0]
    body = "DATA;\n" + "\n".join(w.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"
    model.write_text(head + body, encoding="ascii")
    check(extract_pockets(model))


def test_half_a_step_file_is_refused_by_its_own_name(tmp_path):
    model = step_block(tmp_path)
    model.write_text(model.read_text()[: model.stat().st_size // 2])
    with pytest.raises(InputError, match=r"block\.step: cannot be read as STEP \(no solid came of it\)"):
        extract_pockets(model)


def test_step_chord_tolerance_is_used(tmp_path):
    coarse = extract_pockets(step_block(tmp_path), chord_tolerance=0.01)
    fine = extract_pockets(step_block(tmp_path), chord_tolerance=0.0005)
    assert fine.floors[0].arc_error <= 0.0005 < coarse.floors[0].arc_error


def test_step_in_inches_is_converted(tmp_path):
    model = step_block(tmp_path, 0.1, "in")
    extraction = extract_pockets(model)
    check(extraction, scale=2.54)
    assert extraction.part.units == "mm"
    assert extract_pockets(model, units="in").part.units == "in"


@pytest.mark.parametrize(
    ("suffix", "package", "remedy"),
    [("step", "cascadio", r"pip install 'floorfit\[step\]'"), ("3mf", "lxml", r"pip install 'floorfit\[3mf\]'")],
)
def test_missing_extra(tmp_path, monkeypatch, suffix, package, remedy):
    import importlib.util

    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name == package else found(name, *a))
    (tmp_path / f"block.{suffix}").write_bytes(b"something")
    with pytest.raises(MissingExtraError, match=remedy):
        extract_pockets(tmp_path / f"block.{suffix}")


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "glb", "3mf", "step"])
def test_rubbish_is_refused(tmp_path, suffix):
    path = tmp_path / f"rubbish.{suffix}"
    path.write_bytes(b"this is not a model\n" * 20)
    with pytest.raises(InputError, match=rf"rubbish.{suffix}.*(cannot be read|holds no triangle|does not start)"):
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
