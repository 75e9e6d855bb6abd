"""The record as a corrected programme leaves it: webs less what is too deep, and more by what is left high."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import record_factory
from finished_webs import finished_readings, small_record

import floorfit
from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.nc.corrected import Corrected, PocketChange
from floorfit.nc.left_table import left_table
from floorfit.nc.swept_floors import SweptFloor

DEEP, HIGH = 0.012, 0.034


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "record.json").write_text(record_factory.inch_part().model_dump_json(), encoding="utf-8")
    return folder


def write_table(record, path, **floor):
    """The table of a sweep that found the same on every floor."""
    swept = {"deep_mm": DEEP, "high_mm": HIGH, "high_area_mm2": 25.0, "where": (1.0, 2.0), "where_high": (3.0, 4.0)}
    names = [one.pocket for one in record.decisions]
    changes = tuple(PocketChange(name, "shift", 9, 3, 0.1, 0.1) for name in names)
    floors = tuple(SweptFloor(name, **(swept | floor)) for name in names)
    done = Corrected(b"", changes, (), "", 1, 1, 1, floors)
    path.write_text(left_table(done, {one.pocket: one for one in record.decisions}, record.part["units"]))
    return path


def cut_floors(record):
    return [one for one in record.decisions if one.web_after_min_mm is not None]


@pytest.mark.parametrize("off", [0.0, 0.05])
def test_webs_take_what_the_cutter_leaves(job, tmp_path, off):
    """Web = decided - too deep + off to decided + left high + off: the sums of the table's own columns."""
    record = floorfit.read_record(job)
    told = floorfit.as_cut(job, write_table(record, tmp_path / "o.csv", off_mm=off))
    pairs = list(zip(cut_floors(record), cut_floors(told), strict=True))
    assert pairs
    for old, new in pairs:
        # The table has six decimals of an inch.
        assert new.web_after_min_mm == pytest.approx(old.web_after_min_mm - DEEP + off, abs=3e-5)
        assert new.web_after_max_mm == pytest.approx(old.web_after_max_mm + HIGH + off, abs=3e-5)
        assert new.margin_mm <= old.margin_mm
        assert "o.csv" in new.notes[-1]
        assert new.conformance_probability == old.conformance_probability
    assert told.findings[-1]["code"] == "as-cut"


def test_a_web_out_of_its_limits_with_it_is_not_sure(job, tmp_path):
    record = floorfit.read_record(job)
    told = floorfit.as_cut(record, write_table(record, tmp_path / "o.csv", deep_mm=5.0))
    assert not any(one.is_sure for one in cut_floors(told))


def test_a_table_of_another_job_is_refused(job, tmp_path):
    record = floorfit.read_record(job)
    other = [
        dataclasses.replace(one, web_after_min_mm=None if one.web_after_min_mm is None else one.web_after_min_mm + 0.1)
        for one in record.decisions
    ]
    table = write_table(record.model_copy(update={"decisions": other}), tmp_path / "o.csv")
    with pytest.raises(InputError, match=r"o\.csv, line \d+: pocket .*: its webs are not those of this job"):
        floorfit.as_cut(record, table)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: text.replace("too_deep", "deep"), "line 1: its columns are not those"),
        (lambda text: "\n".join(text.splitlines()[:-1]), "line 1: its pockets are not those"),
        (lambda text: text.replace(",9,", ",9,x,", 1), "line 2"),
        (lambda text: "", "line 1"),
    ],
)
def test_a_table_that_is_none_is_refused_with_its_line(job, tmp_path, change, words):
    table = write_table(floorfit.read_record(job), tmp_path / "o.csv")
    table.write_text(change(table.read_text()))
    with pytest.raises(InputError, match=words):
        floorfit.as_cut(job, table)


def test_the_page_shows_it(unpainted, job, tmp_path, capsys):
    table = write_table(floorfit.read_record(job), tmp_path / "o.csv")
    assert main(["report", str(job), "--left", str(table)]) == 2
    assert "--left goes with -o FOLDER" in capsys.readouterr().err
    assert main(["report", str(job), "--left", str(table), "-o", str(tmp_path / "out")]) == 0
    assert "As cut by o.csv" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert not (job / "report.html").exists()


def test_verify_counts_what_the_programme_cuts_and_leaves(tmp_path):
    """Webs 0.05 thicker all over, since the programme cuts 0.05 above the part file's Z: predicted, and no bias."""
    record = small_record()
    readings = finished_readings(record, bias=0.05)
    table = write_table(record, tmp_path / "o.csv", off_mm=0.05)
    blind, seeing = floorfit.verify(record, readings), floorfit.verify(record, readings, left=table)
    assert blind.bias.value - seeing.bias.value == pytest.approx(0.05, abs=1e-6)
    assert blind.intervals.share < 0.5 < 0.95 <= seeing.intervals.share
    np.testing.assert_allclose(seeing.readings.predicted - blind.readings.predicted, 0.05, atol=1e-9)
    assert [one.code for one in seeing.findings if one.severity == "note"] == ["as-cut"]


def test_a_place_left_high_is_as_predicted_up_to_what_is_left(tmp_path):
    """A reading 0.1 thick lies in the interval where the table says that 0.1 is left, and not where it says 0.05."""
    record = small_record()
    readings = finished_readings(record)
    thick = readings.thickness.copy()
    thick[0] += 0.1
    readings = dataclasses.replace(readings, thickness=thick)
    inside = [
        floorfit.verify(record, readings, left=write_table(record, tmp_path / "o.csv", high_mm=high)).readings.is_inside
        for high in (0.1, 0.03)
    ]
    assert (inside[0][0], inside[1][0]) == (True, False)


def test_verify_refuses_the_table_of_another_job(job, tmp_path):
    table = write_table(floorfit.read_record(job), tmp_path / "o.csv")
    with pytest.raises(InputError, match=r"o\.csv, line 1"):
        floorfit.verify(small_record(), finished_readings(small_record()), left=table)
