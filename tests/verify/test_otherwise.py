"""Plates cut otherwise than decided, on purpose: what is found follows from the arithmetic of the offsets alone.

Of a floor cut at ``dz'`` in place of ``dz`` the finished web is ``dz' - dz`` thicker than predicted (contract:
web = web + dz - w). Turned signs give -2 dz, offsets that were left out -dz, offsets applied twice +dz.
"""

from dataclasses import replace

import numpy as np
import pytest
from finished_webs import finished_readings, small_record

from floorfit.verify import verify

#: Every floor of the invented job is a shift, so that its offset is one number.
OFFSETS = np.array([decision.offset_mm for decision in small_record().decisions])
#: Readings a floor in `finished_readings`.
EACH = 6


def cut_at(offsets, seed=7, **more):
    """Verify webs that were cut with other offsets than the job's."""
    readings = finished_readings(small_record(), per_pocket=EACH, seed=seed, **more)
    wrong = np.repeat(np.asarray(offsets) - OFFSETS, EACH)
    found = verify(small_record(), replace(readings, thickness=readings.thickness + wrong))
    return found, [finding for finding in found.findings if finding.severity == "warning"]


@pytest.mark.parametrize(
    ("factor", "words"), [(-1.0, "sign of the offsets"), (0.0, "not been applied"), (2.0, "applied twice")]
)
@pytest.mark.parametrize("length", [0.0, 0.03])
def test_offsets_applied_otherwise_are_named_and_no_bias_is_offered(factor, words, length):
    found, told = cut_at(factor * OFFSETS + length)
    assert [one.code for one in told if one.code != "pocket-apart"] == ["applied-otherwise"]
    assert words in told[0].text
    assert words in found.withheld and found.offered_bias is None


def test_offsets_turned_on_a_plate_that_let_go_a_little_are_still_named():
    """Turned, and a fifth of the offsets' own form on top: nearer to -2 than to -1."""
    _, told = cut_at(-0.8 * OFFSETS)
    assert "sign of the offsets" in next(one.text for one in told if one.code == "applied-otherwise")


@pytest.mark.parametrize("factor", [0.5, 1.5, -2.0])
def test_other_multiples_of_the_offsets_have_no_name(factor):
    _, told = cut_at(factor * OFFSETS)
    assert not {"applied-otherwise", "offsets-exchanged"} & {one.code for one in told}
    assert "not-as-predicted" in {one.code for one in told}


def test_two_floors_with_each_others_offset_are_named():
    offsets = OFFSETS.copy()
    offsets[[0, 7]] = offsets[[7, 0]]
    assert abs(OFFSETS[0] - OFFSETS[7]) > 0.1
    _, told = cut_at(offsets)
    assert [one.place for one in told if one.code == "offsets-exchanged"] == ["pocket P1"]
    assert "P1 and P8" in next(one.text for one in told if one.code == "offsets-exchanged")


def test_two_floors_that_are_off_otherwise_have_not_got_each_others_offset():
    """Up and down by 0.06 mm, where the offsets differ by more than 0.1: eight deviations of a floor's mean."""
    way = np.sign(OFFSETS[7] - OFFSETS[0])
    _, told = cut_at(OFFSETS + 0.06 * way * (np.eye(9)[0] - np.eye(9)[7]))
    assert "offsets-exchanged" not in {one.code for one in told}


def test_an_exchange_is_not_told_where_other_floors_are_off_as_well():
    offsets = OFFSETS.copy()
    offsets[[0, 7]] = offsets[[7, 0]]
    offsets[4] += 0.13
    _, told = cut_at(offsets)
    assert "offsets-exchanged" not in {one.code for one in told}


def test_half_the_floors_cut_with_another_tool_length_are_not_as_predicted():
    """0.04 mm is four deviations of a reading; no web of these leaves its tolerance of 0.15 mm."""
    found, told = cut_at(OFFSETS - 0.04 * (np.arange(9) > 4))
    assert found.conforms
    assert "not-as-predicted" in {one.code for one in told}


@pytest.mark.parametrize("seed", range(30, 40))
def test_floors_cut_as_decided_raise_no_alarm(seed):
    """With the scatter of tool wear from floor to floor, a common bias, and a plate that let go a little more."""
    found, told = cut_at(
        OFFSETS, seed=seed, scatter=0.006, bias=0.012, moved=lambda x, y: 0.02 * ((x - 200) / 200) ** 2
    )
    assert found.conforms
    assert not {one.code for one in told} & {"applied-otherwise", "offsets-exchanged", "not-as-predicted"}
