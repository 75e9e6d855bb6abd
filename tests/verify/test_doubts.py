"""What must not pass for a proof: the readings before finishing, another plate's, a bias that is a fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from finished_webs import finished_readings, rough_readings, small_part, small_record

from floorfit.errors import InputError
from floorfit.verify import verify_job


def test_the_jobs_own_readings_are_refused():
    with pytest.raises(InputError, match="are the readings that the job was made from"):
        verify_job(small_record(), None, rough_readings(small_part()))


def test_the_jobs_own_file_is_refused_by_its_digest():
    record = small_record()
    own = record.inputs["part"].model_copy(update={"sha256": "f" * 64})
    record = record.model_copy(update={"inputs": {**record.inputs, "readings": own}})
    with pytest.raises(InputError, match="webs before finishing"):
        verify_job(record, None, finished_readings(record), digest="f" * 64)


def test_webs_read_again_before_finishing_offer_no_bias():
    """Other places, same roughed webs: 0.5 mm of stock is still there."""
    found = verify_job(small_record(), None, rough_readings(small_part(), seed=5))
    assert found.offered_bias is None and not found.conforms
    assert "looks-roughed" in {one.code for one in found.findings}


def test_a_bias_beyond_three_times_the_machine_is_not_offered():
    settings = {**small_record().settings, "machine_u": 0.004}
    record = small_record().model_copy(update={"settings": settings})
    found = verify_job(record, None, finished_readings(record, bias=0.03))
    assert found.offered_bias is None and "3 times the machine" in found.withheld


def test_another_plate_is_refused():
    record = small_record().model_copy(update={"identity": {"serial": "12"}})
    readings = finished_readings(record)
    with pytest.raises(InputError, match='serial "13" came, the job is of "12"'):
        verify_job(record, None, replace(readings, identity={"serial": "13"}))
    assert "piece-not-stated" in {one.code for one in verify_job(record, None, readings).findings}
    assert np.isfinite(verify_job(record, None, replace(readings, identity={"serial": "12"})).bias.value)
