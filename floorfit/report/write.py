"""Maps, page and signer's sheet of a run, written together."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from floorfit.record import Record
from floorfit.report.format import Writing

__all__ = ["FILES", "write_report"]

#: What is written.
FILES = ("deviation_map.png", "deviation_map.pdf", "sign_off.pdf", "report.html")


def write_report(
    record: Record,
    folder: str | Path,
    *,
    writing: Writing | None = None,
    progress: Callable[[str], None] | None = None,
) -> None:
    """Write ``deviation_map.png``, ``deviation_map.pdf``, ``sign_off.pdf`` and ``report.html`` into a folder.

    Parameters
    ----------
    record : Record
        A run; everything shown comes from it.
    folder : path
        Existing folder.
    writing : Writing, optional
        Unit, language and decimal sign; those of the part and English where left out.
    progress : callable, optional
        Called with a few words before each step.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    from floorfit.report.map import write_maps
    from floorfit.report.page import write_page
    from floorfit.report.plan_view import plan_of
    from floorfit.report.sign_off import write_sign_off

    tell = progress or (lambda words: None)
    plan, place = plan_of(record, writing), Path(folder)
    for words, write in (
        ("drawing the maps", write_maps),
        ("drawing the signer's sheet", write_sign_off),
        ("writing the page", write_page),
    ):
        tell(words)
        write(record, plan, place)
