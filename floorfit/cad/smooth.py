"""Join planar pieces of one curved face, whatever the tessellation made of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.cad.edge_slivers import with_slivers
from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels
from floorfit.cad.regions import Regions, planes_of

__all__ = ["BEND_MM", "Borders", "Smooth", "borders_of", "join_smooth"]

#: A face that bends tighter than this radius is a fillet, not a floor; a set choice, above the corner radius of
#: any milling cutter for floors.
BEND_MM = 50.0
#: Pieces that turn by more than this against each other are two faces, rad; a set choice.
_LARGEST_TURN = np.radians(15.0)
#: Corners of curved pieces turn by less than this from chord to chord, rad (3 degrees).
_FINE_TURN = np.radians(3.0)
#: Of two facets the longer one counts as this many times as far across as the shorter one at most.
_UNEVEN = 3.0
#: Pieces are strips where they are this many times as long as high; a set choice.
_STRIP = 8.0
#: Strips at the ends of a face have no neighbour on one side, so their sagitta may be this much larger.
_SAFE = 1.5
#: This many planes that meet smoothly, whatever the sense, are one curved face: two levels with a ramp are three.
_CHAIN = 4
#: Where one plane holds this share of a group and the rest are narrow, they are its fillet.
_MOSTLY_ONE = 0.9


@dataclass(frozen=True)
class Borders:
    """Where two planar pieces meet smoothly, one row for each pair.

    Parameters
    ----------
    pairs : (b, 2) ndarray of int
        Regions.
    turn : (b,) ndarray, rad
        Angle between them; positive where they fold up like a valley.
    length : (b,) ndarray, mm
    is_bend : (b,) ndarray of bool
        Part of a bend: one of the two has another border of the same sense. A lone border is a kink.
    """

    pairs: Ints
    turn: Floats
    length: Floats
    is_bend: Bools


@dataclass(frozen=True)
class Smooth:
    """Regions after the pieces of curved faces were joined.

    Parameters
    ----------
    regions : Regions
    is_shaped : (r,) ndarray of bool
        Regions that are a whole curved face.
    sag : (r,) ndarray, mm
        How far the chords of a curved face may lie from the true face; 0 for a plane.
    kinks : (k, 2) ndarray of int
        Regions that meet in one kink: two planes, or a curved face in a mesh too coarse to tell.
    """

    regions: Regions
    is_shaped: Bools
    sag: Floats
    kinks: Ints


def join_smooth(mesh: Mesh, regions: Regions, widths: Floats, narrowest: float) -> Smooth:
    """Join the pieces of each curved face into one region.

    Two pieces belong together where the arc through them has a radius of at least `BEND_MM`: by the turn between
    them over the width of the narrower one. A single such border between planes is a kink, and joins nothing.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    widths : (r,) ndarray, mm
        Mean width of each region.
    narrowest : float, mm
        Narrower groups are no faces and are left as they were.

    Returns
    -------
    Smooth
    """
    count = len(regions.normals)
    bent = _curved_radius(mesh, regions)
    borders = borders_of(mesh, regions, widths, bent)
    bends = borders.is_bend
    group = component_labels(count, borders.pairs[bends])
    chosen = _faces_among(group, regions, widths, borders, bent, narrowest)
    if not chosen.any():
        return Smooth(regions, np.zeros(count, np.bool_), np.zeros(count), borders.pairs[~bends])
    home = with_slivers(mesh, regions, np.where(chosen[group], group, -1), widths, narrowest)
    target = np.where(chosen[group], group + count, np.arange(count))
    faces, number = np.unique(target, return_inverse=True)
    number = number.reshape(-1)
    # What a curved face shed is of no region: the strips of its fillet.
    label = np.where((regions.label >= 0) & ~chosen[group][regions.label], number[regions.label], -1)
    label = np.where(home >= 0, np.searchsorted(faces, home + count), label)
    is_shaped, curved = np.zeros(number.max(initial=-1) + 1, np.bool_), np.zeros(number.max(initial=-1) + 1, np.bool_)
    is_shaped[number[chosen[group]]] = True
    curved[number[regions.is_curved & ~chosen[group]]] = True
    label = _closed_up(mesh, _draw_in(mesh, label, is_shaped), is_shaped, narrowest)
    normals, points, areas = planes_of(mesh, label)
    sag = _sag(borders, widths, number, is_shaped)
    kinks = np.unique(np.sort(number[borders.pairs[~bends]], axis=1), axis=0)
    kinks = kinks[kinks[:, 0] != kinks[:, 1]]
    return Smooth(Regions(label, normals, points, areas, curved), is_shaped, sag, kinks)


def borders_of(mesh: Mesh, regions: Regions, widths: Floats, bent: Floats) -> Borders:
    """Smooth borders between regions.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    widths : (r,) ndarray, mm
        Width of each region.
    bent : (r,) ndarray, mm
        Radius to which each region is bent; infinite where it is flat.
    """
    label = regions.label
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    rows = np.flatnonzero((label[f] >= 0) & (label[g] >= 0) & (label[f] != label[g]))
    f, g, edges = f[rows], g[rows], mesh.pair_edges[rows]
    left, right = _normal_beside(mesh, regions, f), _normal_beside(mesh, regions, g)
    turn = np.linalg.norm(left - right, axis=1)
    far = mesh.far_corners(g, edges) - mesh.vertices[edges[:, 0]]
    sense = np.where(np.einsum("ij,ij->i", left, far) > 0.0, 1.0, -1.0)
    keep = turn < _LARGEST_TURN
    pairs = np.sort(np.column_stack([label[f], label[g]]), axis=1)[keep]
    length = mesh.lengths(edges[keep])
    pairs, turn, length, first = _by_pair(pairs, (turn * sense)[keep], length)
    wide = _is_wide(mesh, regions, widths, bent, pairs, np.abs(turn), edges[keep][first])
    pairs, turn, length = pairs[wide], turn[wide], length[wide]
    return Borders(pairs, turn, length, _is_bend(pairs, turn, regions))


def _normal_beside(mesh: Mesh, regions: Regions, facets: Ints) -> Floats:
    """The region's normal for a plane, the facet's own for what is left of a curved face."""
    number = regions.label[facets]
    return np.where(regions.is_curved[number][:, None], mesh.normals[facets], regions.normals[number])


def _by_pair(pairs: Ints, turn: Floats, length: Floats) -> tuple[Ints, Floats, Floats, Ints]:
    """Mean turn, weighted by length, its sense that of most of the border, whole length and first row of each pair."""
    unique, first, index = np.unique(pairs, axis=0, return_index=True, return_inverse=True)
    index = index.reshape(-1)
    total = np.bincount(index, length)
    sense = np.where(np.bincount(index, turn * length) < 0.0, -1.0, 1.0)
    mean = np.bincount(index, np.abs(turn) * length) / np.maximum(total, 1e-300)
    return unique, sense * mean, total.astype(np.float64), first


def _apart(mesh: Mesh, regions: Regions, widths: Floats, pairs: Ints, edges: Ints) -> Floats:
    """How far apart the normals of both pieces of each pair stand across their border, (b,), mm.

    A plane through three places of a parabola has its slope at the middle of their height, whichever these are; so has
    a strip of two facets. The mean width of long ones says nothing of the direction that they are long in. Where the
    larger piece may be a plane with a fillet beside it, the smaller one's height counts alone.
    """
    ends = mesh.vertices[edges]
    length = np.maximum(mesh.lengths(edges), 1e-12)
    along = (ends[:, 1] - ends[:, 0]) / length[:, None]
    facets = np.bincount(regions.label[regions.label >= 0], minlength=len(widths))
    corners, few = _corners_of_few(mesh, regions.label, facets), facets[pairs]
    high = [np.linalg.norm(np.cross(corners[p] - ends[:, :1], along[:, None]), axis=2).max(axis=1) for p in pairs.T]
    reach = np.maximum(widths[pairs], np.where(few <= 2, np.column_stack(high), 0.0))
    least = reach.min(axis=1)
    strips = (few <= 2).all(axis=1) & (few == 1).any(axis=1) & (length > _STRIP * reach.max(axis=1))
    both = (few == 1).all(axis=1) | strips
    return np.asarray(np.where(both, np.minimum(reach.mean(axis=1), _UNEVEN * least), least))


def _corners_of_few(mesh: Mesh, label: Ints, facets: Ints) -> Floats:
    """Corners of regions of one or two facets, (r, 6, 3), mm; of one twice; 0 for others."""
    out = np.zeros((len(facets), 6, 3))
    mine = np.flatnonzero((label >= 0) & np.append(facets <= 2, False)[label])
    mine = mine[np.argsort(label[mine], kind="stable")]
    first = np.searchsorted(label[mine], label[mine], side="left") == np.arange(len(mine))
    out[label[mine[first]], :3] = mesh.corners[mine[first]]
    last = np.append(first[1:], True)[: len(mine)]
    out[label[mine[last]], 3:] = mesh.corners[mine[last]]
    return out


def _is_wide(
    mesh: Mesh, regions: Regions, widths: Floats, bent: Floats, pairs: Ints, turn: Floats, edges: Ints
) -> Bools:
    """Whether the arc through both pieces has a radius of at least `BEND_MM`."""
    a, b = pairs[:, 0], pairs[:, 1]
    noise = 3.0 * mesh.noise * (1.0 / np.maximum(widths[a], 1e-9) + 1.0 / np.maximum(widths[b], 1e-9))
    flat = turn <= _apart(mesh, regions, widths, pairs, edges) / BEND_MM + np.minimum(noise, 0.005)
    curved = regions.is_curved[a] | regions.is_curved[b]
    tight = bent < BEND_MM
    return np.asarray(flat & (~curved | ((turn < _FINE_TURN) & ~tight[a] & ~tight[b])))


def _curved_radius(mesh: Mesh, regions: Regions) -> Floats:
    """Radius of what is left of each curved face, mm: area over turning along its facets' edges; else infinite."""
    label = regions.label
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    rows = np.flatnonzero((label[f] >= 0) & (label[f] == label[g]))
    rows = rows[regions.is_curved[label[f[rows]]]]
    length = mesh.lengths(mesh.pair_edges[rows])
    turning = np.bincount(label[f[rows]], mesh.turns[rows] * length, len(regions.normals))
    return np.asarray(np.where(regions.is_curved, regions.plan_areas / np.maximum(turning, 1e-12), np.inf))


def _is_bend(pairs: Ints, turn: Floats, regions: Regions) -> Bools:
    """Borders beside another one of the same sense, beside what is left of a curved face, or among many."""
    out = regions.is_curved[pairs].any(axis=1)
    for sign in (1.0, -1.0):
        mine = turn * sign > 0.0
        count = np.bincount(pairs[mine].reshape(-1), minlength=len(regions.normals))
        out |= mine & (count[pairs] >= 2).any(axis=1)
    group = component_labels(len(regions.normals), pairs)
    many = np.bincount(group) >= _CHAIN
    return np.asarray(out | many[group[pairs[:, 0]]])


def _faces_among(
    group: Ints, regions: Regions, widths: Floats, borders: Borders, bent: Floats, narrowest: float
) -> Bools:
    """Groups that are a curved face: several pieces, wide together, not one plane with its fillet."""
    count = group.max(initial=-1) + 1
    size, area = np.bincount(group, minlength=count), np.bincount(group, regions.plan_areas, count)
    perimeter = np.bincount(group, 2.0 * regions.plan_areas / np.maximum(widths, 1e-12), count)
    np.subtract.at(perimeter, group[borders.pairs[borders.is_bend, 0]], 2.0 * borders.length[borders.is_bend])
    wide = 2.0 * area / np.maximum(perimeter, 1e-9) >= narrowest
    largest = np.zeros(count)
    np.maximum.at(largest, group, np.where(regions.is_curved, 0.0, regions.plan_areas))
    broad = np.bincount(group, (widths >= narrowest) | regions.is_curved, count)
    alone = (largest >= _MOSTLY_ONE * area) & (broad <= 1)
    curved = np.bincount(group, regions.is_curved & (bent >= BEND_MM), count) > 0
    return np.asarray(((size >= 2) | curved) & wide & ~alone)


def _draw_in(mesh: Mesh, label: Ints, is_shaped: Bools) -> Ints:
    """Give slivers between the facets of one curved face to it: those with two neighbours in it, or none elsewhere."""
    thin = mesh.heights < max(1000.0 * mesh.noise, 0.05)
    label = label.copy()
    for _ in range(4):
        both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
        mine, beside = both[:, 0], label[both[:, 1]]
        near = (beside >= 0) & thin[mine] & (mesh.normals[mine, 2] > 0.5 * np.sign(mesh.normals[both[:, 1], 2]))
        near &= label[mine] != beside
        near[near] = is_shaped[beside[near]]
        facets, number = mine[near], beside[near]
        keys, times = np.unique(np.column_stack([facets, number]), axis=0, return_counts=True)
        keys = keys[times >= 2]
        if len(keys) == 0:
            break
        label[keys[:, 0]] = keys[:, 1]
    return label


def _closed_up(mesh: Mesh, label: Ints, is_shaped: Bools, narrowest: float) -> Ints:
    """Give narrow facets to the curved face that is smoothly round them: the slivers about a pole, for instance.

    Parameters
    ----------
    mesh : Mesh
    label : (m,) ndarray of int
        Region of each facet.
    is_shaped : (r,) ndarray of bool
        Regions that are curved faces.
    narrowest : float, mm
        Facets as high as this are faces of their own.
    """
    f, g = mesh.pairs.T
    in_face = np.append(is_shaped, False)[label]  # the last for facets of no region, −1
    loose = ~in_face & (mesh.heights < narrowest)
    smooth = mesh.turns < _LARGEST_TURN
    group = component_labels(len(label), mesh.pairs[loose[f] & loose[g] & smooth])
    low, high = np.full(len(label), len(is_shaped)), np.full(len(label), -1)
    for here, beyond in ((f, g), (g, f)):
        rim = loose[here] & (group[here] != group[beyond])
        face = np.where(in_face[beyond] & smooth, label[beyond], -1)[rim]
        np.minimum.at(low, group[here[rim]], face)
        np.maximum.at(high, group[here[rim]], face)
    np.minimum.at(low, group[mesh.open_faces], -1)
    closed = loose & (low[group] == high[group]) & (low[group] >= 0)
    return np.where(closed, low[group], label)


def _sag(borders: Borders, widths: Floats, number: Ints, is_shaped: Bools) -> Floats:
    """Largest sagitta of each curved face: about w turn / 8 of its bends."""
    sag = np.zeros(len(is_shaped))
    pairs = borders.pairs[borders.is_bend]
    turn = np.maximum(np.abs(borders.turn[borders.is_bend]), 1e-9)
    width = widths[pairs].mean(axis=1)
    home = number[pairs[:, 0]]
    mine = is_shaped[home] & (home == number[pairs[:, 1]])
    np.maximum.at(sag, home[mine], _SAFE * width[mine] * turn[mine] / 8.0)
    return sag
