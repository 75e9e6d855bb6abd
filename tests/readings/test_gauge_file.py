"""The gauge file gives back the gauge, and anything else is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from floorfit.errors import InputError
from floorfit.readings.gauge import Gauge, calibrate
from floorfit.readings.gauge_file import gauge_lines, gauge_to_document, read_gauge, write_gauge
from floorfit.readings.step_blocks import blocks_from_arrays


def gauge() -> Gauge:
    true = np.array([1.0, 1.0, 2.0, 4.0])
    found = calibrate(blocks_from_arrays(true, tof=2 * true / 6.35 + [0.01, 0.0102, 0.01, 0.01]))
    return replace(found, identity={"gauge": "UT-7"})


def test_round_trip_is_exact(tmp_path: Path) -> None:
    path = tmp_path / "gauge.json"
    write_gauge(gauge(), path)
    again = read_gauge(path)
    assert json.dumps(gauge_to_document(again)) == json.dumps(gauge_to_document(gauge()))
    assert again.identity == {"gauge": "UT-7"}
    x = np.array([0.3, 0.9])
    assert again.thickness(x).tolist() == gauge().thickness(x).tolist()
    assert again.common_u(x).tolist() == gauge().common_u(x).tolist()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"format": "floorfit-gauge/2"}, "format"),
        ({"scale": -1.0}, "scale: Input should be greater than 0"),
        ({"surprise": 1}, "surprise"),
        ({"sd_mm": float("nan")}, "sd_mm"),
    ],
)
def test_changed_files_are_refused(tmp_path: Path, change: dict[str, object], message: str) -> None:
    path = tmp_path / "gauge.json"
    path.write_text(json.dumps({**gauge_to_document(gauge()), **change}), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_gauge(path)


def test_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_gauge(tmp_path / "none.json")
    path = tmp_path / "gauge.json"
    path.write_text("true_mm\n", encoding="utf-8")
    with pytest.raises(InputError, match="is not JSON"):
        read_gauge(path)


def test_words_name_velocity_and_every_block() -> None:
    lines = gauge_lines(gauge())
    assert "velocity 6.35" in lines[0]
    assert len(lines) == 1 + 3


def test_words_count_the_readings_of_a_block() -> None:
    lines = gauge_lines(calibrate(blocks_from_arrays([1.0, 1.0, 1.0, 4.0], [1.01, 1.02, 1.01, 4.0])))
    assert ["3 readings: " in line for line in lines[1:]] == [True, False]
    assert ["1 reading: " in line for line in lines[1:]] == [False, True]


def test_brackets_without_end_are_named(tmp_path: Path) -> None:
    path = tmp_path / "gauge.json"
    path.write_text("[" * 100_000)
    with pytest.raises(InputError, match="is not JSON"):
        read_gauge(path)
