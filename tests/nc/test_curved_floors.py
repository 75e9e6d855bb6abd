"""Curved floors: what the cutter leaves on them, by a sweep and by tips that share nothing with floorfit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from cl_reference import post
from curved_floors import (
    HIGH,
    PART,
    deepest,
    end_places,
    floor,
    given,
    height,
    location_text,
    passes,
    tip_z,
)

from floorfit.decision.decision import Correction
from floorfit.errors import InputError
from floorfit.nc import programme
from floorfit.nc.cl import apply_to_locations, cl_programme
from floorfit.nc.cutter import Cutter
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools
from floorfit.nc.zones import Zone

#: The issue's limit.
TOO_DEEP_MM = 0.020
ENDS = {"flat": (6.0, 0.0), "bull": (6.0, 2.0), "ball": (6.0, 6.0)}
#: A flat end stays above a surface by R times its added slope on either side: 0.25 mm pi / 40 mm, and a tilt of 0.0036.
HIGH_MM = {"flat": 2 * 6 * 0.020, "bull": 2 * 6 * 0.020, "ball": 0.04}


def files(end, unit="MM", *, part=PART, names="EFG", **how):
    """The same passes as cutter-location data and as word address."""
    way = [passes(part.pocket(name), *ENDS[end], **how) for name in names]
    text = location_text(ENDS[end], way, unit)
    return text, (post(text.replace(",0.000000000,0.000000000,1.000000000", ",0,0,1")) if not how.get("lean") else "")


def correct(text, corrections, end, *, word_address, part=PART):
    if word_address:
        done = apply_offsets(part, corrections, text.encode(), tools=Tools({1: Cutter(*ENDS[end])}))
    else:
        done = apply_to_locations(part, corrections, text.encode())
    lines = done.data.decode().splitlines(keepends=True)
    return done, "".join(line for line in lines if "FLOORFIT:" not in line)


@pytest.mark.parametrize("unit", ["MM", "INCHES"])
@pytest.mark.parametrize("word_address", [True, False])
@pytest.mark.parametrize("end", ENDS)
def test_shift_tilt_and_follow_leave_no_place_too_deep(end, word_address, unit):
    """Floor E shifts, F tilts, G follows; by the swept cutter."""
    text = files(end, unit)[int(word_address)]
    done, after = correct(text, given(), end, word_address=word_address)
    few = 25 if end == "bull" else 60
    deep, high = deepest(text, after, given(), PART, ENDS[end], word_address=word_address, count=few)
    assert deep <= TOO_DEEP_MM
    assert high <= HIGH_MM[end] + TOO_DEEP_MM
    assert {one.pocket for one in done.floors} == set("EFG")
    assert all(change.motions == change.changed > 0 for change in done.pockets)


@pytest.mark.parametrize("end", ENDS)
def test_a_leaning_axis_over_a_curved_floor(end):
    """Five axes: the end leans by 6 degrees."""
    text, _ = files(end, lean=6.0)
    _, after = correct(text, given(), end, word_address=False)
    deep, high = deepest(text, after, given(), PART, ENDS[end], word_address=False, count=25)
    assert deep <= TOO_DEEP_MM
    assert high <= HIGH_MM[end] + TOO_DEEP_MM


def test_long_chords_are_divided():
    """On a floor ruled along X a pass is one chord, which a surface bends: it comes back in pieces."""

    def ruled(x, y):
        return 8.0 + 0.02 * x + 0.0015 * (y - HIGH / 2) ** 2 + 0.0005 * x * (y - HIGH / 2)

    part = dataclasses.replace(PART, pockets=tuple(floor(p.id, p.boundary[0][0], of=ruled) for p in PART.pockets))
    text = files("ball", part=part, of=ruled, chord=100.0)[1]
    _, after = correct(text, given(part), "ball", word_address=True, part=part)
    assert deepest(text, after, given(part), part, ENDS["ball"], word_address=True)[0] <= TOO_DEEP_MM
    assert len(after.splitlines()) > len(text.splitlines()) + 20


@pytest.mark.parametrize("lean", [0.0, 4.0])
@pytest.mark.parametrize("end", ENDS)
def test_the_tip_stands_over_the_floor_as_high_as_any_place_of_the_end_asks(end, lean):
    """By definition of touching, with places all over the end."""
    axis = np.array([np.sin(np.radians(lean)), 0.0, np.cos(np.radians(lean))])
    pocket = PART.pockets[0]
    zone = Zone(CutFloor(0, pocket, Correction("shift", pocket.centroid, 0.0)), Cutter(*ENDS[end]))
    xy = np.array([[12.0, 10.0], [30.0, 20.0], [45.0, 33.0]])
    wanted = [tip_z(x, y, end_places(*ENDS[end], axis)) - height(x, y) for x, y in xy]
    # The grid is within 0.001 mm of the formula, and the places on both ends within some of the top.
    assert zone.contact(xy, np.tile(axis, (3, 1))) == pytest.approx(wanted, abs=0.004)


@pytest.mark.parametrize("word_address", [True, False])
def test_passes_of_another_shape_are_refused_with_their_lines(word_address):
    """A floor that bends otherwise is met for a part of each pass only."""

    def other(x, y):
        return height(x, y) + 0.0004 * (x - 90.0) ** 2

    text = files("ball", names="F", of=other)[int(word_address)]
    with pytest.raises(InputError, match=r"line \d+: pocket F: a pass"):
        correct(text, given(), "ball", word_address=word_address)


@pytest.mark.parametrize("word_address", [True, False])
def test_a_few_passes_under_the_floor_are_refused(word_address):
    """Every other pass 0.2 too low: they would stay where the others move."""
    points, axis = passes(PART.pocket("E"), *ENDS["ball"])
    low = np.round((points[:, 1] - points[0, 1]) / 6.0).astype(int) == 2
    first, odd, last = points[: low.argmax()], points[low] - [0, 0, 0.2], points[len(points) - low[::-1].argmax() :]
    text = location_text(ENDS["ball"], [(first, axis), (odd, axis), (last, axis)])
    if word_address:
        text = post(text.replace(",0.000000000,0.000000000,1.000000000", ",0,0,1"))
    with pytest.raises(InputError, match=r"line \d+: pocket E: a pass"):
        correct(text, given(), "ball", word_address=word_address)


@pytest.mark.parametrize("away", [1.5, 3.0, 12.0])
def test_a_programme_beside_its_place_is_refused(away):
    """Heights and walls no longer fit."""
    way = [passes(PART.pocket(name), *ENDS["ball"]) for name in "EFG"]
    moved = [(points + np.array([away, 0.0, 0.0]), axis) for points, axis in way]
    text = post(location_text(ENDS["ball"], moved).replace(",0.000000000,0.000000000,1.000000000", ",0,0,1"))
    with pytest.raises(
        InputError, match=r"a pass is on the floor|fit the floors only when they are moved|other-part"
    ) as caught:
        correct(text, given(), "ball", word_address=True)
    # Each block once for each floor: a pass may be above it here and below it there.
    told = [(one.text, int(one.place.split()[-1])) for one in caught.value.findings if one.place.startswith("line")]
    assert len(told) == len(set(told))


@pytest.mark.parametrize("word_address", [True, False])
def test_an_unknown_cutter_is_refused(word_address):
    text = files("bull", names="E")[int(word_address)]
    text = "\n".join(line for line in text.splitlines() if not line.startswith("CUTTER"))
    with pytest.raises(InputError, match="cutter"):
        if word_address:
            apply_offsets(PART, given(), text.encode())
        else:
            apply_to_locations(PART, given(), text.encode())


@pytest.mark.parametrize("word_address", [True, False])
def test_a_held_floor_is_seen_under_a_flat_end_that_stands_above_it(word_address):
    """On a slope of 0.1 the tip of a flat end of 6 mm stands 0.6 mm above the floor that its rim cuts."""
    held = given() | {"E": Correction("hold", PART.pocket("E").centroid, float("nan"))}
    with pytest.raises(InputError, match="pocket E is held"):
        correct(files("flat", names="E")[int(word_address)], held, "flat", word_address=word_address)


def test_an_offset_of_nothing_gives_the_same_bytes():
    none = {name: Correction("shift", PART.pocket(name).centroid, 0.0) for name in "EFG"}
    for kind, text in enumerate(files("bull")):
        assert correct(text, none, "bull", word_address=bool(kind))[1] == text


@pytest.mark.parametrize("word_address", [True, False])
def test_the_proof_knows_the_floor(monkeypatch, word_address):
    """Lifts that are 0.03 mm too small on the curved floor: the sweep tells."""
    text = files("flat", names="G")[int(word_address)]
    module, name = (programme, "make_plan") if word_address else (cl_programme, "plan_gains")
    plan = getattr(module, name)

    def wrong(*args, **more):
        gains = plan(*args, **more)
        gains.node[gains.node != 0] -= 0.03
        gains.breaks = {row: [(at, gain - 0.03) for at, gain in some] for row, some in gains.breaks.items()}
        return gains

    monkeypatch.setattr(module, name, wrong)
    with pytest.raises(InputError, match=r"pocket G would be 0\.0[23]\d mm too deep"):
        correct(text, given(), "flat", word_address=word_address)
