"""Every face that was looked at in a model, taken or not, with its rings and the reason, as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from floorfit.json_file import write_json
from floorfit.units import MM_PER_UNIT

if TYPE_CHECKING:
    from floorfit.cad.extracted import Extraction, Floor, RejectedFace
    from floorfit.part.model import Ring

__all__ = ["faces_document", "write_faces"]

_FORMAT = "floorfit-faces/1"


def faces_document(extraction: Extraction) -> dict[str, Any]:
    """The faces as plain values, lengths in the part file's unit.

    Parameters
    ----------
    extraction : Extraction

    Returns
    -------
    dict
        ``format``, ``units`` and ``faces``: taken ones first, in the part's order. Each has ``id`` (null where it was
        not taken), ``code`` (``taken``, or why not), ``reason``, ``walled``, ``place``, ``area``, ``boundary`` and
        ``islands``; taken ones also what was measured on them.
    """
    unit = extraction.part.units
    scale = MM_PER_UNIT[unit]
    faces = [_taken(floor, scale) for floor in extraction.floors]
    faces += [_left(face, scale) for face in extraction.rejected]
    return {"format": _FORMAT, "part": extraction.part.name, "units": unit, "faces": faces}


def _taken(floor: Floor, scale: float) -> dict[str, Any]:
    x, y = _middle(floor.foot)
    return {
        "id": floor.id,
        "code": "taken",
        "reason": floor.kind,
        "walled": True,
        "place": _lengths((x, y, floor.floor_z), scale),
        "area": _number(floor.area / scale**2),
        "boundary": _ring(floor.foot, scale),
        "islands": [_ring(ring, scale) for ring in floor.foot_islands],
        "wall": _ring(floor.wall, scale),
        "web": _lengths((floor.web, floor.web_min, floor.web_max), scale),
        "slope": list(floor.slope),
        "fillet_radius": _number(floor.fillet_radius / scale),
        "edge": floor.edge_words,
        "thicker_within": _number(floor.edge / scale),
    }


def _left(face: RejectedFace, scale: float) -> dict[str, Any]:
    return {
        "id": None,
        "code": face.code,
        "reason": face.reason,
        "walled": face.is_walled,
        "place": _lengths(face.place, scale),
        "area": _number(face.area / scale**2),
        "boundary": _ring(face.outline, scale),
        "islands": [_ring(ring, scale) for ring in face.holes],
    }


def _middle(ring: Ring) -> tuple[float, float]:
    import shapely

    point = shapely.Polygon(ring).representative_point()
    return float(point.x), float(point.y)


def _ring(ring: Ring, scale: float) -> list[list[float]]:
    return [_lengths(vertex, scale) for vertex in ring]


def _lengths(values: tuple[float, ...], scale: float) -> list[float]:
    return [_number(value / scale) for value in values]


def _number(value: float) -> float:
    return float(f"{value:.9g}")


def write_faces(extraction: Extraction, path: str | Path) -> None:
    """Write the faces as JSON.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    write_json(faces_document(extraction), Path(path), indent=1)
