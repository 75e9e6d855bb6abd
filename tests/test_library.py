"""The library is visible: commands are public calls, results show themselves, a call writes what its command does."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import small_part
from finished_webs import finished_readings

import floorfit
from floorfit.cli import COMMANDS, main
from floorfit.record import Record, record_of

PAGES = Path(__file__).resolve().parent.parent / "notebooks" / "pages"


@pytest.fixture(scope="module")
def result() -> floorfit.Result:
    return floorfit.correct(small_part.part(), small_part.readings())


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("files")
    (folder / "part.json").write_text(json.dumps(small_part.document()), encoding="utf-8")
    (folder / "readings.csv").write_text(small_part.readings_csv(), encoding="utf-8")
    return folder


def _called(files: Path) -> floorfit.Result:
    return floorfit.correct(
        floorfit.read_part(files / "part.json"), floorfit.read_readings(files / "readings.csv", "mm")
    )


def _inputs(files: Path) -> dict[str, Path]:
    return {"part": files / "part.json", "readings": files / "readings.csv"}


@pytest.fixture(scope="module")
def job(files: Path) -> Path:
    given = [str(path) for path in _inputs(files).values()]
    assert main(["correct", *given, "-o", str(files / "job"), "--no-pictures"]) == 0
    return files / "job"


def test_dir_names_what_is_public_and_each_name_is_there() -> None:
    assert dir(floorfit) == sorted(floorfit.__all__)
    for name in dir(floorfit):
        assert getattr(floorfit, name).__module__.startswith("floorfit."), name


def test_each_command_is_one_call_by_its_name() -> None:
    for name in COMMANDS:
        assert callable(getattr(floorfit, name)), name


def test_calls_that_share_a_name_with_a_room_stay_calls() -> None:
    import floorfit.report.map
    import floorfit.verify.parts

    assert floorfit.verify.__name__ == "verify" and floorfit.report.__name__ == "report"
    from floorfit.verify.parts import Series

    assert Series is floorfit.Series


def test_every_public_name_has_a_place_in_the_pages_and_no_other() -> None:
    lines = "\n".join(path.read_text(encoding="utf-8") for path in PAGES.glob("*.rst")).splitlines()
    named = [name for line in lines if line.startswith(".. public::") for name in line.split("::")[1].split()]
    assert sorted(named) == dir(floorfit)


def test_a_command_and_its_call_give_the_same_bytes(files: Path, job: Path) -> None:
    _called(files).save(files / "called", inputs=_inputs(files), pictures=False)
    assert {path.name for path in (files / "called").iterdir()} == {path.name for path in job.iterdir()}
    for name in ("offsets.csv", "readings.csv"):
        assert (files / "called" / name).read_bytes() == (job / name).read_bytes()
    one, two = (json.loads((folder / "record.json").read_text()) for folder in (job, files / "called"))
    for record in (one, two):
        del record["created"], record["seal"]["record.json"]
    assert one == two


def test_save_overwrites_only_when_told(result: floorfit.Result, tmp_path: Path) -> None:
    result.save(tmp_path / "job", pictures=False)
    with pytest.raises(floorfit.OutputError, match="exists already"):
        result.save(tmp_path / "job", pictures=False)
    result.save(tmp_path / "job", pictures=False, replace=True)
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_table_is_that_of_the_file(files: Path, job: Path) -> None:
    with (job / "offsets.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    table = _called(files).table()
    assert list(table) == list(rows[0])
    for name in table:
        for cell, value in zip([row[name] for row in rows], list(table[name]), strict=True):
            assert cell == value or float(cell) == value


def test_table_of_a_held_part_has_empty_cells_and_needs_no_pandas(monkeypatch: pytest.MonkeyPatch) -> None:
    held = floorfit.correct(small_part.part(), small_part.readings(rows=slice(0, 2)))
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    table = held.table()
    assert table["offset_mm"] == [None] * 4 and table["action"] == ["hold"] * 4
    assert table["readings_used"] == [one.readings_used for one in held.decisions]


def test_table_is_a_frame_where_pandas_is_there(result: floorfit.Result, job: Path) -> None:
    pandas = pytest.importorskip("pandas")
    pandas.testing.assert_frame_equal(
        result.table(), pandas.read_csv(job / "offsets.csv", keep_default_na=False), check_dtype=False
    )


@pytest.mark.parametrize("count", [4, 300])
def test_result_fits_a_screen(result: floorfit.Result, count: int) -> None:
    from dataclasses import replace

    many = replace(result, decisions=(result.decisions * count)[:count])
    lines = repr(many).splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 500 and len(repr(many)) < 3000
    assert ("more" in lines[-1]) == (count == 300)
    assert len(repr(record_of(result))) < 500


def test_notebook_shows_the_table_and_runs_nothing(result: floorfit.Result) -> None:
    from dataclasses import replace
    from html.parser import HTMLParser

    named = replace(result, part=replace(result.part, name="<script>alert(1)</script>"))
    tags: list[str] = []
    parser = HTMLParser()
    parser.handle_starttag = lambda tag, attrs: tags.append(tag)  # type: ignore[method-assign]
    parser.feed(named._repr_html_())
    assert tags.count("tr") == 1 + len(result.decisions) and "script" not in tags


def test_plot_draws_every_floor_on_the_axes_given(result: floorfit.Result) -> None:
    from matplotlib.figure import Figure

    axes = Figure().subplots()
    assert result.plot(axes) is axes
    words = " ".join(text.get_text() for text in axes.texts)
    assert all(one.pocket in words for one in result.decisions)
    # The colours are the warp: a plane here, so that the field has its value at the nodes.
    field = axes.collections[0]
    nodes = np.asarray(field.get_array(), float).ravel()
    assert np.nanmin(nodes) == pytest.approx(np.nanmin(result.map.warp_mm), abs=1e-9)
    assert axes.get_xlabel() == "X, mm"


def test_report_writes_beside_the_tables_or_into_a_folder(unpainted, job: Path, tmp_path: Path) -> None:
    made = floorfit.report(job)
    assert {path.name for path in made} == {"deviation_map.png", "deviation_map.pdf", "sign_off.pdf", "report.html"}
    assert all(path.parent == job for path in made)
    with pytest.raises(floorfit.OutputError, match="exists already"):
        floorfit.report(job)
    with pytest.raises(floorfit.OutputError, match="Say where to write"):
        floorfit.report(floorfit.read_record(job))


def test_verify_takes_a_run_a_record_a_folder_and_a_file(result: floorfit.Result, job: Path, tmp_path: Path) -> None:
    record = floorfit.read_record(job)
    readings = finished_readings(record)
    table = np.column_stack([readings.x, readings.y, readings.thickness]).tolist()
    text = "\n".join(",".join(f"{value:.17g}" for value in row) for row in table)
    (tmp_path / "finished.csv").write_text(f"x_mm,y_mm,thickness_mm\n{text}\n", encoding="utf-8")
    found = [floorfit.verify(one, readings) for one in (result, record, job)]
    found.append(floorfit.verify(job, tmp_path / "finished.csv"))
    assert len({one.bias.value for one in found}) == 1
    assert len({one.sentence for one in found}) == 1


def test_readings_of_the_job_itself_are_refused_as_proof(files: Path, job: Path) -> None:
    with pytest.raises(floorfit.InputError):
        floorfit.verify(job, files / "readings.csv")


def test_record_of_is_the_record_whatever_is_given(job: Path) -> None:
    record = floorfit.read_record(job)
    assert record_of(record) is record
    assert record_of(job).model_dump_json() == record_of(str(job / "record.json")).model_dump_json()
    assert isinstance(record, Record)


def test_schema_of_an_unknown_file_is_refused() -> None:
    with pytest.raises(floorfit.InputError, match="part, part-2 or record"):
        floorfit.schema("job")


@pytest.mark.filterwarnings("ignore:FigureCanvasAgg is non-interactive")
def test_readme_example_runs_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from matplotlib import pyplot

    root = Path(__file__).resolve().parent.parent
    code = (root / "README.md").read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    (tmp_path / "sample_parts").symlink_to(root / "sample_parts")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("floorfit.folder.write_report", lambda *_, **__: None)
    seen: dict[str, object] = {}
    exec(code, seen)
    pyplot.close("all")
    assert "18 of 18 pockets verified" in capsys.readouterr().out
    # The programme is the one that the command writes from the job folder.
    assert main(["apply", "job", "sample_parts/bay_frame/finish.nc", "-o", "corrected.nc", "--tool", "1=16"]) == 0
    assert (tmp_path / "corrected.nc").read_bytes() == seen["corrected"]
