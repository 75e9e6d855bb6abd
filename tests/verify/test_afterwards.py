"""The page of finished webs in the shop's language."""

from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from finished_webs import finished_readings, rough_readings, small_part, small_record
from page_reader import english_left

from floorfit.errors import Finding
from floorfit.readings.observations import Readings
from floorfit.report.format import Writing, display_for
from floorfit.report.language import language
from floorfit.verify import verify
from floorfit.verify.afterwards import write_verification_page


def faulty() -> Readings:
    """A moved plate, with a blank, a place on a rib, one reading far out, and a floor far too thin."""
    readings = finished_readings(small_record(), moved=lambda x, y: 0.2 * ((x - 200) / 200) ** 2, pockets=range(8))
    x, thickness = readings.x.copy(), readings.thickness.copy()
    thickness[[0, 7]] = np.nan, thickness[7] + 0.4
    thickness[12:18] -= 0.4
    x[20] = 2.0
    return replace(readings, x=x, thickness=thickness)


def roughed() -> Readings:
    """The webs as they were before the cut."""
    return rough_readings(small_part(), seed=5)


@pytest.mark.parametrize("make", [faulty, roughed])
def test_german_page_of_finished_webs_has_no_english_reason(
    unpainted, make: Callable[[], Readings], tmp_path: Path
) -> None:
    found = verify(small_record(), replace(make(), source="messung.csv"))
    assert found.withheld and found.findings
    for code in ("en", "de"):
        write_verification_page(found, tmp_path, writing=Writing(language=language(code)))
        left = english_left((tmp_path / "verify.html").read_text("utf-8"))
        assert not left if code == "de" else len(left) > 15


def test_the_signers_sheet_says_how_many_warnings_it_leaves_out(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Room is for four; who signs is told of the others (common practice, no source)."""
    module, sheets = import_module("floorfit.verify.release"), []
    monkeypatch.setattr(module, "write_sheet", lambda sheet, *_: sheets.append(sheet))
    told = [Finding("code", "file", "", f"warning {k}", "warning") for k in range(6)]
    found = verify(small_record(), finished_readings(small_record()))
    for findings in (told, told[:4]):
        module.write_release(replace(found, findings=tuple(findings)), [], [], display_for("mm"), tmp_path / "x.pdf")
    assert sheets[0].warnings[3:] == ["file: warning 3", "and 2 more in verify.html"]
    assert sheets[1].warnings[3:] == ["file: warning 3"]
