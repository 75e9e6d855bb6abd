"""The finishing programmes of the sample parts, of both kinds: made by the script, right for their parts."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path

import pytest
from nc_reference import run

from floorfit.decision.decision import Correction
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools, read_tool_comments
from floorfit.part.part_file import read_part

FOLDER = Path(__file__).resolve().parents[2] / "sample_parts"
PROGRAMS = sorted(FOLDER.glob("*/finish*.nc"))


def name_of(path):
    return f"{path.parent.name}-{path.name}"


@cache
def part_of(folder):
    return read_part(folder / "part.json")


@pytest.fixture(scope="module")
def script():
    """The script, that finds the places of a pass once for both kinds of file."""
    spec = importlib.util.spec_from_file_location("programs", FOLDER / "programs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found, over_floor = {}, module.over_floor

    def once(pocket, points, tilt=None):
        key = id(pocket), points.tobytes(), tilt
        if key not in found:
            found[key] = over_floor(pocket, points, tilt)
        return found[key].copy()

    module.over_floor = once
    return module


@pytest.mark.parametrize("path", [*PROGRAMS, *sorted(FOLDER.glob("*/finish.cl"))], ids=name_of)
def test_the_script_writes_these_bytes(script, path, tmp_path):
    again = tmp_path / f"again{path.suffix}"
    script.write_program(part_of(path.parent), again, script.TILT_DEG if "tilted" in path.name else None)
    assert again.read_bytes() == path.read_bytes()


@pytest.mark.parametrize("path", PROGRAMS, ids=name_of)
def test_every_floor_is_cut_and_gets_its_offset(path):
    """A second reader finds the lowest Z of the part raised by the offset that all floors got, 0.1 mm."""
    part = part_of(path.parent)
    given = {pocket.id: Correction("shift", pocket.centroid, 0.1) for pocket in part.pockets}
    tools = Tools(read_tool_comments(path.read_text().splitlines(), "(T{T} D={D} CR={R}", path.name))
    done = apply_offsets(part, given, path, tip_control="tilted" in path.name, tools=tools)
    assert all(change.motions for change in done.pockets)
    assert done.is_complete
    before = min(move.end[2] for move in run(path.read_text()))
    after = min(move.end[2] for move in run(done.data.decode()))
    assert after - before == pytest.approx(0.1, abs=0.003)
