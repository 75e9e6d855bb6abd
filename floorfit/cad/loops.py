"""Join lines and arcs into closed rings, and rings into floors with islands."""

from __future__ import annotations

import numpy as np
import shapely

from floorfit.cad.mesh import Floats, Ints, near_groups

__all__ = ["chain_rings", "is_thin", "nest_rings"]

#: Ends this near are one corner, mm; a set choice, below what drawings are dimensioned to.
JOIN_MM = 0.01
#: No floor is as narrow as this, mm: between its outlines lies nothing, one of them was drawn twice. A set choice.
THIN_MM = 0.5


def chain_rings(pieces: list[Floats]) -> tuple[list[Floats], list[str]]:
    """Join pieces end to end into closed rings.

    Parameters
    ----------
    pieces : list of (n, 2) ndarray, mm
        Polylines in any order and direction; a closed one repeats its first point at the end.

    Returns
    -------
    rings : list of (n, 2) ndarray
        Corners, the last not repeated.
    faults : list of str
        Places where an outline does not close, or branches.
    """
    pieces = [piece for piece in pieces if len(piece) >= 2 and np.ptp(piece, axis=0).max() > 0.0]
    closed = [np.linalg.norm(piece[0] - piece[-1]) <= JOIN_MM and len(piece) > 3 for piece in pieces]
    rings = [piece[:-1] for piece, done in zip(pieces, closed, strict=True) if done]
    loose = [piece for piece, done in zip(pieces, closed, strict=True) if not done]
    if not loose:
        return rings, []
    nodes, places = _nodes(loose)
    # A piece shorter than what ends may be apart joins nothing that its ends do not.
    lasting = [a != b or np.ptp(piece, axis=0).max() > JOIN_MM for (a, b), piece in zip(nodes, loose, strict=True)]
    nodes, loose = nodes[lasting], [piece for piece, lasts in zip(loose, lasting, strict=True) if lasts]
    again = _drawn_again(loose, nodes)
    faults = [f"{len(again)} lines are drawn twice, one near {_at(loose[again[0]].mean(axis=0))}"] if len(again) else []
    degree = np.bincount(np.delete(nodes, again, axis=0).reshape(-1), minlength=len(places))
    faults += [f"an outline ends near {_at(places[n])} and does not close" for n in np.flatnonzero(degree == 1)]
    faults += [f"{degree[n]} lines meet near {_at(places[n])}, two were expected" for n in np.flatnonzero(degree > 2)]
    return (rings, faults) if faults else (rings + _walk(loose, nodes), [])


def _drawn_again(pieces: list[Floats], nodes: Ints) -> Ints:
    """Numbers of the pieces that lie on an earlier one: the same ends, length and middle."""
    length = [float(np.linalg.norm(np.diff(piece, axis=0), axis=1).sum()) for piece in pieces]
    form = np.column_stack([length, [piece.mean(axis=0) for piece in pieces]])
    key = np.column_stack([np.sort(nodes, axis=1), np.rint(form / JOIN_MM)])
    return np.setdiff1d(np.arange(len(pieces)), np.unique(key, axis=0, return_index=True)[1])


def _at(place: Floats) -> str:
    return f"({place[0]:.6g}, {place[1]:.6g}) mm"


def _nodes(pieces: list[Floats]) -> tuple[Ints, Floats]:
    """Number the ends of the pieces; ends within `JOIN_MM` share a number."""
    ends = np.array([end for piece in pieces for end in (piece[0], piece[-1])])
    label, first = near_groups(ends, JOIN_MM)
    return label.reshape(-1, 2), ends[first]


def _walk(pieces: list[Floats], nodes: Ints) -> list[Floats]:
    """Follow pieces whose ends all have two neighbours."""
    at: dict[int, list[int]] = {}
    for index, ends in enumerate(nodes):
        for node in ends:
            at.setdefault(int(node), []).append(index)
    rings, used = [], np.zeros(len(pieces), np.bool_)
    for start in range(len(pieces)):
        if used[start]:
            continue
        ring, index, node = [], start, int(nodes[start, 0])
        while not used[index]:
            used[index] = True
            forward = int(nodes[index, 0]) == node
            ring.append((pieces[index] if forward else pieces[index][::-1])[:-1])
            node = int(nodes[index, 1] if forward else nodes[index, 0])
            index = next((other for other in at[node] if not used[other]), index)
        rings.append(np.concatenate(ring))
    return rings


def nest_rings(rings: list[Floats]) -> tuple[list[shapely.Polygon], list[str]]:
    """Floors with islands from rings: a ring inside a floor is an island, a ring inside an island is a floor again.

    Returns
    -------
    floors : list of Polygon
    faults : list of str
        Rings that cross themselves or each other, or were drawn twice.
    """
    shapes = [shapely.Polygon(ring) for ring in rings if len(ring) >= 3]
    faults = [f"an outline crosses itself: {shapely.is_valid_reason(s)}" for s in shapes if not s.is_valid]
    if faults:
        return [], faults
    shapes.sort(key=lambda shape: -shape.area)
    depth, parent = [0] * len(shapes), [-1] * len(shapes)
    for i, shape in enumerate(shapes):
        for j in range(i):
            if shapes[j].contains(shape):
                depth[i], parent[i] = depth[j] + 1, j
            elif shapes[j].intersection(shape).area > 1e-6 * shape.area:
                faults.append(
                    f"two outlines cross near {_at(np.array(shape.intersection(shapes[j]).centroid.coords[0]))}"
                )
    floors = []
    for i, shape in enumerate(shapes):
        if depth[i] % 2 == 0:
            holes = [shapes[k].exterior for k in range(len(shapes)) if parent[k] == i]
            floors.append(shapely.Polygon(shape.exterior, holes))
    faults += [
        f"outlines lie within {THIN_MM} mm of each other, near {_at(np.array(floor.exterior.coords[0]))}: drawn twice"
        for floor in floors
        if is_thin(floor)
    ]
    return floors, faults


def is_thin(floor: shapely.Polygon) -> bool:
    """Whether a floor is narrower than `THIN_MM` in the mean: twice its area over its perimeter."""
    return bool(2.0 * floor.area < THIN_MM * floor.length)
