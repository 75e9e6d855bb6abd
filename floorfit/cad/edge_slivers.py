"""Thin facets along the edge of a curved face: slivers that are part of it, and strips of its fillet that are not."""

from __future__ import annotations

import numpy as np

from floorfit.cad.mesh import Bools, Floats, Ints, Mesh
from floorfit.cad.regions import Regions

__all__ = ["quadratic_terms", "with_slivers"]

#: Z of the normal of what may be a sliver of a floor: a set choice.
_UP = 0.8
#: A sliver may turn by this against its neighbour, rad (15 degrees): what the face turns along the sliver.
_OFF = np.radians(15.0)
#: Slivers hang on slivers at most this often.
_DEEPEST = 12
#: Corners of the face round a place through which a quadratic is laid; fewer than `_FEWEST` say nothing.
_AROUND, _FEWEST = 16, 9
#: Where these leave a term of it open, they are chosen among this many times as many, as if facets were as long as
#: high, up to this ratio. A term is open where its singular value is under this share of the largest.
_LOOKED, _LONGEST, _BLIND = 8, 8.0, 1e-6
#: A corner lies on the face within this many times what the others leave of the quadratic, from `_CLOSE` to `_FAR`, mm.
_LEFT, _CLOSE, _FAR = 3.0, 2e-4, 5e-3
#: A facet at the edge that bends up from the face tighter than this radius is of a fillet, mm: between the radii of
#: fillets and the least radius of a floor; a set choice.
_FILLET = 25.0
#: Strips of a fillet that were taken into the face are shed one behind the other, at most this often.
_STRIPS = 4
#: Corners count by this power of their nearness there, those nearer than this share of the farthest alike.
_NEARER, _NEAR = 3.0, 0.05


def with_slivers(mesh: Mesh, regions: Regions, home: Ints, widths: Floats, narrowest: float) -> Ints:
    """Draw slivers into the curved faces that they hang on, and shed strips of fillets that were joined to them.

    A sliver of length L on a face that twists by t per length has its corners on the face, yet turns by up to t L
    against its neighbour, over no width: by width and turn it is a tight bend. A fillet is told from it by where its
    corners are: they rise from the face, by d² / 2 r at a distance d from its foot.

    Parameters
    ----------
    mesh : Mesh
    regions : Regions
        Planes.
    home : (r,) ndarray of int
        Curved face of each plane; −1 for none.
    widths : (r,) ndarray, mm
        Mean width of each plane.
    narrowest : float, mm
        Narrower planes may be slivers, or strips of a fillet.

    Returns
    -------
    (m,) ndarray of int
        Curved face of each facet, slivers included and strips of fillets not; −1 for none.

    Notes
    -----
    The face at a place is the quadratic through the nearest of its corners, by least squares.
    """
    label = regions.label
    narrow = (label < 0) | (widths < narrowest)[label]
    thin = narrow | (mesh.heights < narrowest)
    face = _shed(mesh, np.where(label >= 0, home[label], -1), thin)
    loose = (face < 0) & (mesh.normals[:, 2] > _UP) & narrow
    both = np.concatenate([mesh.pairs, mesh.pairs[:, ::-1]])
    both = both[loose[both[:, 1]] & (loose[both[:, 0]] | (face[both[:, 0]] >= 0))]
    turn = np.linalg.norm(mesh.normals[both[:, 0]] - mesh.normals[both[:, 1]], axis=1)
    both = both[turn < _OFF]
    for _ in range(_DEEPEST):
        rows = both[(face[both[:, 0]] >= 0) & (face[both[:, 1]] < 0)]
        owner = np.full(len(face), -1, np.int64)
        owner[rows[:, 1]] = face[rows[:, 0]]
        fresh = np.flatnonzero(owner >= 0)
        fresh = fresh[_lie_on(mesh, face, fresh, owner[fresh])]
        fresh = fresh[~_leaves_tightly(mesh, face, fresh, owner[fresh], np.ones((len(face), 3), np.bool_))]
        if len(fresh) == 0:
            break
        face[fresh] = owner[fresh]
    return face


def _shed(mesh: Mesh, face: Ints, thin: Bools) -> Ints:
    """Take the first strips of fillets out of the curved faces: they bend up from them along the edge.

    A sliver of a face that twists may look the same way as a strip of the fillet beside it, and so join it to the face.
    """
    face = face.copy()
    for _ in range(_STRIPS):
        on_rim = _rim_corners(mesh, face)[mesh.faces]
        asked = np.flatnonzero((face >= 0) & thin & on_rim.any(axis=1))
        sound = ~thin[:, None] | ~on_rim
        asked = asked[_leaves_tightly(mesh, face, asked, face[asked], sound)]
        if len(asked) == 0:
            break
        face[asked] = -1
    return face


def _rim_corners(mesh: Mesh, face: Ints) -> Bools:
    """Vertices at the edges of the curved faces."""
    out = np.zeros(len(mesh.vertices), np.bool_)
    out[mesh.pair_edges[face[mesh.pairs[:, 0]] != face[mesh.pairs[:, 1]]]] = True
    return out


def _leaves_tightly(mesh: Mesh, face: Ints, asked: Ints, owner: Ints, sound: Bools) -> Bools:
    """Whether facets leave the curved face of each like a fillet, tighter than `_FILLET`, up or down.

    Over its longest side a facet of height h stands h² / 2 r off a face that it leaves with the radius r. The face is
    known by the sound corners of its facets, (m, 3).
    """
    out = np.zeros(len(asked), np.bool_)
    for number in np.unique(owner):
        mine, rows = np.flatnonzero(face == number), np.flatnonzero(owner == number)
        corners = mesh.vertices[np.unique(mesh.faces[mine][sound[mine]])]
        if len(corners) < _FEWEST:
            continue
        rest, left, lever = _off_face(corners, mesh.corners[asked[rows]])
        off, high = _over_longest(mesh.corners[asked[rows], :, :2], rest)
        least = np.maximum(_LEFT * left, max(_CLOSE, 5.0 * mesh.noise)) * np.maximum(lever, 1.0)
        out[rows] = off > np.maximum(high**2 / (2.0 * _FILLET), least)
    return out


def _off_face(corners: Floats, facets: Floats) -> tuple[Floats, Floats, Floats]:
    """How far the corners of facets are over the quadratic through the nearest corners of a face; what that leaves.

    And how many times larger an error of these corners grows at the farthest corner of each facet.
    """
    from scipy.spatial import cKDTree

    middle, rows = facets.mean(axis=1), np.arange(len(facets))[:, None]
    _, near = cKDTree(corners[:, :2]).query(middle[:, :2], min(_LOOKED * _AROUND, len(corners)))
    away = corners[near] - middle[:, None, :]
    squeeze = np.where(_is_blind(away[:, :_AROUND])[:, None, None], _squeezed(facets[:, :, :2]), np.eye(3))
    around = np.einsum("nij,nkj->nki", squeeze, away)
    chosen = np.hypot(around[:, :, 0], around[:, :, 1]).argsort(axis=1, kind="stable")[:, :_AROUND]
    solver, factors, left, size = _quadratic(around[rows, chosen], _NEARER)
    over = np.einsum("nij,nkj->nki", squeeze, facets - middle[:, None, :])
    terms = quadratic_terms(over / size)
    lever = np.linalg.norm(terms @ solver, axis=2).max(axis=1)
    return over[:, :, 2] - np.einsum("nij,nj->ni", terms, factors), left, lever


def _is_blind(around: Floats) -> Bools:
    """Whether points lie so that they leave a term of the quadratic open: on two lines, for instance."""
    size = np.abs(around[:, :, :2]).max(axis=(1, 2))[:, None, None]
    share = np.linalg.svd(quadratic_terms(around / size), compute_uv=False)
    return np.asarray(share[:, -1] < _BLIND * share[:, 0])


def _squeezed(xy: Floats) -> Floats:
    """Maps, (n, 3, 3), in which each facet is about as long as it is high in plan.

    Corners lie as close together along its neighbours as it is high, and as far apart as it is long: of the nearest in
    plan nearly all may be on one line. A quadratic stays one in any such map.
    """
    sides = np.roll(xy, -1, axis=1) - xy
    square = np.einsum("nij,nij->ni", sides, sides)
    rows, longest = np.arange(len(xy)), square.argmax(axis=1)
    most = np.maximum(square[rows, longest], 1e-300)
    area = np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0])
    ratio = np.maximum(most / np.maximum(area, most / _LONGEST), 1.0)
    along = sides[rows, longest] / np.sqrt(most)[:, None]
    out = np.tile(np.eye(3), (len(xy), 1, 1))
    out[:, 0, :2] = along / ratio[:, None]
    out[:, 1, :2] = np.column_stack([-along[:, 1], along[:, 0]])
    return out


def _over_longest(xy: Floats, rest: Floats) -> tuple[Floats, Floats]:
    """How far the value at the corner against the longest side is off that of the side; its distance, mm."""
    rows = np.arange(len(xy))
    sides = np.roll(xy, -1, axis=1) - xy
    a = np.einsum("nij,nij->ni", sides, sides).argmax(axis=1)
    b, c = (a + 1) % 3, (a + 2) % 3
    along, far = xy[rows, b] - xy[rows, a], xy[rows, c] - xy[rows, a]
    square = np.maximum((along * along).sum(axis=1), 1e-300)
    share = (along * far).sum(axis=1) / square
    off = rest[rows, c] - (1.0 - share) * rest[rows, a] - share * rest[rows, b]
    high = np.abs(along[:, 0] * far[:, 1] - along[:, 1] * far[:, 0]) / np.sqrt(square)
    return np.abs(off), high


def _lie_on(mesh: Mesh, face: Ints, facets: Ints, owner: Ints) -> Bools:
    """Whether all corners of each facet lie on the curved face that it hangs on."""
    out = np.zeros(len(facets), np.bool_)
    for number in np.unique(owner):
        known, rows = np.unique(mesh.faces[face == number]), np.flatnonzero(owner == number)
        asked, back = np.unique(mesh.faces[facets[rows]], return_inverse=True)
        good = np.isin(asked, known)
        if len(known) >= _FEWEST and not good.all():
            good[~good] = _near_quadratic(mesh, mesh.vertices[known], mesh.vertices[asked[~good]])
        out[rows] = good[back.reshape(-1, 3)].all(axis=1)
    return out


def _near_quadratic(mesh: Mesh, corners: Floats, places: Floats) -> Bools:
    """Whether places are near the quadratics through the corners of a curved face round them."""
    from scipy.spatial import cKDTree

    _, near = cKDTree(corners[:, :2]).query(places[:, :2], min(_AROUND, len(corners)))
    _, factors, left, _ = _quadratic(corners[near] - places[:, None, :])
    return np.asarray(np.abs(factors[:, 0]) <= np.clip(_LEFT * left, max(_CLOSE, 5.0 * mesh.noise), _FAR))


def _quadratic(around: Floats, power: float = 0.0) -> tuple[Floats, Floats, Floats, Floats]:
    """The quadratic through points round the origin: factors, what it leaves of them (rms), mm, and its unit, mm.

    First comes what makes the factors of the points' heights. The points count by a power of their nearness.
    """
    size = np.abs(around[:, :, :2]).max(axis=(1, 2))[:, None, None]
    terms = quadratic_terms(around / size)
    weights = (np.hypot(around[:, :, 0], around[:, :, 1]) / size[:, :, 0] + _NEAR) ** -power
    solver = np.linalg.pinv(terms * weights[:, :, None], rcond=_BLIND) * weights[:, None, :]
    factors = np.einsum("nij,nj->ni", solver, around[:, :, 2])
    left = around[:, :, 2] - np.einsum("nij,nj->ni", terms, factors)
    return solver, factors, np.sqrt(np.average(left**2, axis=1, weights=weights**2)), size


def quadratic_terms(places: Floats) -> Floats:
    """Terms of a quadratic at places (n, k, 2 or 3): 1, x, y and their products, (n, k, 6)."""
    x, y = places[:, :, 0], places[:, :, 1]
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
