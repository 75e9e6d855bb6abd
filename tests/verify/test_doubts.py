"""What must not pass for a proof: the readings before finishing, another plate's, a bias that is a fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from finished_webs import finished_readings, rough_readings, small_part, small_record

from floorfit.errors import InputError
from floorfit.verify import verify


def test_the_jobs_own_readings_are_refused():
    with pytest.raises(InputError, match="are the readings that the job was made from"):
        verify(small_record(), rough_readings(small_part()))


def test_the_jobs_own_file_is_refused_by_its_digest():
    record = small_record()
    own = record.inputs["part"].model_copy(update={"sha256": "f" * 64})
    record = record.model_copy(update={"inputs": {**record.inputs, "readings": own}})
    with pytest.raises(InputError, match="webs before finishing"):
        verify(record, finished_readings(record), digest="f" * 64)


def test_webs_read_again_before_finishing_offer_no_bias():
    """Other places, same roughed webs: 0.5 mm of stock is still there."""
    found = verify(small_record(), rough_readings(small_part(), seed=5))
    assert found.offered_bias is None and not found.conforms
    assert "looks-roughed" in {one.code for one in found.findings}


def test_a_bias_beyond_three_times_the_machine_is_not_offered():
    settings = {**small_record().settings, "machine_u": 0.004}
    record = small_record().model_copy(update={"settings": settings})
    found = verify(record, finished_readings(record, bias=0.03))
    assert found.offered_bias is None and "3 times the machine" in found.withheld


def test_another_plate_is_refused():
    record = small_record().model_copy(update={"identity": {"serial": "12"}})
    readings = finished_readings(record)
    with pytest.raises(InputError, match='serial "13" came, the job is of "12"'):
        verify(record, replace(readings, identity={"serial": "13"}))
    assert "piece-not-stated" in {one.code for one in verify(record, readings).findings}
    assert np.isfinite(verify(record, replace(readings, identity={"serial": "12"})).bias.value)


@pytest.mark.parametrize(("day", "is_told"), [("2031-05-16", True), ("2031-05-17", False), ("2031-06-01", False)])
def test_webs_that_were_read_before_those_of_the_job_are_told(day: str, is_told: bool):
    """Webs are read, then cut, then read again: the days stand in that order (ISO 8601)."""
    record = small_record().model_copy(update={"identity": {"read_at": "2031-05-17"}})
    found = verify(record, replace(finished_readings(record), identity={"read_at": day}))
    assert ("read-before" in {one.code for one in found.findings}) == is_told
