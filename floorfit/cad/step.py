"""Look into a STEP file before it is read: whether it is one, and whether it holds faces."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from floorfit.errors import Finding, InputError

__all__ = ["check_step"]

#: Words in the names of the entities that carry faces (ISO 10303-42): bounded, tessellated, constructive geometry.
_FACES = re.compile(rb"FACE|TRIANGULATED|TESSELLATED|GEOMETRIC_SET|CSG_")
#: Files that an assembly refers to (ISO 10303-41, document_file).
_OTHER_FILES = re.compile(rb"DOCUMENT_FILE\s*\(\s*'([^']*)'")
#: What places an item turned, scaled or mirrored: axis 1, axis 2, origin, scale and axis 3 are its last arguments
#: (ISO 10303-42, cartesian_transformation_operator_3d).
_OPERATOR = re.compile(rb"CARTESIAN_TRANSFORMATION_OPERATOR_3D\s*\(([^;]*)\)\s*;")
_DIRECTION = re.compile(rb"(#\d+)\s*=\s*DIRECTION\s*\([^(]*\(([^)]*)\)")
#: A STEP file starts with this (ISO 10303-21, clause 5).
_START = b"ISO-10303-21"
_XYZ = ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0])
#: Rounding of a scale of 1.
_SAME_SIZE = 1e-9


def check_step(path: Path) -> None:
    """Refuse a file that is no STEP file, or holds no face of its own.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        If the file does not start as a STEP file does, is an assembly whose parts are other files, has no face, or
        places an item mirrored or scaled: what reads the file (Open CASCADE) turns it instead, or scales it otherwise.
    """
    text = path.read_bytes()
    if _START not in text[:2000]:
        reason = "does not start with ISO-10303-21 as a STEP file does. Export it again, or give it its right ending."
        raise InputError([Finding("unreadable", path.name, "", reason)])
    if _FACES.search(text):
        _check_operators(text, path.name)
        return
    others = list(dict.fromkeys(name.decode("latin-1") for name in _OTHER_FILES.findall(text)))
    if others:
        named = ", ".join(others[:4]) + (", ..." if len(others) > 4 else "")
        reason = f"is an assembly without faces of its own; its parts are other files ({named}). Give one of those."
    else:
        reason = "holds no face. Export the solid, not its edges."
    raise InputError([Finding("empty-model", path.name, "", reason)])


def _check_operators(text: bytes, source: str) -> None:
    operators = [found.group(1).rsplit(b",", 5)[1:] for found in _OPERATOR.finditer(text)]
    directions = dict(_DIRECTION.findall(text)) if operators else {}
    for first, second, _, scale, third in operators:
        axes = [
            _numbers(directions.get(name.strip())) or own
            for name, own in zip((first, second, third), _XYZ, strict=True)
        ]
        factor = 1.0 if scale.strip() == b"$" else float(scale)
        if np.linalg.det(axes) < 0.0 or abs(factor - 1.0) > _SAME_SIZE:
            how = "mirrored" if factor == 1.0 else f"scaled by {factor:g}"
            reason = f"an item is placed {how}, which is not read rightly. Export the part as it is, in full size."
            raise InputError([Finding("placed-otherwise", source, "", reason)])


def _numbers(triple: bytes | None) -> list[float]:
    return [float(number) for number in triple.split(b",")] if triple else []
