"""Say what is wrong with a mesh: open, flipped, inside out, several bodies; refuse it, or repair what was asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels, join_mesh, near_groups, rows_by_label
from floorfit.cad.reading import RawModel
from floorfit.cad.seams import close_seams
from floorfit.errors import Finding, InputError

__all__ = ["sound_mesh"]

#: Points this near are one corner that the exporter wrote twice, mm; a set choice, well below any cutting tolerance.
_WELD_MM = 1e-4
#: Facets whose smallest height is less have no sure direction, mm; a set choice.
_FOLD_MM = 0.01
#: Cosine between the normals of facets that lie back to back (within 0.8 degrees); a set choice.
_BACK_TO_BACK = -0.9999


def sound_mesh(raw: RawModel, settings: ExtractSettings) -> tuple[Mesh, list[Finding]]:
    """Join a model into one closed, outward mesh, or say why not.

    Parameters
    ----------
    raw : RawModel
    settings : ExtractSettings

    Returns
    -------
    mesh : Mesh
    findings : list of Finding
        Warnings: every weld and, with ``repair``, every repair.

    Raises
    ------
    InputError
        If facets are flipped, the mesh is open, inside out, or holds several bodies, and the settings do not allow it;
        or if facets fold back onto their neighbours.
    """
    mesh, notes = _welded(raw)
    if len(mesh.faces) == 0:
        raise InputError(
            [Finding("empty-model", raw.source, "", "every triangle has no area. Export the solid again.")]
        )
    mesh, turned = _turned(mesh, raw.source, settings)
    chosen, of_bodies = _chosen_body(mesh, raw.source, settings)
    mesh, outward = _outward(chosen, raw.source, settings)
    findings = [
        *notes,
        *turned,
        *of_bodies,
        *outward,
        *_openness(mesh, raw.source, settings),
        *_folds(mesh, raw.source),
    ]
    errors = [finding for finding in findings if finding.severity == "error"]
    if errors:
        raise InputError(errors)
    return mesh, findings


def _welded(raw: RawModel) -> tuple[Mesh, list[Finding]]:
    """Join equal points; where edges stay open, also points within the file's resolution, and seams."""
    mesh = join_mesh(raw.vertices, raw.faces)
    if len(mesh.open_faces) == 0:
        return mesh, []
    tolerance = max(_WELD_MM, 4.0 * mesh.noise)
    notes = []
    merged = _near_welded(mesh, tolerance)
    if len(merged.open_faces) < len(mesh.open_faces):
        count = len(mesh.vertices) - len(merged.vertices)
        text = f"{count} corners lay within {tolerance:.2g} mm of another one and were joined with it."
        notes.append(Finding("near-vertices", raw.source, "", text, "warning"))
        mesh = merged
    closed, count = close_seams(mesh, tolerance)
    if count and len(closed.open_faces) < len(mesh.open_faces):
        text = f"{count} corners lay on edges of other facets; these facets were split there."
        notes.append(Finding("seams", raw.source, "", text, "warning"))
        mesh = closed
    return mesh, notes


def _near_welded(mesh: Mesh, tolerance: float) -> Mesh:
    loose = np.unique(mesh.open_edges)
    groups, first = near_groups(mesh.vertices[loose], tolerance)
    target = np.arange(len(mesh.vertices))
    target[loose] = loose[first[groups]]
    return join_mesh(mesh.vertices[target], mesh.faces)


def _turned(mesh: Mesh, source: str, settings: ExtractSettings) -> tuple[Mesh, list[Finding]]:
    """Find facets that run against their neighbours; turn the smaller party where that was asked for."""
    if len(mesh.flipped_pairs) == 0:
        return mesh, []
    wrong = _odd_ones(mesh)
    if wrong is None:
        text = "the facets cannot be given one outside (a surface with one side). Export the solid again."
        return mesh, [Finding("one-sided", source, "", text)]
    text = (
        f"{wrong.sum()} facets are the wrong way round. Export the model again, or give --repair to have them turned."
    )
    refusal = Finding("flipped-facets", source, "", text)
    return _repaired(mesh, wrong, refusal, f"{wrong.sum()} facets were turned round.", settings)


def _repaired(
    mesh: Mesh, wrong: Bools, refusal: Finding, done: str, settings: ExtractSettings
) -> tuple[Mesh, list[Finding]]:
    """Facets turned round, with a warning, where repairs were asked for; else the refusal."""
    if not settings.repair:
        return mesh, [refusal]
    turned = join_mesh(mesh.vertices, np.where(wrong[:, None], mesh.faces[:, ::-1], mesh.faces))
    return turned, [replace(refusal, text=done, severity="warning")]


def _odd_ones(mesh: Mesh) -> Bools | None:
    """Facets to turn so that all agree, by two-colouring patches of agreeing facets; None where there is no way."""
    count = len(mesh.faces)
    patch = component_labels(count, mesh.pairs)
    size = np.bincount(patch)
    links = patch[mesh.flipped_pairs]
    # Doubled graph: (patch, as is) and (patch, turned); a flipped pair joins the two states crosswise.
    n = len(size)
    cross = np.concatenate(
        [np.column_stack([links[:, 0], links[:, 1] + n]), np.column_stack([links[:, 0] + n, links[:, 1]])]
    )
    label = component_labels(2 * n, cross)
    if (label[:n] == label[n:]).any():
        return None
    weight = np.bincount(label, np.r_[size, np.zeros(n, np.int64)])
    as_is, turned = weight[label[:n]], weight[label[n:]]
    wrong = np.where(as_is == turned, label[:n] > label[n:], as_is < turned)
    return np.asarray(wrong[patch])


def _chosen_body(mesh: Mesh, source: str, settings: ExtractSettings) -> tuple[Mesh, list[Finding]]:
    """Keep the body that was asked for; voids (shells that look inwards) stay with their body."""
    label = component_labels(len(mesh.vertices), mesh.faces[:, [0, 1, 1, 2]].reshape(-1, 2))[mesh.faces[:, 0]]
    _, label = np.unique(label, return_inverse=True)
    volume = _volumes(mesh, label)
    outer = np.flatnonzero(np.abs(volume) > 1e-9 * np.abs(volume).max(initial=0.0))
    low, high = _boxes(mesh, label)
    alone = [int(i) for i in outer if volume[i] > 0.0 or not _is_inside(int(i), outer, low, high)]
    alone.sort(key=lambda i: -abs(volume[i]))
    if settings.body == "all" or (len(alone) <= 1 and int(settings.body or 1) == 1):
        return mesh, []
    if not settings.body:
        sizes = "; ".join(" × ".join(f"{v:.5g}" for v in high[i] - low[i]) + " mm" for i in alone[:6])
        text = f"holds {len(alone)} separate bodies ({sizes}). Choose one with --body 1 (the largest), or --body all."
        return mesh, [Finding("several-bodies", source, "", text)]
    number = int(settings.body)
    if number > len(alone):
        text = f"body {number} was asked for, the model holds {len(alone)}"
        text += ". Choose one of them; bodies that touch along edges count as one: export the one that is wanted alone."
        return mesh, [Finding("no-body", source, "", text)]
    keep = [
        i
        for i in range(len(volume))
        if i == alone[number - 1] or (i not in alone and _holds(alone[number - 1], i, low, high))
    ]
    used, faces = np.unique(mesh.faces[np.isin(label, keep)], return_inverse=True)
    return join_mesh(mesh.vertices[used], faces.reshape(-1, 3)), []


def _holds(outer: int, inner: int, low: Floats, high: Floats) -> bool:
    return bool((low[outer] <= low[inner]).all() and (high[inner] <= high[outer]).all())


def _is_inside(index: int, others: Ints, low: Floats, high: Floats) -> bool:
    return any(other != index and _holds(int(other), index, low, high) for other in others)


def _volumes(mesh: Mesh, label: Ints) -> Floats:
    centre = mesh.vertices.mean(axis=0)
    corners = mesh.corners - centre
    each = np.einsum("ij,ij->i", corners.mean(axis=1), mesh.vectors) / 3.0
    return np.bincount(label, each).astype(np.float64)


def _boxes(mesh: Mesh, label: Ints) -> tuple[Floats, Floats]:
    corners = mesh.corners
    low = np.full((label.max() + 1, 3), np.inf)
    high = -low
    np.minimum.at(low, label, corners.min(axis=1))
    np.maximum.at(high, label, corners.max(axis=1))
    return low, high


def _outward(mesh: Mesh, source: str, settings: ExtractSettings) -> tuple[Mesh, list[Finding]]:
    """See that the solid is inside its surface, by the sign of its volume."""
    total = float(_volumes(mesh, np.zeros(len(mesh.faces), np.int64))[0])
    if total >= 0.0 or len(mesh.flipped_pairs):
        return mesh, []
    text = "the whole surface is inside out. Export the model again, or give --repair to have it turned."
    refusal = Finding("inside-out", source, "", text)
    everything = np.ones(len(mesh.faces), np.bool_)
    return _repaired(mesh, everything, refusal, "the whole surface was inside out and was turned.", settings)


def _openness(mesh: Mesh, source: str, settings: ExtractSettings) -> list[Finding]:
    findings = []
    gaps = _gaps(mesh)
    if gaps:
        severity = "warning" if settings.repair else "error"
        text = f"the surface is open: {len(gaps)} holes, the first near {gaps[0]}. " + (
            "Floors and undersides were taken as they are."
            if settings.repair
            else "Export the solid again, or give --repair to go on with what is there."
        )
        findings.append(Finding("open-mesh", source, "", text, severity))
    if mesh.crowded_edges:
        text = f"{mesh.crowded_edges} edges have more than two facets (bodies or walls that touch along an edge)."
        findings.append(Finding("crowded-edges", source, "", text, "warning"))
    return findings


def _folds(mesh: Mesh, source: str) -> list[Finding]:
    """Facets that lie on a neighbour, back to back: the surface covers itself there, and no solid has such an edge.

    Edges of more than two facets are left out: bodies that touch there look so.
    """
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    wide = np.minimum(mesh.heights[f], mesh.heights[g]) > max(_FOLD_MM, 1000.0 * mesh.noise)
    rows = np.flatnonzero(wide & (np.einsum("ij,ij->i", mesh.normals[f], mesh.normals[g]) < _BACK_TO_BACK))
    if len(rows) and mesh.crowded_edges:
        edges = np.sort(mesh.pair_edges, axis=1)
        _, which, count = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
        rows = rows[count[which.reshape(-1)[rows]] == 1]
    if len(rows) == 0:
        return []
    x, y, z = mesh.vertices[mesh.pair_edges[rows[0]]].mean(axis=0)
    text = (
        f"{len(rows)} facets lie folded on a neighbour, the first near ({x:.4g}, {y:.4g}, {z:.4g}). Polygons with "
        "inner corners that were cut into triangles wrongly look so. Export triangles (STL), or STEP."
    )
    return [Finding("folded-facets", source, "", text)]


def _gaps(mesh: Mesh) -> list[str]:
    """Places of the holes; edges that lie on one line enclose nothing and are no hole."""
    if len(mesh.open_faces) == 0:
        return []
    used, edges = np.unique(mesh.open_edges, return_inverse=True)
    label = component_labels(len(used), edges.reshape(-1, 2))
    tolerance = max(1e-3, 8.0 * mesh.noise)
    groups = [mesh.vertices[used[rows]] for rows in rows_by_label(label)]
    middles = [corners.mean(axis=0) for corners in groups if not _is_line(corners, tolerance)]
    return [f"({x:.4g}, {y:.4g}, {z:.4g})" for x, y, z in middles]


def _is_line(points: Floats, tolerance: float) -> bool:
    away = points - points[0]
    length = np.linalg.norm(away, axis=1)
    axis = away[length.argmax()] / max(length.max(), 1e-12)
    return bool(np.linalg.norm(np.cross(away, axis), axis=1).max() <= tolerance)
