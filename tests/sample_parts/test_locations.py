"""The sample programmes as cutter-location data: corrected as their word-address twins are."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from cl_reference import moves, post, swept
from nc_reference import run

from floorfit.decision.decision import Correction
from floorfit.nc.cl import apply_to_locations
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools
from floorfit.part.part_file import read_part

FOLDER = Path(__file__).resolve().parents[2] / "sample_parts"
FILES = sorted(FOLDER.glob("*/finish.cl"))
#: The lofted rib has a test of its own, on some of its floors.
PLANE = [path for path in FILES if path.parent.name != "lofted_rib"]


def name_of(path):
    return path.parent.name


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_the_points_are_those_of_the_word_address_programme(path):
    """A reader of each kind: the same places, one after the other, but for the retracts to the machine's zero."""
    one = [move["to"] for move in moves(path.read_text())]
    other = [move.end[:3] for move in run(path.with_name("finish.nc").read_text())]
    other = [place for place in other if not np.isnan(place).any()]
    # A length offset is taken up where the tool stands.
    other = [place for index, place in enumerate(other) if index == 0 or place != other[index - 1]]
    assert len(one) == len(other)
    assert np.abs(np.array(one) - np.array(other)).max() < 1e-9


def given_for(part):
    """Every other floor is shifted, the rest are tilted."""
    kinds = (("shift", (0.0, 0.0)), ("tilt", (3e-5, -5e-5)))
    return {
        pocket.id: Correction(kinds[place % 2][0], pocket.centroid, 0.02 + 0.01 * (place % 9), kinds[place % 2][1])
        for place, pocket in enumerate(part.pockets)
    }


@pytest.mark.parametrize("path", PLANE, ids=name_of)
def test_corrected_either_way_the_swept_floors_are_the_same_to_two_micrometres(path):
    part = read_part(path.with_name("part.json"))
    given, text = given_for(part), path.read_text()
    located = apply_to_locations(part, given, path)
    assert located.is_complete
    twin = post(text)
    tools = Tools({number: Cutter(radius) for number, radius in _tools(text).items()})
    posted = apply_offsets(part, given, twin.encode(), tools=tools)
    either = [post(located.data.decode()), posted.data.decode()]
    heights = [[move.end[:3] for move in run(one) if not np.isnan(move.end[:3]).any()] for one in either]
    spots = _spots(part)
    one, other = (swept(_as_locations(places, text), spots, step=3.0) for places in heights)
    known = np.isfinite(one)
    assert known.sum() > 0.5 * len(spots)
    assert (known == np.isfinite(other)).all()
    assert np.abs(one[known] - other[known]).max() <= 0.002


def _tools(text):
    """Radius of each tool, mm, from the file's own words."""
    scale = 25.4 if "UNITS/INCHES" in text else 1.0
    lines = text.splitlines()
    pairs = pairwise(lines)
    return {int(a[7:]): float(b[7:].split(",")[0]) / 2 * scale for a, b in pairs if a.startswith("LOADTL")}


def _as_locations(places, text):
    """Places as a file again, with the smallest cutter of the sample, so that both are swept by one."""
    radius = min(_tools(text).values())
    head = f"UNITS/MM\nCUTTER/{2 * radius:.6f},0\n"
    return head + "".join(f"GOTO/{x:.6f},{y:.6f},{z:.6f}\n" for x, y, z in places)


def _spots(part):
    """A few places of every floor."""
    rng = np.random.default_rng(7)
    out = []
    for pocket in part.pockets:
        x0, y0, x1, y1 = pocket.polygon.bounds
        some = np.column_stack([rng.uniform(x0, x1, 40), rng.uniform(y0, y1, 40)])
        out.append(some[shapely.contains_xy(pocket.polygon, *some.T)][:2])
    return np.concatenate(out)
