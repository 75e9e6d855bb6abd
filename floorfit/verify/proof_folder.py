"""The folder of a verification: tables, page and the sheet to sign, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from floorfit.report.format import Writing
from floorfit.verify.afterwards import write_verification_page
from floorfit.verify.proved import Verification
from floorfit.verify.written import write_tables
from floorfit.whole import whole_folder

__all__ = ["write_verification"]


def write_verification(
    found: Verification, folder: str | Path, *, replace: bool = False, writing: Writing | None = None
) -> None:
    """Write a verification as a folder.

    Parameters
    ----------
    found : Verification
        From `floorfit.verify`.
    folder : path
        Folder to make.
    replace : bool
        Whether an existing one may be replaced.
    writing : Writing, optional
        Unit, language and decimal sign of page and sheet.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is false, or its parent cannot be written.
    """
    with whole_folder(folder, replace=replace) as temporary:
        write_tables(found, temporary)
        write_verification_page(found, temporary, writing=writing)
