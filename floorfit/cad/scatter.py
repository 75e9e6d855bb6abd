"""Whether the corners of a mesh scatter off its smooth faces, as those of a scan or of a meshed picture do."""

from __future__ import annotations

import numpy as np

from floorfit.cad.edge_slivers import quadratic_terms
from floorfit.cad.mesh import Floats, Mesh, component_labels
from floorfit.errors import Finding

__all__ = ["scatter_note"]


#: Neighbouring facets of a smooth face turn by less than this, rad (5 degrees): a set choice.
_SMOOTH = np.radians(5.0)
#: Facets lower than this say little of a face, mm.
_LEAST_HEIGHT = 0.05
#: The largest faces are looked at, at this many places each, with this many corners round each place.
_FACES, _PLACES, _AROUND = 16, 100, 12
#: Corners that are off by less than this many resolutions do not matter (rounding: 0.29 of a step, that of a uniform
#: distribution); up to there floors come out as they are.
_STILL = 0.4
#: A face whose quadratic leaves less than this share of what its plane leaves is curved and says nothing.
_CURVED = 0.6
#: Scatter is in all faces: this share of their area has at least that much. A set choice.
_SHARE = 0.1


def scatter_note(mesh: Mesh, source: str) -> list[Finding]:
    """A warning where corners scatter off the smooth faces of a mesh.

    Parameters
    ----------
    mesh : Mesh
    source : str
        File name for messages.

    Notes
    -----
    A kernel puts corners on its faces, so that a quadratic through neighbours on one smooth face leaves next to
    nothing; of a plane, nothing at all. What it leaves in (nearly) all planes is scatter. Planes are told by facets
    that are coplanar, and fillets by how facets turn: both are lost in it.
    """
    left, area = _left_by_faces(mesh)
    if len(left) == 0:
        return []
    order = np.argsort(left)
    share = np.cumsum(area[order]) / area.sum()
    least = float(left[order][np.searchsorted(share, _SHARE)])
    if least <= _STILL * mesh.noise:
        return []
    text = (
        f"corners scatter by about {least:.1g} mm off the faces (a scan, or moved corners): floors may be cut up, lost "
        "or made up, and outlines are rough. Take a model from a kernel (STEP), or its tessellation."
    )
    return [Finding("noisy", source, "", text, "warning")]


def _left_by_faces(mesh: Mesh) -> tuple[Floats, Floats]:
    """What quadratics leave of the corners of the largest planes, mm, and the areas of these, mm²."""
    wide = mesh.heights > max(_LEAST_HEIGHT, 100.0 * mesh.noise)
    f, g = mesh.pairs.T
    label = component_labels(len(wide), mesh.pairs[(mesh.turns < _SMOOTH) & wide[f] & wide[g]])
    size = np.bincount(label[wide], mesh.sizes[wide], label.max(initial=0) + 1)
    out = []
    for number in np.argsort(-size)[:_FACES]:
        facets = np.flatnonzero((label == number) & wide)
        corners = np.unique(mesh.faces[facets])
        normal = mesh.vectors[facets].sum(axis=0)
        if len(corners) > _AROUND and np.linalg.norm(normal) > 0.5 * size[number]:
            flat, bent = _left(mesh.vertices[corners], normal)
            if bent >= _CURVED * flat:
                out.append((bent, size[number]))
    left, area = np.array(out).reshape(-1, 2).T
    return left, area


def _left(corners: Floats, normal: Floats) -> tuple[float, float]:
    """Standard deviation of corners from planes and from quadratics through their neighbours, mm."""
    from scipy.spatial import cKDTree

    across = np.linalg.svd(normal[None, :])[2]
    local = corners @ np.vstack([across[1:], across[:1]]).T
    places = local[np.linspace(0, len(local) - 1, min(len(local), _PLACES)).astype(np.int64)]
    _, near = cKDTree(local[:, :2]).query(places[:, :2], _AROUND)
    away = local[near] - places[:, None, :]
    terms = quadratic_terms(away[:, :, :2] / np.abs(away[:, :, :2]).max(axis=(1, 2))[:, None, None])
    return _rest(terms[:, :, :3], away[:, :, 2]), _rest(terms, away[:, :, 2])


def _rest(terms: Floats, heights: Floats) -> float:
    """Standard deviation of what the terms leave of heights, with the freedom that they take: the median of places."""
    factors = np.einsum("nij,nj->ni", np.linalg.pinv(terms, rcond=1e-4), heights)
    rest = heights - np.einsum("nij,nj->ni", terms, factors)
    return float(np.median(np.sqrt((rest**2).sum(axis=1) / (_AROUND - terms.shape[2]))))
