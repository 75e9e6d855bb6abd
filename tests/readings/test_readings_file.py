"""The readings file as shops write it: read as it is, or refused with line and column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from floorfit.errors import InputError
from floorfit.readings import Readings, read_readings


def _read(folder: Path, content: str | bytes) -> Readings:
    path = folder / "readings.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_readings(path)


def _same(first: Readings, second: Readings) -> None:
    for name in ("x", "y", "thickness", "z", "u", "temperature", "tof"):
        np.testing.assert_array_equal(getattr(first, name), getattr(second, name), err_msg=name)
    np.testing.assert_array_equal(first.pocket, second.pocket)


def test_plain_file(tmp_path: Path):
    table = _read(tmp_path, "x_mm,y_mm,thickness_mm\n1,2,2.5\n3.5,-4,2.6e0\n")
    np.testing.assert_array_equal(table.x, [1, 3.5])
    np.testing.assert_array_equal(table.y, [2, -4])
    np.testing.assert_array_equal(table.thickness, [2.5, 2.6])
    assert list(table.pocket) == ["", ""]
    assert all(np.isnan(column).all() for column in (table.z, table.u, table.temperature, table.tof))
    assert list(table.line) == [2, 3]
    assert (table.unit, table.source, dict(table.extra)) == ("mm", "readings.csv", {})


def test_numbers_agree_with_numpy(tmp_path: Path):
    """numpy.loadtxt is the independent reader; 17 digits carry a float64 through text (IEEE 754)."""
    values = np.random.default_rng(7).normal(size=(9_000, 3)) * [1000, 1000, 3]  # more than two chunks
    path = tmp_path / "readings.csv"
    np.savetxt(path, values, fmt="%.17g", delimiter=",", header="x_mm,y_mm,thickness_mm", comments="")
    table = read_readings(path)
    expected = np.loadtxt(path, delimiter=",", skiprows=1)
    np.testing.assert_array_equal(np.column_stack([table.x, table.y, table.thickness]), expected)
    np.testing.assert_array_equal(table.line, np.arange(9_000) + 2)


def test_all_columns_in_any_order_and_case(tmp_path: Path):
    table = _read(
        tmp_path,
        "Operator, Thickness_MM ,POCKET,tof_us,y_mm,X_mm,u_mm,z_mm,Temperature_C\n"
        "anyone,2.5, P1 ,1.6,20,10,0.01,2.4,21\n",
    )
    row = (table.x, table.y, table.thickness, table.z, table.u, table.temperature, table.tof)
    assert [float(column[0]) for column in row] == [10, 20, 2.5, 2.4, 0.01, 21, 1.6]
    assert table.pocket[0] == "P1"
    assert dict(table.extra) == {"Operator": ["anyone"]}


def test_inches_become_millimetres(tmp_path: Path):
    """25.4 mm to the inch, exact (NIST SP 811, appendix B.8); °C and µs stay as they are."""
    head = "x_in,y_in,thickness_in,z_in,u_in,temperature_c,tof_us\n"
    table = _read(tmp_path, head + "1,2,0.1,0.2,0.001,21,1.6\n")
    row = (table.x, table.y, table.thickness, table.z, table.u)
    assert [float(column[0]) for column in row] == pytest.approx([25.4, 50.8, 2.54, 5.08, 0.0254], rel=1e-15)
    assert (table.temperature[0], table.tof[0], table.unit) == (21, 1.6, "in")


@pytest.mark.parametrize(
    "content",
    [
        "x_mm;y_mm;thickness_mm;pocket\n10,5;20;2,5;A\n30;40,25;;B\n",
        "x_mm;y_mm;thickness_mm;pocket\n10.5;20;2.5;A\n30;40.25;nan;B\n",
        '"x_mm","y_mm","thickness_mm","pocket"\n"10.5","20","2.5","A"\n"30","40.25","","B"\n',
        "\ufeffx_mm,y_mm,thickness_mm,pocket\n10.5,20,2.5,A\n30,40.25,---,B\n",
        "x_mm,y_mm,thickness_mm,pocket\r\n10.5,20,2.5,A\r\n30,40.25, ,B\r\n",
        "# one\n\nx_mm,y_mm,thickness_mm,pocket\n  # two\n10.5,20,2.5,A\n\n,,,\n30,40.25,NaN,B",
        "pocket,thickness_mm,y_mm,x_mm\nA,2.5,20,10.5\nB,–,40.25,30\n",
        "x_mm,y_mm,thickness_mm,pocket,\n10.5,20,2.5,A,\n30,40.25,-,B,\n",
    ],
    ids=["decimal comma", "semicolons", "quotes", "BOM", "CRLF", "comments, no last line end", "order", "spare comma"],
)
def test_the_same_table_in_many_spellings(content: str, tmp_path: Path):
    plain = _read(tmp_path, "x_mm,y_mm,thickness_mm,pocket\n10.5,20,2.5,A\n30,40.25,,B\n")
    _same(_read(tmp_path, content), plain)
    assert np.isnan(plain.thickness[1])


@pytest.mark.parametrize("blank", ["", "  ", "nan", "NaN", "-", "--", "-----", "–", "—", "−"])
def test_gauge_gave_nothing(blank: str, tmp_path: Path):
    table = _read(tmp_path, f"x_mm,y_mm,thickness_mm,z_mm\n1,2,{blank},3\n4,5,6,{blank}\n")
    np.testing.assert_array_equal(table.thickness, [np.nan, 6])
    np.testing.assert_array_equal(table.z, [3, np.nan])


@pytest.mark.parametrize("value", ["0", "-2.5", "0.0001", "999"])
def test_a_thickness_that_cannot_be_is_kept_for_screening(value: str, tmp_path: Path):
    assert _read(tmp_path, f"x_mm,y_mm,thickness_mm\n1,2,{value}\n").thickness[0] == float(value)


def test_time_of_flight_may_stand_for_thickness(tmp_path: Path):
    table = _read(tmp_path, "x_mm,y_mm,tof_us\n1,2,1.58\n3,4,\n")
    assert np.isnan(table.thickness).all()
    np.testing.assert_array_equal(table.tof, [1.58, np.nan])


def test_extra_columns_are_carried_through_unchanged(tmp_path: Path):
    content = 'x_mm,y_mm,thickness_mm,Remark,step_mm\n1,2,3," a, ""b"" ",x\n4,5,6,#,\n'
    table = _read(tmp_path, content)
    assert dict(table.extra) == {"Remark": [' a, "b" ', "#"], "step_mm": ["x", ""]}


def test_odd_labels_are_kept(tmp_path: Path):
    label = "<b>Tür; 'é'</b>" + "x" * 180
    assert _read(tmp_path, f'x_mm,y_mm,thickness_mm,pocket\n1,2,3,"{label}"\n').pocket[0] == label


@pytest.mark.parametrize("content", ["x_mm,y_mm,thickness_mm", "x_mm,y_mm,thickness_mm,pocket,note\n\n# end\n"])
def test_no_rows_give_an_empty_table(content: str, tmp_path: Path):
    table = _read(tmp_path, content)
    assert len(table) == 0
    assert all(column.shape == (0,) for column in (table.x, table.thickness, table.pocket, table.u, table.line))


def test_arrays_are_read_only(tmp_path: Path):
    table = _read(tmp_path, "x_mm,y_mm,thickness_mm\n1,2,3\n")
    for column in (table.x, table.thickness, table.z, table.line):
        with pytest.raises(ValueError, match="read-only"):
            column[0] = 0


def test_all_faults_come_at_once_with_line_and_column(tmp_path: Path):
    content = "# head\nx_mm,y_mm,thickness_mm,u_mm\n1,2,3,0\n,2,x,\n1,2\n\n1,inf,3,\n"
    with pytest.raises(InputError, match="line 3, column u_mm") as caught:
        _read(tmp_path, content)
    assert {finding.place for finding in caught.value.findings} == {
        "line 3, column u_mm",
        "line 4, column x_mm",
        "line 4, column thickness_mm",
        "line 5",
        "line 7, column y_mm",
    }


def test_many_faults_are_counted(tmp_path: Path):
    """10,000 bad cells over three chunks: 20 are shown."""
    content = "x_mm,y_mm,thickness_mm\n" + "1,2,bad\n" * 10_000
    with pytest.raises(InputError, match="and 9980 more faults") as caught:
        _read(tmp_path, content)
    assert len(caught.value.findings) == 21


@pytest.mark.parametrize("before", ["sep=;", "Readings of plate 17", '"Readings, plate 17"', "sep=,"])
def test_what_stands_before_the_header_is_named(before: str, tmp_path: Path):
    """A separator line is what spreadsheets put there (common practice, no source)."""
    path = tmp_path / "readings.csv"
    path.write_text(f"{before}\n\nx_mm;y_mm;thickness_mm\n1;2;3\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1: is no header, and line 3 is one") as fault:
        read_readings(path)
    assert len(fault.value.findings) == 1


def test_proposed_names_have_the_parts_unit(tmp_path: Path):
    path = tmp_path / "r.csv"
    path.write_text("x,y,thickness\n1,2,3\n")
    with pytest.raises(InputError, match='Rename "thickness" to thickness_in'):
        read_readings(path, "in")


def test_line_numbers_are_right_beyond_the_first_chunk(tmp_path: Path):
    content = "x_mm,y_mm,thickness_mm\n" + "1,2,3\n# note\n" * 5_000 + "1,2,bad\n"
    with pytest.raises(InputError, match="line 10002, column thickness_mm"):
        _read(tmp_path, content)


def test_labels_of_different_length_in_different_chunks(tmp_path: Path):
    content = "x_mm,y_mm,thickness_mm,pocket\n" + "1,2,3,A\n" * 5_000 + "1,2,3,long label\n"
    assert _read(tmp_path, content).pocket[-1] == "long label"


def test_message_shows_no_control_characters(tmp_path: Path):
    with pytest.raises(InputError, match="a number was expected") as caught:
        _read(tmp_path, "x_mm,y_mm,thickness_mm\n1,2,\x1b[2J\x07\n")
    assert "\x1b" not in str(caught.value)
    assert "\x07" not in str(caught.value)


@pytest.mark.parametrize(("length", "is_read"), [(1e6, True), (1.01e6, False), (-1.01e6, False)])
def test_a_place_beyond_a_kilometre_is_not_meant(tmp_path: Path, length: float, is_read: bool):
    content = f"x_mm,y_mm,thickness_mm\n{length:.0f},2,3\n"
    if is_read:
        assert _read(tmp_path, content).x[0] == length
        return
    with pytest.raises(InputError, match="line 2, column x_mm"):
        _read(tmp_path, content)


def test_overlong_cell_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match="line 2: a cell is longer than 131072 characters"):
        _read(tmp_path, "x_mm,y_mm,thickness_mm\n1,2," + "3" * 200_000 + "\n")
