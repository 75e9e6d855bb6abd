"""``floorfit prior`` as a user runs it, and what `correct` and `plan` do with it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import small_part

import floorfit
from floorfit.cli import main
from floorfit.report.language import language

SAMPLES = Path(__file__).resolve().parents[2] / "sample_parts"


@pytest.fixture
def files(tmp_path: Path) -> Path:
    (tmp_path / "part.json").write_text(json.dumps(small_part.document()), encoding="utf-8")
    (tmp_path / "readings.csv").write_text(small_part.readings_csv(), encoding="utf-8")
    return tmp_path


def _made(files: Path) -> str:
    path = str(files / "prior.json")
    assert main(["prior", str(files / "part.json"), "-o", path, "--fields", "100"]) == 0
    return path


def test_prior_then_correct(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    prior = _made(files)
    out, err = capsys.readouterr()
    assert out == "" and "100 plates with ribs 40 mm high" in err and "--prior" in err
    given = [str(files / "part.json"), str(files / "readings.csv"), "-o", str(files / "job"), "--no-pictures"]
    assert main(["correct", *given, "--prior", prior]) == 0
    record = floorfit.read_record(files / "job")
    assert record.inputs["prior"].name == "prior.json" and record.surface is not None
    said = [one["text"] for one in record.findings if one["code"] == "prior"]
    share = f"{100 * record.surface.prior_share:.0f}"
    has = f"the prior from the part's stiffness has {share} % of the evidence"
    assert said == [f"{has}, and that share in the surface."]
    assert language("de").sentence(said[0]).startswith("die Vorkenntnis aus der Steifigkeit")
    assert has in capsys.readouterr().err


def test_it_is_not_overwritten_unasked(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    prior = _made(files)
    assert main(["prior", str(files / "part.json"), "-o", prior]) == 2
    assert "exists already" in capsys.readouterr().err
    assert main(["prior", str(files / "part.json"), "-o", prior, "--fields", "100", "--replace"]) == 0


def test_another_parts_prior_is_refused_and_nothing_written(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    prior = _made(files)
    document = small_part.document(web=2.5)
    for pocket in document["pockets"]:
        pocket["floor_z"] = 2.5
    (files / "other.json").write_text(json.dumps(document), encoding="utf-8")
    readings = str(files / "readings.csv")
    calls = (["correct", str(files / "other.json"), readings], ["plan", str(files / "other.json")])
    for call in calls:
        output = files / "made.csv"
        assert main([*call, "--prior", prior, "-o", str(output)]) == 2
        assert "prior.json" in (said := capsys.readouterr().err) and "floorfit prior" in said
        assert not output.exists()


def test_lengths_that_are_no_numbers_are_refused(files: Path) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["prior", str(files / "part.json"), "-o", str(files / "p.json"), "--lengths", "300,x"])
    assert stopped.value.code == 2 and not (files / "p.json").exists()


def test_a_plan_with_it_asks_for_fewer_places() -> None:
    # As much warp is likely either way, but in the ways that the part bends: for an uncertainty that takes more than
    # the three readings that a floor gets anyway, fewer do.
    part = floorfit.read_part(SAMPLES / "bay_frame" / "part.json")
    plain, told = (floorfit.plan(part, share=0.04, prior=one) for one in (None, floorfit.prior(part, fields=300)))
    assert plain.is_reached and told.is_reached
    assert 3 * len(part.pockets) < len(told.points) < len(plain.points)
