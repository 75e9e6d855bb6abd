"""Hostile names are harmless in a terminal and in a spreadsheet, and come back as they were."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
import small_part
from hypothesis import given
from hypothesis import strategies as st

from floorfit.cli import main
from floorfit.plain_text import cell_text, plain_cell, printable

# The starts that a spreadsheet takes for a formula: OWASP, "CSV Injection"; CWE-1236.
RUN = re.compile(r"^[=+\-@\t\r]")


@given(st.text(alphabet=st.sampled_from(list("'=+-@\t\r1.,eP x")), max_size=8))
def test_no_text_is_run_and_every_text_comes_back(text: str) -> None:
    cell = plain_cell(text)
    assert cell_text(cell) == text
    if RUN.match(cell):
        float(cell.replace(",", ".", 1))  # a number: nothing to run


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-P1", "@SUM(A1)", "\t=1", '=HYPERLINK("http://x")'])
def test_formula_becomes_text(text: str) -> None:
    assert plain_cell(text) == "'" + text


@pytest.mark.parametrize("text", ["-0.035", "+0.1", "1e-3", "-1,5", "P-1", "", "yes", "a=b"])
def test_numbers_and_names_stay(text: str) -> None:
    assert plain_cell(text) == text


@given(st.text(max_size=30))
def test_terminal_gets_nothing_to_obey(text: str) -> None:
    # ECMA-48: control functions begin with a C0 or C1 code; Unicode TR 36, 2.10: marks that turn text round.
    shown = printable(text)
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]", shown)
    if text.isprintable():
        assert shown == text


NAMES = ("=1+1", "@x) G0 Z-50 (", "\u202eP3", "-P\x1b[31mred")


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_hostile_pockets_go_through_a_run(tmp_path: Path, unit: str, capsys: pytest.CaptureFixture[str]) -> None:
    document = small_part.document(unit)
    for pocket, name in zip(document["pockets"], NAMES, strict=True):
        pocket["id"] = name
    (tmp_path / "part.json").write_text(json.dumps(document), encoding="utf-8")
    (tmp_path / "readings.csv").write_text(small_part.readings_csv(units=unit), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("floorfit.folder.write_report", lambda *_, **__: None)
        code = main(
            ["correct", str(tmp_path / "part.json"), str(tmp_path / "readings.csv"), "-o", str(tmp_path / "job")]
        )
    printed = "".join(capsys.readouterr())
    assert not re.search("[\x00-\x09\x0b-\x1f\u202a-\u202e]", printed)
    if code == 2:  # refused by name: as good
        return
    for table in ("offsets.csv", "readings.csv"):
        with (tmp_path / "job" / table).open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                assert cell_text(row["pocket"]) in NAMES
                assert not RUN.match(row["pocket"])
