"""One BLAS thread, as the package itself sets it: two threads fight over blocks this small."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import scipy.linalg  # noqa: F401  its BLAS must be loaded before it can be limited
from threadpoolctl import ThreadpoolController

#: Looking for the libraries takes some milliseconds: once for all tests.
LIBRARIES = ThreadpoolController()


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    with LIBRARIES.limit(limits=1, user_api="blas"):
        yield
