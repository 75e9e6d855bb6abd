"""Files of step-block readings."""

from __future__ import annotations

from pathlib import Path

import pytest
from lying_readings import plate

from floorfit.errors import InputError
from floorfit.readings.gauge import calibrate
from floorfit.readings.step_blocks import read_blocks, web_range_of


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "blocks.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_inch_blocks_with_comments(tmp_path: Path) -> None:
    text = "# invented\ntrue_in,reading_in,temperature_c,by\n0.1,0.101,21,A\n\n0.2,0.202,,B\n"
    blocks = read_blocks(written(tmp_path, text))
    # 0.1 in = 2.54 mm exactly.
    assert blocks.true.tolist() == pytest.approx([2.54, 5.08])
    assert blocks.reading.tolist() == pytest.approx([2.5654, 5.1308])
    assert blocks.line.tolist() == [3, 5]
    assert not blocks.is_tof


def test_time_of_flight_is_not_a_length(tmp_path: Path) -> None:
    blocks = read_blocks(written(tmp_path, "true_in;tof_us\n0,1;0,8\n"))
    assert blocks.is_tof
    assert blocks.reading[0] == 0.8


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("reading_mm\n1\n", "the column true_mm .* is missing"),
        ("true_mm\n1\n", "one of reading_mm .* neither came"),
        ("true_mm,reading_mm,tof_us\n1,1,1\n", "both came"),
        ("true_mm,reading_in\n1,1\n", "mixed"),
        ("true_mm,reading_mm\n1,x\n", 'line 2, column reading_mm: "x" came'),
        ("true_mm,reading_mm\n1,-1\n", "above 0 was expected"),
        ("true_mm,reading_mm\n1\n", "1 cells came, the header names 2"),
        ("true_mm,true_mm,reading_mm\n1,1,1\n", "is there twice"),
    ],
)
def test_bad_files_are_refused(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_blocks(written(tmp_path, text))


def test_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_blocks(tmp_path / "none.csv")


def test_other_encodings_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "blocks.csv"
    path.write_bytes("true_mm,reading_mm,größe\n1,1,1\n".encode("latin-1"))
    with pytest.raises(InputError, match="not UTF-8"):
        read_blocks(path)


def test_webs_from_finished_to_roughed() -> None:
    # Webs of 0.9 and 2.0 mm, 0.5 mm of stock on them.
    assert web_range_of(plate()) == pytest.approx((0.9, 2.5))


@pytest.mark.parametrize(
    "rows",
    [
        "1.05,1\n1.06,1\n2.08,2\n2.07,2\n4.11,4",  # each block was read twice, and no two readings are alike
        "1.053,1\n2.072,2\n3.087,3\n5.126,5",  # steps are made in whole tenths (common practice, no source)
        "1.0526,0.9984\n1.0514,0.9984\n2.07,1.9991\n2.08,1.9991",
    ],
)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_exchanged_columns_are_refused(tmp_path: Path, rows: str, unit: str) -> None:
    scaled = [[float(cell) / (1 if unit == "mm" else 10) for cell in row.split(",")] for row in rows.splitlines()]
    for names, is_refused in (("true_{0},reading_{0}", True), ("reading_{0},true_{0}", False)):
        text = "\n".join([names.format(unit), *(f"{a:.6g},{b:.6g}" for a, b in scaled)])
        blocks = read_blocks(written(tmp_path, text))
        if is_refused:
            with pytest.raises(InputError, match="look exchanged"):
                calibrate(blocks)
        else:
            calibrate(blocks)


@pytest.mark.parametrize("rows", ["1.998,2\n2.999,3\n4.002,4\n5.001,5", "1,1\n2,2\n2,2\n5,5", "1,1\n2.004,2\n2,2"])
def test_a_gauge_that_is_right_shows_whole_tenths(tmp_path: Path, rows: str) -> None:
    assert calibrate(read_blocks(written(tmp_path, f"true_mm,reading_mm\n{rows}\n"))).scale == pytest.approx(
        1, abs=5e-3
    )


def test_steps_of_some_hundredths_of_an_inch_are_exchanged_too(tmp_path: Path) -> None:
    """Inch blocks are made in whole hundredths (common practice, no source); 0.0021 in is 0.05 mm (SP 811, B.8)."""
    rows = "0.0421,0.04\n0.0822,0.08\n0.1223,0.12\n0.2024,0.20\n"
    with pytest.raises(InputError, match="look exchanged"):
        calibrate(read_blocks(written(tmp_path, "true_in,reading_in\n" + rows)))
    calibrate(read_blocks(written(tmp_path, "reading_in,true_in\n" + rows)))


@pytest.mark.parametrize(
    ("header", "rows", "scale"),
    [
        # 0.1 mm off at every step: the display and the blocks are both in tenths.
        ("true_mm,reading_mm", "1,1.1\n2,2.1\n3,3.1\n5,5.1", 1.0),
        # A display in steps of 0.05 mm shows no whole tenths.
        ("true_mm,reading_mm", "0.9984,1.05\n1.9991,2.05\n2.9987,3.05\n4.9990,5.05", 1.0),
        # Times of 0.5, 1, 2 and 3 µs there and back at 6.3 mm/µs (ASTM E797, 4.1: t = v TOF/2).
        ("true_mm,tof_us", "1.575,0.5\n3.15,1\n6.3,2\n9.45,3", 6.3),
    ],
)
def test_round_numbers_alone_are_no_exchange(tmp_path: Path, header: str, rows: str, scale: float) -> None:
    assert calibrate(read_blocks(written(tmp_path, f"{header}\n{rows}\n"))).scale == pytest.approx(scale, rel=1e-3)
