"""What lies along the edges of a planar region: a wall, a fillet, a fall; and the outline at the wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from floorfit.cad.drawing import largest_polygon, region_polygon
from floorfit.cad.facet_heights import Heights
from floorfit.cad.mesh import Bools, Floats, Ints, Mesh, component_labels, rows_by_label
from floorfit.cad.regions import Regions, compact

__all__ = [
    "Arc",
    "Rim",
    "arcs_of",
    "curved_members",
    "fillet_edges",
    "fillet_groups",
    "fillet_radius",
    "rim_table",
    "rims_of",
    "wall_polygon",
]

#: A neighbour that rises at less than this over the floor is the foot of a fillet (or of a slope), rad.
_FILLET_TILT = np.radians(30.0)
#: Facets of one chord of a fillet differ by less than this share of their tilt over the floor.
_ONE_CHORD = 0.05
#: An edge rises by more than this, rad.
_RISEN = 1e-4
#: Neighbouring strips of a fillet differ by less than this, rad.
_SMOOTH = np.radians(40.0)


@dataclass(frozen=True)
class Rim:
    """Edges of one region against what lies outside it, in no order.

    Parameters
    ----------
    edges : (e, 2) ndarray of int
        Vertices, with the region on the left as seen from its outer side.
    lengths : (e,) ndarray, mm
    inner, outer : (e,) ndarray of int
        Facet inside and facet beyond; −1 beyond an open edge.
    rise : (e,) ndarray, rad
        Angle by which the facet beyond rises over the region's plane; negative where it falls away.
    on_outline : (e,) ndarray of bool
        Whether the edge is on the region's outline; else on one of its holes.
    """

    edges: Ints
    lengths: Floats
    inner: Ints
    outer: Ints
    rise: Floats
    on_outline: Bools

    @property
    def risen(self) -> Bools:
        """Edges beyond which metal rises, (e,): by more than float noise."""
        return self.rise > _RISEN

    def share(self, chosen: Bools) -> float:
        """Share of the outline's length that is chosen; holes do not count.

        Parameters
        ----------
        chosen : (e,) ndarray of bool
            Edges of the rim.
        """
        total = float(self.lengths[self.on_outline].sum())
        return float(self.lengths[self.on_outline & chosen].sum()) / total if total > 0.0 else 0.0


def rim_table(mesh: Mesh, regions: Regions) -> tuple[Ints, Ints, Ints, Ints]:
    """Every directed edge between a region and something else, sorted by region.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions

    Returns
    -------
    region, inner, outer : (e,) ndarray of int
    edges : (e, 2) ndarray of int
    """
    label = regions.label
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    border = label[f] != label[g]
    if mesh.crowded_edges:
        border &= ~_runs_within(mesh, label)
    f, g, edges = f[border], g[border], mesh.pair_edges[border]
    inner = np.concatenate([f, g, mesh.open_faces])
    outer = np.concatenate([g, f, np.full(len(mesh.open_faces), -1)])
    directed = np.concatenate([edges, edges[:, ::-1], mesh.open_edges])
    mine = label[inner] >= 0
    inner, outer, directed = inner[mine], outer[mine], directed[mine]
    order = np.argsort(label[inner], kind="stable")
    return label[inner][order], inner[order], outer[order], directed[order]


def _runs_within(mesh: Mesh, label: Ints) -> Bools:
    """Pairs along whose edge a region goes on: more than two facets meet there, as where some lie doubled."""
    edges = np.sort(mesh.pair_edges, axis=1)
    edge = edges[:, 0] * np.int64(len(mesh.vertices)) + edges[:, 1]
    ends = label[mesh.pairs]
    size = np.int64(label.max(initial=0) + 1)
    same = (ends[:, 0] == ends[:, 1]) & (ends[:, 0] >= 0)
    number = np.unique(edge, return_inverse=True)[1].reshape(-1)
    inner = number[same] * size + ends[same, 0]
    return np.asarray((np.isin(number[:, None] * size + ends, inner) & (ends >= 0)).any(axis=1))


def rims_of(
    mesh: Mesh, regions: Regions, table: tuple[Ints, Ints, Ints, Ints], wanted: Ints, is_shaped: Bools
) -> dict[int, Rim]:
    """Rim of each wanted region; rises are over the region's plane, of a shaped one over its smooth face at the edge.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    table : tuple of ndarray of int
        From `rim_table`.
    wanted : (k,) ndarray of int
        Numbers of regions.
    is_shaped : (n,) ndarray of bool
        Whether each region is a curved one.
    """
    region, inner, outer, edges = table
    starts = np.searchsorted(region, np.arange(len(regions.normals) + 1))
    smooth = _smooth_normals(mesh, regions, table, is_shaped)
    out = {}
    for number in wanted:
        rows = slice(starts[number], starts[number + 1])
        inside = inner[rows]
        normals = smooth[rows] if is_shaped[number] else np.tile(regions.normals[number], (len(inside), 1))
        out[int(number)] = _rim(mesh, normals, inside, outer[rows], edges[rows])
    return out


def _smooth_normals(mesh: Mesh, regions: Regions, table: tuple[Ints, Ints, Ints, Ints], is_shaped: Bools) -> Floats:
    """Normal of a shaped region at the middle of each edge.

    Between the normals of both ends, which are those of the facets round them by area: slivers count little.
    """
    region, _, _, edges = table
    out = np.zeros((len(edges), 3))
    if not is_shaped.any():
        return out
    rows = np.flatnonzero(is_shaped[region])
    facets = np.flatnonzero((regions.label >= 0) & is_shaped[regions.label])
    size = len(mesh.vertices)
    at = regions.label[facets, None] * size + mesh.faces[facets]
    keys, index = np.unique(at, return_inverse=True)
    vectors = np.repeat(mesh.vectors[facets], 3, axis=0)
    sums = np.column_stack([np.bincount(index.reshape(-1), vectors[:, i], len(keys)) for i in range(3)])
    units = sums / np.maximum(np.linalg.norm(sums, axis=1), 1e-300)[:, None]
    ends = units[np.searchsorted(keys, region[rows, None] * size + edges[rows])]
    total = ends.sum(axis=1)
    out[rows] = total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return out


def _rim(mesh: Mesh, normals: Floats, inner: Ints, outer: Ints, edges: Ints) -> Rim:
    ends = mesh.vertices[edges]
    lengths = mesh.lengths(edges)
    rise = _rise(mesh, normals, outer, edges, ends, lengths)
    used, index = np.unique(edges, return_inverse=True)
    loop = component_labels(len(used), index.reshape(-1, 2))
    first = loop[np.lexsort((mesh.vertices[used, 1], mesh.vertices[used, 0]))[0]] if len(used) else 0
    on_outline = loop[index.reshape(-1, 2)[:, 0]] == first
    return Rim(edges, lengths, inner, outer, rise, np.asarray(on_outline))


def _rise(mesh: Mesh, normals: Floats, outer: Ints, edges: Ints, ends: Floats, lengths: Floats) -> Floats:
    """Angle of the facet beyond each edge over the plane inside, −π to π; −π/2 beyond an open edge."""
    rise = np.full(len(outer), -np.pi / 2)
    known = outer >= 0
    facets, start = outer[known], ends[known, 0]
    far = mesh.far_corners(facets, edges[known]) - start
    along = (ends[known, 1] - start) / np.maximum(lengths[known], 1e-300)[:, None]
    far -= np.einsum("ij,ij->i", far, along)[:, None] * along
    normal = normals[known]
    across = np.cross(along, normal)
    rise[known] = np.arctan2(np.einsum("ij,ij->i", far, normal), np.einsum("ij,ij->i", far, across))
    return rise


def curved_members(mesh: Mesh, regions: Regions, table: tuple[Ints, Ints, Ints, Ints], widths: Floats) -> Bools:
    """Regions that are facets of one curved surface, not faces of their own.

    Strips of a curved surface come in rows: each turns the same way by a small angle from a neighbour of about
    its own width. Three strips under 10 mm, or six of any width, make a curved surface.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    table : tuple of ndarray of int
        From `rim_table`.
    widths : (n,) ndarray, mm
        Width of each region.

    Returns
    -------
    (r,) ndarray of bool
    """
    region, _, outer, edges = table
    other = np.where(outer >= 0, regions.label[outer], -1)
    ok = other >= 0
    a, b, edges, beyond = region[ok], other[ok], edges[ok], outer[ok]
    ratio = widths[a] / np.maximum(widths[b], 1e-300)
    turn = np.einsum("ij,ij->i", regions.normals[a], regions.normals[b])
    keep = (ratio < 3.0) & (ratio > 1.0 / 3.0) & (turn > np.cos(np.radians(15.0)))
    a, b, edges, beyond = a[keep], b[keep], edges[keep], beyond[keep]
    far = mesh.far_corners(beyond, edges) - mesh.vertices[edges[:, 0]]
    concave = np.einsum("ij,ij->i", regions.normals[a], far) > 0.0
    out = regions.is_curved.copy()
    for sign in (concave, ~concave):
        out |= _large_groups(len(widths), np.column_stack([a[sign], b[sign]]), widths)
    return out


def _large_groups(count: int, links: Ints, widths: Floats) -> Bools:
    group = component_labels(count, links)
    size = np.bincount(group)
    widest = np.zeros(len(size))
    np.maximum.at(widest, group, widths)
    return np.asarray(((size >= 6) | ((size >= 3) & (widest < 10.0)))[group])


def fillet_edges(regions: Regions, rim: Rim, is_plane: Bools) -> Bools:
    """Edges of a rim beyond which a fillet begins: the facet there leans by a little and is of no other face.

    Parameters
    ----------
    regions : Regions
    rim : Rim
    is_plane : (n,) ndarray of bool
        Whether each region is a face of its own.
    """
    beyond = np.where(rim.outer >= 0, regions.label[rim.outer], -1)
    foreign = (beyond >= 0) & is_plane[beyond]
    leans = rim.risen & (rim.rise < _FILLET_TILT)
    return np.asarray(leans & (rim.outer >= 0) & ~foreign & (rim.lengths > 0.0))


def fillet_radius(mesh: Mesh, regions: Regions, members: list[Ints], number: int, rim: Rim, chosen: Bools) -> float:
    """Radius of the fillet that runs round a plane floor, mm; 0 where there is none.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    members : list of ndarray of int
        Regions of each fillet.
    number : int
        Of the floor's region.
    rim : Rim
        Of that region.
    chosen : (e,) ndarray of bool
        Edges along which it lies, from `fillet_edges`.

    Notes
    -----
    The strip of a fillet of radius r between the angles α and β from the floor is tilted by (α + β)/2. It begins
    r (1 − cos α) = 2 r sin²(α/2) above the floor and ends so for β; α is 0 but where the first chords are so fine that
    they are in the floor's plane. Hence r = (√begin + √end)² / (2 sin²(tilt)), whatever the chord tolerance was.
    """
    if not chosen.any():
        return 0.0
    plane = (regions.points[number], regions.normals[number])
    outer = rim.outer[chosen]
    begin = ((mesh.vertices[rim.edges[chosen]] - plane[0]) @ plane[1]).mean(axis=1).clip(0.0)
    end = _strip_ends(mesh, outer, regions.label[outer], members, plane).clip(0.0)
    radius = (np.sqrt(begin) + np.sqrt(end)) ** 2 / (2.0 * np.sin(rim.rise[chosen]) ** 2)
    order = np.argsort(radius)
    weight = np.cumsum(rim.lengths[chosen][order])
    return float(radius[order][np.searchsorted(weight, weight[-1] / 2.0)])


def _strip_ends(mesh: Mesh, facets: Ints, label: Ints, members: list[Ints], plane: tuple[Floats, Floats]) -> Floats:
    """Height over a plane at which the strip of each facet ends: the facet's own, or its coplanar neighbours'.

    Facets of one region lie in one plane within a tolerance only; the next chord of a fine fillet may be among them.
    """
    point, normal = plane
    out = ((mesh.vertices[mesh.faces[facets]] - point) @ normal).max(axis=1)
    for rows in rows_by_label(label):
        strip = label[rows[0]]
        height = ((mesh.vertices[mesh.faces[members[strip]]] - point) @ normal).max(axis=1)
        for row in rows:
            own = mesh.normals[facets[row]]
            apart = np.linalg.norm(mesh.normals[members[strip]] - own, axis=1)
            same = apart <= _ONE_CHORD * np.linalg.norm(own - normal)
            out[row] = max(out[row], height[same].max(initial=0.0))
    return np.asarray(out)


def fillet_groups(mesh: Mesh, regions: Regions, is_plane: Bools) -> tuple[Ints, list[Ints]]:
    """Smoothly connected facets that lean, neither level planes nor upright walls.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
    is_plane : (n,) ndarray of bool
        Whether each region is a face of its own.

    Returns
    -------
    group : (m,) ndarray of int
        −1 outside every group.
    members : list of ndarray of int
    """
    lean = (mesh.normals[:, 2] > 1e-3) & ~np.append(is_plane, False)[regions.label]
    f, g = mesh.pairs.T
    turn = np.einsum("ij,ij->i", mesh.normals[f], mesh.normals[g])
    smooth = lean[f] & lean[g] & (turn > np.cos(_SMOOTH))
    group = component_labels(len(lean), mesh.pairs[smooth])
    group = compact(group, lean)
    return group, rows_by_label(group)


def wall_polygon(
    mesh: Mesh, foot: shapely.Polygon, face: Heights, height: float, flat: Ints, leaning: Ints
) -> shapely.Polygon:
    """Outline at the wall: the floor together with the fillet's facets up to ``height`` over the floor.

    Parameters
    ----------
    mesh : Mesh
    foot : Polygon
        The flat floor.
    face : Heights
        The floor's heights.
    height : float, mm
        Height of the fillet over the floor: its radius.
    flat, leaning : ndarray of int
        Facets of the floor, and of the groups that touch it.
    """
    corners = mesh.vertices[mesh.faces[leaning]]
    over = corners[:, :, 2] - face.at(corners[:, :, :2].reshape(-1, 2)).reshape(-1, 3)
    mine = leaning[(over.max(axis=1) <= 1.02 * height + 1e-3) & (over.min(axis=1) >= -1e-2)]
    if len(mine) == 0:
        return foot
    joined = region_polygon(mesh, np.concatenate([flat, mine]))
    # Closing by a micrometre joins what float noise left apart; mitred, so corners stay.
    reach = max(1e-3, 4.0 * mesh.noise)
    closed = joined.buffer(reach, join_style="mitre").buffer(-reach, join_style="mitre")
    inside = foot.representative_point()
    parts = [part for part in shapely.get_parts(closed) if part.intersects(inside)]
    return largest_polygon(shapely.geometrycollections(parts)) if parts else foot


@dataclass(frozen=True)
class Arc:
    """An arc found in a ring of short chords.

    Parameters
    ----------
    radius : float, mm
    sweep : float, rad
        Positive where the ring turns left.
    sagitta : float, mm
        Largest distance of a chord from the arc.
    """

    radius: float
    sweep: float
    sagitta: float


def arcs_of(ring: Floats, noise: float = 0.0) -> list[Arc]:
    """Arcs of a closed ring: runs of equal chords with equal turns under 50 degrees.

    Parameters
    ----------
    ring : (n, 2) ndarray, mm
        Corners, the last not repeated; it is gone round anticlockwise.
    noise : float, mm
        How far a corner may be from its place: rounding of the model's numbers.

    Notes
    -----
    A chord of length L that turns by δ from an equal one belongs to a circle of radius L / (2 sin(δ/2)). Corners that
    are off by e turn it by up to 4 e / L more or less.
    """
    if len(ring) < 4:
        return []
    ring = ring if shapely.LinearRing(ring).is_ccw else ring[::-1]
    ahead = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(ahead, axis=1)
    heading = np.arctan2(ahead[:, 1], ahead[:, 0])
    turn = (heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi
    before = np.roll(length, 1)
    even = np.abs(before - length) <= 0.25 * np.maximum(before, length)
    inside = even & (np.abs(turn) < np.radians(50.0)) & (np.abs(turn) > 1e-3)
    radius = np.where(inside, (before + length) / 4.0 / np.sin(np.maximum(np.abs(turn), 1e-9) / 2.0), 0.0)
    lengths = (before + length) / 2.0
    slack = 0.05 + 4.0 * noise / np.maximum(lengths * np.abs(turn), 1e-12)
    return _runs(inside, radius * np.sign(turn), lengths, turn, slack)


def _runs(inside: Bools, signed: Floats, lengths: Floats, turn: Floats, slack: Floats) -> list[Arc]:
    """Runs of the same radius, to a share of it."""
    same = inside & np.roll(inside, 1) & (np.abs(signed - np.roll(signed, 1)) <= slack * np.abs(signed))
    if same.all():
        return [_arc(lengths, turn)]
    start = int(np.flatnonzero(~same)[0])
    order = np.roll(np.arange(len(inside)), -start)
    breaks = np.flatnonzero(~same[order])
    groups = np.split(order, breaks[1:])
    return [_arc(lengths[group], turn[group]) for group in groups if inside[group].all()]


def _arc(lengths: Floats, turn: Floats) -> Arc:
    """Arc of the mean chord and the mean turn: noise of single corners cancels in the sum of the turns."""
    total = float(turn.sum())
    step = abs(total) / len(turn)
    radius = float(lengths.mean()) / (2.0 * float(np.sin(step / 2.0)))
    return Arc(radius, total + float(np.sign(total)) * step, radius * (1.0 - float(np.cos(step / 2.0))))
