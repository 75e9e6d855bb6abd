"""Read a mesh file into triangles in millimetres; units are stated, never guessed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from floorfit.cad.extract_settings import MM_PER_MODEL_UNIT, ExtractSettings
from floorfit.cad.polygons import has_polygons, triangulated_obj
from floorfit.errors import Finding, InputError, MissingExtraError
from floorfit.units import MM_PER_INCH

__all__ = ["DRAWING_SUFFIXES", "STEP_SUFFIXES", "RawModel", "check_extra", "check_path", "read_model", "unit_of"]

#: What is read as a mesh, and the unit that the format itself fixes ("" where it fixes none).
#: glTF 2.0, section 3.5: all linear distances are in metres. STEP reaches us through glTF.
MESH_SUFFIXES: dict[str, str] = {
    ".stl": "",
    ".obj": "",
    ".ply": "",
    ".glb": "m",
    ".gltf": "m",
    ".3mf": "mm",
    ".step": "m",
    ".stp": "m",
}
STEP_SUFFIXES, DRAWING_SUFFIXES = (".step", ".stp"), (".dxf",)
#: Package and extra that a format needs.
_EXTRAS = {".dxf": ("ezdxf", "dxf"), ".3mf": ("lxml", "3mf")} | dict.fromkeys(STEP_SUFFIXES, ("cascadio", "step"))
#: Words in the names of the entities that carry faces (ISO 10303-42): bounded, tessellated, constructive geometry.
_FACES = re.compile(rb"FACE|TRIANGULATED|TESSELLATED|GEOMETRIC_SET|CSG_")
#: Files that an assembly refers to (ISO 10303-41, document_file).
_OTHER_FILES = re.compile(rb"DOCUMENT_FILE\s*\(\s*'([^']*)'")
#: What places an item turned, scaled or mirrored: axis 1, axis 2, origin, scale and axis 3 are its last arguments
#: (ISO 10303-42, cartesian_transformation_operator_3d).
_OPERATOR = re.compile(
    rb"CARTESIAN_TRANSFORMATION_OPERATOR_3D\s*\([^;]*,\s*(#\d+|\$)\s*,\s*(#\d+|\$)\s*,\s*#\d+\s*,"
    rb"\s*(\$|[-+]?\d+\.\d*(?:E[-+]?\d+)?)\s*,\s*(#\d+|\$)\s*\)\s*;"
)
_DIRECTION = re.compile(rb"(#\d+)\s*=\s*DIRECTION\s*\([^(]*\(([^)]*)\)")
#: Rounding of a scale of 1.
_SAME_SIZE = 1e-9
#: A STEP file starts with this (ISO 10303-21, clause 5).
_START = b"ISO-10303-21"

#: Millimetres in the units that a 3MF file may state (3MF core specification, section 3.4: millimeter where it states
#: none, which reaches us in the plural).
_UNIT_WORDS = {
    "micron": 0.001,
    "millimeter": 1.0,
    "millimeters": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}


@dataclass(frozen=True)
class RawModel:
    """Triangles as the file gives them, in mm, not yet joined.

    Parameters
    ----------
    vertices : (n, 3) ndarray, mm
    faces : (m, 3) ndarray of int
    source : str
        File name for messages.
    unit : str
        Unit that the numbers had.
    findings : tuple of Finding
        Warnings of the reading.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    source: str
    unit: str
    findings: tuple[Finding, ...] = ()


def read_model(model: Any, settings: ExtractSettings) -> RawModel:
    """Read a mesh file, or take a mesh that is in memory already.

    Parameters
    ----------
    model : path, or object with ``vertices`` and ``faces``
        STL, OBJ, PLY, GLB, 3MF, STEP; or for instance a trimesh mesh.
    settings : ExtractSettings

    Returns
    -------
    RawModel

    Raises
    ------
    InputError
        If the file cannot be read, is empty, holds coordinates that are not finite, or states no unit.
    MissingExtraError
        If the format needs a package that is not installed.
    """
    if hasattr(model, "vertices") and hasattr(model, "faces"):
        return _from_memory(model, settings)
    path = Path(model)
    check_path(path)
    vertices, faces, own_mm = _load(path, settings)
    mm, unit, findings = _unit_of(path, own_mm, settings)
    return _checked(vertices * mm, faces, path.name, unit, findings)


def _from_memory(model: Any, settings: ExtractSettings) -> RawModel:
    if settings.units is None:
        raise InputError([Finding("no-unit", "model", "", _NO_UNIT)])
    vertices = np.array(model.vertices, float) * MM_PER_MODEL_UNIT[settings.units]
    return _checked(vertices, np.array(model.faces, np.int64), "model", settings.units, ())


_NO_UNIT = "the numbers carry no unit. State it: --units mm, cm, m or in."


#: Formats that are read from memory: what such a file names beside itself (buffers, materials) is never opened.
_ALONE = (".stl", ".obj", ".ply", ".glb", ".gltf")


def check_path(path: Path) -> None:
    """Refuse a model or a drawing that cannot be one.

    Raises
    ------
    InputError
        If its ending is not known, it is not there, or it is empty.
    """
    if path.suffix.lower() not in (*MESH_SUFFIXES, *DRAWING_SUFFIXES):
        known = ", ".join([*MESH_SUFFIXES, *DRAWING_SUFFIXES])
        text = f"the ending {path.suffix or '(none)'} is not known; expected one of {known}. Export the model again."
        raise InputError([Finding("unknown-format", str(path), "", text)])
    if not path.is_file():
        raise InputError([Finding("no-file", str(path), "", "there is no such file. Check the path.")])
    if path.stat().st_size == 0:
        raise InputError([Finding("empty-model", str(path), "", "the file is empty. Export the model again.")])


def _load(path: Path, settings: ExtractSettings) -> tuple[NDArray[np.float64], NDArray[np.int64], float | None]:
    """Return vertices, faces and the millimetres of the file's own unit (None where it states none)."""
    import trimesh

    suffix = path.suffix.lower()
    check_extra(suffix)
    more: dict[str, Any] = {}
    if suffix in STEP_SUFFIXES:
        _check_step(path)
        # 0.2 rad caps the facets of small arcs as well, which a linear tolerance alone leaves coarse; finer, and
        # nine tenths of all facets are those of fillets in corners. Faces stay apart: joining fails where some have a
        # colour and others none.
        more = {"tol_linear": settings.chord_tolerance, "tol_angular": 0.2, "merge_primitives": False}
    try:
        if suffix == ".obj" and has_polygons(path):
            scene = trimesh.load_scene(BytesIO(triangulated_obj(path).encode()), file_type="obj", process=False)
        elif suffix in _ALONE:
            scene = trimesh.load_scene(BytesIO(path.read_bytes()), file_type=suffix[1:], process=False)
        else:
            scene = trimesh.load_scene(str(path), process=False, **more)
        vertices, faces = _soup(scene)
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            raise ValueError(f"vertices of {vertices.shape[-1]} coordinates, 3 were expected")
        if len(faces) and not 0 <= faces.min() <= faces.max() < len(vertices):
            raise ValueError(f"a facet names vertex {faces.min()} to {faces.max()}, the file has {len(vertices)}")
    except Exception as error:
        # The reader of STEP says itself what is wrong with the file, and leaves nothing behind.
        is_bare = isinstance(error, FileNotFoundError) and path.exists()
        why = "no solid came of it" if is_bare else f"{type(error).__name__}: {_short(error)}"
        text = f"cannot be read as {suffix[1:].upper()} ({why}). Export it again."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error
    own = MESH_SUFFIXES[suffix]
    own_mm = MM_PER_MODEL_UNIT[own] if own else None
    if suffix == ".3mf" and len(faces):
        own_mm = _stated_mm(path, str(scene.units))
    return vertices, faces, own_mm


def _check_step(path: Path) -> None:
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
    operators = _OPERATOR.findall(text)
    directions = dict(_DIRECTION.findall(text)) if operators else {}
    for first, second, scale, third in operators:
        stated = [directions.get(name) for name in (first, second, third)]
        axes = [[float(c) for c in one.split(b",")] if one else own for one, own in zip(stated, np.eye(3), strict=True)]
        factor = 1.0 if scale == b"$" else float(scale)
        if np.linalg.det(np.array(axes, float)) < 0.0 or abs(factor - 1.0) > _SAME_SIZE:
            how = "mirrored" if factor == 1.0 else f"scaled by {factor:g}"
            reason = f"an item is placed {how}, which is not read rightly. Export the part as it is, in full size."
            raise InputError([Finding("placed-otherwise", source, "", reason)])


def _stated_mm(path: Path, word: str) -> float:
    """Millimetres in the unit that a 3MF file states."""
    if word not in _UNIT_WORDS:
        known = ", ".join(name for name in _UNIT_WORDS if name != "millimeters")
        text = f"the file states the unit {word!r}; one of {known} was expected. Export it again."
        raise InputError([Finding("unknown-unit", path.name, "unit", text)])
    return _UNIT_WORDS[word]


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160]


def check_extra(suffix: str) -> None:
    """Refuse a format that needs more than is installed.

    Raises
    ------
    MissingExtraError
        If the package that reads it is not there.
    """
    from importlib.util import find_spec

    package, extra = _EXTRAS.get(suffix, ("", ""))
    if package and find_spec(package) is None:
        text = f"reading {extra.upper()} needs one more package: pip install 'floorfit[{extra}]'"
        raise MissingExtraError(text)


def _soup(scene: Any) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Put every mesh of a scene into one list, in the scene's frame."""
    vertices, faces, count = [], [], 0
    for node in scene.graph.nodes_geometry:
        transform, name = scene.graph[node]
        mesh = scene.geometry[name]
        if not hasattr(mesh, "faces") or len(mesh.faces) == 0:
            continue
        points = np.asarray(mesh.vertices, float)
        if not np.array_equal(transform, np.eye(4)):
            points = points @ transform[:3, :3].T + transform[:3, 3]
        triangles = np.asarray(mesh.faces, np.int64)
        if np.linalg.det(transform[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        vertices.append(points)
        faces.append(triangles + count)
        count += len(points)
    if not vertices:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    return np.concatenate(vertices), np.concatenate(faces)


def _unit_of(path: Path, own_mm: float | None, settings: ExtractSettings) -> tuple[float, str, tuple[Finding, ...]]:
    stated = settings.units
    if own_mm is None and stated is None:
        raise InputError([Finding("no-unit", str(path), "", f"{path.suffix[1:].upper()}: {_NO_UNIT}")])
    if own_mm is not None and path.suffix.lower() in STEP_SUFFIXES:
        # The unit is converted while the file is read; what the user states is the unit of the part file.
        return own_mm, "in" if stated == "in" else "mm", ()
    return unit_of("file", path.name, own_mm, stated)


def unit_of(what: str, source: str, own_mm: float | None, stated: str | None) -> tuple[float, str, tuple[Finding, ...]]:
    """Millimetres in the unit of a model or drawing, its word, and a warning where another one was stated.

    Parameters
    ----------
    what, source : str
        Words for messages, and the file's name.
    own_mm : float or None
        Millimetres in the unit that it states itself.
    stated : {"mm", "cm", "m", "in"} or None
        What the user states; one of both is known.
    """
    if own_mm is not None and (stated is None or MM_PER_MODEL_UNIT[stated] == own_mm):
        return own_mm, stated or ("in" if own_mm == MM_PER_INCH else "mm"), ()
    stated = stated or "mm"
    if own_mm is None:
        return MM_PER_MODEL_UNIT[stated], stated, ()
    text = f"the {what}'s own unit is {own_mm:g} mm, --units {stated} was stated and is used. Check the size."
    return MM_PER_MODEL_UNIT[stated], stated, (Finding("unit-overridden", source, "", text, "warning"),)


def _checked(
    vertices: NDArray[np.float64], faces: NDArray[np.int64], source: str, unit: str, findings: tuple[Finding, ...]
) -> RawModel:
    if len(faces) == 0:
        raise InputError([Finding("empty-model", source, "", "holds no triangle. Export the solid, not its edges.")])
    if not np.isfinite(vertices).all():
        bad = int((~np.isfinite(vertices)).any(axis=1).sum())
        text = f"{bad} vertices have coordinates that are not finite numbers. Export the model again."
        raise InputError([Finding("not-finite", source, "", text)])
    return RawModel(vertices, faces, source, unit, findings)
