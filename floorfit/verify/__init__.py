"""Afterwards: proof on the finished part, and what the next one can learn."""

from floorfit.verify.expect import expected_from, read_expected
from floorfit.verify.parts import Series, read_series
from floorfit.verify.proved import Verification
from floorfit.verify.verify_job import verify_job

__all__ = ["Series", "Verification", "expected_from", "read_expected", "read_series", "verify_job"]
