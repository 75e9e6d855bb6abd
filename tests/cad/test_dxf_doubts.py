"""What a drawing leaves open is said with exit 1, or refused. Drawings are made with ezdxf, a public library."""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest
import shapely

from floorfit.cad import extract_pockets
from floorfit.errors import InputError

LAYER = "FLOOR Z2.0 WEB1.5"


def sheet():
    """A plate of 400 x 200 mm with one floor of 160 x 160 mm on its left."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    ring(document.modelspace(), 0, 0, 400, 200, "OUTLINE")
    ring(document.modelspace(), 20, 20, 180, 180)
    return document


def ring(space, x0, y0, x1, y1, layer=LAYER, **more):
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer, **more})


def extract(document, tmp_path, **choices):
    document.saveas(tmp_path / "drawing.dxf")
    return extract_pockets(tmp_path / "drawing.dxf", **choices)


def on_frozen_layer(document):
    ring(document.modelspace(), 220, 20, 380, 180, "FLOOR Z3 WEB3")
    document.layers.add("FLOOR Z3 WEB3").freeze()


def on_layer_that_is_off(document):
    ring(document.modelspace(), 220, 20, 380, 180, "FLOOR Z3 WEB3")
    document.layers.add("FLOOR Z3 WEB3").off()


def invisible(document):
    ring(document.modelspace(), 220, 20, 380, 180, invisible=1)


def in_a_frozen_block(document):
    ring(document.blocks.new("BAY"), 0, 0, 160, 160)
    document.layers.add("OLD").freeze()
    document.modelspace().add_blockref("BAY", (220, 20), dxfattribs={"layer": "OLD"})


def block_of_another_file(document):
    document.add_xref_def("other.dwg", "OTHER")
    document.modelspace().add_blockref("OTHER", (220, 20))


def filled_by_a_hatch_alone(document):
    hatch = document.modelspace().add_hatch(dxfattribs={"layer": LAYER})
    hatch.paths.add_polyline_path([(60, 60), (100, 60), (100, 100), (60, 100)], is_closed=True)


def face_of_a_solid(document):
    document.modelspace().add_3dface([(60, 60), (100, 60), (100, 100), (60, 100)], dxfattribs={"layer": LAYER})


def window_on_the_outline_layer(document):
    ring(document.modelspace(), 60, 60, 100, 100, "OUTLINE")


def drawn_at_half_size(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), override={"dimlfac": 2.0}).render()


def length_typed_over(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), text="320 ±0.1").render()


def outside_the_part(document):
    ring(document.modelspace(), 220, 320, 380, 480)


def tilted_polyline(document):
    """In place of the floor: seen from above it is as large, but it rises by 5 mm."""
    corners = [(20, 20, 0), (180, 20, 5), (180, 180, 5), (20, 180, 0)]
    document.modelspace().query(f"LWPOLYLINE[layer=='{LAYER}']").first.destroy()
    document.modelspace().add_polyline3d(corners, close=True, dxfattribs={"layer": LAYER})


def tilted_circle(document):
    """An island whose plane leans by 30 degrees: it is an ellipse from above."""
    lean = (0.5, 0.0, np.sqrt(0.75))
    document.modelspace().add_circle((100, 100), 20, dxfattribs={"layer": LAYER, "extrusion": lean})


def another_part_on_the_sheet(document):
    ring(document.modelspace(), 500, 0, 700, 200, "OUTLINE")


OPEN = {
    tilted_polyline: "not-level",
    tilted_circle: "not-level",
    another_part_on_the_sheet: "outlines",
    on_frozen_layer: "hidden",
    on_layer_that_is_off: "hidden",
    invisible: "hidden",
    in_a_frozen_block: "hidden",
    block_of_another_file: "external",
    filled_by_a_hatch_alone: "hatch",
    face_of_a_solid: "not-an-outline",
    window_on_the_outline_layer: "window",
    drawn_at_half_size: "not-to-scale",
    length_typed_over: "not-to-scale",
    outside_the_part: "unsound",
}


@pytest.mark.parametrize("change", OPEN, ids=lambda change: change.__name__)
def test_what_is_left_open_is_said(change, tmp_path):
    document = sheet()
    change(document)
    extraction = extract(document, tmp_path)
    codes = [item.code for item in (*extraction.findings, *extraction.rejected)]
    assert OPEN[change] in codes
    assert extraction.open_questions
    assert len(extraction.part.pockets) == 1


@pytest.mark.parametrize(
    "name",
    ["FLOOR Z3", "floor z3 web2mm", "BAY Z3 WEB2", "ISLANDS", "Inseln"],
)
def test_a_layer_that_seems_to_be_meant_is_not_passed_over(name, tmp_path):
    document = sheet()
    ring(document.modelspace(), 220, 20, 380, 180, name)
    extraction = extract(document, tmp_path)
    assert [f.place for f in extraction.findings if f.code == "layer-name"] == [f"layer {name}"]
    assert extraction.open_questions


def test_good_drawings_leave_nothing_open(tmp_path):
    """Hatches within their outlines, dimensions to scale, words, centre lines without end, other frozen layers.

    Windows; an island at a Z of its own is seen from above as well.
    """
    document = sheet()
    space = document.modelspace()
    corners = [(90, 90, 5), (110, 90, 5), (110, 110, 5), (90, 110, 5)]
    space.add_polyline3d(corners, close=True, dxfattribs={"layer": LAYER})
    ring(space, 220, 20, 380, 180, "OUTLINE")
    ring(space, 290, 90, 310, 110, "OUTLINE")
    hatch = space.add_hatch(dxfattribs={"layer": LAYER})
    hatch.paths.add_polyline_path([(20, 20), (180, 20), (180, 180), (20, 180)], is_closed=True)
    space.add_linear_dim((20, 10), (20, 20), (180, 20)).render()
    space.add_linear_dim((20, 10), (20, 20), (180, 20), text="160 +0.1").render()
    space.add_linear_dim((20, 310), (20, 320), (180, 320), override={"dimlfac": 0.5}).render()  # a detail beside it
    inches, of_maps = 1 / 25.4, 100.0  # the latter is that of ezdxf's own style, for metres shown in centimetres
    for factor in (inches, of_maps):
        space.add_linear_dim((20, 10), (20, 20), (180, 20), override={"dimlfac": factor}).render()
    space.add_xline((100, 100), (1, 0), dxfattribs={"layer": LAYER})
    ring(space, 500, 0, 600, 100, "NOTES")
    document.layers.add("NOTES").freeze()
    assert extract(document, tmp_path).open_questions == 0


@pytest.mark.parametrize("inset", [0.0, 0.02])
def test_an_outline_drawn_twice_is_refused(inset, tmp_path):
    """Circles: their ends meet in themselves, so that no corner has four lines."""
    document = sheet()
    for radius in (50.0, 50.0 - inset):
        document.modelspace().add_circle((300, 100), radius, dxfattribs={"layer": LAYER})
    with pytest.raises(InputError, match="drawn twice"):
        extract(document, tmp_path)


def test_a_floor_drawn_inside_another_is_a_step(tmp_path):
    document = sheet()
    space = document.modelspace()
    ring(space, 60, 60, 140, 140, "FLOOR Z3.0 WEB2.5")
    ring(space, 90, 90, 110, 110, "FLOOR Z4.0 WEB3.5")
    extraction = extract(document, tmp_path)
    assert extraction.open_questions == 0
    areas = {pocket.floor_z: pocket.polygon.area for pocket in extraction.part.pockets}
    assert areas == pytest.approx({2.0: 160**2 - 80**2, 3.0: 80**2 - 20**2, 4.0: 20**2})


def test_a_unit_that_makes_all_webs_absurd_is_questioned(tmp_path):
    """A drawing in mm whose header says inches: 400 in are still a size that a plate may have."""
    document = sheet()
    document.header["$INSUNITS"] = 1
    with pytest.raises(InputError, match=r"the webs are 38\.1 to 38\.1 mm in the unit given \(in\)"):
        extract(document, tmp_path)
    assert extract(document, tmp_path, units="mm").part.pockets[0].web == pytest.approx(1.5)
    assert extract(document, tmp_path, any_size=True).part.pockets[0].web == pytest.approx(38.1)


@pytest.mark.parametrize(("code", "layer"), [(5, LAYER), (4, "FLOOR Z0.3 WEB0.3")])
def test_a_unit_that_makes_all_webs_unusual_is_asked_about(code, layer, tmp_path):
    """Drawn in mm and said to be in cm, a web of 1.5 is 15 mm; drawn in cm and said to be in mm, one of 3 mm is 0.3."""
    document = sheet()
    document.header["$INSUNITS"] = code
    (floor,) = document.modelspace().query(f'LWPOLYLINE[layer=="{LAYER}"]')
    floor.dxf.layer = layer
    extraction = extract(document, tmp_path)
    assert [finding.code for finding in extraction.findings if finding.code == "unit"] == ["unit"]
    assert extraction.open_questions == 1
    unit = "cm" if code == 5 else "mm"
    assert not extract(document, tmp_path, units=unit).open_questions
    assert not extract(document, tmp_path, any_size=True).open_questions


def test_a_segment_shorter_than_a_gap_does_not_matter(tmp_path):
    document = sheet()
    corners = [(220, 20), (380, 20), (380, 180), (379.996, 180), (220, 180)]
    document.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": LAYER})
    # Ends within 0.01 mm are one corner: of 160 mm of side.
    assert extract(document, tmp_path).part.pockets[1].polygon.area == pytest.approx(160**2, abs=0.01 * 160)


def test_a_polyline_fitted_with_a_spline_is_its_fitted_points(tmp_path):
    """Vertex flags of the DXF reference, group code 70: 16 a control point of the frame, 8 a point of the curve."""
    document = sheet()
    line = document.modelspace().add_polyline2d([], close=True, dxfattribs={"layer": LAYER})
    angles = np.linspace(0.0, 2 * np.pi, 41)[:-1]
    curve = np.column_stack([300 + 60 * np.cos(angles), 100 + 50 * np.sin(angles)])
    line.append_vertices([(230, 30), (370, 30), (370, 170), (230, 170)], dxfattribs={"flags": 16})
    line.append_vertices(curve.tolist(), dxfattribs={"flags": 8})
    line.dxf.flags = 1 | 4
    assert extract(document, tmp_path).part.pockets[1].polygon.area == pytest.approx(shapely.Polygon(curve).area)


def test_a_step_may_share_walls_with_the_floor_it_is_drawn_in(tmp_path):
    document = sheet()
    ring(document.modelspace(), 100, 20, 180, 180, "FLOOR Z3.0 WEB2.5")
    extraction = extract(document, tmp_path)
    assert extraction.open_questions == 0
    assert [pocket.polygon.area for pocket in extraction.part.pockets] == pytest.approx([80 * 160] * 2)


def test_a_line_type_that_is_not_defined_does_not_matter(tmp_path):
    """It ended in a traceback."""
    document = sheet()
    ring(document.modelspace(), 220, 20, 380, 180, linetype="DASHED7")
    assert len(extract(document, tmp_path).part.pockets) == 2


def negative_factor_of_paper(document):
    """DIMLFAC below zero counts in paper space only (DXF reference, from memory)."""
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), override={"dimlfac": -2.0}).render()


def half_a_percent_of_rounding(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), text="160.8").render()


def decimal_comma(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), text="160,0").render()


def words_on_a_dimension(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), text="4 off").render()


def radius_on_a_dimension(document):
    document.modelspace().add_radius_dim((100, 100), radius=50, angle=0, text="R8").render()


def angle_on_a_dimension(document):
    """Two edges at 90 degrees, and a number typed that is no length."""
    edges = ((20, 20), (180, 20)), ((20, 20), (20, 180))
    document.modelspace().add_angular_dim_2l((60, 60), *edges, text="45").render()


def detail_near_the_part(document):
    """A detail at twice the size, 50 mm beside the plate."""
    document.modelspace().add_linear_dim((450, 10), (450, 20), (490, 20), text="20").render()


def hatch_of_an_island(document):
    ring(document.modelspace(), 60, 60, 100, 100)
    hatch = document.modelspace().add_hatch(dxfattribs={"layer": LAYER})
    hatch.paths.add_polyline_path([(60, 60), (100, 60), (100, 100), (60, 100)], is_closed=True)


CLOSED = (
    negative_factor_of_paper,
    half_a_percent_of_rounding,
    decimal_comma,
    words_on_a_dimension,
    radius_on_a_dimension,
    angle_on_a_dimension,
    detail_near_the_part,
    hatch_of_an_island,
)


@pytest.mark.parametrize("change", CLOSED, ids=lambda change: change.__name__)
def test_what_leaves_nothing_open(change, tmp_path):
    document = sheet()
    change(document)
    assert extract(document, tmp_path).open_questions == 0


def along_the_edge_of_the_part(document):
    document.modelspace().add_linear_dim((0, -20), (0, 0), (400, 0), text="200").render()


def aligned(document):
    """Type 1 of group code 70 (DXF reference, DIMENSION); 32 says that its block is its own."""
    drawn = document.modelspace().add_aligned_dim((20, 20), (180, 180), 10, text="113")
    drawn.dimension.dxf.dimtype = 1 | 32
    drawn.render()


def two_percent_off(document):
    document.modelspace().add_linear_dim((20, 10), (20, 20), (180, 20), text="163.2").render()


def hatch_of_a_tenth_of_a_floor(document):
    """40 x 60 mm of a floor of 160 x 160: an island that nobody drew."""
    hatch = document.modelspace().add_hatch(dxfattribs={"layer": LAYER})
    hatch.paths.add_polyline_path([(60, 60), (100, 60), (100, 120), (60, 120)], is_closed=True)


@pytest.mark.parametrize("unit", [1, 4])
@pytest.mark.parametrize("change", [along_the_edge_of_the_part, aligned, two_percent_off, hatch_of_a_tenth_of_a_floor])
def test_what_is_drawn_otherwise_than_said_is_told_in_mm_and_inches(change, unit, tmp_path):
    """The same sheet with its numbers in inches: a part of 10.16 m, whose webs are as absurd as the sheet is large."""
    document = sheet()
    document.header["$INSUNITS"] = unit
    change(document)
    found = {one.code for one in extract(document, tmp_path, any_size=True).findings}
    assert found & {"not-to-scale", "hatch"}


def test_a_detail_beside_a_part_in_inches_is_none_of_its_dimensions(tmp_path):
    document = sheet()
    document.header["$INSUNITS"] = 1
    detail_near_the_part(document)
    assert "not-to-scale" not in {one.code for one in extract(document, tmp_path, any_size=True).findings}


@pytest.mark.parametrize(("unit", "side", "shown"), [(1, 12.0, 25.4), (5, 50.0, 10.0), (4, 1200.0, 1 / 25.4)])
def test_a_length_in_another_unit_is_the_same_length(unit, side, shown, tmp_path):
    """Millimetres on sheets in inches and centimetres, inches on one in mm ($INSUNITS 1, 5 and 4: DXF reference)."""
    for factor in (shown, 2 * shown):
        document = ezdxf.new("R2010")
        document.header["$INSUNITS"] = unit
        space = document.modelspace()
        ring(space, 0, 0, side, side, "OUTLINE")
        ring(space, 0.1 * side, 0.1 * side, 0.9 * side, 0.9 * side)
        space.add_linear_dim((0, 0), (0, 0), (side, 0), override={"dimlfac": factor}).render()
        found = {one.code for one in extract(document, tmp_path, any_size=True).findings}
        assert ("not-to-scale" in found) is (factor == 2 * shown)


def test_a_layer_that_is_not_named_is_left_where_layers_are_stated(tmp_path):
    """What the layers mean is then known, and a name that looks like a floor's is none of them."""
    document = sheet()
    ring(document.modelspace(), 220, 20, 380, 180, "FLOOR OLD Z3")
    table = tmp_path / "layers.csv"
    table.write_text(f"layer,floor_z,web\n{LAYER},2.0,1.5\nOUTLINE,,\n", encoding="utf-8")
    assert extract(document, tmp_path).open_questions == 1
    assert extract(document, tmp_path, layers=table).open_questions == 0
