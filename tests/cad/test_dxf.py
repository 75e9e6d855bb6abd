"""Drawings made with ezdxf, a general-purpose library; areas by closed forms."""

from __future__ import annotations

import importlib.util

import ezdxf
import numpy as np
import pytest
import shapely
from scipy.interpolate import BSpline

from floorfit.cad import extract_pockets
from floorfit.cad.edits import read_edits
from floorfit.errors import InputError, MissingExtraError
from floorfit.part.part_file import part_from_document, part_to_document

LAYER = "FLOOR Z2.0 WEB1.5"
# A quarter circle as a bulge: tan(90° / 4), DXF reference, group code 42.
QUARTER = np.tan(np.pi / 8)


def drawing(unit=4):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = unit
    return document, document.modelspace()


def rounded(space, x0, y0, x1, y1, r, layer=LAYER):
    points = [
        (x0 + r, y0, 0),
        (x1 - r, y0, QUARTER),
        (x1, y0 + r, 0),
        (x1, y1 - r, QUARTER),
        (x1 - r, y1, 0),
        (x0 + r, y1, QUARTER),
        (x0, y1 - r, 0),
        (x0, y0 + r, QUARTER),
    ]
    return space.add_lwpolyline(points, format="xyb", close=True, dxfattribs={"layer": layer})


def outline(space, x1, y1):
    space.add_lwpolyline([(0, 0), (x1, 0), (x1, y1), (0, y1)], close=True, dxfattribs={"layer": "outline"})


def extract(document, tmp_path, **choices):
    document.saveas(tmp_path / "drawing.dxf")
    return extract_pockets(tmp_path / "drawing.dxf", **choices)


def test_bulges_islands_and_layer_names(tmp_path):
    document, space = drawing()
    outline(space, 400, 200)
    rounded(space, 20, 20, 180, 140, 8)
    space.add_circle((100, 80), 20, dxfattribs={"layer": LAYER})
    rounded(space, 220, 20, 380, 140, 10, "floor_z3,5_web2.0 second")
    space.add_text("not an outline", dxfattribs={"layer": LAYER})
    space.add_line((0, 0), (9, 9), dxfattribs={"layer": "dimensions"})
    extraction = extract(document, tmp_path, chord_tolerance=0.002)
    first, second = extraction.part.pockets
    assert (first.floor_z, first.web, first.underside_z) == (2.0, 1.5, 0.5)
    assert (second.floor_z, second.web) == (3.5, 2.0)
    # Areas in closed form; chords within 0.002 mm take less than a hundredth of a per cent.
    assert first.polygon.area == pytest.approx(160 * 120 - (4 - np.pi) * 64 - np.pi * 400, rel=1e-4)
    assert second.polygon.area == pytest.approx(160 * 120 - (4 - np.pi) * 100, rel=1e-4)
    assert (first.corner_radius, second.corner_radius) == pytest.approx((8.0, 10.0), abs=0.011)
    assert extraction.part.outline == ((0.0, 0.0), (400.0, 0.0), (400.0, 200.0), (0.0, 200.0))
    assert extraction.floors[0].arc_error <= 0.002
    part_from_document(part_to_document(extraction.part))


def test_inch_drawing(tmp_path):
    document, space = drawing(unit=1)
    outline(space, 16, 8)
    rounded(space, 1, 1, 7, 5, 0.5, "FLOOR Z0.08 WEB0.08")
    part = extract(document, tmp_path).part
    assert part.units == "in"
    assert part.pockets[0].web == pytest.approx(0.08 * 25.4)
    assert part.pockets[0].polygon.area == pytest.approx((24 - (4 - np.pi) * 0.25) * 25.4**2, rel=1e-3)


def test_lines_and_arcs_in_any_order_and_direction(tmp_path):
    document, space = drawing()
    pieces = [((20, 20), (120, 20)), ((120, 60), (120, 20)), ((20, 60), (20, 20))]
    for start, end in pieces[::-1]:
        space.add_line(start, end, dxfattribs={"layer": LAYER})
    space.add_arc((70, 60), 50, 0, 180, dxfattribs={"layer": LAYER})
    extraction = extract(document, tmp_path, chord_tolerance=0.002)
    assert extraction.part.pockets[0].polygon.area == pytest.approx(100 * 40 + np.pi * 1250, rel=1e-4)
    assert "no-outline" in {finding.code for finding in extraction.findings}


def test_blocks_with_scale_rotation_and_arrays(tmp_path):
    document, space = drawing()
    block = document.blocks.new("CELL")
    block.add_lwpolyline([(0, 0), (30, 0), (30, 20), (0, 20)], close=True)
    block.add_circle((15, 10), 3)
    insert = space.add_blockref("CELL", (20, 20), dxfattribs={"layer": LAYER, "row_count": 2, "column_count": 3})
    insert.dxf.row_spacing, insert.dxf.column_spacing = 40, 50
    space.add_blockref("CELL", (300, 20), dxfattribs={"layer": LAYER, "rotation": 90, "xscale": 2, "yscale": 2})
    inner = document.blocks.new("NEST")
    inner.add_blockref("CELL", (0, 0))
    space.add_blockref("NEST", (320, 20), dxfattribs={"layer": LAYER})
    part = extract(document, tmp_path, chord_tolerance=0.001).part
    areas = sorted(pocket.polygon.area for pocket in part.pockets)
    single = 600 - 9 * np.pi
    assert areas == pytest.approx([single] * 7 + [4 * single], rel=1e-4)


def test_splines_and_ellipses(tmp_path):
    document, space = drawing()
    space.add_ellipse((100, 100), (60, 0), 0.5, dxfattribs={"layer": LAYER})
    # A rational quadratic B-spline of nine control points is an exact circle (Piegl and Tiller 1997, section 7.5).
    half = np.sqrt(0.5)
    square = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    spline = space.add_spline(degree=2, dxfattribs={"layer": LAYER})
    spline.control_points = [(300 + 40 * x, 100 + 40 * y, 0) for x, y in square]
    spline.knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
    spline.weights = [1, half, 1, half, 1, half, 1, half, 1]
    part = extract(document, tmp_path, chord_tolerance=0.002).part
    assert [pocket.polygon.area for pocket in part.pockets] == pytest.approx([np.pi * 1800, np.pi * 1600], rel=1e-4)


def test_a_spline_that_closes_smoothly(tmp_path):
    # Equal knots and the first control points once more behind the last: C. de Boor, A Practical Guide to Splines,
    # 1978, chapter X (periodic splines). Truth: scipy.interpolate.BSpline over the knots 3 to n.
    turns = np.arange(10) * np.pi / 5
    corners = [
        (150 + (90 - 30 * (i % 2)) * np.cos(a), 150 + (90 - 30 * (i % 2)) * np.sin(a)) for i, a in enumerate(turns)
    ]
    document, space = drawing()
    spline = space.add_spline(dxfattribs={"layer": LAYER})
    spline.set_closed([(x, y, 0) for x, y in corners], degree=3)
    exact = BSpline(np.arange(17), np.array(corners + corners[:3]), 3)(np.linspace(3, 13, 20_001))
    part = extract(document, tmp_path, chord_tolerance=0.002).part
    assert shapely.hausdorff_distance(part.pockets[0].polygon.exterior, shapely.LineString(exact)) < 0.004


def test_table_of_layers(tmp_path):
    document, space = drawing()
    outline(space, 400, 200)
    rounded(space, 20, 20, 180, 140, 8, "Tasche A")
    (tmp_path / "layers.csv").write_text(
        "# invented\nlayer;floor_z;web\ntasche a;2,5;2,0\nOUTLINE;;\n", encoding="utf-8"
    )
    extraction = extract(document, tmp_path, layers=tmp_path / "layers.csv")
    assert (extraction.part.pockets[0].floor_z, extraction.part.pockets[0].web) == (2.5, 2.0)
    # The table is for other names: what lies on OUTLINE is the part's outline whether it names that or not.
    (tmp_path / "layers.csv").write_text("layer,floor_z,web\nTasche A,2.5,2.0\n", encoding="utf-8")
    short = extract(document, tmp_path, layers=tmp_path / "layers.csv")
    assert short.part.outline == extraction.part.outline == ((0, 0), (400, 0), (400, 200), (0, 200))
    (tmp_path / "layers.csv").write_text("layer,floor_z,web\nmissing,1,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="layer missing: the table names it, the drawing has no outline on it"):
        extract(document, tmp_path, layers=tmp_path / "layers.csv")


def test_every_open_or_crossing_outline_is_named(tmp_path):
    document, space = drawing()
    space.add_lwpolyline([(0, 0), (90, 0), (90, 50)], dxfattribs={"layer": LAYER})
    other = "FLOOR Z3 WEB3"
    space.add_lwpolyline([(0, 0), (90, 90), (90, 0), (0, 90)], close=True, dxfattribs={"layer": other})
    with pytest.raises(InputError, match="does not close") as caught:
        extract(document, tmp_path)
    assert [finding.place for finding in caught.value.findings] == [f"layer {LAYER}"] * 2 + [f"layer {other}"]
    assert "crosses itself" in caught.value.findings[-1].text


def test_two_outlines_that_cross(tmp_path):
    document, space = drawing()
    rounded(space, 0, 0, 90, 90, 5)
    rounded(space, 50, 50, 150, 150, 5)
    with pytest.raises(InputError, match="two outlines cross near"):
        extract(document, tmp_path)


def test_unit_must_be_known(tmp_path):
    document, space = drawing(unit=0)
    rounded(space, 0, 0, 90, 90, 5)
    with pytest.raises(InputError, match=r"states no unit \(\$INSUNITS"):
        extract(document, tmp_path)
    assert len(extract(document, tmp_path, units="mm").part.pockets) == 1
    document.header["$INSUNITS"] = 6
    with pytest.raises(InputError, match="the largest side is 90000 mm"):
        extract(document, tmp_path)
    overridden = extract(document, tmp_path, units="mm")
    assert "unit-overridden" in {finding.code for finding in overridden.findings}


def test_nothing_named(tmp_path):
    document, space = drawing()
    rounded(space, 0, 0, 90, 90, 5, "0")
    with pytest.raises(InputError, match="no closed outline on a layer named FLOOR Z"):
        extract(document, tmp_path)


@pytest.mark.parametrize("content", [b"rubbish\n" * 9, b"0\nSECTION\n2\nENTITIES\n0\nLINE\n8\n"])
def test_rubbish(tmp_path, content):
    (tmp_path / "bad.dxf").write_bytes(content)
    with pytest.raises(InputError, match=r"bad\.dxf"):
        extract_pockets(tmp_path / "bad.dxf", units="mm")


@pytest.mark.parametrize(
    "choice", [{"side": "bottom"}, {"up": (1.0, 0.0, 0.0)}, {"x_axis": (0, 1, 0)}, {"body": "1"}, {"boundary": "wall"}]
)
def test_what_a_drawing_cannot_follow_is_refused(choice, tmp_path):
    document, space = drawing()
    rounded(space, 0, 0, 90, 90, 5)
    with pytest.raises(InputError, match=f"settings, {next(iter(choice))}: this is for models"):
        extract(document, tmp_path, **choice)


def test_edits_of_which_floors_there_are_are_refused_for_a_drawing(tmp_path):
    document, space = drawing()
    rounded(space, 0, 0, 90, 90, 5)
    (tmp_path / "edits.csv").write_text("action,where,value\ndrop,50 50,\nrename,50 50,A\n")
    with pytest.raises(InputError, match="drop: a drawing has the floors that are drawn"):
        extract(document, tmp_path, edits=read_edits(tmp_path / "edits.csv"))


def test_origin_of_a_drawing_is_in_its_own_unit(tmp_path):
    # 1 in = 25.4 mm (NIST SP 811, appendix B.8).
    document, space = drawing(unit=1)
    outline(space, 8, 6)
    rounded(space, 1, 1, 5, 4, 0.3, "FLOOR Z1.25 WEB0.08")
    pocket = extract(document, tmp_path, origin=(1.0, 2.0, 1.25)).part.pockets[0]
    assert pocket.polygon.bounds == pytest.approx((0.0, -25.4, 4 * 25.4, 2 * 25.4))
    assert (pocket.floor_z, pocket.underside_z, pocket.web) == pytest.approx((0.0, -0.08 * 25.4, 0.08 * 25.4))


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        extract_pockets(tmp_path / "none.dxf")


def test_missing_extra(tmp_path, monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name == "ezdxf" else found(name, *a))
    with pytest.raises(MissingExtraError, match=r"pip install 'floorfit\[dxf\]'"):
        extract_pockets(tmp_path / "drawing.dxf")


def test_a_spline_that_is_none_is_named(tmp_path):
    document, space = drawing()
    rounded(space, 0, 0, 90, 90, 5)
    spline = space.add_spline(degree=3, dxfattribs={"layer": LAYER})
    spline.control_points = [(0, 0, 0), (1, 1, 0), (2, 0, 0), (3, 1, 0), (4, 0, 0)]
    spline.knots = [0, 0, 1]
    with pytest.raises(InputError, match=f"layer {LAYER}: a SPLINE cannot be read"):
        extract(document, tmp_path)


def nested_blocks(space, document, **scales):
    inner, outer = document.blocks.new("inner"), document.blocks.new("outer")
    rounded(inner, 0, 0, 100, 60, 8)
    inner.add_mtext("a note", dxfattribs={"insert": (10, 10), "char_height": 3.0})
    outer.add_blockref("inner", (10, 0), dxfattribs={"xscale": 2.0, "yscale": 2.0, **scales})
    space.add_blockref("outer", (20, 20), dxfattribs={"xscale": 0.5, "yscale": 0.5, **scales})


def test_blocks_with_a_z_scale_of_zero(tmp_path):
    """Plan programs write them; half of twice is the block's own size, at 20 + 0.5 · 10."""
    document, space = drawing()
    nested_blocks(space, document, zscale=0.0)
    (pocket,) = extract(document, tmp_path, chord_tolerance=0.001).part.pockets
    assert pocket.polygon.bounds == pytest.approx((25.0, 20.0, 125.0, 80.0), abs=1e-6)
    assert pocket.polygon.area == pytest.approx(6000 - (4 - np.pi) * 64, rel=1e-4)


def test_block_that_cannot_be_worked_out(tmp_path, monkeypatch):
    """The library raises where a transformation has no meaning."""
    document, space = drawing()
    nested_blocks(space, document)

    def fail(_insert):
        raise ZeroDivisionError("float division")

    monkeypatch.setattr(ezdxf.entities.Insert, "virtual_entities", fail)
    with pytest.raises(InputError, match=r"block 'outer' is inserted in a way that cannot be worked out .* Explode it"):
        extract(document, tmp_path)


def test_layers_are_named_where_none_is_a_floor(tmp_path):
    document, space = drawing()
    rounded(space, 20, 20, 180, 140, 8, "Taschen")
    with pytest.raises(InputError, match=r"The drawing's layers: Taschen\. Name the layers so, or give --layers"):
        extract(document, tmp_path)
    rounded(space, 0, 0, 200, 160, 8, "OUTLINE")
    with pytest.raises(InputError, match=r"The drawing's layers: OUTLINE, Taschen\. Name the layers so"):
        extract(document, tmp_path)


def test_floor_that_no_part_can_hold(tmp_path):
    """The circle of radius 50 touches all four sides of the square of 100: four pieces of floor, not one."""
    document, space = drawing()
    space.add_lwpolyline([(0, 0), (100, 0), (100, 100), (0, 100)], close=True, dxfattribs={"layer": LAYER})
    space.add_circle((50, 50), 50, dxfattribs={"layer": LAYER})
    with pytest.raises(InputError, match=r"floor at \(0, 0, 2\): was recognised, but no part can hold it: an island"):
        extract(document, tmp_path)
