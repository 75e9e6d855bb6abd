"""Layer names and the table of layers."""

from __future__ import annotations

import pytest

from floorfit.cad.dxf_layers import LayerMeaning, layer_of_name, read_layer_table
from floorfit.errors import InputError


@pytest.mark.parametrize(
    ("name", "meaning"),
    [
        ("FLOOR Z2.0 WEB2.0", LayerMeaning(2.0, 2.0)),
        ("floor_z-1.25_web0,8", LayerMeaning(-1.25, 0.8)),
        ("FLOOR Z10 WEB2 left bay", LayerMeaning(10.0, 2.0)),
        ("FLOOR Z 3.0 WEB .5", LayerMeaning(3.0, 0.5)),
        ("FLOOR-Z3-WEB2", LayerMeaning(3.0, 2.0)),
        # What was bound into a drawing has its own drawing's name before it (common practice, no source).
        ("PLATE$0$FLOOR Z3 WEB2", LayerMeaning(3.0, 2.0)),
        ("PLATE$0$OUTLINE", LayerMeaning(None, None)),
        ("Outline", LayerMeaning(None, None)),
        ("FLOOR Z2.0", None),
        ("FLOOR Z2.0 WEB2.0mm", None),
        ("MYFLOOR Z2.0 WEB2.0", None),
        ("0", None),
    ],
)
def test_names(name, meaning):
    assert layer_of_name(name) == meaning


def test_every_fault_of_a_table_is_listed(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("layer,floor_z,web\na,1,x\nb,1\nc,1,-2\nd,1,1\nD,2,2\n,1,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2") as caught:
        read_layer_table(path)
    assert [finding.place for finding in caught.value.findings] == ["line 2", "line 3", "line 4", "line 6", "line 7"]


@pytest.mark.parametrize(("text", "message"), [("", "line 1: the header"), ("layer,z\n", "the header must name")])
def test_header(tmp_path, text, message):
    (tmp_path / "table.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_layer_table(tmp_path / "table.csv")


def test_not_text(tmp_path):
    (tmp_path / "table.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="cannot be read as a UTF-8 text file"):
        read_layer_table(tmp_path / "table.csv")
    with pytest.raises(InputError, match=r"none\.csv"):
        read_layer_table(tmp_path / "none.csv")
