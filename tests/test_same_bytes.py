"""The same input gives the same bytes, whatever the threads; and nearly so with the kernels of another processor."""

from __future__ import annotations

import csv
import json
import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest
import small_part


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("given")
    (folder / "part.json").write_text(json.dumps(small_part.document()), encoding="utf-8")
    (folder / "readings.csv").write_text(small_part.readings_csv(), encoding="utf-8")
    return folder


def run(given: Path, job: Path, *options: str, **environment: str) -> Path:
    # The time of a run as https://reproducible-builds.org/specs/source-date-epoch/ has it.
    here = {**os.environ, "SOURCE_DATE_EPOCH": "1700000000", **environment}
    call = [
        sys.executable,
        "-m",
        "floorfit",
        "correct",
        given / "part.json",
        given / "readings.csv",
        "-o",
        job,
        *options,
    ]
    assert subprocess.run(call, env=here, capture_output=True).returncode in (0, 1)
    return job


@pytest.fixture(scope="module")
def plain(given: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return run(given, tmp_path_factory.mktemp("one") / "job", OPENBLAS_NUM_THREADS="1")


def test_every_file_is_the_same_with_more_threads(given: Path, plain: Path, tmp_path: Path) -> None:
    other = run(given, tmp_path / "job", OPENBLAS_NUM_THREADS="4")
    names = sorted(file.name for file in plain.iterdir())
    assert names == sorted(file.name for file in other.iterdir())
    assert [name for name in names if (plain / name).read_bytes() != (other / name).read_bytes()] == []


@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="kernels of x86 processors")
def test_offsets_hold_with_the_kernels_of_an_older_processor(given: Path, plain: Path, tmp_path: Path) -> None:
    # OpenBLAS, README: the kernels to use. Only the table is looked at.
    older = run(given, tmp_path / "job", "--no-pictures", OPENBLAS_CORETYPE="Nehalem")
    tables = [list(csv.reader((job / "offsets.csv").read_text().splitlines())) for job in (plain, older)]
    for one, two in zip(*tables, strict=True):
        for mine, theirs in zip(one, two, strict=True):
            if mine != theirs:  # other sums round otherwise; the last decimal of a table may turn over
                assert float(mine) == pytest.approx(float(theirs), abs=1.01e-4, rel=1e-3)
