"""Look into a STEP file before it is read: whether it is one, and whether it holds faces."""

from __future__ import annotations

import re
from pathlib import Path

from floorfit.errors import Finding, InputError

__all__ = ["check_step"]

#: Words in the names of the entities that carry faces (ISO 10303-42): bounded, tessellated, constructive geometry.
_FACES = re.compile(rb"FACE|TRIANGULATED|TESSELLATED|GEOMETRIC_SET|CSG_")
#: Files that an assembly refers to (ISO 10303-41, document_file).
_OTHER_FILES = re.compile(rb"DOCUMENT_FILE\s*\(\s*'([^']*)'")
#: A STEP file starts with this (ISO 10303-21, clause 5).
_START = b"ISO-10303-21"


def check_step(path: Path) -> None:
    """Refuse a file that is no STEP file, or holds no face of its own.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        If the file does not start as a STEP file does, is an assembly whose parts are other files, or has no face.
    """
    text = path.read_bytes()
    if _START not in text[:2000]:
        reason = "does not start with ISO-10303-21 as a STEP file does. Export it again, or give it its right ending."
        raise InputError([Finding("unreadable", path.name, "", reason)])
    if _FACES.search(text):
        return
    others = list(dict.fromkeys(name.decode("latin-1") for name in _OTHER_FILES.findall(text)))
    if others:
        named = ", ".join(others[:4]) + (", ..." if len(others) > 4 else "")
        reason = f"is an assembly without faces of its own; its parts are other files ({named}). Give one of those."
    else:
        reason = "holds no face. Export the solid, not its edges."
    raise InputError([Finding("empty-model", path.name, "", reason)])
