"""The seal of a job: digests in ``record.json`` by which a file that was changed by hand is noticed.

The last entry of the record is ``"seal"``: the SHA-256 of the record's own text with ``"seal":null`` in that place, and
of each table beside it. It guards against edits that were forgotten, not against forgery: who can edit a file can
seal it anew. A record without a seal, of an earlier version, is read as it is.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from floorfit.errors import Finding

__all__ = ["TABLES", "changed_files", "digest", "input_bytes", "write_sealed"]

#: Tables of a job that are sealed with its record, where they are there.
TABLES = ("offsets.csv", "readings.csv", "follow.csv")

#: Key of the record's own digest.
OWN = "record.json"

_OPEN = ',"seal":null}'
_SEAL = re.compile(r',"seal":(\{[^{}]*\})\}\s*\Z')
_ANY_SEAL = re.compile(r'"seal"\s*:\s*\{')


def input_bytes(inputs: Mapping[str, str | Path]) -> dict[str, tuple[str, bytes]]:
    """Return name and bytes of each file, by role."""
    return {role: (Path(path).name, Path(path).read_bytes()) for role, path in inputs.items()}


def write_sealed(pieces: Iterable[str], file: Path) -> None:
    """Write a record piece by piece, and seal it with the tables beside it.

    Parameters
    ----------
    pieces : iterable of str
        The record as JSON, whose last entry is ``"seal":null``.
    file : Path
        To be written; the tables lie in its folder already.

    Raises
    ------
    ValueError
        If the last entry is another one.
    """
    own, held = hashlib.sha256(), ""
    with file.open("w", encoding="utf-8", newline="") as out:
        for piece in pieces:
            text, held = (held + piece)[: -len(_OPEN)], (held + piece)[-len(_OPEN) :]
            own.update(text.encode())
            out.write(text)
        if held != _OPEN:
            raise ValueError('the last entry of a record must be "seal":null')
        own.update(held.encode())
        seal = {OWN: own.hexdigest(), **{path.name: digest(path) for path in _tables(file)}}
        out.write(f',"seal":{json.dumps(seal, separators=(",", ":"))}}}\n')


def changed_files(file: Path, text: str) -> list[Finding]:
    """Find what of a job was changed after it was written.

    Parameters
    ----------
    file : Path
        The record.
    text : str
        What it holds.

    Returns
    -------
    list of Finding
        One for each file that no longer fits the seal; none for a record without one. A table that is not there is not
        missed: nothing is read from it.
    """
    found = _SEAL.search(text, max(0, len(text) - 2_000))
    if found is None:
        return [_changed(file)] if _ANY_SEAL.search(text[-2_000:]) else []
    seal = json.loads(found[1])
    own = hashlib.sha256(text[: found.start()].encode() + _OPEN.encode()).hexdigest()
    tables = [path for path in _tables(file) if path.name in seal and digest(path) != seal[path.name]]
    return [_changed(path) for path in ([file] if own != seal.get(OWN) else []) + tables]


def _tables(file: Path) -> list[Path]:
    return [file.parent / name for name in TABLES if (file.parent / name).is_file()]


def digest(path: str | Path) -> str:
    """Return the SHA-256 of a file's bytes, hexadecimal."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _changed(path: Path) -> Finding:
    text = "was changed after `correct` wrote it (its digest is not the one sealed in record.json)."
    return Finding("changed-file", str(path), "", f"{text} Put the file back as it was, or run `correct` again.")
