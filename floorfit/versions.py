"""Which package is installed, for records and ``--version``."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version

__all__ = ["version_of"]


def version_of(package: str) -> str:
    """Version of an installed package; ``"unknown"`` where it is not installed.

    Parameters
    ----------
    package : str
        Its name in the registry.
    """
    try:
        return version(package)
    except PackageNotFoundError:
        return "unknown"
