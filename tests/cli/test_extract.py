"""``floorfit extract``: what a user sees, and what lies on disk afterwards."""

from __future__ import annotations

import json
import struct

import numpy as np
import pytest
from cad_plates import box, mesh_of, round_pocket

from floorfit.cli import main
from floorfit.part.part_file import read_part


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    solid = box(0, 0, 0, 400, 160, 30) - round_pocket(20, 20, 180, 140, 8, 2, 31, 0.01)
    solid -= round_pocket(200, 20, 300, 140, 8, 3, 31, 0.01) + box(320, 20, 4, 380, 140, 31)
    solid -= box(330, 40, -1, 350, 100, 1)
    path = tmp_path_factory.mktemp("model") / "frame.stl"
    mesh_of(solid).export(path)
    return path


def test_part_picture_and_tables(model, tmp_path, capsys):
    out = tmp_path / "frame.json"
    code = main(
        ["extract", str(model), "--units", "mm", "-o", str(out), "--tolerance", "-0.05,0.1", "--finish-stock", "0.5"]
    )
    assert code == 0
    part = read_part(out)
    assert [pocket.id for pocket in part.pockets] == ["P01", "P02", "P03"]
    assert (part.pockets[0].tolerance.lower, part.pockets[0].tolerance.upper) == (-0.05, 0.1)
    assert part.pockets[0].finish_stock == 0.5
    assert part.name == "frame"
    captured = capsys.readouterr()
    assert captured.out == ""
    for words in (
        "P01",
        "2.000",
        "were not taken",
        "no-wall",
        "P03: underside varies, web 3.000 to 4.000 mm.",
        "frame.png before the part is used",
    ):
        assert words in captured.err
    assert "warning" not in captured.err
    # PNG signature and the header's width and height (PNG specification, sections 5.2 and 11.2.2).
    data = (tmp_path / "frame.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    assert width > height > 300


def test_tops_that_are_alike_are_one_row(unpainted, tmp_path, capsys):
    solid = box(0, 0, 0, 400, 160, 30) - box(20, 20, 2, 380, 140, 31)
    for x in (60, 160, 260):
        solid += box(x, 60, 2, x + 30, 100, 30)
    mesh_of(solid).export(tmp_path / "pads.stl")
    main(["extract", str(tmp_path / "pads.stl"), "--units", "mm", "-o", str(tmp_path / "pads.json")])
    heard = capsys.readouterr().err
    assert heard.count(" 1200 ") == 1 and "and 2 more alike" in heard  # three tops of 30 × 40 mm
    assert [line.split()[-1] for line in heard.splitlines() if line.startswith(" P01 ")] == ["wall"]


def test_same_bytes_twice(model, tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        assert main(["extract", str(model), "--units", "mm", "-o", str(tmp_path / name / "p.json")]) == 0
    for file in ("p.json", "p.png"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_defaults_are_said(unpainted, model, tmp_path, capsys):
    assert main(["extract", str(model), "--units", "mm", "-o", str(tmp_path / "p.json")]) == 0
    err = capsys.readouterr().err
    assert "no --tolerance was given: ±0.1 mm" in err
    assert "no --finish-stock was given: 0 was written" in err


def test_select_name_and_replace(unpainted, model, tmp_path, capsys):
    out = tmp_path / "p.json"
    name = 'Träger "A" <script>' + "x" * 200
    arguments = ["extract", str(model), "--units", "mm", "-o", str(out), "--name", name]
    assert main([*arguments, "--select", "P02"]) == 0
    assert [pocket.id for pocket in read_part(out).pockets] == ["P02"]
    assert json.loads(out.read_text(encoding="utf-8"))["name"] == name
    before = out.read_bytes()
    assert main([*arguments, "--select", "P01-P02"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert out.read_bytes() == before
    assert main([*arguments, "--select", "P01-P02", "--replace"]) == 0
    assert len(read_part(out).pockets) == 2


REFUSALS = [
    ([], "carry no unit"),
    (["--units", "cm", "--select", "P07"], "--select names P07"),
    (["--units", "m"], "the largest side is 400000 mm"),
    (["--units", "mm", "--max-slope", "90"], "max_slope_deg: 90.0 came"),
    (["--units", "mm", "--body", "two"], "body: 'two' came"),
    (["--units", "mm", "--web-max", "1"], "no pocket floor was found"),
    (["--units", "mm", "--layers", "t.csv"], "layers belong to a drawing"),
]


@pytest.mark.parametrize(("options", "message"), REFUSALS)
def test_refused_and_nothing_written(model, tmp_path, capsys, options, message):
    assert main(["extract", str(model), "-o", str(tmp_path / "p.json"), *options]) == 2
    err = capsys.readouterr().err
    assert message in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options",
    [["--up", "0,1"], ["--tolerance", "0.1,0.1"], ["--select", "Q1"], ["--select", "P05-P02"], ["--side", "left"]],
)
def test_words_that_cannot_be_read(model, tmp_path, options, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["extract", str(model), "-o", str(tmp_path / "p.json"), "--units", "mm", *options])
    assert options[0] in capsys.readouterr().err


def test_output_names(model, tmp_path, capsys):
    assert main(["extract", str(model), "--units", "mm", "-o", str(tmp_path / "p.png")]) == 2
    assert "ends in .png" in capsys.readouterr().err
    assert main(["extract", str(model), "--units", "mm", "-o", str(tmp_path / "none" / "p.json")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_inch_table(unpainted, model, tmp_path, capsys):
    solid = box(0, 0, 0, 8, 4, 1) - box(1, 1, 0.08, 7, 3, 2)
    mesh_of(solid).export(tmp_path / "inch.stl")
    assert main(["extract", str(tmp_path / "inch.stl"), "--units", "in", "-o", str(tmp_path / "p.json")]) == 0
    err = capsys.readouterr().err
    assert "Floors (in, degrees)" in err
    assert "0.0800" in err
    document = json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))
    assert document["units"] == "in"
    assert document["pockets"][0]["floor_z"] == pytest.approx(0.08, abs=1e-6)


def test_help_has_examples(capsys):
    with pytest.raises(SystemExit, match="0"):
        main(["extract", "--help"])
    out = capsys.readouterr().out
    assert "floorfit extract frame.stl --units mm -o frame.json" in out
    assert "FLOOR Z2.0 WEB2.0" in out


def test_values_that_start_with_a_minus_sign(unpainted, model, tmp_path, capsys):
    arguments = ["extract", str(model), "--units", "mm", "-o", str(tmp_path / "p.json")]
    assert main([*arguments, "--up", "-1,0,0"]) == 2
    assert "no pocket floor was found" in capsys.readouterr().err
    assert main([*arguments, "--tolerance=-.1,.1"]) == 0


def test_up_and_side(unpainted, model, tmp_path):
    out = tmp_path / "p.json"
    assert main(["extract", str(model), "--units", "mm", "-o", str(out), "--up", "0,0,-1", "--side", "bottom"]) == 0
    # Half a turn about X twice is no turn.
    assert np.array(read_part(out).outline).min() == 0.0
