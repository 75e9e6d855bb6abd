"""Which plate, by whom, in which state: stated once, kept, compared, never guessed."""

from __future__ import annotations

from pathlib import Path

import pytest

from floorfit.errors import InputError
from floorfit.identity import (
    gauge_overdue,
    identity_of,
    missing_facts,
    refuse_other_clamping,
    refuse_other_piece,
    stated_height,
    thermal_growth,
)
from floorfit.readings import read_readings

HEAD = "x_mm,y_mm,thickness_mm"


def _read(folder: Path, text: str) -> dict[str, str]:
    path = folder / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return dict(read_readings(path).identity)


def test_lines_and_columns_state_facts(tmp_path: Path):
    text = (
        f"# Serial: 0012\n# Gauge-due: 2031-05-17\n{HEAD},operator,side\n1,2,2.5,ann,top\n# clamping: B\n3,4,2.5,bob,\n"
    )
    assert _read(tmp_path, text) == {
        "serial": "0012", "side": "top", "clamping": "B", "operator": "ann; bob", "gauge_due": "2031-05-17",
    }  # fmt: skip


def test_files_of_today_state_nothing_and_still_read(tmp_path: Path):
    assert _read(tmp_path, f"# Invented readings: none of it is true.\n{HEAD}\n1,2,2.5\n") == {}


@pytest.mark.parametrize(
    "text",
    [f"# serial: 12\n# serial: 13\n{HEAD}\n1,2,2.5\n", f"# serial: 12\n{HEAD},serial\n1,2,2.5,13\n",
     f"{HEAD},serial\n1,2,2.5,12\n1,2,2.5,13\n"],
)  # fmt: skip
def test_two_plates_in_one_file_are_refused(tmp_path: Path, text: str):
    with pytest.raises(InputError, match=r'the serial is "12" and also "13"\. Give a file for each'):
        _read(tmp_path, text)


def test_a_fact_too_long_is_refused():
    with pytest.raises(InputError, match="line 3: the serial is longer than 256"):
        identity_of([(3, "# serial: " + "x" * 300)], {}, "readings.csv")


def test_what_a_shop_requires_is_asked_for_by_name():
    found = missing_facts({"serial": "1"}, ("serial", "operator", "shoe_size"), "readings.csv")
    assert [one.code for one in found] == ["missing-fact", "unknown-fact"]
    assert '"# operator: …"' in found[0].text


@pytest.mark.parametrize("key", ["part_number", "revision", "serial", "side"])
def test_another_piece_is_refused(key: str):
    with pytest.raises(InputError, match=f'{key} "B 2" came, the job is of "a 1"'):
        refuse_other_piece({key: "a 1"}, {key: "B 2"}, "finish.nc")
    assert refuse_other_piece({key: "a 1"}, {key: " A  1"}, "finish.nc") == []


def test_what_cannot_be_told_is_said():
    found = refuse_other_piece({"serial": "12", "side": "top"}, {"side": "top"}, "finish.nc")
    assert [(one.code, one.severity) for one in found] == [("piece-not-stated", "warning")]
    assert refuse_other_piece({}, {"serial": "12"}, "finish.nc") == []


def test_a_plate_clamped_anew_is_not_cut_by_old_readings():
    with pytest.raises(InputError, match='clamping is "2", the webs were read in "1"'):
        refuse_other_clamping({"clamping": "1"}, {"clamping": "2"}, "finish.nc")
    refuse_other_clamping({"clamping": "1"}, {"clamping": "1"}, "finish.nc")
    refuse_other_clamping({}, {"clamping": "2"}, "finish.nc")


@pytest.mark.parametrize(
    ("due", "read", "code"),
    [("2031-05-17", "2031-05-17T08:30", ""), ("2031-05-17", "2031-05-18", "gauge-overdue"),
     ("2031-05-17", "2031-05-01; 2031-06-01", "gauge-overdue"), ("17.5.2031", "2031-05-01", "gauge-due"),
     ("2031-05-17", "", "gauge-due")],
)  # fmt: skip
def test_calibration_that_ran_out(due: str, read: str, code: str):
    found = gauge_overdue({"gauge_due": due, "read_at": read}, "readings.csv")
    assert [one.code for one in found] == ([code] if code else [])


@pytest.mark.parametrize(("length", "degrees", "growth"), [(4000.0, 5.0, 0.470), (8000.0, 5.0, 0.940)])
def test_growth_between_reading_and_cutting_is_said(length: float, degrees: float, growth: float):
    """7050 plate, 23.5e-6 /K at 20 to 100 °C (maker's data sheet): 0.470 mm over 4 m and 5 K, 0.940 mm over 8 m."""
    (found,) = thermal_growth({"temperature_c": "20; 21"}, {"temperature_c": f"{20 + degrees:g}"}, length, "finish.nc")
    assert found.code == "other-temperature" and f"{growth:+.2f} mm" in found.text


def test_a_temperature_that_nobody_states_is_asked_for():
    assert thermal_growth({}, {"temperature_c": "30"}, 8000.0, "finish.nc") == []
    (found,) = thermal_growth({"temperature_c": "20"}, {}, 8000.0, "finish.nc")
    assert found.code == "temperature-not-stated" and "--fact temperature_c" in found.text
    assert thermal_growth({"temperature_c": "20"}, {"temperature_c": "20.5"}, 8000.0, "finish.nc") == []


def test_temperatures_beside_the_readings_state_the_fact(tmp_path: Path):
    text = f"{HEAD},temperature_c\n1,2,2.5,21.5\n3,4,2.5,\n5,6,2.5,20\n"
    assert _read(tmp_path, text) == {"temperature_c": "20; 21.5"}
    with pytest.raises(InputError, match='"warm" came, degrees Celsius'):
        _read(tmp_path, f"# temperature_c: warm\n{HEAD}\n1,2,2.5\n")


@pytest.mark.parametrize(
    ("text", "mm"), [("+0.48 mm", 0.48), ("-0,3mm", -0.3), ("+ 2 mm", 2.0), ("+0.02 in", 0.508), ("-1. in", -25.4)]
)
def test_a_height_is_read_with_its_sign_and_unit(tmp_path: Path, text: str, mm: float):
    """25.4 mm an inch, exact (NIST SP 811, B.8)."""
    facts = _read(tmp_path, f"# Stands off: {text}\n{HEAD}\n1,2,2.5\n")
    assert facts == {"stands_off": text} and stated_height(facts, "readings.csv") == pytest.approx(mm, abs=1e-12)
    assert stated_height({}, "readings.csv") is None


@pytest.mark.parametrize(
    "text", ["0.48 mm", "+0.48", "+0.48 cm", "+0.48 µm", "yes", "+-1 mm", "+1 mm or so", "+nan mm"]
)
def test_a_height_without_sign_or_unit_is_refused(tmp_path: Path, text: str):
    with pytest.raises(InputError, match=r"line 1: .* a height with its sign and unit was expected, as in \+0\.48 mm"):
        _read(tmp_path, f"# stands_off: {text}\n{HEAD}\n1,2,2.5\n")
    with pytest.raises(InputError, match="sign and unit"):
        stated_height({"stands_off": text}, "readings.csv")


def test_two_heights_in_one_file_are_refused(tmp_path: Path):
    with pytest.raises(InputError, match=r'the stands_off is "\+0.48 mm" and also "\+0.5 mm"'):
        _read(tmp_path, f"# stands_off: +0.48 mm\n# stands_off: +0.5 mm\n{HEAD}\n1,2,2.5\n")
