"""Map and page of a run, written together."""

from __future__ import annotations

from pathlib import Path

from floorfit.record import Record
from floorfit.report.beside import Beside

__all__ = ["write_report"]


def write_report(
    record: Record, folder: str | Path, *, beside: Beside | None = None, record_file: Path | None = None
) -> None:
    """Write ``deviation_map.png``, ``deviation_map.pdf`` and ``report.html`` into an existing folder.

    Parameters
    ----------
    record : Record
        A run; everything shown comes from it.
    folder : path
        Existing folder.
    beside : Beside, optional
        A second process that draws the PDF meanwhile.
    record_file : Path, optional
        The same record as a file, or its folder, which that process reads; it goes with ``beside``.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    from floorfit.report.map import write_pdf, write_png
    from floorfit.report.page import write_page

    if beside is not None and record_file is not None:
        beside.begin(record_file, Path(folder))
    write_png(record, folder)
    write_page(record, folder)
    if beside is None or record_file is None or not beside.is_done():
        write_pdf(record, folder)
