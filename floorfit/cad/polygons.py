"""Cut the polygons of an OBJ file into triangles, also those with inner corners."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from floorfit.arrays import Array, Flags

__all__ = ["has_polygons", "triangulated_obj"]

#: A face with five corners or more. Files of quadrangles alone are read without this module, which is slower: where
#: one of them is concave, the check for folded facets refuses the model.
_POLYGON = re.compile(r"^[ \t]*f(?:[ \t]+[^\s#]+){5}", re.MULTILINE)


def has_polygons(path: Path) -> bool:
    """Whether an OBJ file has faces of more than four corners."""
    return _POLYGON.search(_text(path)) is not None


def triangulated_obj(path: Path) -> str:
    """Text of an OBJ file whose faces are all triangles.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str
        The same vertices; materials are left out.

    Notes
    -----
    Cutting from one corner is right for convex faces only. Others are cut by ears (Meisters 1975) in the plane of
    their Newell normal, so that every triangle looks the polygon's way.
    """
    kept: list[str] = []
    vertices: list[tuple[float, float, float]] = []
    faces: list[tuple[list[str], list[int]]] = []
    for line in _text(path).splitlines():
        words = line.split("#", 1)[0].split()
        if not words or words[0] in ("mtllib", "usemtl"):
            continue
        if words[0] == "f":
            faces.append((words[1:], [_row(word, len(vertices)) for word in words[1:]]))
            continue
        if words[0] == "v":
            vertices.append((float(words[1]), float(words[2]), float(words[3])))
        kept.append(line)
    return "\n".join([*kept, *_face_lines(faces, np.array(vertices, float).reshape(-1, 3))]) + "\n"


def _face_lines(faces: list[tuple[list[str], list[int]]], vertices: Array) -> list[str]:
    """Lines of the triangles, with the words of the corners they had."""
    quads = [i for i, (_, rows) in enumerate(faces) if len(rows) == 4]
    convex = _are_convex(vertices[np.array([faces[i][1] for i in quads], np.int64).reshape(-1, 4)])
    simple = {i for i, ok in zip(quads, convex.tolist(), strict=True) if ok}
    out = []
    for index, (words, rows) in enumerate(faces):
        if len(words) <= 3:
            out.append("f " + " ".join(words))
            continue
        cut = [(0, 1, 2), (0, 2, 3)] if index in simple else _triangles(vertices[rows])
        out += [f"f {words[a]} {words[b]} {words[c]}" for a, b, c in cut]
    return out


def _are_convex(quads: Array) -> Flags:
    """Whether every corner of each quadrangle (q, 4, 3) turns the way its vector area looks."""
    normal = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
    ahead = np.roll(quads, -1, axis=1) - quads
    turn = np.cross(np.roll(ahead, 1, axis=1), ahead)
    return np.asarray((np.einsum("ijk,ik->ij", turn, normal) > 0.0).all(axis=1))


def _text(path: Path) -> str:
    """The file's text; a line that ends in a backslash goes on in the next."""
    return path.read_text(encoding="utf-8", errors="replace").replace("\\\r\n", " ").replace("\\\n", " ")


def _row(word: str, count: int) -> int:
    """Row of a vertex: from 1, or counted back from the last one."""
    number = int(word.split("/", 1)[0])
    row = number - 1 if number > 0 else count + number
    if not 0 <= row < count:
        raise ValueError(f"a face names vertex {number}, the file has {count} before it")
    return row


def _triangles(corners: Array) -> list[tuple[int, int, int]]:
    """Triangles of one polygon, as rows of its corners."""
    import mapbox_earcut

    flat = _in_plane(corners)
    cut = mapbox_earcut.triangulate_float64(flat, np.array([len(flat)], np.uint32)).reshape(-1, 3)
    return [(a, b, c) if _cross(flat[b] - flat[a], flat[c] - flat[a]) >= 0.0 else (a, c, b) for a, b, c in cut.tolist()]


def _in_plane(corners: Array) -> Array:
    """Corners in the plane of the polygon, anticlockwise as seen from its outer side."""
    after = np.roll(corners, -1, axis=0)
    normal = np.cross(corners, after).sum(axis=0)  # Newell's normal: twice the vector area
    length = float(np.linalg.norm(normal))
    normal = normal / length if length > 0.0 else np.array([0.0, 0.0, 1.0])
    along = np.eye(3)[int(np.abs(normal).argmin())]
    u = np.cross(along, normal)
    u /= np.linalg.norm(u)
    return np.ascontiguousarray(np.column_stack([corners @ u, corners @ np.cross(normal, u)]))


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
