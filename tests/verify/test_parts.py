import json
import re
from dataclasses import replace
from pathlib import Path
from shutil import copytree
from types import SimpleNamespace

import numpy as np
import pytest
from finished_webs import bent, finished_readings, rough_readings, small_part, small_record, unfitted
from page_reader import english_left

from floorfit.errors import InputError
from floorfit.record import Record
from floorfit.report.format import Writing
from floorfit.report.language import language
from floorfit.run import correct
from floorfit.verify import Series, expected_from, read_expected, verify
from floorfit.verify import series as series_of
from floorfit.verify.bias import student_factor
from floorfit.verify.charts import control_chart
from floorfit.verify.parts import _enough, _is_same
from floorfit.verify.series_folder import fill_series, series_answers
from floorfit.verify.shapes import Alike
from floorfit.verify.stream import Shelf, _doubt, read_job
from floorfit.verify.written import write_tables


def write(folder: Path, record: Record) -> Path:
    folder.mkdir(parents=True)
    (folder / "record.json").write_text(record.model_dump_json(), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve jobs that nobody changes."""
    generator, folder = np.random.default_rng(1), tmp_path_factory.mktemp("jobs")
    for k in range(12):
        write(folder / f"j{k:02d}", bent(small_record(), k, generator.normal(1.0, 0.1), 0.004 * k))
    return folder


@pytest.fixture(scope="module")
def series(jobs: Path) -> Series:
    """Their series."""
    return series_of([jobs])


def test_mean_spread_shape_and_drift(jobs: Path, series: Series) -> None:
    assert len(series.jobs) == 12 and series.is_whole and series.warps == 12
    fields = []
    shelf = Shelf()
    for file in sorted(jobs.glob("*/record.json")):
        fields.append(read_job(file, shelf).warp)  # type: ignore[union-attr]
    assert series.mean.ravel() == pytest.approx(np.mean(fields, axis=0))
    assert series.spread.ravel() == pytest.approx(np.std(fields, axis=0, ddof=1))
    assert series.shapes.shares[:2].sum() == pytest.approx(1.0)  # amount and lift: two shapes are all there is
    assert series.alike.answer == "yes"
    for pocket in series.pockets:
        assert pocket.drift.slope == pytest.approx(0.004, abs=1e-9) and pocket.drift.is_seen
        assert pocket.chart.mean == pytest.approx(np.mean(pocket.chart.values))


def test_order_is_that_of_time_not_of_names(tmp_path: Path) -> None:
    write(tmp_path / "a", bent(small_record(), 40, 1.0, 0.0))
    write(tmp_path / "b", bent(small_record(), 2, 1.01, 0.0))
    assert series_of([tmp_path]).names == ("b", "a")


def test_mean_warp_is_held_by_its_limits_at_the_stated_rate() -> None:
    # mean ± t u over 12 parts at one place, 200 series: Student's interval
    generator, held = np.random.default_rng(4), 0
    for _ in range(200):
        values = generator.normal(0.1, 0.03, 12)
        held += abs(values.mean() - 0.1) <= student_factor(11) * values.std(ddof=1) / np.sqrt(12)
    assert 184 <= held <= 196  # 92 to 98 %


def test_verified_jobs_give_bias_chart_and_capability(jobs: Path, tmp_path: Path) -> None:
    for k in range(4):
        record = bent(small_record(), k, 1.0, 0.0)
        with unfitted():
            found = verify(record, finished_readings(small_record(), bias=0.01 + 0.005 * k, seed=20 + k))
        folder = tmp_path / "proofs" / f"p{k}"
        folder.mkdir(parents=True)
        write_tables(found, folder)
    series = series_of([jobs, tmp_path / "proofs"])
    assert series.verified == 4
    low, high = series.bias_drift.limits
    assert low <= 0.005 <= high and series.bias_chart.mean == pytest.approx(0.0175, abs=0.004)
    assert all(one.capability.count == 4 for one in series.pockets)
    assert "4 verified jobs" in " ".join(series_answers(series))


def test_verification_of_webs_not_finished_counts_for_nothing_and_is_named(tmp_path: Path) -> None:
    # The last file is the roughed webs of its plate, read anew: 0.5 mm of stock stands on them (`small_part`), and a
    # mean of 0.01, 0.01 and 0.5 would be nobody's bias.
    for k in range(3):
        record = bent(small_record(), k, 1.0 + 1e-4 * k, 0.0)
        readings = (
            finished_readings(small_record(), bias=0.01, seed=30 + k) if k < 2 else rough_readings(small_part(), seed=9)
        )
        folder = write(tmp_path / f"j{k}", record) / "proof"
        folder.mkdir()
        with unfitted():
            write_tables(verify(record, readings), folder)
    series = series_of([tmp_path])
    assert series.verified == 2 and series.bias_chart.mean == pytest.approx(0.01, abs=0.004)
    assert [(finding.code, finding.source) for finding in series.findings] == [("doubtful-proof", "j2")]
    assert not series.is_whole


def test_bias_that_a_job_had_taken_off_counts(tmp_path: Path) -> None:
    # The machine cuts 0.03 mm high all the time; the last two jobs had that taken off. What is left of it says
    # nothing of the machine: the mean was 0.015, and "it drifts".
    for k in range(4):
        record = bent(small_record(0.03 if k > 1 else 0.0), k, 1.0 + 1e-4 * k, 0.0)
        folder = write(tmp_path / f"j{k}", record) / "proof"
        folder.mkdir()
        with unfitted():
            write_tables(verify(record, finished_readings(record, bias=0.03, seed=50 + k)), folder)
    series = series_of([tmp_path])
    # One job's bias is known to 0.010/√54 = 0.0014 mm and what its prediction shares; four in the mean to 0.001.
    assert series.bias_chart.values == pytest.approx([0.03] * 4, abs=0.006)
    assert series.bias_chart.mean == pytest.approx(0.03, abs=0.003) and not series.bias_drift.is_seen


def test_bias_outside_its_control_limits_is_said(series: Series) -> None:
    """Of 0, 1, 0, 1, … 0 and a 20 the mean range is 2.7, and 20 is beyond 2.66 of them over the mean (ISO 7870-2)."""
    assert "outside the control limits" not in " ".join(series_answers(series))
    values = [0.0, 0.001, 0.0, 0.001, 0.0, 0.001, 0.0, 0.001, 0.0, 0.001, 0.0, 0.02]
    told = " ".join(series_answers(replace(series, bias_chart=control_chart(values))))
    assert "1 of them outside the control limits" in told


def test_broken_and_foreign_jobs_are_named_and_left_out(jobs: Path, tmp_path: Path) -> None:
    jobs = Path(copytree(jobs, tmp_path / "jobs"))
    (jobs / "j03" / "record.json").write_text('{"format": "floorfit-record/1"', encoding="utf-8")
    (jobs / "j04" / "record.json").write_bytes(b"\xff\xfe")
    document = json.loads((jobs / "j05" / "record.json").read_text())
    document["part"]["pockets"][0]["floor_z"] = 2.5
    document["part"]["pockets"][0]["web"] = 2.5
    (jobs / "j05" / "record.json").write_text(json.dumps(document))
    document["surface"]["coefficients_mm"] = [[1.0]]
    (jobs / "j06" / "record.json").write_text(json.dumps(document))
    series = series_of([jobs, jobs / "nowhere"])
    assert len(series.jobs) == 8 and not series.is_whole
    text = " ".join(str(finding) for finding in series.findings)
    assert all(name in text for name in ("j03", "j04", "j05", "j06", "nowhere"))


def test_another_side_is_left_out_and_a_plate_twice_is_said(tmp_path: Path) -> None:
    facts = [{"side": "top", "serial": "1"}, {"side": "Top ", "serial": "2"}, {"side": "bottom"}, {"serial": "2"}]
    for k, identity in enumerate(facts):
        write(tmp_path / f"j{k}", bent(small_record(), k, 1.0, 0.01 * k).model_copy(update={"identity": identity}))
    series = series_of([tmp_path])
    assert series.names == ("j0", "j1", "j3") and not series.is_whole
    assert {(finding.code, finding.source) for finding in series.findings} == {
        ("other-piece", "j2"), ("same-plate", "series"), ("piece-not-stated", "series"),
    }  # fmt: skip


def test_copies_and_jobs_without_a_warp_of_their_own_are_left_out(tmp_path: Path) -> None:
    """Two plates do not bend alike to a nanometre; where Z was not known, or of the finished floors, no warp is."""
    first = bent(small_record(), 1, 1.0, 0.0)
    unknown, finished = (bent(small_record(), k, 1.1 + k, 0.0).model_dump() for k in (4, 5))
    for decision in unknown["decisions"]:
        decision["reason"] = "floor-z-unknown: no Z"
    finished["findings"] = [{"code": "z-finished", "source": "", "place": "", "text": "", "severity": "warning"}]
    jobs = {
        "a": first, "copy": first, "again": first.model_copy(update={"job": "other settings", "created": "2025-01-01"}),
        "b": bent(small_record(), 2, 1.2, 0.0), "c": Record.model_validate(unknown),
        "d": Record.model_validate(finished),
    }  # fmt: skip
    for name, record in jobs.items():
        write(tmp_path / name, record)
    series = series_of([tmp_path])
    assert series.names == ("a", "b") and series.warps == 2 and not series.is_whole
    assert {(finding.code, finding.source) for finding in series.findings} == {
        ("same-job", "copy"), ("same-job", "again"), ("doubtful-job", "c"), ("doubtful-job", "d"),
    }  # fmt: skip


def test_jobs_stand_in_the_order_in_which_their_plates_were_read(tmp_path: Path) -> None:
    """A chart is of single values in order of time (ISO 7870-2:2013): the plates', where all jobs say when."""
    days = ["2031-07-05", "2031-07-01; 2031-07-02", "2031-07-04", "2031-07-03"]
    for k, day in enumerate(days):
        record = bent(small_record(), k, 1.0, 0.02 * int(day[-1]))
        write(tmp_path / f"j{k}", record.model_copy(update={"identity": {"read_at": day}}))
    assert series_of([tmp_path]).names == ("j1", "j3", "j2", "j0")
    write(tmp_path / "j4", bent(small_record(), 4, 1.0, 0.3))
    assert series_of([tmp_path]).names == ("j0", "j1", "j2", "j3", "j4")


def test_one_revision_stated_among_many_jobs_is_said(tmp_path: Path) -> None:
    """Of four jobs one states a revision: what the others are is not known (ISO 9001:2015, 8.5.2, from memory)."""
    for k in range(4):
        identity = {"revision": "B"} if k == 2 else {}
        write(tmp_path / f"j{k}", bent(small_record(), k, 1.0, 0.01 * k).model_copy(update={"identity": identity}))
    series = series_of([tmp_path])
    (found,) = [one for one in series.findings if one.code == "piece-not-stated"]
    assert found.text == '3 of 4 jobs state no revision; the series counts as "B". Check them.'
    assert series.identity == {"revision": "B"} and series.is_whole


def test_expectation_of_the_other_side_is_refused(unpainted, tmp_path: Path) -> None:
    for k in range(2):
        record = bent(small_record(), k, 1.0 + 0.1 * k, 0.0).model_copy(update={"identity": {"side": "left"}})
        write(tmp_path / f"j{k}", record)
    (tmp_path / "learnt").mkdir()
    series = series_of([tmp_path])
    fill_series(series, tmp_path / "learnt")
    readings = rough_readings(small_part(), 2)
    read, direct = read_expected(tmp_path / "learnt", small_part()), expected_from(series)
    correct(small_part(), replace(readings, identity={"side": "Left"}), expected=read)
    assert read.identity == direct.identity
    for expected in (read, direct):
        with pytest.raises(InputError, match='is of side "left", the readings are of "right"'):
            correct(small_part(), replace(readings, identity={"side": "right"}), expected=expected)


def test_german_page_of_a_series_has_no_english_finding(unpainted, tmp_path: Path) -> None:
    for k, identity in enumerate([{"side": "oben", "serial": "1"}, {"serial": "1"}, {"side": "unten"}, {}]):
        write(tmp_path / f"j{k}", bent(small_record(), k, 1.0, 0.01 * k).model_copy(update={"identity": identity}))
    (tmp_path / "j3" / "record.json").write_text('{"format": "floorfit-record/1"', encoding="utf-8")
    series = series_of([tmp_path, tmp_path / "fehlt"])
    assert {one.code for one in series.findings} == {
        "broken-job",
        "missing",
        "other-piece",
        "same-plate",
        "piece-not-stated",
    }
    for code in ("en", "de"):
        fill_series(series, tmp_path, Writing(language=language(code)))
        page = (tmp_path / "series.html").read_text("utf-8").replace(str(tmp_path), "")
        left = english_left(re.sub(r"\(JSONDecodeError: .*?\)", "", page))
        assert not left if code == "de" else len(left) > 15


def test_no_job_at_all_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no job folder here"):
        series_of([tmp_path])


def test_map_is_cut_out_before_parsing_and_changes_nothing(tmp_path: Path) -> None:
    document = small_record().model_dump()
    plain = write(tmp_path / "plain", Record.model_validate(document))
    without = write(tmp_path / "without", Record.model_validate({**document, "map": None}))
    assert '"map":{' in (plain / "record.json").read_text()
    first, second = (read_job(folder / "record.json", Shelf()) for folder in (plain, without))
    assert np.array_equal(first.warp, second.warp) and first.part == second.part  # type: ignore[union-attr]


def test_written_series_is_read_back_as_expectation(unpainted, series: Series, tmp_path: Path) -> None:
    out = tmp_path / "learnt"
    out.mkdir()
    fill_series(series, out)
    names = {path.name for path in out.iterdir()}
    assert names == {"capability.csv", "charts.csv", "mean_warp.csv", "mean_warp.png", "series.html", "series.json"}
    back, direct = read_expected(out, series.part), expected_from(series)
    assert np.array_equal(back.mean, direct.mean) and back.parts == 12
    assert (out / "charts.csv").read_text().count("\n") == 1 + 9 * 12
    page = (out / "series.html").read_text()
    assert "http" not in page.replace("http://www.w3.org", "") and "P9" in page


def test_gauge_repeatability_is_the_pooled_scatter_of_repeats(tmp_path: Path) -> None:
    document = small_record().model_dump()
    readings = document["readings"]
    thickness = np.random.default_rng(9).normal(2.5, 0.01, (18, 3))
    for name in ("x_mm", "y_mm"):
        readings[name] = np.repeat(np.array(readings[name])[:18], 3).tolist()
    readings["thickness_mm"], readings["used"] = thickness.ravel().tolist(), [True] * 54
    found = series_of([write(tmp_path / "one", Record.model_validate(document))])
    # JCGM 100:2008, 4.2.4: pooled over the places, two degrees of freedom each
    assert found.repeatability.sd == pytest.approx(np.sqrt(thickness.var(axis=1, ddof=1).mean()))
    assert found.repeatability.dof == 36
    assert found.alike.answer == "unknown"


def test_readings_that_do_go_with_the_squared_curvature_left() -> None:
    # Variance of a thin-plate spline ∝ σ τ/√n (see `_enough`): the mean leaves of it √(left · readings / n), and
    # 5/9 of one part's variance the mean of nine has; together 1. One on each of the nine floors is the least.
    for readings, left in ((500.0, 0.04), (1000.0, 0.04), (500.0, 0.1), (100.0, 0.005)):
        wanted = _enough(small_part(), readings, Alike(0.9, left, "yes"), 9)
        assert wanted is not None and (wanted == 9 or np.sqrt(left * readings / (wanted - 1)) + 5 / 9 > 1)
        assert np.sqrt(left * readings / wanted) + 5 / 9 <= 1
    assert _enough(small_part(), 100.0, Alike(0.6, 0.25, "partly"), 9) is None  # no better than without
    assert _enough(small_part(), 100.0, Alike(0.1, 0.01, "no"), 9) is None


def test_one_job_twice_and_one_warp_twice_are_the_same_and_plates_that_cross_are_not() -> None:
    """Two plates may bend alike at a place, not all over; a job has its id wherever its folder stands: definition."""
    warp = np.array([0.0, 0.1, 0.3])
    one = SimpleNamespace(job="a", warp=warp)
    assert _is_same(one, SimpleNamespace(job="a", warp=warp + 1)) and _is_same(one, SimpleNamespace(job="b", warp=warp))
    assert not _is_same(one, SimpleNamespace(job="b", warp=np.array([0.0, 0.2, 0.3])))


@pytest.mark.parametrize(
    ("code", "doubt"),
    [("common-height", ""), ("stands-off", ""), ("datums-off", "datums-off"), ("far-blocks", "far-blocks")],
)
def test_a_height_spoils_no_mean_and_a_wrong_input_does(code: str, doubt: str) -> None:
    """The mean is taken with its plane free, so that a constant is nothing to it (Wahba 1990, 2.4: its null space)."""
    fine, unknown = {"reason": "", "offset_mm": 0.1}, {"reason": "floor-z-unknown: measure it", "offset_mm": None}
    assert _doubt({"decisions": [fine, unknown], "findings": [{"code": code}]}) == doubt
    assert _doubt({"decisions": [unknown, unknown], "findings": [{"code": code}]}) == "floor-z-unknown"
