"""The part file: read, checked and written; ``"format": "floorfit-part/1"``, or ``/2`` (`floorfit.part.shaped`).

What the format leaves open is fixed so:

- A ring may repeat its first vertex at the end, and a vertex may repeat the one before it: the repeated ones are
  dropped, since the shape is the same.
- ``underside_z`` may stand in a pocket, in ``defaults`` or at the top level; the nearest one counts. Where none is
  given, it is ``floor_z - web``.
- One limit of ``web_tolerance`` may be null, for an open side: a minimum web alone is ``[0, null]``.
- ``finish_stock`` must be given (in a pocket or in ``defaults``), also where it is 0: a forgotten one would turn
  straight into the offset of every reading without a measured Z.
- ``islands`` is empty, ``slope`` and ``corner_radius`` are 0 where left out.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from floorfit.errors import Finding, InputError
from floorfit.part.model import Part, Pocket
from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from floorfit.part.document import Fault, Path

__all__ = ["part_from_document", "part_to_document", "read_part", "write_part"]

#: Keys and indices above the deepest value of a part file are fewer; what lies deeper is an unknown key anyway.
DEEPEST = 20

#: Faults that are listed one by one.
MOST_FAULTS = 100


def read_part(path: str | os.PathLike[str]) -> Part:
    """Read and check a part file.

    Parameters
    ----------
    path : path
        JSON, UTF-8 (a byte order mark is allowed).

    Returns
    -------
    Part
        In mm; ``units`` remembers the file's unit and ``source`` its name.

    Raises
    ------
    InputError
        If the file cannot be read or has faults; all of them are listed, each with its JSON path.
    """
    file = FilePath(path)
    document = _load(_text_of(file), file.name)
    return part_from_document(document, file.name)


def _text_of(file: FilePath) -> str:
    """Return the file's text.

    Raises
    ------
    InputError
        If there is no such file, or it is not UTF-8.
    """
    try:
        return file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        text = "is not UTF-8 text. Save the part file as JSON in UTF-8."
        raise InputError([Finding("not-utf-8", file.name, f"line {line}", text)]) from error


class _Object(dict[str, Any]):
    """A JSON object that remembers the keys that came twice."""

    def __init__(self, pairs: list[tuple[str, Any]]) -> None:
        """Store the pairs, the last of equal keys winning, and note those keys."""
        super().__init__(pairs)
        counts = Counter(key for key, _ in pairs) if len(pairs) > len(self) else {}
        self.doubled = [key for key, count in counts.items() if count > 1]


def _load(document: str, source: str) -> Any:
    """Parse JSON; doubled keys are kept for `_doubled_keys` to find."""
    try:
        return json.loads(document, object_pairs_hook=_Object, parse_int=_whole_number)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        remedy = "Look for a missing or spare comma, quote or bracket just before"
        if _is_table(document):
            remedy = "It looks like a table of readings: PART comes first on the command line, READINGS second"
        text = f"is not JSON: {error.msg}. {remedy}."
        raise InputError([Finding("not-json", source, where, text)]) from error
    except RecursionError as error:
        text = "is nested too deeply for a part file. Check the brackets."
        raise InputError([Finding("not-json", source, "", text)]) from error


def _is_table(document: str) -> bool:
    """Whether a text looks like the CSV of readings: its first line that is no comment names their columns."""
    lines = (line.strip().lower() for line in document.splitlines()[:200])
    first = next((line for line in lines if line and not line.startswith("#")), "")
    return not first.startswith(("{", "[")) and any(name in first for name in ("thickness", "x_mm", "x_in"))


def _whole_number(digits: str) -> int | float:
    """Keep whole numbers whole, and let absurd ones become inf, which is refused with its path."""
    return int(digits) if len(digits) < 20 else float(digits)


def part_from_document(document: Mapping[str, Any], source: str = "part") -> Part:
    """Check a part document and build the part.

    Parameters
    ----------
    document : mapping
        What a part file holds, lengths in its ``units``.
    source : str
        File name for messages and for ``Part.source``.

    Returns
    -------
    Part
        In mm.

    Raises
    ------
    InputError
        With every fault, each with its JSON path.
    """
    from floorfit.part.document import structure_faults
    from floorfit.part.draft import Draft

    doubled = _doubled_keys(document, ()) if isinstance(document, dict | list) else ()
    faults = [*doubled, *structure_faults(document)]
    draft = Draft(document, (fault.path for fault in faults))
    faults.extend(draft.faults())
    if faults:
        raise InputError(_findings(faults, source))
    return Part(
        name=document["name"],
        outline=draft.outline(),
        pockets=tuple(draft.pocket(i) for i in draft.indices),
        units=document["units"],
        source=source,
    )


def _findings(faults: list[Fault], source: str) -> list[Finding]:
    from floorfit.part.document import json_path

    shared = {(f.code, f.path): f for f in reversed(faults) if f.path[:1] != ("pockets",)}  # once, not for each pocket
    faults = [f for f in faults if shared.get((f.code, f.path), f) is f]
    findings = [Finding(f.code, source, json_path(f.path), f.text) for f in faults[:MOST_FAULTS]]
    if len(faults) > MOST_FAULTS:
        text = f"and {len(faults) - MOST_FAULTS} more faults. Correct these first."
        findings.append(Finding("more", source, "", text))
    return findings


def _doubled_keys(value: Any, path: Path) -> Iterable[Fault]:
    """Yield a fault for each key that came twice in one object."""
    from floorfit.part.document import Fault, quoted

    if isinstance(value, _Object):
        for key in value.doubled:
            text = f"the key {quoted(key)} is given twice. Keep one of them."
            yield Fault("doubled-key", (*path, key), text)
    if len(path) > DEEPEST:
        return
    steps: Iterable[tuple[str | int, Any]] = value.items() if isinstance(value, dict) else enumerate(value)
    for step, inner in steps:
        if isinstance(inner, dict | list):
            yield from _doubled_keys(inner, (*path, step))


def write_part(part: Part, path: str | os.PathLike[str]) -> None:
    """Write a part file, in the part's unit; an existing file is replaced.

    Parameters
    ----------
    part : Part
        Lengths in mm; ``part.units`` is the file's unit.
    path : path
        Where to write.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    FilePath(path).write_text(_pretty(part_to_document(part)), encoding="utf-8", newline="\n")


def _pretty(document: Mapping[str, Any]) -> str:
    """Return JSON with a line for each pocket's key, rings on one line."""
    pockets = document["pockets"]
    head = {key: value for key, value in document.items() if key != "pockets"}
    lines = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}," for key, value in head.items()]
    blocks = [
        "    {" + ",\n     ".join(f"{json.dumps(k)}: {json.dumps(v, ensure_ascii=False)}" for k, v in p.items()) + "}"
        for p in pockets
    ]
    return "\n".join(["{", *lines, '  "pockets": [', ",\n".join(blocks), "  ]", "}", ""])


def part_to_document(part: Part) -> dict[str, Any]:
    """Return the part as a part document, lengths in ``part.units``.

    Values that all pockets share stand in ``defaults``. Each number is the one nearest to the length that becomes
    the same millimetres again, so that reading, writing and reading give an equal part.

    Parameters
    ----------
    part : Part
        Lengths in mm.

    Returns
    -------
    dict
        Ready for ``json.dumps``; `part_from_document` is the way back.
    """
    from floorfit.part.shaped import in_unit

    scale = MM_PER_UNIT[part.units]
    pockets = [_pocket_document(pocket, scale) for pocket in part.pockets]
    none = object()
    defaults = {
        key: pockets[0][key]
        for key in _SHARED
        if pockets and key in pockets[0] and all(p.get(key, none) == pockets[0][key] for p in pockets)
    }
    return {
        "format": "floorfit-part/1" if all(pocket.is_plain for pocket in part.pockets) else "floorfit-part/2",
        "name": part.name,
        "units": part.units,
        "outline": in_unit(part.outline, scale),
        "defaults": defaults,
        "pockets": [{key: value for key, value in p.items() if key not in defaults} for p in pockets],
    }


_SHARED = ("web", "web_tolerance", "finish_stock", "underside_z")


def _pocket_document(pocket: Pocket, scale: float) -> dict[str, Any]:
    """The document of a pocket; of one with heights, what these say already is left out."""
    from floorfit.part.shaped import in_unit, patches_to, tolerances_to

    steep = float(pocket.steepness_at(*pocket.centroid)) if pocket.web_along == "normal" else 1.0
    plain = {
        "id": pocket.id,
        "boundary": in_unit(pocket.boundary, scale),
        "islands": in_unit(pocket.islands, scale),
        "floor_z": in_unit(pocket.floor_z, scale),
        "underside_z": in_unit(pocket.underside_z, scale),
        "web": in_unit(pocket.web / steep, scale),
        "web_tolerance": in_unit((pocket.tolerance.lower, pocket.tolerance.upper), scale),
        "finish_stock": in_unit(pocket.finish_stock, scale),
        "slope": [float(value) for value in pocket.slope],
        "corner_radius": in_unit(pocket.corner_radius, scale),
    }
    shaped = {
        "floor": patches_to(pocket.floor, scale),
        "underside": patches_to(pocket.underside, scale),
        "web_constant": pocket.is_parallel,
        "web_along": "" if pocket.web_along == "z" else pocket.web_along,
        "tolerances": tolerances_to(pocket, scale),
    }
    drop = {"slope", "floor_z"} if pocket.floor else set()
    drop |= {"underside_z"} if pocket.underside or pocket.is_parallel else set()
    kept = {key: value for key, value in plain.items() if key not in drop}
    return kept | {key: value for key, value in shaped.items() if value}
