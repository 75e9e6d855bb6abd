"""Maps, page and signer's sheet of a run, written together: ``floorfit report`` and its call."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from floorfit.errors import OutputError
from floorfit.left_behind import passing_folder
from floorfit.record import Record, record_of
from floorfit.report.format import Writing
from floorfit.stop import undisturbed
from floorfit.whole import refuse_existing, whole_folder

if TYPE_CHECKING:
    from floorfit.result import Result

__all__ = ["FILES", "report", "write_report"]

#: What is written.
FILES = ("deviation_map.png", "deviation_map.pdf", "sign_off.pdf", "report.html")


def report(
    job: Record | Result | str | Path,
    folder: str | Path | None = None,
    *,
    replace: bool = False,
    writing: Writing | None = None,
    progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Make maps, page and signer's sheet from a job's record alone; all of them or none.

    Parameters
    ----------
    job : Record, Result or path
        A run, its record, or its job folder.
    folder : path, optional
        Folder to make; the job's own where left out.
    replace : bool
        Whether what exists may be replaced.
    writing : Writing, optional
        Unit, language and decimal sign; those of the part and English where left out.
    progress : callable, optional
        Called with a few words before each step.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    OutputError
        If an output exists and ``replace`` is false, or there is no folder to write to.
    InputError
        If the record is refused.
    """
    target = job_folder(job) if folder is None else Path(folder)
    for name in FILES if folder is None else [""]:
        refuse_existing(target / name, replace=replace)
    record = record_of(job)
    if folder is None:
        _write_into(record, target, writing, progress)
    else:
        with whole_folder(target, replace=replace) as temporary:
            write_report(record, temporary, writing=writing, progress=progress)
    return [target / name for name in FILES]


def job_folder(job: object) -> Path:
    """Return the folder that a job lies in.

    Raises
    ------
    OutputError
        If the job is not given as a folder or file.
    """
    if not isinstance(job, str | Path):
        raise OutputError("report: no folder came, and the job is not a folder. Say where to write.")
    return Path(job) if Path(job).is_dir() else Path(job).parent


def _write_into(record: Record, folder: Path, writing: Writing | None, progress: Callable[[str], None] | None) -> None:
    """Write into a folder that holds other files, once all of them are made."""
    with passing_folder(folder / "pictures") as temporary:
        write_report(record, temporary, writing=writing, progress=progress)
        with undisturbed(str(folder)):
            for name in FILES:
                os.replace(temporary / name, folder / name)


def write_report(
    record: Record, folder: str | Path, *, writing: Writing | None = None, progress: Callable[[str], None] | None = None
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
