"""The job folder: which files, which columns, in which unit; whole or not at all."""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
import small_part

from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.folder import write
from floorfit.readings.observations import Observations
from floorfit.report import map as sheets
from floorfit.report import page
from floorfit.run import correct

#: The contract's columns, with the part's unit in the names of lengths.
COLUMNS = (
    "pocket action offset_{u} slope_x slope_y offset_u_{u} web_before_min_{u} web_before_max_{u} web_after_min_{u} "
    "web_after_max_{u} web_lower_limit_{u} web_upper_limit_{u} conformance_probability verdict reason "
    "readings_used"
)
TABLES = {"offsets.csv", "readings.csv", "record.json"}
FILES = TABLES | {"deviation_map.png", "deviation_map.pdf", "report.html", "sign_off.pdf"}


def _bent(x, y):
    return -2e-5 * ((x - 200) ** 2 + (y - 200) ** 2)


def _write(folder: Path, *, units: str = "mm", rows=slice(None), warp=small_part.plane) -> list[str]:
    (folder / "part.json").write_text(json.dumps(small_part.document(units)), encoding="utf-8")
    (folder / "readings.csv").write_text(small_part.readings_csv(warp, rows, units), encoding="utf-8")
    return ["correct", str(folder / "part.json"), str(folder / "readings.csv"), "-o", str(folder / "job")]


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave pictures and page out of a job: drawing is most of a run, and tables do not hang on it."""
    monkeypatch.setattr("floorfit.folder.write_report", lambda *_, **__: None)


@pytest.fixture
def maps_undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Write empty files for the maps, which come before what fails."""

    def written(record, plan, folder: Path) -> None:
        for name in ("deviation_map.png", "deviation_map.pdf"):
            (folder / name).write_bytes(b"")

    monkeypatch.setattr(sheets, "write_maps", written)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, int]]:
    """Exit code and folder of a run in mm, in inches, and one that must follow the surface; the first with pictures."""
    out = {}
    for name, options in {"mm": {}, "in": {"units": "in"}, "bent": {"warp": _bent}}.items():
        folder = tmp_path_factory.mktemp(name)
        with pytest.MonkeyPatch.context() as patch:
            if name != "mm":
                patch.setattr("floorfit.folder.write_report", lambda *_, **__: None)
            code = main(_write(folder, **options))
        out[name] = (folder / "job", code)
    return out


def test_every_file_is_there_and_no_other(jobs) -> None:
    assert {path.name for path in jobs["mm"][0].iterdir()} == FILES
    assert {path.name for path in jobs["bent"][0].iterdir()} == {
        "offsets.csv",
        "readings.csv",
        "record.json",
        "follow.csv",
    }


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_offset_columns_in_order(jobs, unit: str) -> None:
    first = (jobs[unit][0] / "offsets.csv").read_text(encoding="utf-8").splitlines()[0]
    assert first.split(",") == COLUMNS.format(u=unit).split()


def test_a_row_for_each_pocket_in_the_part_s_order_and_names_as_given(jobs) -> None:
    rows = _rows(jobs["mm"][0] / "offsets.csv")
    assert [row["pocket"] for row in rows] == [one["id"] for one in small_part.document()["pockets"]]


def test_offsets_are_those_of_the_plane_in_the_part_s_unit(jobs) -> None:
    # Pocket P2: centroid (300, 100): 0.10 + 2e-4 · 100 + 1e-4 · 100 = 0.130 mm.
    in_mm, in_inch = (_rows(jobs[unit][0] / "offsets.csv")[1] for unit in ("mm", "in"))
    # Written to a tenth of a micrometre; the readings to 1e-8 of their unit.
    assert float(in_mm["offset_mm"]) == pytest.approx(0.130, abs=6e-5)
    assert float(in_inch["offset_in"]) == pytest.approx(0.130 / 25.4, abs=3e-6)
    assert float(in_inch["web_lower_limit_in"]) == pytest.approx(1.9 / 25.4, abs=1e-6)
    assert (in_mm["action"], in_mm["verdict"], in_mm["reason"]) == ("shift", "conform", "")


def test_exit_code_says_whether_all_conform(jobs, undrawn, tmp_path: Path) -> None:
    assert jobs["mm"][1] == jobs["in"][1] == 0
    assert main(_write(tmp_path, rows=slice(0, 9))) == 1  # three pockets have no reading


def test_held_pocket_has_empty_offset(tmp_path: Path) -> None:
    main(_write(tmp_path, rows=slice(0, 2)))
    for row in _rows(tmp_path / "job" / "offsets.csv"):
        assert row["action"] == "hold"
        assert row["offset_mm"] == row["web_after_min_mm"] == ""
        assert row["reason"].split(":")[0] in {"no-readings", "too-few-readings"}
    assert {path.name for path in (tmp_path / "job").iterdir()} == FILES


def test_readings_are_all_there_with_what_became_of_them(jobs) -> None:
    rows = _rows(jobs["mm"][0] / "readings.csv")
    assert len(rows) == 36
    assert {"used", "reason", "warp_mm", "residual_mm"} <= set(rows[0])
    assert {row["operator"] for row in rows} == {"night"}  # other columns are carried through
    assert {row["used"] for row in rows} == {"yes"}
    # t = 2.5 − w at (25, 25): w = 0.10 − 0.035 + 0.0175.
    assert float(rows[0]["warp_mm"]) == pytest.approx(0.0825, abs=1e-5)


def test_follow_file_covers_its_floor_to_two_micrometres(jobs) -> None:
    from scipy.interpolate import NdBSpline, RegularGridInterpolator

    rows = [row for row in _rows(jobs["bent"][0] / "follow.csv") if row["pocket"] == "P4"]
    x, y = (sorted({float(row[f"{name}_mm"]) for row in rows}) for name in ("x", "y"))
    assert (x[0], x[-1], y[0], y[-1]) == pytest.approx((210, 390, 210, 390), abs=1e-3)
    table = {(float(row["x_mm"]), float(row["y_mm"])): float(row["offset_mm"]) for row in rows}
    bilinear = RegularGridInterpolator((x, y), [[table[a, b] for b in y] for a in x])
    record = json.loads((jobs["bent"][0] / "record.json").read_text())
    surface = record["surface"]
    spline = NdBSpline((surface["knots_x_mm"], surface["knots_y_mm"]), np.array(surface["coefficients_mm"]), 3)
    dishes = []  # of one web there are several where further forms are fitted: they add up
    for dish in [one for one in surface["dishes"] if one["web"] == "P4"]:
        form = np.array(surface["dish_forms"][dish["form"]])
        nodes = [np.linspace(a, b, n) for a, b, n in zip(dish["low_mm"], dish["high_mm"], form.shape, strict=True)]
        dishes.append((dish["warp_mm"], RegularGridInterpolator(nodes, form)))

    def warp(place: tuple[float, float]) -> float:
        return float(spline(place)) + sum(amount * table(place).item() for amount, table in dishes)

    (height,) = [one["offset_mm"] - warp(one["centroid_mm"]) for one in record["decisions"] if one["pocket"] == "P4"]
    for place in [(213.0, 217.0), (300.4, 299.7), (388.1, 214.6), (377.7, 381.3)]:
        assert bilinear(place).item() == pytest.approx(warp(place) + height, abs=0.002)  # contract


def test_record_names_its_inputs_by_digest(jobs) -> None:
    folder = jobs["mm"][0]
    record = json.loads((folder / "record.json").read_text(encoding="utf-8"))
    for role, name in (("part", "part.json"), ("readings", "readings.csv")):
        digest = hashlib.sha256((folder.parent / name).read_bytes()).hexdigest()
        assert record["inputs"][role]["sha256"] == digest
        assert record["inputs"][role]["name"] == name
    assert record["settings"]["reading_u"] == 0.010
    assert record["settings"]["seed"] == 1
    assert {"python", "floorfit", "numpy", "scipy"} <= set(record["versions"])


def test_pictures_are_pictures(jobs) -> None:
    assert (jobs["mm"][0] / "deviation_map.png").read_bytes().startswith(b"\x89PNG")
    assert (jobs["mm"][0] / "deviation_map.pdf").read_bytes().startswith(b"%PDF")


def test_existing_job_is_kept_unless_replace_is_given(
    undrawn, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call = _write(tmp_path, rows=slice(0, 2))
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "mine.txt").write_text("kept")
    assert main(call) == 2
    assert "--replace" in capsys.readouterr().err
    assert [path.name for path in (tmp_path / "job").iterdir()] == ["mine.txt"]
    assert main([*call, "--replace"]) == 1
    assert {path.name for path in (tmp_path / "job").iterdir()} == {"offsets.csv", "readings.csv", "record.json"}


def test_failure_half_way_leaves_nothing(maps_undrawn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page, "write_page", fail)
    assert main(_write(tmp_path, rows=slice(0, 2))) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["part.json", "readings.csv"]


def test_failure_half_way_keeps_the_old_job(maps_undrawn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    call = _write(tmp_path, rows=slice(0, 2))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("floorfit.folder.write_report", lambda *_, **__: None)
        assert main(call) == 1
    before = (tmp_path / "job" / "offsets.csv").read_bytes()

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page, "write_page", fail)
    assert main([*call, "--replace"]) == 2
    assert (tmp_path / "job" / "offsets.csv").read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "part.json", "readings.csv"]


def test_no_pictures_leaves_tables_and_record_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*_write(tmp_path), "--no-pictures"]) == 0
    assert {path.name for path in (tmp_path / "job").iterdir()} == TABLES
    assert f"floorfit report {tmp_path / 'job'}" in capsys.readouterr().err


def test_decimal_comma_goes_with_semicolons_and_reads_back(tmp_path: Path, jobs) -> None:
    call = [*_write(tmp_path), "--no-pictures", "--decimal", "comma"]
    assert main(call) == 0
    with (tmp_path / "job" / "offsets.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter=";"))
    plain = _rows(jobs["mm"][0] / "offsets.csv")
    assert [row["pocket"] for row in rows] == [row["pocket"] for row in plain]
    for name in ("offset_mm", "web_after_min_mm", "slope_x", "conformance_probability"):
        assert [row[name].replace(",", ".") for row in rows] == [row[name] for row in plain]
    # The contract: with semicolons a decimal comma is accepted; the file is a readings file again.
    from floorfit.readings.readings_file import read_readings

    again = read_readings(tmp_path / "job" / "readings.csv", "mm")
    assert np.allclose(again.thickness, read_readings(tmp_path / "readings.csv", "mm").thickness, atol=1e-6)


@pytest.mark.parametrize("decimal", ["point", "comma"])
def test_readings_of_a_large_job_stay_in_their_table(
    jobs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, decimal: str
) -> None:
    from floorfit.record import read_record

    whole = read_record(jobs["in"][0])
    monkeypatch.setattr("floorfit.folder.MOST_IN_RECORD", 10)
    assert main([*_write(tmp_path, units="in"), "--no-pictures", "--decimal", decimal]) == 0
    kept = json.loads((tmp_path / "job" / "record.json").read_text(encoding="utf-8"))
    assert kept["readings"]["line"] == [] and kept["summary"]["readings"] == len(whole.readings.line)
    again = read_record(tmp_path / "job")
    assert again.decisions == whole.decisions and again.surface == whole.surface
    for name in ("line", "used", "reason", "floor"):
        assert getattr(again.readings, name) == getattr(whole.readings, name)
    # The table has eight decimals of an inch for places, five of a millimetre for the warp.
    assert np.allclose(again.readings.x_mm, whole.readings.x_mm, rtol=0, atol=1e-6)
    assert np.allclose(again.readings.warp_mm, whole.readings.warp_mm, rtol=0, atol=6e-6)
    (tmp_path / "job" / "readings.csv").unlink()
    with pytest.raises(InputError, match="Put it back"):
        read_record(tmp_path / "job")


def test_stopped_at_the_pictures_says_what_is_kept(
    maps_undrawn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(page, "write_page", stop)
    assert main(_write(tmp_path)) == 2
    printed = capsys.readouterr()
    assert "4 of 4 pockets corrected" in printed.out  # the answer was there before
    assert "as it was before" in printed.err and not (tmp_path / "job").exists()


def test_what_is_used_is_asked_of_the_whole_table_not_row_by_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The column is worked out over all rows: asked for in each row it cost the square of the readings."""
    result = correct(small_part.part(), small_part.readings())
    asked, real = [], Observations.is_used.fget
    assert real is not None
    monkeypatch.setattr(Observations, "is_used", property(lambda self: (asked.append(1), real(self))[1]))
    write(result, tmp_path / "job", pictures=False)
    assert len(asked) < 10 < len(result.readings)
