"""Afterwards: proof on the finished part, and what the next one can learn."""

from floorfit.verify.expect import expected_from, read_expected
from floorfit.verify.proof import verify_job
from floorfit.verify.results import Verification
from floorfit.verify.series import Series, read_series

__all__ = ["Series", "Verification", "expected_from", "read_expected", "read_series", "verify_job"]
