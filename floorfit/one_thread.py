"""Linear algebra on one thread: of many small products threads only wait for each other."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]


@contextmanager
def one_thread() -> Iterator[None]:
    """Limit the BLAS of numpy and scipy to one thread."""
    with _libraries().limit(limits=1, user_api="blas"):
        yield


@cache
def _libraries() -> ThreadpoolController:
    """The libraries of this process; looking for them takes 20 ms, so once."""
    import scipy.linalg  # noqa: F401  its BLAS must be loaded before it can be limited
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
