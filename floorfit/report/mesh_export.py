"""The warped underside as a coloured 3-D mesh, its heights exaggerated by a stated factor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import InputError
from floorfit.record import Record
from floorfit.report.colours import WEB, rgb

if TYPE_CHECKING:
    import trimesh

__all__ = ["MESH_SUFFIXES", "round_exaggeration", "underside_mesh", "write_mesh"]

#: File formats that keep a colour for each vertex.
MESH_SUFFIXES = (".glb", ".ply")

#: The highest place of the picture over the length of the part, when nobody asks otherwise (our own choice).
_SHOWN_HEIGHT = 0.08

#: Millimetres with Z up as metres with Y up.
_MM_Z_UP = ((0.001, 0, 0, 0), (0, 0, 0.001, 0), (0, -0.001, 0, 0), (0, 0, 0, 1))


def write_mesh(record: Record, path: str | Path, *, exaggeration: float | None = None) -> float:
    """Write the warped underside as a mesh, coloured as the map.

    A GLB is in metres with Y up, as its standard asks; a PLY in mm with Z up.

    Parameters
    ----------
    record : Record
        A run with a map.
    path : path
        File to write; ``.glb`` or ``.ply``.
    exaggeration : float, optional
        Factor on the warp, > 0; a round one that shows the form when left out.

    Returns
    -------
    float
        The factor used; the file keeps it too (GLB: ``extras``, PLY: a comment).

    Raises
    ------
    InputError
        If the record has no map, the file name ends otherwise, or the factor is not above zero.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise InputError(f"{Path(path).name}: a mesh is written as .glb or .ply. Choose one of the two endings.")
    factor = round_exaggeration(record) if exaggeration is None else exaggeration
    mesh = underside_mesh(record, factor)
    Path(path).write_bytes(_glb(mesh, factor) if suffix == ".glb" else _ply(mesh, factor))
    return factor


def round_exaggeration(record: Record) -> float:
    """Return a factor 1, 2 or 5 times a power of ten that lifts the warp to a twelfth of the part's length.

    Raises
    ------
    InputError
        If the record has no map.
    """
    _, _, warp = _grid(record)
    assert record.map is not None
    length = max(record.map.x_mm[-1] - record.map.x_mm[0], record.map.y_mm[-1] - record.map.y_mm[0])
    raw = max(_SHOWN_HEIGHT * length / max(float(np.nanmax(np.abs(warp))), 1e-6), 1.0)
    power = 10.0 ** np.floor(np.log10(raw))
    return float(max(m * power for m in (1, 2, 5) if m * power <= raw * (1 + 1e-12)))


def underside_mesh(record: Record, exaggeration: float) -> trimesh.Trimesh:
    """Return the underside as a mesh: Z is the warp times the factor, mm; colours as the map's.

    Parameters
    ----------
    record : Record
        A run with a map.
    exaggeration : float
        Factor on the warp, above zero.

    Raises
    ------
    InputError
        If the record has no map, or the factor is not above zero and finite.
    """
    import trimesh

    if not np.isfinite(exaggeration) or exaggeration <= 0:
        raise InputError(f"exaggeration {exaggeration}: a number above zero was expected. Give another factor.")
    x, y, warp = _grid(record)
    known = ~np.isnan(warp)
    number = np.cumsum(known.ravel()).reshape(known.shape) - 1
    vertices = np.column_stack([x[known], y[known], exaggeration * warp[known]])
    top = max(float(np.nanmax(np.abs(warp))), 1e-6)
    colours = np.full((len(vertices), 4), 255, np.uint8)
    colours[:, :3] = rgb(WEB, (warp[known] / top + 1) / 2)
    return trimesh.Trimesh(vertices, _faces(known, number), vertex_colors=colours, process=False)


def _grid(record: Record) -> tuple[Array, Array, Array]:
    if record.map is None:
        raise InputError("record.json: the job has no fitted surface, so there is no mesh. Take more readings first.")
    x, y = np.meshgrid(record.map.x_mm, record.map.y_mm)
    return x, y, record.map.warp_mm


def _faces(known: Flags, number: Rows) -> Rows:
    """Return two triangles for each cell with four known corners, wound so that their normals point up."""
    whole = known[:-1, :-1] & known[:-1, 1:] & known[1:, :-1] & known[1:, 1:]
    a, b = number[:-1, :-1][whole], number[:-1, 1:][whole]
    c, d = number[1:, 1:][whole], number[1:, :-1][whole]
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def _glb(mesh: trimesh.Trimesh, factor: float) -> bytes:
    """Return a GLB file; its node turns mm with Z up into metres with Y up (glTF 2.0, 3.4)."""
    import trimesh

    mesh.metadata.update(exaggeration=factor, unit="mm", field="warp of the underside")
    scene = trimesh.Scene()
    scene.add_geometry(mesh, geom_name=f"underside, height times {factor:g}", transform=np.array(_MM_Z_UP, float))
    scene.metadata.update(exaggeration=factor, unit="m")
    return _bytes(scene, "glb")


def _ply(mesh: trimesh.Trimesh, factor: float) -> bytes:
    """Return a PLY file with the factor as a comment in its head."""
    head, end, body = _bytes(mesh, "ply").partition(b"end_header\n")
    lines = [line for line in head.splitlines() if not line.startswith(b"comment")]
    comment = f"comment warp of the underside, mm, height times {factor:g}".encode()
    return b"\n".join([*lines, comment, end]) + body


def _bytes(thing: Any, suffix: str) -> bytes:
    data: bytes = thing.export(file_type=suffix)
    return data
