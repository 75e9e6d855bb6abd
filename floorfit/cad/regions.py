"""Group facets into planes: by adjacency, by plane, and across the slivers between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels, rows_by_label

__all__ = ["Regions", "compact", "planar_regions", "plane_tolerance", "planes_of"]

#: Facets of one plane may differ by this angle beyond what the resolution explains, rad (0.1 degree); a set choice:
#: a 3 mm fillet within 1 µm has facets 3 degrees apart.
_SAME_ANGLE = 0.0017
#: A component is curved when its best plane holds less than this share of it.
_PLANE_SHARE = 0.2
_MOST_PLANES = 24
#: A facet lower than this many resolutions has a normal that is good to 0.1 degree only: it does not found a region.
_THIN = 1000.0


@dataclass(frozen=True)
class Regions:
    """Planar regions of a mesh.

    Parameters
    ----------
    label : (m,) ndarray of int
        Region of every facet; −1 for none.
    normals : (r, 3) ndarray
        Area-weighted unit normal.
    points : (r, 3) ndarray, mm
        Area-weighted centroid, a point of the plane.
    plan_areas : (r,) ndarray, mm²
        Area seen from above (positive whichever way the region looks).
    is_curved : (r,) ndarray of bool
        Whether the region is what was left of a curved surface.
    """

    label: Ints
    normals: Floats
    points: Floats
    plan_areas: Floats
    is_curved: Bools

    def members(self) -> list[Ints]:
        """Facets of each region; of one that lost them all to a curved face, none."""
        order = np.argsort(self.label, kind="stable")
        order = order[np.searchsorted(self.label[order], 0) :]
        return np.split(order, np.cumsum(np.bincount(self.label[order], minlength=len(self.normals)))[:-1])


def plane_tolerance(mesh: Mesh, asked: float) -> float:
    """Flatness to work with, mm: what was asked for, or four times the resolution where that is coarser.

    Parameters
    ----------
    mesh : Mesh
    asked : float, mm
    """
    return max(asked, 4.0 * mesh.noise)


def planar_regions(mesh: Mesh, mask: Bools, tolerance: float) -> Regions:
    """Group the facets in ``mask`` into connected planar regions.

    Parameters
    ----------
    mesh : Mesh
    mask : (m,) ndarray of bool
        Facets to group; slivers outside it are drawn in where they lie in a region's plane.
    tolerance : float, mm
        Largest distance of a corner from its region's plane.

    Returns
    -------
    Regions
    """
    sliver = mesh.heights < max(_THIN * mesh.noise, 1e-4)
    good = mask & ~sliver
    joined = _coplanar_pairs(mesh, good, tolerance)
    label = compact(component_labels(len(good), joined), good)
    label, curved = _split_bent(mesh, label, joined, tolerance)
    curved |= _turning(mesh, label)
    leaning = sliver & (mask | (mesh.heights < 10.0 * mesh.noise))
    label = _draw_in_slivers(mesh, label, leaning, tolerance)
    label, curved = _merge_across(mesh, label, curved, sliver, tolerance)
    # Once more: the plane of a joined region is surer than that of the strip beside a sliver was.
    label = _draw_in_slivers(mesh, label, leaning, tolerance)
    normals, points, areas = planes_of(mesh, label)
    return Regions(label, normals, points, areas, curved)


def compact(label: Ints, keep: Bools) -> Ints:
    """Renumber the labels of kept facets from 0, and give the others −1.

    Parameters
    ----------
    label : (m,) ndarray of int
    keep : (m,) ndarray of bool
    """
    out = np.full(len(label), -1, np.int64)
    out[keep] = np.unique(label[keep], return_inverse=True)[1].reshape(-1)
    return out


def _coplanar_pairs(mesh: Mesh, good: Bools, tolerance: float) -> Ints:
    """Pairs of good facets that lie in one plane: by angle, and by the far corner's distance from the other's plane."""
    pairs, edges = mesh.pairs, mesh.pair_edges
    both = good[pairs[:, 0]] & good[pairs[:, 1]]
    pairs, edges, angle = pairs[both], edges[both], mesh.turns[both]
    f, g = pairs.T
    allowed = _SAME_ANGLE + 2.0 * mesh.noise * (1.0 / mesh.heights[f] + 1.0 / mesh.heights[g])
    near = angle <= np.minimum(allowed, 0.2)
    pairs, edges, f, g = pairs[near], edges[near], f[near], g[near]
    start = mesh.vertices[edges[:, 0]]
    near_f = _reaches(mesh, f, mesh.far_corners(g, edges) - start, tolerance)
    near_g = _reaches(mesh, g, mesh.far_corners(f, edges) - start, tolerance)
    return np.asarray(pairs[near_f & near_g])


def _reaches(mesh: Mesh, facets: Ints, away: Floats, tolerance: float) -> Bools:
    """Whether a corner lies in a facet's plane; a thin facet's noise grows with the lever to the corner."""
    off = np.abs(np.einsum("ij,ij->i", mesh.normals[facets], away))
    lever = np.linalg.norm(away, axis=1) / mesh.heights[facets]
    return np.asarray(off <= tolerance + mesh.noise * lever)


def planes_of(mesh: Mesh, label: Ints) -> tuple[Floats, Floats, Floats]:
    """Normal, centroid and plan area of each region.

    Parameters
    ----------
    mesh : Mesh
    label : (m,) ndarray of int
        Region of each facet.
    """
    inside = label >= 0
    number, count = label[inside], int(label.max(initial=-1)) + 1
    vectors = mesh.vectors[inside]
    weight = mesh.sizes[inside]
    total = np.maximum(np.bincount(number, weight, count), 1e-300)
    centre = mesh.middles[inside]
    sums = np.column_stack([np.bincount(number, vectors[:, i], count) for i in range(3)])
    points = np.column_stack([np.bincount(number, centre[:, i] * weight, count) / total for i in range(3)])
    length = np.linalg.norm(sums, axis=1)
    return sums / np.maximum(length, 1e-300)[:, None], points, np.abs(sums[:, 2])


def _offsets(mesh: Mesh, facets: Ints, normal: Floats, point: Floats) -> Floats:
    """Largest distance of a corner of each facet from its plane (one plane, or one each)."""
    away = mesh.corners[facets] - np.atleast_2d(point)[:, None, :]
    normals = np.broadcast_to(np.atleast_2d(normal)[:, None, :], away.shape)
    return np.asarray(np.abs(np.einsum("ijk,ijk->ij", away, normals)).max(axis=1))


def _split_bent(mesh: Mesh, label: Ints, joined: Ints, tolerance: float) -> tuple[Ints, Bools]:
    """Split regions whose corners leave their plane: chains of nearly coplanar facets along a curved surface."""
    normals, points, _ = planes_of(mesh, label)
    count = len(normals)
    inside = np.flatnonzero(label >= 0)
    away = _offsets(mesh, inside, normals[label[inside]], points[label[inside]])
    worst = np.zeros(count)
    np.maximum.at(worst, label[inside], away)
    bent = np.flatnonzero(worst > 2.0 * tolerance)
    if len(bent) == 0:
        return label, np.zeros(count, np.bool_)
    members = rows_by_label(label)
    plane = np.zeros(len(label), np.int64)
    for region in bent:
        plane[members[region]] = _peel_planes(mesh, members[region], tolerance)
    same = (plane[joined[:, 0]] == plane[joined[:, 1]]) & (label[joined[:, 0]] == label[joined[:, 1]])
    split = compact(component_labels(len(label), joined[same]), label >= 0)
    curved = np.zeros(split.max() + 1, np.bool_)
    curved[split[inside[plane[inside] < 0]]] = True
    return split, curved


def _turning(mesh: Mesh, label: Ints) -> Bools:
    """Regions whose facets mostly look another way than the region: the first chord of a fillet all round a floor.

    Its corners lie within the tolerance of one plane, but it is a cone.
    """
    normals, _, _ = planes_of(mesh, label)
    inside = np.flatnonzero(label >= 0)
    number = label[inside]
    apart = np.linalg.norm(mesh.normals[inside] - normals[number], axis=1)
    off = apart > 2.0 * _SAME_ANGLE + 4.0 * mesh.noise / np.maximum(mesh.heights[inside], 1e-12)
    weight = mesh.sizes[inside]
    count = len(normals)
    return np.asarray(np.bincount(number, weight * off, count) > 0.5 * np.bincount(number, weight, count))


def _peel_planes(mesh: Mesh, facets: Ints, tolerance: float) -> Ints:
    """Number the planes of one bent region, the largest first; −1 for what is left, a curved surface."""
    out = np.full(len(facets), -1, np.int64)
    weight = mesh.sizes[facets]
    left, whole = np.arange(len(facets)), float(weight.sum())
    for number in range(1, _MOST_PLANES + 1):
        seed = facets[left[weight[left].argmax()]]
        chosen = left[
            _offsets(mesh, facets[left], mesh.normals[seed], mesh.vertices[mesh.faces[seed, 0]]) <= 2.0 * tolerance
        ]
        for _ in range(2):
            if len(chosen) == 0:
                return out
            vector = mesh.vectors[facets[chosen]].sum(axis=0)
            centre = np.average(mesh.middles[facets[chosen]], axis=0, weights=weight[chosen])
            normal = vector / max(float(np.linalg.norm(vector)), 1e-300)
            chosen = left[_offsets(mesh, facets[left], normal, centre) <= tolerance]
        if len(chosen) == 0 or weight[chosen].sum() < _PLANE_SHARE * weight[left].sum():
            return out
        out[chosen] = number
        left = np.setdiff1d(left, chosen, assume_unique=True)
        if len(left) == 0 or weight[left].sum() < 1e-6 * whole:
            return out
    return out


def _draw_in_slivers(mesh: Mesh, label: Ints, sliver: Bools, tolerance: float) -> Ints:
    """Give slivers the region of a neighbour in whose plane all their corners lie.

    A sliver along an edge nearly lies in both planes that meet there, so the strictest fit has the first choice.
    """
    normals, points, _ = planes_of(mesh, label)
    label = label.copy()
    touching = mesh.pairs[sliver[mesh.pairs].any(axis=1)]
    both = np.concatenate([touching, touching[:, ::-1]])
    both = both[sliver[both[:, 0]]]
    both = both[np.argsort(both[:, 1], kind="stable")]
    for reach in (1e-7, mesh.noise / 4.0, min(tolerance, max(2e-4, 3.0 * mesh.noise))):
        rows = np.flatnonzero((label[both[:, 1]] >= 0) & (label[both[:, 0]] < 0))
        while len(rows):
            fresh = both[rows]
            number = label[fresh[:, 1]]
            away = _offsets(mesh, fresh[:, 0], normals[number], points[number])
            # Of several rows for one sliver the last one counts: the nearest plane.
            order = np.argsort(-away, kind="stable")
            order = order[away[order] <= reach]
            label[fresh[order, 0]] = number[order]
            rows = _rows_of(both[:, 1], np.unique(fresh[order, 0]))
            rows = rows[label[both[rows, 0]] < 0]
    return label


def _rows_of(keys: Ints, wanted: Ints) -> Ints:
    """Rows of a sorted column that hold one of the wanted values."""
    first = np.searchsorted(keys, wanted, side="left")
    count = np.searchsorted(keys, wanted, side="right") - first
    return np.asarray(np.repeat(first - np.cumsum(count) + count, count) + np.arange(count.sum()))


def _merge_across(mesh: Mesh, label: Ints, curved: Bools, sliver: Bools, tolerance: float) -> tuple[Ints, Bools]:
    """Join regions of one plane that meet along a sliver."""
    normals, points, _ = planes_of(mesh, label)
    pairs = mesh.pairs[sliver[mesh.pairs].any(axis=1)]
    links = label[pairs]
    links = links[(links >= 0).all(axis=1) & (links[:, 0] != links[:, 1])]
    apart = np.linalg.norm(normals[links[:, 0]] - normals[links[:, 1]], axis=1)
    links = np.unique(links[(apart < 2 * _SAME_ANGLE) & ~curved[links].any(axis=1)], axis=0)
    links = links[_same_plane(mesh, label, links, normals, points, tolerance)]
    if len(links) == 0:
        return label, curved
    group = component_labels(len(normals), links)
    merged = np.where(label >= 0, group[label], -1)
    out = np.zeros(group.max() + 1, np.bool_)
    out[group[curved]] = True
    return merged, out


def _same_plane(mesh: Mesh, label: Ints, links: Ints, normals: Floats, points: Floats, tolerance: float) -> Bools:
    """Whether the smaller of two regions lies in the plane of the larger, which is the surer one."""
    members = rows_by_label(label)
    size = np.bincount(label[label >= 0], mesh.sizes[label >= 0], len(normals))
    out = np.zeros(len(links), np.bool_)
    for row, link in enumerate(links):
        small, large = link[np.argsort(size[link], kind="stable")]
        away = _offsets(mesh, members[small], normals[large], points[large])
        out[row] = away.max() <= tolerance + 1e-5 * np.linalg.norm(points[small] - points[large])
    return out
