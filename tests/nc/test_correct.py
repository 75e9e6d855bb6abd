"""The corrected programme against an independent reader: the invariants that make it safe."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from nc_cases import PART, apply, check_heights, corrections
from nc_strategies import offsets, programs

from floorfit.nc.correct import apply_offsets


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(programs(), offsets())
def test_random_programmes_keep_their_path_and_get_their_offsets(text, wanted):
    check_heights(text, apply(text, wanted), wanted)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(programs())
def test_offsets_of_zero_give_the_same_bytes(text):
    assert apply(text, corrections()) == text


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(programs(), offsets())
def test_the_same_input_gives_the_same_bytes(text, wanted):
    first = apply_offsets(PART, wanted, text.encode()).data
    assert apply_offsets(PART, wanted, text.encode()).data == first
