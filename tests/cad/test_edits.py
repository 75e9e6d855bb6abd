"""Edit lists and lists of ids: what a user changes after a look at the picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cad_plates import box, mesh_of, round_pocket, sloped_pocket
from manifold3d import Manifold

from floorfit.cad import extract_pockets
from floorfit.cad.edits import read_edits, read_id_list
from floorfit.errors import InputError


@pytest.fixture(scope="module")
def mesh():
    """Two pockets, a face that is too steep (8 degrees), two planes that meet in a kink, and a spotface."""
    solid = box(0, 0, 0, 600, 200, 40) - round_pocket(20, 20, 180, 180, 8, 2, 41, 0.01)
    solid -= sloped_pocket(200, 20, 280, 180, 15.0, (np.tan(np.radians(8.0)), 0.0), 41)
    ramp = [(x, y, z) for y in (20, 180) for x, z in ((360, 3), (440, 5), (360, 41), (440, 41))]
    solid -= box(300, 20, 3, 360, 180, 41) + Manifold.hull_points(np.array(ramp, float))
    return mesh_of(solid - Manifold.cylinder(5, 20, 20, 128).translate((500, 100, 37)))


def edited(mesh, tmp_path, *lines):
    path = tmp_path / "edits.csv"
    path.write_text("action,where,value\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return extract_pockets(mesh, units="mm", edits=read_edits(path))


def floors_of(extraction):
    return [(floor.id, round(floor.floor_z, 3)) for floor in extraction.floors]


def test_without_edits(mesh):
    extraction = extract_pockets(mesh, units="mm")
    assert floors_of(extraction) == [("P01", 2.0), ("P02", 3.0), ("P03", 4.0)]
    assert sorted(face.code for face in extraction.rejected) == ["no-wall", "spotface", "too-steep"]
    assert [finding.code for finding in extraction.findings if finding.code == "kink"] == ["kink"]
    # A kink, and a walled face that was too steep; a spotface is named and settled.
    assert extraction.open_questions == 2


def test_take_and_drop(mesh, tmp_path):
    extraction = edited(mesh, tmp_path, "take,240 100,", "take,500 100,", "drop,100 100,")
    assert floors_of(extraction) == [("P01", 15.0), ("P02", 3.0), ("P03", 4.0), ("P04", 37.0)]
    dropped = [face for face in extraction.rejected if face.code == "dropped"]
    assert [face.reason for face in dropped] == ["dropped by edits.csv, line 4"]
    # The floor is a plane of 8 degrees over a level underside.
    assert extraction.part.pockets[0].slope == pytest.approx((np.tan(np.radians(8.0)), 0.0), abs=1e-9)


def test_merge_makes_one_floor_of_two_planes(mesh, tmp_path):
    extraction = edited(mesh, tmp_path, "merge,330 100,400 100")
    pocket = extraction.part.pockets[1]
    assert len(extraction.floors) == 2
    assert pocket.polygon.area == pytest.approx(140 * 160, rel=1e-6)
    x = np.array([310.0, 350.0, 380.0, 430.0])
    truth = np.where(x < 360.0, 3.0, 3.0 + (x - 360.0) * 2.0 / 80.0)  # the ramp by construction
    assert pocket.floor_at(x, np.full(4, 100.0)) == pytest.approx(truth, abs=1e-5)
    assert not [finding for finding in extraction.findings if finding.code == "kink"]


def test_split_along_a_line(mesh, tmp_path):
    extraction = edited(mesh, tmp_path, "split,100 100,90 0 90 200")
    areas = sorted(floor.area for floor in extraction.floors[:2])
    corners = (4 - np.pi) * 64 / 2  # each half keeps two rounded corners
    assert areas == pytest.approx([70 * 160 - corners, 90 * 160 - corners], rel=1e-3)


def test_rename_tolerance_stock_and_web(mesh, tmp_path):
    lines = ["rename,100 100,BAY-1", "tolerance,P02,-0.05 0.2", "stock,all,0.5", "web,400 100 4,1.5"]
    one, two, three = edited(mesh, tmp_path, *lines).part.pockets
    assert (one.id, two.id) == ("BAY-1", "P02")
    assert (two.tolerance.lower, two.tolerance.upper) == (-0.05, 0.2)
    assert [pocket.finish_stock for pocket in (one, two, three)] == [0.5] * 3
    # A web stated for a sloped floor is constant: its underside is parallel.
    assert three.nominal_web([361.0, 439.0], [100.0, 100.0]) == pytest.approx([1.5, 1.5])


def test_edits_hold_for_another_tessellation(tmp_path):
    lines = ["drop,250 100,", "rename,100 100,A"]
    for chord in (0.1, 0.003):
        solid = box(0, 0, 0, 400, 200, 40) - round_pocket(20, 20, 180, 180, 8, 2, 41, chord)
        solid -= round_pocket(200, 20, 290, 180, 8, 3, 41, chord) + round_pocket(310, 20, 380, 180, 8, 4, 41, chord)
        assert floors_of(edited(mesh_of(solid), tmp_path, *lines)) == [("A", 2.0), ("P02", 4.0)]


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_list_that_a_spreadsheet_saved_again_says_the_same(mark, tmp_path):
    # Common practice of spreadsheets, no source: semicolons or tabs, decimal commas, columns moved, empty columns and
    # rows, a byte order mark, comments in quotes.
    plain, saved = tmp_path / "edits.csv", tmp_path / "saved.csv"
    plain.write_text("action,where,value\ndrop,250.5 100\nrename,100 100,A-1\ntolerance,all,-0.1 0.2\nweb,P02,1.5\n")
    rows = ["value;action;where;;", '"# for A; B";;;;', ";drop;250,5 100;;", ";;;;", "A-1;rename;100 100;;"]
    rows += ["-0,1 0,2;tolerance;all;;", "1,5;web;P02"]
    saved.write_bytes(b"\xef\xbb\xbf" + "\r\n".join(rows).replace(";", mark).encode())
    wanted, got = read_edits(plain), read_edits(saved)
    assert [replace(edit, where="") for edit in got] == [replace(edit, where="") for edit in wanted]
    saved.write_text("id;;\nA;;\nB;;\n")
    assert read_id_list(saved) == (("A", ()), ("B", ()))


@pytest.mark.parametrize(
    "name", ["02. Mrz", "2-Mar", "Mar-24", "2024-03-02", "02.03.2024", "3/2/2024", "1,00E+03", "1E+03"]
)
def test_ids_of_which_a_spreadsheet_made_dates_or_powers_are_refused(name, tmp_path):
    path = tmp_path / "table.csv"
    for text, read in (
        (f"action;where;value\nrename;100 100;{name}\n", read_edits),
        (f"id;x;y\n{name};1;2\n", read_id_list),
    ):
        path.write_text(text)
        with pytest.raises(InputError, match="which a spreadsheet makes of ids"):
            read(path)


@pytest.mark.parametrize("name", ["3-2", "1.2", "RIB-02", "12 BAY", "MAR3", "1-2-3", "1E3", "0012"])
def test_ids_as_people_write_them_are_taken(name, tmp_path):
    path = tmp_path / "ids.csv"
    path.write_text(f"id\n{name}\n")
    assert read_id_list(path) == ((name, ()),)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("keep,100 100,", "the action 'keep' came"),
        ("drop,P01,", "where 'P01' came, a place on the floor was expected"),
        ("drop,1,", "where '1' came"),
        ("split,100 100,1 2", "the value '1 2' of split came"),
        ("tolerance,P01,0.1 -0.1", "the lower limit first was expected"),
        ("stock,P01,-1", "0 or more was expected"),
        ("drop,5 5,", "drop: no floor lies at 5 5"),
        ("take,100 100,", "take: no face that was not taken lies at 100 100"),
        ("rename,P09,X", "rename: no pocket is called or lies at P09"),
        ("rename,P01,P02", "two floors have this id"),
        ("split,100 100,90 50 90 60", "does not cross the floor from edge to edge"),
        ("merge,100 100,330 100", "the floors do not touch"),
    ],
)
def test_edits_that_cannot_be(mesh, tmp_path, line, words):
    with pytest.raises(InputError, match=words):
        edited(mesh, tmp_path, line)


def test_ids_from_a_list(mesh, tmp_path):
    path = tmp_path / "ids.csv"
    path.write_text("id\nA\nB\nC\n", encoding="utf-8")
    named = extract_pockets(mesh, units="mm", ids=read_id_list(path))
    assert [floor.id for floor in named.floors] == ["A", "B", "C"]
    path.write_text("id,x,y\nramp,400,100\n", encoding="utf-8")
    placed = extract_pockets(mesh, units="mm", ids=read_id_list(path))
    assert [floor.id for floor in placed.floors] == ["P01", "P02", "ramp"]
    path.write_text("id\nA\nB\n", encoding="utf-8")
    with pytest.raises(InputError, match="lists 2 ids, 3 floors were found"):
        extract_pockets(mesh, units="mm", ids=read_id_list(path))


@pytest.mark.parametrize(("units", "mm"), [("mm", 1.0), ("m", 1000.0), ("in", 25.4)])
def test_origin_is_a_point_in_the_models_own_unit(mesh, units, mm):
    """Of a model in metres it was taken in millimetres."""
    moved = mesh.copy()
    moved.vertices = mesh.vertices / mm + [2.0, 3.0, 4.0]
    got, truth = extract_pockets(moved, units=units, origin=(2.0, 3.0, 4.0)), extract_pockets(mesh, units="mm")
    for one, two in zip(got.part.pockets, truth.part.pockets, strict=True):
        assert np.array(one.boundary) == pytest.approx(np.array(two.boundary), abs=2e-4)
        assert one.floor_z == pytest.approx(two.floor_z, abs=1e-5)


def test_origin_and_x_axis(mesh):
    """The model moved and turned by a quarter, taken back by --origin and --x-axis."""
    moved = mesh.copy()
    moved.vertices = mesh.vertices[:, [1, 0, 2]] * [-1.0, 1.0, 1.0] + [1000.0, 50.0, -7.0]
    truth = extract_pockets(mesh, units="mm").part
    got = extract_pockets(moved, units="mm", origin=(1000.0, 50.0, -7.0), x_axis=(0.0, 1.0, 0.0)).part
    for one, two in zip(got.pockets, truth.pockets, strict=True):
        assert np.array(one.boundary) == pytest.approx(np.array(two.boundary), abs=2e-4)
        assert one.floor_z == pytest.approx(two.floor_z, abs=1e-5)
    with pytest.raises(InputError, match="a direction that is not along up was expected"):
        extract_pockets(mesh, units="mm", x_axis=(0.0, 0.0, 1.0))


def test_direction_is_proposed(mesh):
    lying = mesh.copy()
    lying.vertices = mesh.vertices[:, [0, 2, 1]] * [1.0, -1.0, 1.0]
    with pytest.raises(InputError, match="look along --up 0,-1,0"):
        extract_pockets(lying, units="mm")


def test_rounded_direction_is_noticed(mesh):
    """Turned by 20 degrees about Y; sin 20° and cos 20° given with three digits lean by up to 0.0005."""
    turned = mesh.copy()
    angle = np.radians(20.0)
    c, s = np.cos(angle), np.sin(angle)
    turned.vertices = mesh.vertices @ np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]).T
    level = [face.code for face in extract_pockets(turned, units="mm", up=(s, 0.0, c)).findings]
    assert "rounded-up" not in level
    two = mesh_of(box(0, 0, 0, 400, 200, 40) - box(20, 20, 2, 180, 180, 41) - box(200, 20, 3, 380, 180, 41))
    two.vertices = two.vertices @ np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]).T
    (note,) = [f for f in extract_pockets(two, units="mm", up=(0.342, 0.0, 0.94)).findings if f.code == "rounded-up"]
    proposed = np.array([float(word) for word in note.text.split("--up ")[-1].rstrip(".").split(",")])
    assert proposed == pytest.approx([s, 0.0, c], abs=1e-8)
