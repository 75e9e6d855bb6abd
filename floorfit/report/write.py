"""Map and page of a run, written together."""

from __future__ import annotations

from pathlib import Path

from floorfit.report.record import Record

__all__ = ["write_report"]


def write_report(record: Record, folder: str | Path) -> None:
    """Write ``deviation_map.png``, ``deviation_map.pdf`` and ``report.html`` into an existing folder.

    Parameters
    ----------
    record : Record
        A run; everything shown comes from it.
    folder : path
        Existing folder.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    from floorfit.report.map import write_map
    from floorfit.report.page import write_page

    write_map(record, folder)
    write_page(record, folder)
