"""Afterwards: proof on the finished part, and what the next one can learn."""

from floorfit.verify.afterwards import write_verification
from floorfit.verify.expect import expected_from, read_expected
from floorfit.verify.parts import Series, series
from floorfit.verify.proved import Verification
from floorfit.verify.series_folder import write_series
from floorfit.verify.verify_job import verify

__all__ = [
    "Series",
    "Verification",
    "expected_from",
    "read_expected",
    "series",
    "verify",
    "write_series",
    "write_verification",
]
